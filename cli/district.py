"""levelsill district: many properties on one ground, screened and ranked; many sites planned."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import heading, progress, remarks, say, table

#: So many parcels are printed; the table holds them all.
MOST_SHOWN = 20
#: What looking at a parcel, or planning a site, may take in a worker beside its tile: as much as
#: the largest parcel that is looked at. [bytes]
PARCEL = 2_000_000_000


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path, file_okay=False),
              help="Folder to write into; 'district' in DIR if left out.")
@click.option("--tiles", type=click.Path(path_type=Path, file_okay=False),
              help="Folder for finished tiles, kept between runs: a run that was stopped goes on "
                   "there. 'district tiles' in DIR if left out.")
@click.option("--workers", type=click.IntRange(1, 1024), metavar="NUMBER",
              help="How many processes work side by side; one for each core if left out.")
@click.option("--scheduler", metavar="ADDRESS",
              help="A dask scheduler whose workers are to do it, such as tcp://10.0.0.5:8786; "
                   "they must see the same folders.")
@click.option("--side", type=click.IntRange(64, 16_384), metavar="CELLS", default=2048,
              show_default=True, help="Side of a tile.")
@click.option("--page", "pages", multiple=True, metavar="PARCEL",
              help="A parcel that is to have a page of its own; as often as you like.")
@click.option("--rasters", is_flag=True, help="Write flow direction, contributing area and the "
              "filled surface too.")
@options.as_json
def district(folder: Path, out: Path | None, tiles: Path | None, workers: int | None,
             scheduler: str | None, side: int, pages: tuple[str, ...], rasters: bool,
             as_json: bool) -> None:
    """Screen every parcel of a district: its water, its best places for works, a ranking.

    DIR holds district.yaml. Site files that it names under sites are planned too; a folder
    without a district file has all its site.yaml planned.

    \b
    levelsill district valley
    levelsill district valley --page 'Upper Farm' --workers 8
    levelsill district valley --scheduler tcp://10.0.0.5:8786 --tiles /shared/tiles
    """
    from terrain.district.engine import engine, memory_of
    from terrain.files import is_folder, refuse_foreign
    from terrain.inputs.district import FILE

    home = folder if is_folder(folder) else folder.parent
    out = home / "district" if out is None else out
    tiles = home / "district tiles" if tiles is None else tiles
    refuse_foreign(out)  # before the work, not after it
    given = folder / FILE if is_folder(folder) else folder
    if is_folder(folder) and not given.exists():
        _refuse_of_parcels(pages, rasters, folder)
        with progress() as step, engine(scheduler, workers=workers, memory=PARCEL) as run:
            _plans_alone(folder, out, run, step, as_json)
        return
    _refuse_within(out, tiles)
    with progress() as step, engine(scheduler, workers=workers,
                                    memory=memory_of(side) + PARCEL) as run:
        run.check(tiles)
        _screened(given, out, tiles, run, step, side, pages, rasters, as_json)


def _refuse_within(out: Path, tiles: Path) -> None:
    """Refuse folders of which one lies in the other: what is written is made anew each time, and
    tiles stay."""
    from terrain.errors import InputError

    one, other = out.resolve(), tiles.resolve()
    if one.is_relative_to(other) or other.is_relative_to(one):
        raise InputError(str(tiles), f"the folder of the tiles and the one to write into ({out}) "
                         "lie one in the other, or are the same", "Name folders beside each other "
                         "with --tiles and --out")


def _refuse_of_parcels(pages: tuple[str, ...], rasters: bool, folder: Path) -> None:
    """Refuse what only a district file can answer."""
    from terrain.errors import InputError
    from terrain.inputs.district import FILE

    if pages or rasters:
        raise InputError(str(folder), f"it holds no {FILE}, so there are neither parcels nor a "
                         "ground of the district", f"Write {FILE} (docs/district.md), or leave "
                         "--page and --rasters out")


def _screened(given: Path, out: Path, tiles: Path, run: Any, step: Any, side: int,
              pages: tuple[str, ...], rasters: bool, as_json: bool) -> None:
    from terrain.district.rasters import write_rasters
    from terrain.district.screening import screen
    from terrain.inputs.district import read_district
    from terrain.outputs.district.district_folder import write_screening
    from terrain.units import told_first

    sites = _sites_of(read_district(given))  # a wrong pattern is told before the work
    found = screen(given, tiles, run.run, step, side, pages, run.run_each)
    foot = found.overview.frame.foot
    click.get_current_context().with_resource(
        told_first("metric" if as_json else found.district.units, foot))
    plans = _planned(sites, out, run, step)

    def beside(draft: Path) -> list[tuple[str, str]]:
        more = []
        if rasters:
            (draft / "rasters").mkdir()
            more += [(f"rasters/{name}", words) for name, words in write_rasters(
                given, tiles, draft / "rasters", run.run, step, side)]
        if plans:
            from terrain.outputs.district.site_plans import write_sites

            write_sites(plans, draft, out)
            more += [("sites.csv", "the site files that were planned, one row each"),
                     ("sites.json", "the same for programs")]
        return more

    written = write_screening(found, out, step, beside, _sites_table(plans, out))
    if as_json:
        from terrain.outputs.data.answers_json import dumped
        from terrain.outputs.district.district_folder import object_of

        say(dumped(object_of(found)))
    else:
        _show(found)
        _show_plans(plans, found.district.units)
    click.echo("".join(f"Written: {path}\n" for path in written), err=True, nl=False)
    click.echo(f"Finished tiles and parcels are kept in {tiles}; once nobody needs them, take that "
               "folder away.", err=True)
    _end_of_plans(plans, out)


def _sites_of(described: Any) -> list[Path]:
    from terrain.outputs.district.site_plans import find_sites

    return find_sites(described.folder, described.sites) if described.sites else []


def _planned(sites: list[Path], out: Path, run: Any, step: Any) -> list[Any]:
    """Plan sites into the folder beside the screening's."""
    from terrain.outputs.district.site_plans import plan_sites

    return plan_sites(sites, plans_beside(out), run.run_each, step) if sites else []


def plans_beside(out: Path) -> Path:
    """Where the plans of sites lie: beside the folder that each run makes anew."""
    return out.absolute().with_name(f"{out.absolute().name} plans")


def _sites_table(plans: list[Any], out: Path) -> Any:
    from terrain.outputs.district.sites_page import sites_table

    return sites_table(plans, out) if plans else ""


def _plans_alone(folder: Path, out: Path, run: Any, step: Any, as_json: bool) -> None:
    from terrain.outputs.district.site_plans import find_sites, sites_object
    from terrain.outputs.district.sites_page import write_plans

    plans = _planned(find_sites(folder), out, run, step)
    written = write_plans(plans, folder.absolute().name, out)
    if as_json:
        from terrain.outputs.data.answers_json import dumped

        say(dumped(sites_object(plans, out)))
    else:
        _show_plans(plans, None)
    click.echo("".join(f"Written: {path}\n" for path in written), err=True, nl=False)
    _end_of_plans(plans, out)


def _show(found: Any) -> None:
    """What was found, the ranking, then what all of it rests on."""
    from terrain.outputs.district import tables, words
    from terrain.outputs.one_system import in_one

    system = found.district.units
    say(f"{found.district.name}. {words.lead(found)}")
    remarks("What was found", words.found_lines(found, system))
    rows = tables.ranking_rows(found, system)
    if rows:
        heading(f"Ranked by {words.ranked_by(found)}")
        heads = tables.ranking_heads(found)
        table([heads[1], heads[0], *heads[2:]],
              [[row[1], row[0], *row[2:]] for row in rows[:MOST_SHOWN]])
        if len(rows) > MOST_SHOWN:
            say(f"  {len(rows) - MOST_SHOWN:,} more stand in district.csv.")
        say(f"  Own, run-on, catchable and roads: of the {words.design_name(found)}.")
    remarks("Not screened", [f"{name}: {why}" for name, why in words.not_screened(found)])
    remarks("Before anybody acts on it", words.TAKE_CARE)
    remarks("What this rests on", [in_one(line, system) for line in words.rests_on(found)])


def _show_plans(plans: list[Any], system: str | None) -> None:
    """The sites that were planned, and those that could not be."""
    from terrain.outputs.district.sites_page import HEADS, sites_rows, why_not

    if not plans:
        return
    heading("Sites planned")
    rows = sites_rows([plan for plan in plans if not plan.fault])
    if rows:
        table(HEADS, rows)
    remarks("Not planned", [why_not(plan) for plan in plans if plan.fault])


def _end_of_plans(plans: list[Any], out: Path) -> None:
    """Say where plans lie; a run of which a site has none ends with 1."""
    if any(not plan.fault for plan in plans):
        click.echo(f"Plans lie in {plans_beside(out)}.", err=True)
    if any(plan.fault for plan in plans):
        raise SystemExit(1)
