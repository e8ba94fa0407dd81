"""levelsill rain: what a daily record, or a table of depths, says of the rain."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli import options
from cli.console import facts, heading, progress, remarks, save_picture, say, table

if TYPE_CHECKING:
    from terrain.plan.rain import RecordAnswer, TableAnswer


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--unit", type=click.Choice(["mm", "in", "0.1 mm"]),
              help="Unit of the depths, if the file does not say.")
@click.option("--more-than", "more_than", multiple=True, type=options.Quantity("rain"),
              help="Say how often more than this falls, such as 35mm or '1.4 in'; as often as you "
                   "like.")
@click.option("--start-month", type=click.IntRange(1, 12),
              help="Month in which a year begins, 1 to 12; best a dry one. January if left out.")
@click.option("--return-period", type=click.FloatRange(1, 10_000), metavar="YEARS",
              help="Also the depth once in so many years.")
@click.option("--duration", type=options.Quantity("time"),
              help="Of a table: the depth of a rain so long, such as '90 min' or 6h.")
@options.units
@options.picture
@options.as_json
def rain(file: Path, system: str, picture: Path | None, as_json: bool, **words: Any) -> None:
    """Say how much it rains, how often and how hard, from a daily record or a table of depths.

    \b
    levelsill rain daily.csv --more-than 35mm --picture rain.png
    levelsill rain depths.csv --return-period 25 --duration 6h
    """
    from terrain.plan.rain import TableAnswer, rain_of

    with progress() as step:
        step("Reading the rain")
        answer = rain_of(file, system=system, **words)
    if as_json:
        from terrain.outputs.data.answers_json import dumped
        from terrain.outputs.data.rain_json import rain_answer

        say(dumped(rain_answer(answer)))
    else:
        if isinstance(answer, TableAnswer):
            _show_table(answer, system)
        else:
            _show_record(answer, system)
        remarks("What this rests on", answer.notes)
    if picture is not None:
        from terrain.outputs.charts.rain_charts import draw_rain

        save_picture(lambda: draw_rain(answer, system), picture)


def _show_table(answer: TableAnswer, system: str) -> None:
    from terrain.units import shown, unit_name

    say(f"Depths of rain in {answer.source}, {unit_name('rain', system)}")
    heading("Once in so many years")
    table(["duration", *(f"{years:g}" for years in answer.depths.columns)],
          [[_duration(float(hours)), *(shown(float(depth), "rain", system, with_unit=False)
                                for depth in answer.depths.loc[hours])]
           for hours in answer.depths.index])


def _duration(hours: float) -> str:
    if hours < 1:
        return f"{60 * hours:g} min"
    return f"{hours / 24:g} days" if hours >= 48 else f"{hours:g} h"


def _show_record(answer: RecordAnswer, system: str) -> None:
    from calendar import month_abbr

    from terrain.runoff.rain_years import LEAST_FOR_TENTHS, WET, year_name
    from terrain.units import shown

    def depth(value: Any) -> str:
        return shown(float(value), "rain", system)

    daily = answer.record.depths
    missing = int(daily.isna().sum())
    say(f"Daily rain in {answer.record.source}")
    facts([("span", f"{daily.index[0]:%Y-%m-%d} to {daily.index[-1]:%Y-%m-%d}"),
           ("days missing", f"{missing:,} of {len(daily):,}"),
           ("whole years", f"{len(answer.years.whole)}")])
    heading("An average year")
    table(["month", "rain", f"days of {depth(WET)} or more"],
          [*([month_abbr[month], depth(answer.months[month]), f"{answer.wet_days[month]:.1f}"]
             for month in range(1, 13)),
           ["year", depth(answer.mean_year), f"{answer.wet_days.sum(skipna=False):.1f}"]])
    if answer.kinds:
        heading("Dry and wet years")
        few = len(answer.totals) < LEAST_FOR_TENTHS
        said = ("the driest" if few else "one in ten is drier", "half are drier",
                "the wettest" if few else "one in ten is wetter")
        facts([(f"{name} year", f"{depth(value)}  ({words})")
               for (name, value), words in zip(answer.kinds.items(), said, strict=True)])
    heading("How often it rains more")
    table(["more than", "days a year", "once in", "storms a year"],
          [[depth(one.depth), f"{one.days_a_year:.1f}", _once_in(one.days_a_year),
            f"{one.storms_a_year:.1f}"] for one in answer.often])
    if len(answer.maxima.depths):
        heading(f"The greatest day of each year, {answer.begins}")
    _maxima([f"{year_name(int(year), answer.years.start_month)} {depth(most)}"
             for year, most in answer.maxima.depths.items()])
    if answer.levels is not None and answer.extremes is not None:
        say()
        table(["once in", "a day's rain", f"{answer.extremes.confidence:.0%} band", "any 24 h"],
              [[f"{years:g} years", depth(row["depth_mm"]),
                f"{depth(row['low_mm'])} to {depth(row['high_mm'])}", depth(row["any_24_hours_mm"])]
               for years, row in answer.levels.iterrows()])
    if len(answer.spells):
        heading("The longest dry spells")
        table(["days", "from", "to"],
              [[("at least " if spell["open"] else "") + f"{spell['days']}",
                f"{spell['first']:%Y-%m-%d}", f"{spell['last']:%Y-%m-%d}"]
               for spell in answer.spells.to_dict("records")])


def _once_in(days_a_year: float) -> str:
    """A frequency as the time between; nothing where it never happened."""
    if days_a_year <= 0:
        return "never"
    if days_a_year >= 1:
        return f"{365.25 / days_a_year:.0f} days"
    return f"{1 / days_a_year:.1f} years"


def _maxima(said: list[str], columns: int = 5) -> None:
    width = max((len(one) for one in said), default=0)
    for first in range(0, len(said), columns):
        say("  " + "   ".join(f"{one:<{width}}" for one in said[first:first + columns]).rstrip())
