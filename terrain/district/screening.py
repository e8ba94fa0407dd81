"""District file -> Screening: every parcel of it looked at, and ranked."""

from __future__ import annotations

import hashlib
import os
import pickle
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import shapely

from terrain.district.kept_parcels import KeptParcels, kept_parcel, put_parcel
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
from terrain.plan.siting.reading import Progress, Rain, read_rain, with_rules
from terrain.plan.water.short_record import short_record
from terrain.suggest.look import keep_out
from terrain.suggest.notes import soaks_note
from terrain.surface.tiled.grid import SIDE
from terrain.surface.tiled.kept_tiles import DRAFT, not_kept
from terrain.surface.tiled.work import Run, one_by_one
from terrain.surface.window import WHOLE_UP_TO
from terrain.units import told_first

#: Runs a function on each row of arguments and gives what each returned, or its error; tells the
#: third a row's number and that as soon as it ends.
Each = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]], Callable[[int, Any], None]],
                list[Any]]
#: How often it is told how many parcels are done.
STEPS = 20
#: How the file's name begins that holds what all tasks need, in the folder of the tiles; where
#: nobody has used one for so long, whoever made it was killed. [s]
SHARED, LEFT = "shared-", 86_400
#: How the fault of a parcel begins that is none of its own; letters told of an error, at most.
OWN, LONGEST = "it could not be screened, by a fault of levelsill's own", 300
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
        A folder for finished tiles and parcels, which all workers see; a run that was stopped
        goes on there.
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
        If the district file or what it names cannot be used, or no parcel could be looked at by
        faults of levelsill's own. What is wrong with one parcel alone is told of that parcel.
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
    _, rules = with_rules(district.site_of(""))  # a wrong rule is told before hours of routing
    about = _surroundings(opened)
    progress("Reading the rain and the weather")
    overview, site = look_over(files), district.site_of("")
    given = read_rain(site, overview)
    progress("Following the water over the ground")
    kinds, _, graph = waters(opened, run)
    rain = district_rain(site, given, kinds)
    screened = _all_looked_at(Shared(opened, kinds, rain), about, tiles, run, each, progress)
    design = district.rain.storms.index(district.rain.design)
    rows, columns = files.shape
    notes = (soaks_note(district.suggest or Suggest(), rules), *opened.notes,
             *_rain_notes(rain.rain, district.rain.start_month), *CAUTIONS)
    return Screening(district, overview, tuple(ranked(screened, district.rank_by, design)), design,
                     rows * columns, opened.work.grid.count, graph, tuple(dict.fromkeys(notes)))


def _rain_notes(rain: Rain, start_month: int) -> list[str]:
    """What was assumed of rain and weather."""
    said = [*rain.hydrology.notes, *(rain.evaporation.notes if rain.evaporation else ())]
    if rain.record is not None:
        short = short_record(rain.record.depths, start_month)
        said = [*rain.record.notes, *([short] if short else []), *said]
    return said


@dataclass(frozen=True)
class Common:
    """The file that holds what all parcels need, and the SHA-256 of its bytes."""

    path: Path
    sha256: str


def _all_looked_at(shared: Shared, about: Sequence[Surroundings], tiles: Path, run: Run,
                   each: Each | None, progress: Progress) -> list[Screened]:
    """What is found of each parcel; those that were looked at before are not looked at again."""
    parcels, kept = shared.opened.parcels, KeptParcels.of(tiles, shared)
    files = [kept.file(shared, parcel, near) for parcel, near in zip(parcels, about, strict=True)]
    held = [kept_parcel(*one) for one in zip(files, parcels, strict=True)]
    left = [which for which, one in enumerate(held) if one is None]
    before = len(parcels) - len(left)
    progress(f"Looking at {len(left):,} parcels" + (f"; {before:,} were looked at before"
                                                    if before else ""))
    if left:
        kept.folder.mkdir(exist_ok=True)
        with _common(tiles, shared) as common:
            rows = [(common, which, about[which], files[which]) for which in left]
            found = _looked_at(rows, run, each, progress)
        for which, one in zip(left, found, strict=True):
            held[which] = _fault_of(parcels[which], one) if isinstance(one, Exception) else one
        if not before and all(isinstance(one, Exception) or one.fault.startswith(OWN)
                              for one in found):
            first = held[0].fault if held[0] is not None else ""
            raise InputError(str(shared.opened.district.path), "not one parcel could be screened, "
                             f"by faults that are not theirs; of the first, {first}",
                             "Nothing was written; see that workers are as docs/district.md asks, "
                             "and run again")
    return [one for one in held if one is not None]


def _looked_at(rows: Sequence[tuple[Any, ...]], run: Run, each: Each | None, progress: Progress
               ) -> list[Any]:
    """What a task gives for each row, or its error where `each` runs them."""
    if each is None:
        return run(told_or_fault, rows)
    many = len(rows)
    ended: list[int] = []

    def done(row: int, found: Any) -> None:
        ended.append(row)
        if len(ended) % max(many // STEPS, 1) == 0 and len(ended) < many:
            progress(f"Looking at parcels: {len(ended):,} of {many:,}")

    return each(told_or_fault, rows, done)


def told_or_fault(common: Common, which: int, about: Surroundings, file: Path) -> Screened:
    """Screen one parcel; what goes wrong is told in its place, and the others go on.

    Parameters
    ----------
    common : Common
        Where a `Shared` is kept.
    which : int
        The parcel's place in the layer, from 0.
    file : Path
        Where to keep what is found. Faults are not kept, as they may be mended.

    Raises
    ------
    InputError
        If the file of `common` is not there, or not as it was written.
    """
    shared, waters_ = _get(common)
    with suppress(OSError):
        os.utime(common.path)  # it is still needed
    parcel = shared.opened.parcels[which]
    try:
        found = screen_parcel(shared, parcel, waters_[which], about)
        if not found.fault:
            put_parcel(file, found)
        return found
    except Exception as error:  # whatever it is, it must not cost all the other parcels
        return _fault_of(parcel, error)


def _fault_of(parcel: Parcel, error: Exception) -> Screened:
    if isinstance(error, InputError):
        return Screened(parcel, fault=" ".join(str(error).split()))
    what = " ".join(str(error).split())[:LONGEST]
    return Screened(parcel, fault=f"{OWN} ({type(error).__name__}{what and ': '}{what})")


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
    def key(one: Screened) -> tuple[float, int]:
        return np.inf if one.fault else -worth(one, by, design), one.parcel.number

    return sorted(found, key=key)


def worth(one: Screened, by: Rank, design: int) -> float:
    """The figure that a parcel is ranked by, as `ranked` has it. [m3]"""
    if by == "kept":
        return max(keeps(one.swale, design), keeps(one.basin, design))
    water = one.year or one.storms[design]
    return {"catchable": water.catchable, "run-on": water.run_on, "road": water.road,
            "roof": water.roof}[by]


def keeps(ground: Ground | None, design: int) -> float:
    """What a place keeps of the average year, or of the design storm without a record; 0 where
    there is none. [m3]"""
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
def _common(tiles: Path, shared: Shared) -> Iterator[Common]:
    """Keep what all parcels need in a file for so long, so that it need not go with each task.

    Each run has one of its own, lest the first of two equal runs take the other's away.
    """
    for left in tiles.glob(f"{SHARED}*.pickle"):
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > LEFT:
                left.unlink()
    data = pickle.dumps(shared)
    path = tiles / f"{SHARED}{uuid4().hex}.pickle"
    try:
        put_whole(path, data, draft_name=DRAFT)
    except OSError as error:
        raise not_kept(tiles, error) from None
    try:
        yield Common(path, hashlib.sha256(data).hexdigest())
    finally:
        path.unlink(missing_ok=True)


@lru_cache(maxsize=1)
def _get(common: Common) -> tuple[Shared, Waters]:
    try:
        data = common.path.read_bytes()
    except OSError as error:
        raise InputError(str(common.path), f"a worker cannot read it ({error.strerror})",
                         "See that all workers see the folder of the tiles, and run again"
                         ) from None
    if hashlib.sha256(data).hexdigest() != common.sha256:  # unpickling runs what it says
        raise InputError(str(common.path), "it is not as this run wrote it",
                         "See that nobody else may write into the folder of the tiles, and run "
                         "again")
    shared: Shared = pickle.loads(data)
    return shared, Waters(shared.opened)
