"""District file -> Screening: every parcel of it looked at, and ranked."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from terrain.district.opened import Opened, open_district
from terrain.district.parcel import Shared, Surroundings, farthest, screen_parcel
from terrain.district.rains import district_rain
from terrain.district.screened import Ground, Parcel, Screened, Screening
from terrain.district.waters import Waters, waters
from terrain.errors import InputError
from terrain.files import put_whole
from terrain.inputs.dem import Dem
from terrain.inputs.district import Rank
from terrain.inputs.elevation import ElevationFiles
from terrain.inputs.keep_clear import read_keep_clear
from terrain.inputs.site_suggest import Suggest
from terrain.plan.siting.reading import Progress, Rain, with_rules
from terrain.plan.water.short_record import short_record
from terrain.suggest.look import keep_out
from terrain.surface.tiled.grid import SIDE
from terrain.surface.tiled.store import DRAFT
from terrain.surface.tiled.work import Run, one_by_one
from terrain.surface.window import WHOLE_UP_TO
from terrain.units import told_first

#: Runs a function on each row of arguments and gives what each returned, or its error; tells the
#: third a row's number and that as soon as it ends.
Each = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]], Callable[[int, Any], None]],
                list[Any]]
#: How often it is told how many parcels are done.
STEPS = 20
#: Where what all tasks need is kept, in the folder of the tiles.
SHARED = "shared"
#: Said once for all parcels.
CAUTIONS = (
    "Figures are of each parcel as if it alone dug anything: what one parcel keeps does not come "
    "to those below it. Whether runoff may be held back is a question of water rights, which "
    "differ from place to place: ask before digging.",
    "Best ground says where to look first, not what to build: a plan of the parcel's own, with a "
    "hole test and stakes, comes before any digging. Local rules and whoever is licensed for them "
    "decide; have buried lines located first.")


def screen(folder: Path, tiles: Path, run: Run = one_by_one,
           progress: Progress = lambda what: None, side: int = SIDE, pages: Sequence[str] = (),
           each: Each | None = None) -> Screening:
    """Screen all parcels of a district.

    Parameters
    ----------
    folder : Path
        Of the district file, or the file itself.
    tiles : Path
        A folder for finished tiles, which all workers see; a run that was stopped goes on there.
    run : callable
        Runs tasks.
    side : int
        Of a tile. [cells]
    pages : sequence of str
        Names of parcels that are to have a page, beside those that ask for one.
    each : callable, optional
        Runs the parcels, so that one at which a worker dies is told and the others go on, as
        `terrain.district.engine.Workers.run_each`; left out, `run` does.

    Raises
    ------
    InputError
        If the district file or what it names cannot be used. What is wrong with one parcel alone
        is told of that parcel.
    """
    progress("Reading the district")
    opened = open_district(folder, tiles, side)
    opened = replace(opened, parcels=_with_pages(opened.parcels, pages))
    district = opened.district
    with told_first(district.units, opened.files.frame.foot):
        return _screened(opened, tiles.absolute(), run, progress, each)


def _screened(opened: Opened, tiles: Path, run: Run, progress: Progress, each: Each | None
              ) -> Screening:
    district, files = opened.district, opened.files
    with_rules(district.site_of(""))  # a wrong rule is told before hours of routing
    about = _surroundings(opened)
    progress("Following the water over the ground")
    kinds, _, graph = waters(opened, run)
    progress("Reading the rain and the weather")
    overview = look_over(files)
    rain = district_rain(district.site_of(""), overview, kinds)
    with _kept(tiles, Shared(opened, kinds, rain)) as kept:
        screened = _looked_at(opened.parcels, [(kept, which, near) for which, near
                                               in enumerate(about)], run, each, progress)
    design = district.rain.storms.index(district.rain.design)
    rows, columns = files.shape
    notes = (*opened.notes, *_rain_notes(rain.rain, district.rain.start_month), *CAUTIONS)
    return Screening(district, overview, tuple(ranked(screened, district.rank_by, design)), design,
                     rows * columns, opened.work.grid.count, graph, tuple(dict.fromkeys(notes)))


def _rain_notes(rain: Rain, start_month: int) -> list[str]:
    """What was assumed of rain and weather."""
    said = [*rain.hydrology.notes, *(rain.evaporation.notes if rain.evaporation else ())]
    if rain.record is not None:
        short = short_record(rain.record.depths, start_month)
        said = [*rain.record.notes, *([short] if short else []), *said]
    return said


def _looked_at(parcels: Sequence[Parcel], rows: list[tuple[Path, int, Surroundings]], run: Run,
               each: Each | None, progress: Progress) -> list[Screened]:
    many = len(rows)
    progress(f"Looking at {many:,} parcels")
    if each is None:
        return run(told_or_fault, rows)
    ended: list[int] = []

    def done(row: int, found: Any) -> None:
        ended.append(row)
        if len(ended) % max(many // STEPS, 1) == 0 and len(ended) < many:
            progress(f"Looking at parcels: {len(ended):,} of {many:,}")

    return [_fault_of(parcel, one) if isinstance(one, Exception) else one
            for parcel, one in zip(parcels, each(told_or_fault, rows, done), strict=True)]


def told_or_fault(kept: Path, which: int, about: Surroundings) -> Screened:
    """Screen one parcel; what goes wrong is told in its place, and the others go on.

    Parameters
    ----------
    kept : Path
        Where a `Shared` is kept.
    which : int
        The parcel's place in the layer, from 0.
    """
    shared, found = _get(kept)
    parcel = shared.opened.parcels[which]
    try:
        return screen_parcel(shared, parcel, found[which], about)
    except Exception as error:  # whatever it is, it must not cost all the other parcels
        return _fault_of(parcel, error)


def _fault_of(parcel: Parcel, error: Exception) -> Screened:
    if isinstance(error, InputError):
        return Screened(parcel, fault=str(error))
    what = " ".join(str(error).split())
    return Screened(parcel, fault="it could not be screened, by a fault of levelsill's own "
                    f"({type(error).__name__}{what and ': '}{what})")


def look_over(files: ElevationFiles) -> Dem:
    """The whole ground, in cells as coarse as it takes to hold it at once."""
    rows, columns = files.shape
    factor = int(np.ceil((rows * columns / WHOLE_UP_TO) ** 0.5))
    return files.read() if factor <= 1 else files.read_coarse(factor)[0]


def ranked(found: Sequence[Screened], by: Rank, design: int) -> list[Screened]:
    """Parcels by falling worth, those of equal worth in their order; faulty ones last.

    Parameters
    ----------
    by : str
        "kept" ranks by what the better of the best swale and basin ground keeps; all are those of
        an average year, or of the design storm where there is no rain record.
    design : int
        Which of the storms that is.
    """
    def worth(one: Screened) -> float:
        if one.fault:
            return -np.inf
        water = one.year or one.storms[design]
        return {"kept": lambda: max(_keeps(one.swale, design), _keeps(one.basin, design)),
                "catchable": lambda: water.catchable, "run-on": lambda: water.run_on,
                "road": lambda: water.road, "roof": lambda: water.roof}[by]()

    return sorted(found, key=lambda one: (-worth(one), one.parcel.number))


def _keeps(ground: Ground | None, design: int) -> float:
    if ground is None:
        return 0.0
    return ground.kept[design] if ground.kept_in_year is None else ground.kept_in_year


def _with_pages(parcels: Sequence[Parcel], pages: Sequence[str]) -> tuple[Parcel, ...]:
    """The parcels, those that are named with a page."""
    for name in pages:
        if name not in {parcel.name for parcel in parcels}:
            raise InputError("the pages asked for", f"no parcel is called \"{name}\"",
                             "Name it as the layer of parcels does")
    return tuple(replace(parcel, page=parcel.page or parcel.name in pages) for parcel in parcels)


def _surroundings(opened: Opened) -> list[Surroundings]:
    """What lies about each parcel, of all that the district file says to keep clear of."""
    site, rules = with_rules(opened.district.site_of(""))
    things, _ = read_keep_clear(site, opened.files)
    shut = keep_out(site, site.suggest or Suggest(), opened.files)
    outlines = [parcel.outline for parcel in opened.parcels]
    near = _near(outlines, [thing.shape for thing in things], farthest(rules, things))
    within = _near(outlines, shut, 0.0)
    return [Surroundings(tuple(things[i] for i in some), tuple(shut[i] for i in others))
            for some, others in zip(near, within, strict=True)]


def _near(outlines: Sequence[Any], shapes: Sequence[Any], distance: float) -> list[list[int]]:
    """Which shapes lie within a distance of each outline, in their order."""
    found: list[list[int]] = [[] for _ in outlines]
    if shapes:
        of, which = shapely.STRtree(shapes).query(outlines, "dwithin", distance)
        for outline, shape in sorted(zip(of.tolist(), which.tolist(), strict=True)):
            found[outline].append(shape)
    return found


@contextmanager
def _kept(tiles: Path, shared: Shared) -> Iterator[Path]:
    """Keep what all parcels need in a file for so long, so that it need not go with each task."""
    data = pickle.dumps(shared)
    path = tiles / f"{SHARED}-{hashlib.sha256(data).hexdigest()[:16]}.pickle"
    put_whole(path, data, draft_name=DRAFT)
    try:
        yield path
    finally:
        path.unlink(missing_ok=True)


@lru_cache(maxsize=1)
def _get(path: Path) -> tuple[Shared, Waters]:
    with open(path, "rb") as stream:
        shared: Shared = pickle.load(stream)
    return shared, Waters(shared.opened)
