"""A screening in words: what was found, what each column means, what to take care of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from terrain.district.screened import Ground, Screened, Screening, Water
from terrain.district.screening import keeps, worth
from terrain.outputs.one_system import in_one
from terrain.units import shown

#: Ground smaller than this is no part of a hectare or acre worth telling. [m2]
SMALL_GROUND = 500.0
TAKE_CARE = (
    "A screening is a planning aid. It says from a raster where to look first, and designs "
    "nothing: walk the parcel with its owner, dig a test hole, and plan the parcel by itself "
    "before anybody digs. Have buried pipes and cables located.",
    "Banks that hold water can fail, and every store overflows. Local codes, permits and a "
    "licensed engineer come first, above all for a bank that holds water, and where water could "
    "reach a house, a road or a neighbour.",
    "Water rights: what is held on a parcel does not reach the stream and the land below. Ask "
    "what the law allows before any is held.",
    "Run-on is a neighbour's water: whoever lives above may hold it, lead it elsewhere or build, "
    "and it then comes no more. Nor may a parcel send its own on to the next more gathered than "
    "it came before.",
    "Water drowns children, even where it is shallow.",
    "Water from roofs is not safe to drink as it comes.",
    "\"At least\" (≥) stands where the ground that drains to a parcel reaches the edge of the "
    "known ground, or a hole in it: there may be more.",
    "Run-on of several parcels does not add up: water that crosses three parcels is run-on to "
    "two of them. Own water and roofs do add up.")
#: What columns of the ranking mean, by their head.
MEANS = {
    "area": "the parcel's outline.",
    "own": "what runs off the parcel's own ground in the design storm, its roofs left out.",
    "run-on": "what reaches it in that storm from ground beyond, neighbours' and roads' included.",
    "catchable": "the two together: all that works in the ground could catch there.",
    "of it from roads": "the part of that which roads shed, on the parcel or above it. Roads shed "
                        "water from almost every shower.",
    "year, ground": "catchable water of an average year, from the daily record.",
    "year, roofs": "rain on the parcel's roofs in an average year that reaches their gutters; "
                   "never counted as ground water too.",
    "swale keeps": "what the best place for a swale, alone, would keep",
    "basin keeps": "what the best place for a basin, alone, would keep"}


def lead(screening: Screening) -> str:
    """What this is, in one line."""
    return (f"A screening of {_count(len(screening.parcels), 'parcel')} on "
            f"{screening.cells:,} cells of ground")


def has_year(screening: Screening) -> bool:
    """Whether an average year is told."""
    return any(one.year is not None for one in screening.parcels)


def design_name(screening: Screening) -> str:
    """The storm that sills are sized for."""
    return str(screening.district.rain.storms[screening.design].name)


def _when(screening: Screening) -> str:
    return "an average year" if has_year(screening) else f"the {design_name(screening)}"


def ranked_by(screening: Screening) -> str:
    """What the parcels are ranked by, to stand after "by"."""
    when = _when(screening)
    return {"kept": f"what the better of the best swale and the best basin would keep of {when}",
            "catchable": f"what could be caught on the ground in {when}",
            "run-on": f"what comes onto the parcel from beyond in {when}",
            "road": f"what roads shed onto the parcel in {when}",
            "roof": f"what the roofs give in {when}"}[screening.district.rank_by]


def rank_value(one: Screened, screening: Screening) -> tuple[float, str]:
    """The figure that a parcel is ranked by, and its dimension. [m3]"""
    return worth(one, screening.district.rank_by, screening.design), "volume"


def water_told(one: Screened, screening: Screening) -> Water:
    """Water of the average year, or of the design storm where there is no record."""
    return one.year if one.year is not None else one.storms[screening.design]


def kept(ground: Ground, screening: Screening) -> float:
    """What a place keeps of the average year, or of the design storm without a record. [m3]"""
    return keeps(ground, screening.design)


def found_lines(screening: Screening, system: str) -> list[str]:
    """What was found, in sentences, what matters most first."""
    good = [one for one in screening.parcels if not one.fault]
    bad = len(screening.parcels) - len(good)
    land = sum(one.parcel.area for one in screening.parcels)
    said = [f"{_count(len(screening.parcels), 'parcel')} of {shown(land, 'land', system)} in all "
            f"{'was' if len(screening.parcels) == 1 else 'were'} screened"
            + (f"; {bad} of them could not be, and the table says why." if bad else ".")]
    if not good:
        return said
    first = [f"{one.parcel.name} ({_volume(rank_value(one, screening)[0], system)})"
             for one in good[:3]]
    said.append(f"Ranked by {ranked_by(screening)}, {', then '.join(first)} "
                f"stand{'s' if len(first) == 1 else ''} first.")
    swales = sum(one.swale is not None for one in good)
    basins = sum(one.basin is not None for one in good)
    said.append(f"{_of(swales, len(good))} ground on which a swale could lie, and "
                f"{_of(basins, len(good)).lower()} ground for a basin.")
    design = design_name(screening)
    own = sum(one.storms[screening.design].own for one in good)
    line = f"In the {design} {_volume(own, system)} run off the parcels' own ground"
    most = max(good, key=lambda one: one.storms[screening.design].run_on)
    if most.storms[screening.design].run_on > 0:
        line += (f"; most run-on reaches {most.parcel.name}, "
                 f"{'at least ' if most.at_least else ''}"
                 f"{_volume(most.storms[screening.design].run_on, system)}")
    said.append(f"{line}.")
    road = max(good, key=lambda one: one.storms[screening.design].road)
    if road.storms[screening.design].road > 0:
        said.append(f"Roads shed most onto {road.parcel.name}: "
                    f"{_volume(road.storms[screening.design].road, system)} in that storm.")
    roofs = [one for one in good if one.roofs.count]
    if roofs and has_year(screening):
        give = sum(one.year.roof for one in roofs if one.year is not None)
        said.append(f"{_count(sum(one.roofs.count for one in roofs), 'roof')} on "
                    f"{_count(len(roofs), 'parcel')} give {_volume(give, system)} in an average "
                    "year.")
    return said


def parcel_lines(one: Screened, screening: Screening, system: str) -> list[str]:
    """What was found of a parcel, in sentences."""
    water = one.storms[screening.design]
    least = "at least " if one.at_least else ""
    value, dimension = rank_value(one, screening)
    said = [f"{shown(one.parcel.area, 'land', system)}, and {least}"
            f"{ground_words(one.run_on_area, system)} beyond it drain over it. Its rank is by "
            f"{ranked_by(screening)}: {shown(value, dimension, system, 0)}.",
            f"In the {design_name(screening)} ({shown(water.rain, 'rain', system)}) "
            f"{_volume(water.own, system)} run off its own ground and {least}"
            f"{_volume(water.run_on, system)} come from beyond."]
    if one.year is not None:
        said.append(f"In an average year {least}{_volume(one.year.catchable, system)} could be "
                    "caught on the ground" + (
            f", and {_volume(one.year.roof, system)} come from "
            f"{_count(one.roofs.count, 'roof')} of {shown(one.roofs.area, 'area', system)}."
            if one.roofs.count else "; there is no roof on it."))
    if one.road.own or one.road.run_on:
        beyond = (f"{shown(one.road.run_on, 'area', system)} beyond it drain over it"
                  if one.road.run_on else "none beyond it drains over it")
        said.append((f"{shown(one.road.own, 'area', system)} of road lie on it, and {beyond}"
                     if one.road.own else f"No road lies on it, but {beyond}")
                    + f": of the {design_name(screening)} roads shed "
                    f"{_volume(water.road, system)} there"
                    + (f", most of it past {named_place(one.road.at, screening)}."
                       if one.road.at is not None else "."))
    return said


def named_place(at: tuple[float, float], screening: Screening) -> str:
    """A place in the elevation's own coordinates."""
    from terrain.inputs.dem import named as place

    return place(screening.overview.frame, *at)


def place_parts(one: Screened, screening: Screening, system: str) -> list[dict[str, Any]]:
    """Heads and sentences on the best ground of a parcel."""
    found: list[dict[str, Any]] = []
    for what, ground in (("swale", one.swale), ("basin", one.basin)):
        if ground is None:
            lines = [f"No ground of this parcel lets a {what} lie by the rules of siting."]
        else:
            lines = ground_lines(ground, one, screening, system)
            if ground.why:  # what it keeps stands there and in the table
                lines = [lines[0], *(in_one(line, system) for line in ground.why)]
        found.append({"head": f"Best ground for a {what}", "lines": lines})
    return found


def next_lines(one: Screened, screening: Screening, file: str | None) -> list[str]:
    """What to do next, step by step.

    Parameters
    ----------
    file : str or None
        How the site file begun for the parcel is called, without its ending.
    """
    said = ["Walk to each place on the map with the owner, and ask the neighbours above and below.",
            "Dig a hole test where earth would be moved, and read it with levelsill soak."]
    if file is not None:
        said += [f"{file}.yaml beside this page is a site file begun for this parcel: the "
                 "district's ground, rain and layers, and the outline in "
                 f"{file}.gpkg. Copy both out of this folder, as the next run makes it anew, and "
                 "correct the paths in the copy; then put in what the hole test took in, tanks, "
                 "and works that stand.",
                 f"levelsill check {file}.yaml reads it; levelsill suggest {file}.yaml weighs "
                 "places for works against each other, levelsill bench lays them out by hand, "
                 "and levelsill plan plans what is to be dug, with its cautions."]
    else:
        said.append("Make a site file for this parcel (levelsill start), with the district's "
                    "layers and the parcel's outline as its boundary; then check, suggest and "
                    "plan.")
    said.append("Take the plan to whoever gives permits before anybody digs.")
    return said


def meanings(heads: Sequence[str], screening: Screening) -> list[tuple[str, str]]:
    """What each column of the ranking means."""
    keeps = (f" of {_when(screening)}, as if nothing else were built; – where no ground lets one "
             "lie.")
    found = []
    for head in heads:
        words = MEANS.get(head)
        if head == "roofs":
            words = "rain on the parcel's roofs in that storm that reaches their gutters."
        if words is not None:
            found.append((head, words + (keeps if head.endswith("keeps") else "")))
    return found


def not_screened(screening: Screening) -> list[tuple[str, str]]:
    """Parcels that could not be screened, and why."""
    return [(one.parcel.name, one.fault) for one in screening.parcels if one.fault]


def rests_on(screening: Screening) -> list[str]:
    """What it rests on: the ground, then the notes."""
    nodes, edges = screening.graph
    ground = f"{screening.cells:,} cells of {screening.overview.source}, " + (
        "in one tile." if screening.tiles == 1 else
        f"in {screening.tiles:,} tiles, joined over their borders by a graph of {nodes:,} nodes "
        f"and {edges:,} edges; the figures are those of the whole in one piece.")
    return [ground, *screening.notes]


def ground_lines(ground: Ground, one: Screened, screening: Screening, system: str) -> list[str]:
    """The best ground for a swale or a basin in sentences."""
    kind = {"swale": "A swale", "wall": "A basin behind a wall",
            "dug basin": "A dug basin"}.get(ground.kind, f"A {ground.kind}")
    takes = [f"{ground.hours:,.1f} h of the machine",
             f"{shown(ground.cut, 'earth', system)} to dig"]
    if ground.money is not None and screening.district.money is not None:
        from terrain.outputs.page.money_tables import figure

        takes.insert(0, f"about {figure(ground.money)} {screening.district.money.currency}")
    said = [f"{kind} that holds {_volume(ground.storage, system)} up to its sill, for "
            f"{', '.join(takes)}.",
            f"{ground_words(ground.catchment, system)} drain to it. Of the "
            f"{design_name(screening)} {_volume(ground.comes[screening.design], system)} come to "
            f"it and it keeps {_volume(ground.kept[screening.design], system)}."]
    if ground.comes_in_year is not None and ground.kept_in_year is not None:
        said.append(f"Of an average year {_volume(ground.comes_in_year, system)} come to it and it "
                    f"keeps {_volume(ground.kept_in_year, system)}.")
    if ground.bank > 0:
        said.append(f"Water stands up to {shown(ground.bank, 'size', system)} deep against its "
                    "bank.")
    return said


def ground_words(area: float, system: str) -> str:
    """An area of ground: as land, or in m2 or ft2 where it is small."""
    return shown(area, "land" if area >= SMALL_GROUND else "area", system)


def _volume(value: float, system: str) -> str:
    return shown(value, "volume", system, 0)


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _of(number: int, all_: int) -> str:
    """How many of all have something, with the verb."""
    if number == 0:
        return "None has"
    if number == all_:
        return "The one has" if all_ == 1 else "All have"
    return f"{number:,} {'has' if number == 1 else 'have'}"

