"""Options that several commands share, and how their words are read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    Kind = click.ParamType[Any]
else:  # which knows no kinds at run time before click 8.2
    Kind = click.ParamType

Command = TypeVar("Command", bound=Callable[..., Any])
#: What numbers without a unit were taken for; said after the answer, and not where one is refused.
BARE: list[str] = []


class XY(Kind):
    """A place as X,Y."""

    name = "X,Y"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> tuple[float, float]:
        if isinstance(value, tuple):
            return value
        try:
            x, y = (float(part) for part in str(value).split(","))
        except ValueError:
            several = str(value).count(",") == 3
            self.fail(f"'{value}' is " + ("more than one place; part places by a blank" if several
                                          else "not a place such as 512340,6430125, without a "
                                          "blank"), param, ctx)
        if not (abs(x) < 1e12 and abs(y) < 1e12):
            self.fail(f"'{value}' is not a place on Earth", param, ctx)
        return x, y


class Quantity(Kind):
    """A quantity with its unit, such as '1.2 in'; a bare number is taken in `--units`."""

    def __init__(self, dimension: str, positive: bool = True, least: float | None = None,
                 most: float | None = None) -> None:
        self.dimension, self.positive, self.least, self.most = dimension, positive, least, most
        self.name = {"rain": "DEPTH", "length": "LENGTH"}.get(dimension, dimension.upper())

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> float:
        if isinstance(value, float):
            return value
        from terrain.units import read_quantity

        try:
            system = (ctx.params.get("system") if ctx is not None else None) or "metric"
            number = read_quantity(value, self.dimension, system)
        except ValueError as error:
            self.fail(str(error), param, ctx)
        bare = value.strip().lstrip("+-").replace(".", "", 1).isdigit()
        if self.most is not None and number > self.most:
            self.fail(f"'{value}' is more than {self.most:g} m; "
                      + ("write it with its unit, such as 40cm or 1.5ft" if bare else
                         "check the number and its unit"), param, ctx)
        if bare and number:
            self._say_unit(value, param, system)
        if self.positive and not number > 0:
            self.fail(f"'{value}' is not above 0", param, ctx)
        if self.least is not None and not number >= self.least:
            self.fail(f"'{value}' is below {self.least:g}", param, ctx)
        return number

    def _say_unit(self, value: str, param: click.Parameter | None, system: str) -> None:
        """Remember what a number without a unit was taken for."""
        from terrain.units import DIMENSIONS

        unit = DIMENSIONS[self.dimension][2 if system == "us" else 1].replace("**", "")
        name = param.opts[0] if param is not None else "a number"
        BARE.append(f"{name}: {value} was taken as {value} {unit}.")


class Level(Quantity):
    """A level, kept as it was typed until the foot of the raster is known."""

    def __init__(self) -> None:
        super().__init__("length", positive=False)
        self.name = "LEVEL"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> Any:
        super().convert(value, param, ctx)
        return value


class Ratio(Kind):
    """A slope as H:V, or its H alone."""

    name = "H:V"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> float:
        if isinstance(value, float):
            return value
        parts = str(value).split(":")
        try:
            ratio = float(parts[0]) / (float(parts[1]) if len(parts) > 1 else 1.0)
        except (ValueError, ZeroDivisionError):
            self.fail(f"'{value}' is not a slope such as 3:1", param, ctx)
        if ratio < 0:
            self.fail(f"'{value}' is below 0", param, ctx)
        return ratio


class Money(Kind):
    """A low and a high figure, such as 100,200, or one that is both."""

    name = "LOW,HIGH"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> tuple[float, float]:
        if isinstance(value, tuple):
            return value
        try:
            figures = [float(part) for part in str(value).split(",")]
            low, high = figures * 2 if len(figures) == 1 else figures
        except ValueError:
            self.fail(f"'{value}' is neither a figure such as 150 nor a low and a high one such as "
                      "100,200", param, ctx)
        if not 0 <= low <= high:
            self.fail(f"'{value}' does not go from a low to a high figure", param, ctx)
        return low, high


dem = click.argument("dem", type=click.Path(path_type=Path))
site = click.argument("site", type=click.Path(path_type=Path))


def _together(*decorators: Callable[[Command], Command]) -> Callable[[Command], Command]:
    def apply(command: Command) -> Command:
        for decorator in reversed(decorators):
            command = decorator(command)
        return command
    return apply


raster = _together(
    click.option("--crs", help="The raster's coordinate system, if its file states none: "
                               "EPSG:32734."),
    click.option("--plan-unit", type=click.Choice(["m", "ft", "us-ft"]),
                 help="Unit of the plan, if there is no coordinate system at all."),
    click.option("--height-unit", type=click.Choice(["m", "ft", "us-ft"]),
                 help="Unit of the heights, if the file does not state it or states it wrongly."),
    click.option("--nodata", type=float, help="A number that marks holes, as the file stores it."),
    click.option("--fill-holes", type=Quantity("area", positive=False, least=0.0),
                 help="Fill enclosed holes up to this area from their rims (25 m2); 0 for none."),
    click.option("--breach-depth", type=Quantity("length", positive=False, least=0.0),
                 default=0.0, help="Cut hollows open by channels no deeper than this; with "
                                   "--breach-length."),
    click.option("--breach-length", type=Quantity("length", positive=False, least=0.0),
                 default=0.0, help="How long such channels may be."),
    click.option("--culverts", type=click.Path(path_type=Path),
                 help="A layer of lines along which water passes under banks and bridges."),
    click.option("--cell", type=Quantity("length"),
                 help="Side of a cell, if DEM holds surveyed points."),
    click.option("--columns", help="What the columns of surveyed points are: point,y,x,z,code, "
                                   "with - for one that is not used."),
    click.option("--lonlat", is_flag=True, help="Places are given as longitude,latitude."))
ground = _together(
    click.option("--cn", "curve_number", type=click.FloatRange(1, 100),
                 help="One curve number for all the ground: 98 paving, 89 dirt road, 82 poor "
                      "range on slow soil."),
    click.option("--cover", type=click.Path(path_type=Path),
                 help="A layer of what covers the ground, with a field 'cover', or one class for "
                      "all of it, such as 'pasture, fair'."),
    click.option("--cover-layer", help="Which layer of the cover file, if it holds several."),
    click.option("--codes", type=click.Choice(["worldcover", "nlcd"]),
                 help="Which public list of classes the codes of a cover raster are of."),
    click.option("--soils", help="A layer of soil groups with a field 'group', or one of A, B, "
                                 "C, D."),
    click.option("--soils-layer", help="Which layer of the soils file, if it holds several."))
rain = _together(
    click.option("--storm", "depths", multiple=True, type=Quantity("rain"),
                 help="A storm's depth of rain, such as 30mm or '1.2 in'; as often as you like."),
    click.option("--duration", type=Quantity("time"), default=24.0,
                 help="How long the storms last, such as 45min or 6h; a day if left out."),
    click.option("--pattern", type=click.Choice(["even", "I", "IA", "II", "III"]), default="II",
                 show_default=True, help="How their rain is spread: even, or an NRCS type."),
    click.option("--two-year-day", type=Quantity("rain"),
                 help="The 2-year 24-hour rain: travel time then goes by sheet, shallow and "
                      "channel flow along the longest path."))
rates = click.option("--machine-hour", "rates", type=Money(),
                     help="What an hour of machine and operator costs, to price the work: "
                          "100,200, or one figure.")


def _told_first(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """Sentences that give figures in both systems begin with the one asked for."""
    from terrain.units import told_first

    ctx.with_resource(told_first(value))
    return value


units = click.option("--units", "system", type=click.Choice(["metric", "us"]), default="metric",
                     show_default=True, is_eager=True, callback=_told_first,
                     help="Units to print in, and of numbers without a unit.")


def _for_programs(ctx: click.Context, param: click.Parameter, value: bool) -> bool:
    """What programs read is the same whatever units the person asked for."""
    from terrain.units import told_first

    if value:
        ctx.with_resource(told_first("metric"))
    return value


def in_its_foot(dem: Path, words: dict[str, Any]) -> None:
    """From here on a foot of length or level is the raster's own."""
    from terrain.inputs.elevation import foot_of
    from terrain.units import told_first

    foot = foot_of(dem, crs=words["crs"], plan_unit=words["plan_unit"],
                   height_unit=words["height_unit"])
    click.get_current_context().with_resource(told_first(foot=foot))


def level(given: str | None, system: str) -> float | None:
    """A level as it was typed, in the foot of the raster. [m]"""
    from terrain.units import read_quantity

    return None if given is None else read_quantity(given, "length", system)


as_json = click.option("--json", "as_json", is_flag=True, callback=_for_programs,
                       help="Print one JSON object in SI units instead of words.")


def _fresh(ctx: click.Context, param: click.Parameter, value: Path | None) -> Path | None:
    """Refuse a picture's name that is taken, before any work is done."""
    if value is not None:
        from terrain.errors import InputError
        from terrain.files import refuse_taken

        if value.suffix.lower() != ".png":
            raise InputError("--picture", f"{value} does not end in .png, and a PNG is drawn",
                             "Give a name that ends in .png")

        refuse_taken(value)
    return value


picture = click.option("--picture", type=click.Path(path_type=Path), callback=_fresh,
                       help="Draw it into this PNG file.")


def raster_words(words: dict[str, Any]) -> Any:
    """What was said of the raster, as the library takes it."""
    from terrain.plan.question import RasterWords

    return RasterWords(**{name: words[name] for name in RasterWords.__dataclass_fields__})


def rain_words(words: dict[str, Any]) -> Any:
    """What was said of the rain, as the library takes it."""
    from terrain.plan.question import RainWords

    return RainWords(**{name: words[name] for name in RainWords.__dataclass_fields__})


def ground_words(words: dict[str, Any]) -> Any:
    """What was said of the ground, as the library takes it."""
    from terrain.plan.question import GroundWords

    return GroundWords(**{name: words[name] for name in GroundWords.__dataclass_fields__})
