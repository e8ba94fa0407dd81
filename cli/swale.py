"""levelsill swale: lay out one swale on contour."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import arrival, decimal, facts, progress, remarks, save_picture, say, storm_table
from terrain.units import DEEPEST_DUG, WIDEST_BED


class _Drawn(click.Command):
    """Takes the points of a drawn line as `--along X,Y X,Y`."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        spread: list[str] = []
        along = False
        for word in args:
            along = word == "--along" or (along and "," in word and not word.startswith("--"))
            if along and word != "--along" and spread[-1] != "--along":
                spread.append("--along")
            spread.append(word)
        return super().parse_args(ctx, spread)


@click.command(cls=_Drawn)
@options.dem
@click.option("--through", type=options.XY(),
              help="A point the swale passes through, in the raster's own coordinates.")
@click.option("--level", type=options.Level(),
              help="The level of its contour, with --near (or --along).")
@click.option("--near", type=options.XY(), help="A point near the contour of --level.")
@click.option("--along", multiple=True, type=options.XY(), metavar="X,Y X,Y ...",
              help="A drawn line, pulled on to the contour that it lies along.")
@click.option("--radius", type=options.Quantity("length"),
              help="Least radius of its bends; 3 m (10 ft) if left out.")
@click.option("--shape", type=click.Choice(["trapezoid", "parabola", "vee"]), default="trapezoid",
              show_default=True, help="Of its section.")
@click.option("--length", type=options.Quantity("length"),
              help="Its length; left out, 60 m (200 ft), or longer where that "
                               "holds the first storm.")
@click.option("--depth", type=options.Quantity("length", most=DEEPEST_DUG),
              help="Depth of water at the sill; left out, what holds the first storm, between "
                   "0.2 and 0.5 m (8 and 20 in).")
@click.option("--width", type=options.Quantity("length", most=WIDEST_BED),
              help="Width of the bed (0.6 m, 2 ft, if left out), or of a parabola's water.")
@click.option("--side-slope", type=options.Ratio(), help="Slope of its sides; 2:1 if left out.")
@click.option("--solve", type=click.Choice(["depth", "width", "length"]),
              help="The one size to find, so that it holds the first storm.")
@click.option("--checks", type=options.Quantity("length", positive=False, least=0.0),
              help="Spacing of earth checks in its bed; 0 for none.")
@click.option("--soil", type=click.Choice(["clay", "loam", "sand"]), default="loam",
              show_default=True, help="What its berm is made of.")
@options.rain
@options.ground
@options.rates
@options.raster
@options.units
@options.picture
@options.as_json
def swale(dem: Path, through: tuple[float, float] | None, level: str | None,
          near: tuple[float, float] | None, along: tuple[tuple[float, float], ...],
          radius: float | None, shape: str, length: float | None, depth: float | None,
          width: float | None, side_slope: float | None, solve: str | None,
          checks: float | None, soil: str, rates: tuple[float, float] | None,
          system: str, picture: Path | None, as_json: bool, **words: Any) -> None:
    """Lay out one swale on a contour: line, size, earth, sill, catch.

    \b
    levelsill swale hill.tif --through 512340,6430125 --storm 30mm --cn 82
    levelsill swale hill.tif --through 512340,6430125 --length 60m --depth 0.4m
    levelsill swale hill.tif --level 1198.4m --near 512340,6430125 --shape parabola
    levelsill swale hill.tif --along 512300,6430120 512380,6430131 --storm 30mm --cn 82
    """
    from terrain.outputs.data.answers_json import dumped, swale_answer
    from terrain.plan.safety.raster_edge import bound_of
    from terrain.plan.swale_question import SwaleWords, swale_of
    from terrain.units import shown, unit_name, within_words, worked
    from terrain.works.swale_size import Wanted

    wanted = Wanted(length, depth, width, side_slope, shape, solve, checks)
    options.in_its_foot(dem, words)
    said = SwaleWords(through, near, options.level(level, system), along, wanted, radius, soil,
                      system)
    with progress() as step:
        step("Laying out the swale")
        answer = swale_of(dem, said, options.rain_words(words), options.ground_words(words),
                          options.raster_words(words), rates)
    if as_json:
        say(dumped(swale_answer(answer)))
    else:
        made, grid = answer.swale, answer.question.dem
        amount = answer.quantities
        say(f"A swale on the contour at {shown(made.route.level, 'level', system)} "
            f"on {grid.source}")
        section = made.section
        form = {"trapezoid": f"bed {shown(made.width, 'size', system)}, water "
                             f"{shown(made.depth, 'size', system)} deep",
                "parabola": f"parabola, water {shown(made.width, 'size', system)} wide and "
                            f"{shown(made.depth, 'size', system)} deep",
                "vee": f"vee, water {shown(made.depth, 'size', system)} deep"}[section.shape]
        rows = [("length", shown(made.route.length, "length", system)),
                ("line", f"ground within {within_words(made.route.deviation, system)} of its "
                         "level, " + ("straight" if made.route.radius > 1e6 else
                                      "tightest bend "
                                      f"{shown(made.route.radius, 'size', system)} in radius")),
                ("section", f"{form}, sides {made.side_slope:.3g}:1, "
                            f"{shown(made.top_width, 'size', system)} wide at the ground"),
                ("ground slope", f"{made.route.cross_slope:.1%} across the line")]
        if made.checks:
            rows.append(("checks", f"{len(made.checks)} of earth, at station " + ", ".join(
                shown(check.chainage, "length", system, 1, False) for check in made.checks)
                + f" {unit_name('length', system)}"))
        rows += [
                ("holds", shown(answer.storage, "volume", system)),
                ("catchment", bound_of([answer.catchment])
                 + shown(answer.catchment.area, "ground", system)),
                ("sill", f"at {shown(made.sill.level, 'level', system)}, "
                         f"{shown(made.sill.length, 'length', system)} long, near "
                         f"{grid.named(made.sill_x, made.sill_y)}"),
                ("berm", f"{shown(made.berm_height, 'size', system)} above the sill once settled, "
                         f"{shown(made.berm_height_built, 'size', system)} as built, sides "
                         f"{made.berm_side_slope:g}:1"),
                ("dig", f"{shown(made.cut, 'earth', system)}; the berm takes "
                        f"{shown(made.berm, 'earth', system)}"),
                _left(*answer.left_over, system),
                ("machine", f"about {worked(amount.hours)} with a small excavator in easy ground")]
        if amount.money is not None:
            rows.append(("cost", f"{amount.money[0]:,.0f} to {amount.money[1]:,.0f}, for those "
                         "hours alone"))
        facts(rows)
        storm_table(answer.storms, system)
        if answer.storms:
            arrival(answer.catchment, answer.storms, system)
        remarks("Cautions", answer.cautions)
        remarks("What this rests on", [*decimal(system), *grid.notes, *answer.rests_on])
    if picture is not None:
        from terrain.outputs.sheets.work_sheets import draw_swale

        save_picture(lambda: draw_swale(answer, system), picture)


def _left(over: float, loose: float, system: str) -> tuple[str, str]:
    """Earth that the berm does not take, or that it wants."""
    from terrain.units import shown

    if over < 0:
        return "earth wanting", f"{shown(-over, 'earth', system)} more for the berm than is dug"
    return "earth left", (f"{shown(over, 'earth', system)} as it lies in the ground, "
                          f"{shown(loose, 'earth', system)} loose, to spread or carry off")
