"""Many site files planned at once, each as `levelsill plan` does, with one summary of them all."""

from __future__ import annotations

import csv
import glob
import os
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from terrain.errors import InputError
from terrain.files import RECORD, refuse_foreign, whole_folder
from terrain.outputs.data.answers_json import dumped
from terrain.outputs.district.ways import way
from terrain.outputs.plain_text import cell_text
from terrain.plan.planned import Plan
from terrain.plan.water.accounts import Account
from terrain.scratch import scratch, sweep
from terrain.units import printed

#: What a site file is called in a folder of its own, and where such files are looked for.
SITE_FILE, PATTERN = "site.yaml", "**/site.yaml"
#: The summary's files.
TABLE, FOR_PROGRAMS = "sites.csv", "sites.json"
#: What the folder is for in which workers make plans.
PURPOSE = "plans of sites"
#: The name of a site's folder has at most so many letters.
LONGEST = 100


class RunEach(Protocol):
    """Runs a task on each row of arguments and gives what each returned, or its error; `done` is
    told a row's number and that as soon as it ends (`terrain.district.engine.Workers.run_each`)."""

    def __call__(self, function: Callable[..., Any], rows: Sequence[tuple[Any, ...]],
                 done: Callable[[int, Any], None]) -> list[Any]: ...


@dataclass(frozen=True)
class Caught:
    """Where the runoff of a storm, or of an average year, went. [m3]

    Attributes
    ----------
    name : str
        Of the storm; "average year".
    rain : float or None
        Depth of the storm. [mm]
    catchable : float
        All that runs off the land and its roofs, and runs onto it.
    passive, roof, left : float
        Captured by the ground, captured off roofs, left the site.
    """

    name: str
    rain: float | None
    catchable: float
    passive: float
    roof: float
    left: float


@dataclass(frozen=True)
class SitePlan:
    """A site's headline figures.

    Attributes
    ----------
    path : Path
        The site file.
    name : str
        The site's own; where the file cannot be read, that of its plan's folder.
    folder : Path
        Where its plan lies.
    units : str
        "metric" or "us": what its site file asks for.
    area : float
        [m2]
    stores : int
    design : Caught or None
        In the design storm.
    year : Caught or None
        None without a rain record.
    cut : float
        Earth to dig, as it lies. [m3]
    money : (float, float) or None
        Low and high, of all that is priced; None where nothing is.
    currency : str
    cautions : int
        Beside the works; more may stand among the notes of its report.
    fault : str
        Why there is no plan, in one sentence; empty otherwise, and else the figures hold nothing.
    """

    path: Path
    name: str
    folder: Path
    units: str = "metric"
    area: float = 0.0
    stores: int = 0
    design: Caught | None = None
    year: Caught | None = None
    cut: float = 0.0
    money: tuple[float, float] | None = None
    currency: str = ""
    cautions: int = 0
    fault: str = ""


def find_sites(folder: Path, patterns: Sequence[str] = (PATTERN,)) -> list[Path]:
    """Site files of a folder, in the order of their paths, each once.

    Parameters
    ----------
    patterns : sequence of str
        Files as they are named from the folder; `*` stands for any letters, `**` for any folders.

    Raises
    ------
    InputError
        If no file fits one of them.
    """
    found: dict[Path, Path] = {}
    for pattern in patterns:
        named = [Path(folder) / name for name in glob.glob(pattern, root_dir=folder,
                                                           recursive=True)]
        files = [path for path in named if path.is_file()]
        if not files:
            raise InputError(str(folder), f"no site file fits \"{pattern}\"",
                             "Name site files as they lie in this folder, such as "
                             f"\"{PATTERN}\"")
        found |= {path.resolve(): path for path in files}
    return [found[path] for path in sorted(found)]


def plan_sites(paths: Sequence[Path], out: Path, run_each: RunEach,
               progress: Callable[[str], None] = lambda what: None) -> list[SitePlan]:
    """Plan sites side by side, each into a folder of its own.

    What is wrong with one is told with it, and the others go on.  A plan comes to its place whole
    or not at all, as soon as it is made.

    Parameters
    ----------
    out : Path
        Holds the folders; it is made where it is not there.

    Returns
    -------
    plans : list of SitePlan
        In the order of the paths.

    Raises
    ------
    InputError
        If nothing may be written there.
    """
    plans = [SitePlan(path, name, out / name)
             for path, name in zip(paths, folder_names(paths), strict=True)]
    with ExitStack() as stack:
        try:
            out.mkdir(parents=True, exist_ok=True)
            drafts = stack.enter_context(scratch(out, PURPOSE))
        except OSError as error:
            raise InputError(str(out), f"no folder can be made in it ({error.strerror})",
                             "Name a folder of your own with --out") from None
        sweep(out, PURPOSE)
        asked, rows = [], []
        for number, plan in enumerate(plans):
            try:
                refuse_foreign(plan.folder)  # before the work, not after it
            except InputError as error:
                plans[number] = replace(plan, fault=_sentence(error))
                continue
            asked.append(number)
            rows.append((Path(os.path.abspath(plan.path)),
                         Path(os.path.abspath(drafts)) / f"{number}"))

        def done(row: int, found: Any) -> None:
            number = asked[row]
            plans[number] = _put(plans[number], rows[row][1], found)
            ended.append(number)
            progress(f"Planned {len(ended):,} of {len(rows):,} sites")

        ended: list[int] = []
        progress(f"Planning {len(rows):,} sites")
        run_each(plan_site, rows, done)
    return plans


def plan_site(path: Path, folder: Path) -> SitePlan:
    """Plan one site and write its plan, in this process alone.

    What goes wrong is told in what is returned.
    """
    from terrain.outputs.folder import write_plan
    from terrain.plan.doubt.doubt import with_doubt
    from terrain.plan.plan import make_plan

    try:
        plan = with_doubt(make_plan(path), workers=1)
        write_plan(plan, folder)
        return _summed(plan, path, folder)
    except Exception as error:
        return SitePlan(path, "", folder, fault=_sentence(error))


def folder_names(paths: Sequence[Path]) -> list[str]:
    """A folder's name for each site file, after where it lies below the folder that holds them
    all; no two are the same, small letters or capitals.

    Examples
    --------
    >>> folder_names([Path("/land/east/site.yaml"), Path("/land/west/site.yaml"),
    ...               Path("/land/west/dry.yaml")])
    ['east', 'west', 'west-dry']
    """
    whole = [Path(os.path.abspath(path)) for path in paths]
    above = Path(os.path.commonpath([path.parent for path in whole])) if whole else Path()
    names: list[str] = []
    taken: set[str] = set()
    for path in whole:
        parts = [*path.parent.relative_to(above).parts,
                 *([path.stem] if path.name != SITE_FILE else [])]
        stem = ("-".join(parts) or above.name)[-LONGEST:].lstrip(".") or "site"
        name, copy = stem, 1
        while name.casefold() in taken:
            copy += 1
            name = f"{stem}-{copy}"
        taken.add(name.casefold())
        names.append(name)
    return names


def _put(plan: SitePlan, draft: Path, found: Any) -> SitePlan:
    """Bring a plan that a worker made to its place; what is to be told of the site."""
    if isinstance(found, InputError):  # its workers died again and again
        return replace(plan, fault=f"levelsill did not end with this site: {found.what}. "
                       "Give workers more memory, or cut its raster to the property and the "
                       "slopes above it.")
    if not isinstance(found, SitePlan):
        return replace(plan, fault=_sentence(found))
    if found.fault:
        return replace(plan, fault=found.fault)
    try:
        with whole_folder(plan.folder) as place:
            for part in draft.iterdir():
                if part.name != RECORD:
                    os.replace(part, place / part.name)
    except InputError as error:
        return replace(plan, fault=_sentence(error))
    return replace(found, path=plan.path, folder=plan.folder)


def _sentence(error: Any) -> str:
    """What went wrong with a site."""
    if isinstance(error, InputError):
        return " ".join(str(error).split())
    if isinstance(error, MemoryError):
        return ("its raster is too large for this machine's memory. Cut it to the property and "
                "the slopes above it.")
    said = " ".join(str(error).split())[:300]
    return (f"levelsill failed on this site ({type(error).__name__}{': ' if said else ''}{said}); "
            "nothing of its plan was written. Please report it with the site file.")


def _summed(plan: Plan, path: Path, folder: Path) -> SitePlan:
    design, money = plan.site.rain.design, plan.money
    priced = money is not None and bool(money.whole.parts)
    return SitePlan(
        path, plan.site.name, folder, plan.site.units, float(plan.inputs.ground.boundary.area),
        len(plan.stores), _caught(design.name, design.depth, plan.storms[design.name]),
        None if plan.year is None else _caught("average year", None, plan.year),
        0.0 if plan.earth is None else float(sum(work.cut for work in plan.earth.works)),
        money.whole.cost if money is not None and priced else None,
        money.currency if money is not None and priced else "",
        sum(len(store.cautions) for store in plan.stores))


def _caught(name: str, rain: float | None, account: Account) -> Caught:
    return Caught(name, rain, account.rain + account.run_on - account.soaked_in_place,
                  account.passive, account.roof, account.left_site)


def sites_object(plans: Sequence[SitePlan], beside: Path) -> dict[str, Any]:
    """Every figure for programs, in SI; paths as they are named from the folder `beside`."""
    def caught(one: Caught | None) -> dict[str, Any] | None:
        return None if one is None else {
            "name": one.name, "rain_mm": one.rain, "catchable_m3": one.catchable,
            "passive_m3": one.passive, "roof_m3": one.roof, "left_site_m3": one.left}

    def told(one: SitePlan) -> dict[str, Any]:
        head = {"name": one.name, "site_file": way(beside, one.path), "fault": one.fault or None}
        if one.fault:
            return head
        return {**head, "plan": way(beside, one.folder), "area_m2": one.area,
                "stores": one.stores, "design_storm": caught(one.design),
                "average_year": caught(one.year), "cut_m3": one.cut,
                "money": None if one.money is None else list(one.money),
                "currency": one.currency or None, "cautions": one.cautions}

    return {"units": "SI", "sites": [told(one) for one in plans]}


def write_sites(plans: Sequence[SitePlan], draft: Path, beside: Path) -> None:
    """Write `sites.json` and `sites.csv` into a folder that is being made.

    The table is in US units where all sites are, and in metric ones otherwise.

    Parameters
    ----------
    beside : Path
        Where the folder will lie, from which paths are named.
    """
    (draft / FOR_PROGRAMS).write_text(dumped(sites_object(plans, beside)) + "\n",
                                      encoding="utf-8", newline="\n")
    planned = [one for one in plans if not one.fault]
    system = "us" if planned and all(one.units == "us" for one in planned) else "metric"
    columns = [("area", "land"), *((f"{part}, {when}", "volume")
               for when in ("design storm", "average year")
               for part in ("catchable", "passive", "roof")), ("earth to dig", "earth")]
    plain = str.maketrans({"²": "2", "³": "3"})
    heads = [f"{name}, {printed(dimension, system)[0].translate(plain)}"
             for name, dimension in columns]

    def row(one: SitePlan) -> list[str]:
        start = [cell_text(one.name), cell_text(way(beside, one.path))]
        if one.fault:
            return [*start, *[""] * (len(columns) + 5), cell_text(one.fault)]
        values = [one.area, *(None if caught is None else getattr(caught, part)
                              for caught in (one.design, one.year)
                              for part in ("catchable", "passive", "roof")), one.cut]
        figures = []
        for value, (_, dimension) in zip(values, columns, strict=True):
            _, factor, places = printed(dimension, system)
            figures.append("" if value is None else f"{value * factor:.{places + 2}f}")
        money = ["", ""] if one.money is None else [f"{end:.2f}" for end in one.money]
        return [*start, *figures, *money, cell_text(one.currency), f"{one.cautions}",
                cell_text(way(beside, one.folder)), ""]

    with open(draft / TABLE, "w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["site", "site file", *heads, "cost, low", "cost, high", "currency",
                         "cautions", "plan", "no plan, because"])
        writer.writerows(map(row, plans))
