"""A screening in words: what was found, what each column means, what to take care of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from terrain.district.screened import Entry, Ground, Screened, Screening, Water
from terrain.district.screening import keeps, worth
from terrain.outputs.district.rank_colours import nothing_words, ranked_count
from terrain.outputs.district.told import (
    land,
    own_at_least,
    run_on_at_least,
    share_off,
    volume,
)
from terrain.outputs.one_system import in_one
from terrain.suggest.dug_places import AREAS
from terrain.units import per_cent, shown

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
    "known ground, or a hole in it, or where part of the parcel lies off it: there may be more.",
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
#: How places where water comes in relate to all run-on.
COMES_BACK = ("Water that leaves the parcel and comes back counts wherever it comes in, so that "
              "the entries may sum to more than the run-on ground.")
#: Of what the map's arrows are numbered by.
ARROWS = ("The arrows on the map have these numbers; where several stand close together one arrow "
          "has them all.")


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
    area = sum(one.parcel.area for one in screening.parcels)
    said = [f"{_count(len(screening.parcels), 'parcel')} of {land(area, system)} in all "
            f"{'was' if len(screening.parcels) == 1 else 'were'} screened"
            + (f"; {bad} of them could not be, and the table says why." if bad else ".")]
    if not good:
        return said
    count = ranked_count(screening)
    first = [f"{one.parcel.name} ({rank_words(one, screening, system)})"
             for one in good[:min(3, count)]]
    if first:
        said.append(f"Ranked by {ranked_by(screening)}, {', then '.join(first)} "
                    f"stand{'s' if len(first) == 1 else ''} first.")
    if count < len(good):
        said.append(f"{nothing_words(screening)} on {len(good) - count:,} of them: these stand "
                    "last, in the layer's order.")
    swales = sum(one.swale is not None for one in good)
    basins = sum(one.basin is not None for one in good)
    said.append(f"{_of(swales, len(good))} ground on which a swale could lie, and "
                f"{_of(basins, len(good)).lower()} ground for a basin.")
    asked = screening.district.suggest
    if asked is None or asked.infiltration is None:
        said.append("Nobody stated a hole test (infiltration, under suggest): ground is taken to "
                    "soak half of what the table says of its soil, which leaves out much slow "
                    "ground and may change the ranking.")
    design = design_name(screening)
    own = sum(one.storms[screening.design].own for one in good)
    most_own = "at least " if any(own_at_least(one, screening) for one in good) else ""
    line = f"In the {design} {most_own}{volume(own, system)} run off the parcels' own ground"
    most = max(good, key=lambda one: one.storms[screening.design].run_on)
    if most.storms[screening.design].run_on > 0:
        line += (f"; most run-on reaches {most.parcel.name}, "
                 f"{'at least ' if run_on_at_least(most, screening) else ''}"
                 f"{volume(most.storms[screening.design].run_on, system)}")
    said.append(f"{line}.")
    road = max(good, key=lambda one: one.storms[screening.design].road)
    if road.storms[screening.design].road > 0:
        said.append(f"Roads shed most onto {road.parcel.name}: "
                    f"{volume(road.storms[screening.design].road, system)} in that storm.")
    roofs = [one for one in good if one.roofs.count]
    if roofs and has_year(screening):
        give = sum(one.year.roof for one in roofs if one.year is not None)
        said.append(f"{_count(sum(one.roofs.count for one in roofs), 'roof')} on "
                    f"{_count(len(roofs), 'parcel')} give {volume(give, system)} in an average "
                    "year.")
    return said


def parcel_lines(one: Screened, screening: Screening, system: str) -> list[str]:
    """What was found of a parcel, in sentences."""
    water = one.storms[screening.design]
    least = "at least " if run_on_at_least(one, screening) else ""
    own = "at least " if own_at_least(one, screening) else ""
    said = [f"{land(one.parcel.area, system)}, and {least}"
            f"{land(one.run_on_area, system)} beyond it drain over it. Its rank is by "
            f"{ranked_by(screening)}: {rank_words(one, screening, system)}.",
            *off_lines(one, screening),
            f"In the {design_name(screening)} ({shown(water.rain, 'rain', system)}) "
            f"{own}{volume(water.own, system)} run off its own ground and {least}"
            f"{volume(water.run_on, system)} come from beyond."]
    if one.year is not None:
        said.append(f"In an average year {least}{volume(one.year.catchable, system)} could be "
                    "caught on the ground" + (
            f", and {volume(one.year.roof, system)} come from "
            f"{_count(one.roofs.count, 'roof')} of {shown(one.roofs.area, 'area', system)}."
            if one.roofs.count else "; there is no roof on it."))
    if one.road.own or one.road.run_on:
        beyond = (f"{shown(one.road.run_on, 'area', system)} beyond it drain over it"
                  if one.road.run_on else "none beyond it drains over it")
        said.append((f"{shown(one.road.own, 'area', system)} of road lie on it, and {beyond}"
                     if one.road.own else f"No road lies on it, but {beyond}")
                    + f": of the {design_name(screening)} roads shed "
                    f"{volume(water.road, system)} there"
                    + (f", most of it past {named_place(one.road.at, screening)}."
                       if one.road.at is not None else "."))
    return said


def off_lines(one: Screened, screening: Screening) -> list[str]:
    """That part of a parcel lies off the elevation, where it does."""
    off = share_off(one, screening)
    return [f"{per_cent(off)} of it lies off the elevation. Nothing is known of that part, so "
            "there may be more water than is said, and better places."] if off else []


def rank_words(one: Screened, screening: Screening, system: str) -> str:
    """The figure that a parcel is ranked by, or that there is none."""
    value, _ = rank_value(one, screening)
    if not value > 0:
        return nothing_words(screening).lower()
    sure = {"catchable": not run_on_at_least(one, screening),
            "run-on": not run_on_at_least(one, screening)}.get(screening.district.rank_by, True)
    return f"{'' if sure else 'at least '}{volume(value, system)}"


def named_place(at: tuple[float, float], screening: Screening) -> str:
    """A place in the elevation's own coordinates, and by longitude and latitude."""
    place, more = place_words(at, screening)
    return f"{place} (longitude and latitude {more})" if more else place


def place_words(at: tuple[float, float], screening: Screening) -> tuple[str, str]:
    """A place in the elevation's own coordinates; its longitude and latitude, "" where they are
    these or unknown."""
    from terrain.inputs.dem import named

    frame = screening.overview.frame
    known = None if frame.source is None or frame.source.is_geographic else frame.to_lonlat(*at)
    more = "" if known is None else f"{float(known[0]):.5f}, {float(known[1]):.5f}"
    return named(frame, *at), more


def places_in(screening: Screening) -> str:
    """In what coordinates places are told."""
    source = screening.overview.frame.source
    if source is None:
        return "Places are in the elevation's own coordinates; it names no system."
    return (f"Places are longitude, latitude in {source.name}." if source.is_geographic else
            f"Places are east, north in {source.name}; longitude and latitude are of WGS 84.")


def entries_lines(one: Screened, entries: Sequence[Entry], screening: Screening) -> list[str]:
    """How the places where water comes in that are listed relate to all run-on."""
    listed = sum(entry.area for entry in entries)
    if listed < 0.995 * one.run_on_area:
        share = (f"These come to {per_cent(listed / one.run_on_area)} of the ground beyond that "
                 "drains over the parcel; the rest comes in at smaller places.")
    else:
        share = "These are the places where most ground drains in."
    return [share, COMES_BACK, ARROWS, places_in(screening)]


def place_parts(one: Screened, screening: Screening, system: str) -> list[dict[str, Any]]:
    """Heads and sentences on the best ground of a parcel."""
    found: list[dict[str, Any]] = []
    for what, ground in (("swale", one.swale), ("basin", one.basin)):
        if ground is None:
            lines = why_none(what, one) or [
                f"No ground of this parcel lets a {what} lie by the rules of siting."]
        else:
            lines = ground_lines(ground, one, screening, system)
            if ground.why:  # what it keeps stands there and in the table
                lines = [lines[0], *(in_one(line, system) for line in ground.why)]
        found.append({"head": f"Best ground for a {what}", "lines": lines})
    return found


def why_none(what: str, one: Screened) -> list[str]:
    """The notes that say why a parcel has no ground for a swale, or for a basin."""
    return [note for note in one.notes if note.startswith(f"No ground for a {what}:")]


def best_lines(one: Screened, system: str) -> list[str]:
    """What is to be known of the table of the best places."""
    said = ["Each place by itself, as if nothing else were built. Drains: the ground whose water "
            "comes there."]
    if one.basin is not None and one.basin.kind == "dug basin":
        said.append(basin_sizes(system))
    return said


def basin_sizes(system: str) -> str:
    """Why several parcels may have dug basins of one volume."""
    sizes = [shown(size, "area", system, with_unit=False) for size in AREAS[:-1]]
    return (f"Dug basins are tried in a few sizes, with rims of {', '.join(sizes)} and "
            f"{shown(AREAS[-1], 'area', system)}, so several parcels may show the same volume.")


def next_lines(one: Screened, screening: Screening, file: str | None) -> list[str]:
    """What to do next, step by step.

    Parameters
    ----------
    file : str or None
        How the site file begun for the parcel is called, without its ending.
    """
    if one.swale is None and one.basin is None:
        said = ["Walk the parcel with its owner, and ask the neighbours above and below.",
                "Dig a hole test where water could be held, and read it with levelsill soak: where "
                "the soil takes in more than was assumed, screen again with that."]
    else:
        said = ["Walk to each place on the map with the owner, and ask the neighbours above and "
                "below.",
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
    dug = any(one.basin is not None and one.basin.kind == "dug basin" for one in screening.parcels)
    for head in heads:
        words = MEANS.get(head)
        if head == "roofs":
            words = "rain on the parcel's roofs in that storm that reaches their gutters."
        if words is not None:
            more = f" {basin_sizes(screening.district.units)}" if (
                dug and head == "basin keeps") else ""
            found.append((head, words + (keeps if head.endswith("keeps") else "") + more))
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
    said = [f"{kind} that holds {volume(ground.storage, system)} up to its sill, for "
            f"{', '.join(takes)}.",
            f"{land(ground.catchment, system)} drain to it. Of the "
            f"{design_name(screening)} {volume(ground.comes[screening.design], system)} come to "
            f"it and it keeps {volume(ground.kept[screening.design], system)}."]
    if ground.comes_in_year is not None and ground.kept_in_year is not None:
        said.append(f"Of an average year {volume(ground.comes_in_year, system)} come to it and it "
                    f"keeps {volume(ground.kept_in_year, system)}.")
    if ground.bank > 0:
        said.append(f"Water stands up to {shown(ground.bank, 'size', system)} deep against its "
                    "bank.")
    return said


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _of(number: int, all_: int) -> str:
    """How many of all have something, with the verb."""
    if number == 0:
        return "None has"
    if number == all_:
        return "The one has" if all_ == 1 else "All have"
    return f"{number:,} {'has' if number == 1 else 'have'}"

