"""levelsill soak: how fast the ground takes water."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import facts, heading, remarks, say, table


class HoleSize(options.Quantity):
    """A size of a hole, never without its unit: twelve may be inches or feet."""

    def __init__(self) -> None:
        super().__init__("length")

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> float:
        if isinstance(value, str) and not any(letter.isalpha() for letter in value):
            self.fail(f"'{value}' has no unit; write it as 300mm or 12in", param, ctx)
        return super().convert(value, param, ctx)


class Sides(options.Kind):
    """Length and width of a pit."""

    name = "LENGTH,WIDTH"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> tuple[float, float]:
        if isinstance(value, tuple):
            return value
        parts = str(value).split(",")
        if len(parts) != 2:
            self.fail(f"'{value}' is not two sides such as 0.6m,0.6m", param, ctx)
        length = HoleSize()
        return length.convert(parts[0], param, ctx), length.convert(parts[1], param, ctx)


@click.command()
@click.argument("readings", required=False, type=click.Path(path_type=Path))
@click.option("--diameter", type=HoleSize(), help="Of a round hole, such as 300mm.")
@click.option("--pit", type=Sides(), help="Sides of a square or oblong pit, such as 0.6m,0.6m.")
@click.option("--hole-depth", type=options.Quantity("length"),
              help="From the rim to the bottom, if the water was measured down from the rim.")
@click.option("--safety", type=click.FloatRange(1, 100), help="What the measured rate is divided "
              "by; 2 if left out.")
@click.option("--texture", help="The soil's texture, such as 'sandy loam', for a default.")
@click.option("--group", type=click.Choice(list("ABCD")), help="The soil group, for a default.")
@click.option("--depth", type=options.Quantity("length"),
              help="A depth of water: how long does it stand?")
@options.units
@options.as_json
def soak(readings: Path | None, diameter: float | None, pit: tuple[float, float] | None,
         hole_depth: float | None, safety: float | None, texture: str | None, group: str | None,
         depth: float | None, system: str, as_json: bool) -> None:
    """Say how fast the ground takes water, from a hole test or by default.

    READINGS is a table of when and how high the water stood over the bottom of a hole, such as
    minutes,depth_mm. Without it, name a texture or a soil group.

    \b
    levelsill soak hole.csv --diameter 300mm --depth 0.3m
    levelsill soak --texture 'sandy loam' --depth 0.3m
    """
    given = [name for name, value in (("READINGS", readings), ("--texture", texture),
                                      ("--group", group)) if value is not None]
    if len(given) != 1:
        raise click.UsageError("Give one of READINGS, --texture and --group"
                               + (f", not {' and '.join(given)}" if given else ""))
    if readings is None:
        idle = [name for name, value in (("--diameter", diameter), ("--pit", pit), ("--hole-depth",
                hole_depth), ("--safety", safety)) if value is not None]
        if idle:
            raise click.UsageError(f"{idle[0]} belongs to a hole test: give its READINGS too")
    from terrain.plan.soak import by_default, from_hole
    from terrain.runoff.hole_test import SAFETY

    if readings is None:
        answer = by_default(texture, group, depth)
    else:
        answer = from_hole(readings, diameter, pit, SAFETY if safety is None else safety,
                           hole_depth, depth)
    if as_json:
        from terrain.outputs.data.answers_json import dumped
        from terrain.outputs.data.soak_json import soak_answer

        say(dumped(soak_answer(answer, system)))
        return
    _show(answer, system)


def _show(answer: Any, system: str) -> None:
    from terrain.plan.soak import site_line
    from terrain.units import shown

    test = answer.test
    rows = [("rate to count on", _rate(answer.rate, system))]
    if test is None:
        say(f"By default, for {answer.source}")
    else:
        say(f"What {test.hole.words} says")
        least = "at least " if test.at_least else ""
        rows += [("measured", least + _rate(test.measured, system)),
                 ("divided by", f"{test.safety:g}"),
                 ("steady", "yes" if test.steady else
                  "not known" if test.at_least else "no, still falling"),
                 ("would fit", f"soil group {answer.soil_group}"
                  + (" or a faster one" if test.at_least and answer.soil_group != "A" else ""))]
    if answer.drawdown is not None:
        rows.append((f"{shown(answer.drawdown.depth, 'length', system, 2)} stands",
                     _stands(answer.drawdown)))
    facts(rows)
    if test is not None:
        heading("Readings")
        table(["filling", "from", "to", "water before", "after", "rate", ""],
              [[str(i.filling), f"{i.start:,.1f} min", f"{i.end:,.1f} min",
                shown(i.depth_before, "rain", system), shown(i.depth_after, "rain", system),
                _rate(i.rate, system),
                "" if i.clear else "ran dry" if i.depth_after == 0 else "too little to tell"]
               for i in test.intervals])
        heading("For the site file")
        say(f"  {site_line(answer.rate, system)}")
    remarks("Cautions", answer.cautions)
    remarks("What this rests on", answer.rests_on)


def _rate(rate: float, system: str) -> str:
    """A rate; a slow one, which takes days, with more decimals."""
    from terrain.units import shown

    return shown(rate, "rate", system, (3 if system == "us" else 2) if abs(rate) < 10 else None)


def _stands(drawdown: Any) -> str:
    import math

    if math.isinf(drawdown.hours):
        return "for good: nothing soaks in"
    over = [f"{limit:.0f}" for limit, longer in drawdown.over.items() if longer]
    within = [f"{limit:.0f}" for limit, longer in drawdown.over.items() if not longer]
    said = [f"{word} {_listed(limits)} h" for word, limits in (("over", over), ("within", within))
            if limits]
    return f"{drawdown.hours:,.0f} h ({', '.join(said)})"


def _listed(words: list[str]) -> str:
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))
