"""How things look on paper: colours, line weights, lettering, north arrow and scale bar."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ParamSpec, TypeVar

import matplotlib
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon, Rectangle
from matplotlib.patheffects import AbstractPathEffect, Normal, Stroke, withStroke

from terrain.units import ACRE_FOOT, acre_feet, printed, shown

P = ParamSpec("P")
R = TypeVar("R")

#: Pixels in an inch of every drawing.
DPI = 150
#: A3, landscape. [in]
A3 = (420 / 25.4, 297 / 25.4)

PAPER = "#fbf9f4"
INK = "#2c2a27"
SOFT_INK = "#67615a"
FAINT_INK = "#a59d92"

SHADE_DARK, SHADE_MIDDLE, SHADE_LIGHT = "#b9ae9d", "#e6e1d8", "#fdfbf6"
CONTOUR, INDEX_CONTOUR = "#a98f6c", "#866a45"
FLOW = "#7d9fb0"
WATER = "#1f5a70"        # lines and lettering of everything that holds water on the ground
POOL = "#8fb3c4"         # its water surface
HOLLOW = "#c3d3d9"       # the same in a natural hollow
EARTH = "#7b4e2c"        # berms and walls
BERM = "#cfa884"         # the ground that they cover
GROUND, BANK, CUT = "#d8cbb5", "#b98f6a", "#f1dc9d"  # in sections: ground, fill, what is dug
TREE, TREE_FILL = "#41603c", "#a9bd8e"
TANK = "#3d4654"
ROOF, ROOF_EDGE = "#c9b8ab", "#6a5346"
ROAD, ROAD_EDGE, ROAD_INK = "#f2e8d2", "#a3916f", "#6f6044"
BARE = "#a57c3f"
SHED = "#8c3f23"         # where roads and bare ground let water go
BOUNDARY = "#38332d"

#: Tints of neighbouring catchments, laid over the hillshade at `TINT_ALPHA`.
TINTS = ("#f7d088", "#68a8a4", "#c36f4d", "#8586ca", "#64487c")
TINT_ALPHA = 0.42

#: Fates of water in charts.
PASSIVE, ROOF_WATER, LEFT, RAIN = "#1f5a70", "#b0703c", "#a9a59c", "#8fb3c4"

#: Slope classes of a survey: least slope [m/m], name, colour.
SLOPES = ((0.0, "under 1 %", "#faf6ea"), (0.01, "1 to 5 %", "#ead9ad"),
          (0.05, "5 to 10 %", "#d9b47c"), (0.10, "10 to 15 %", "#bd865c"),
          (0.15, "over 15 %", "#8f5a47"))
SLOPE_ALPHA = 0.72

#: Sizes of lettering. [pt]
TITLE_SIZE, HEAD_SIZE, LABEL_SIZE, TEXT_SIZE, SMALL_SIZE = 25.0, 12.0, 10.5, 9.5, 8.5

_STYLE: dict[str, Any] = {
    "font.family": "DejaVu Sans", "font.size": TEXT_SIZE, "text.color": INK,
    "text.usetex": False, "text.parse_math": False, "axes.edgecolor": SOFT_INK,
    "axes.labelcolor": SOFT_INK,
    "axes.linewidth": 0.8, "axes.facecolor": PAPER, "figure.facecolor": PAPER,
    "axes.unicode_minus": True, "axes.axisbelow": True, "axes.grid": False,
    "xtick.color": SOFT_INK, "ytick.color": SOFT_INK, "xtick.labelsize": TEXT_SIZE,
    "ytick.labelsize": TEXT_SIZE, "hatch.linewidth": 0.8, "path.sketch": None,
    "lines.solid_capstyle": "round", "lines.solid_joinstyle": "round",
    "lines.dash_capstyle": "butt",
}


def styled(draw: Callable[P, R]) -> Callable[P, R]:
    """Draw in the house's style, whatever style the person's own settings ask for."""
    @functools.wraps(draw)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> R:
        with matplotlib.rc_context():
            settings: Any = matplotlib.rcParams
            settings.update({key: value for key, value in matplotlib.rcParamsDefault.items()
                             if not key.startswith(("backend", "interactive"))})
            settings.update(_STYLE)
            return draw(*args, **kwargs)
    return drawn


def mixed(colour: str, with_: str, share: float) -> tuple[float, float, float]:
    """A colour with a share of another in it."""
    a, b = to_rgb(colour), to_rgb(with_)
    red, green, blue = (x * (1 - share) + y * share for x, y in zip(a, b, strict=True))
    return red, green, blue


def halo(width: float = 2.4, colour: str = PAPER) -> list[AbstractPathEffect]:
    """A soft edge that keeps lettering readable over lines. [pt]"""
    return [withStroke(linewidth=width, foreground=colour, alpha=0.92)]


def cased(width: float, colour: str = PAPER) -> list[AbstractPathEffect]:
    """A line's casing, in full width. [pt]"""
    return [Stroke(linewidth=width, foreground=colour), Normal()]


def brief(value: float | None, dimension: str, system: str, most: float = 0.0) -> str:
    """Print a quantity for a label: whole numbers from 10 on, one decimal below; many gallons in
    acre-feet, and fewer too beside so many at `most`."""
    if value is None or value != value:
        return shown(value, dimension, system)
    unit = printed(dimension, system)[0]
    if unit == "gal" and max(abs(value), most) >= ACRE_FOOT:
        return acre_feet(value)
    return f"{bare(value, dimension, system)} {unit}"


def bare(value: float, dimension: str, system: str) -> str:
    """The same number without its unit, for a column or an axis that names it."""
    _, factor, usual = printed(dimension, system)
    number = abs(value * factor)
    if number >= 1e7:
        return f"{value * factor / 1e6:,.0f} million"
    return shown(value, dimension, system, min(usual, 0 if number >= 9.95 else 1)
                 if dimension not in ("level", "land", "rain") else usual, with_unit=False)


def plain(value: float, dimension: str, system: str) -> str:
    """Print a quantity that is round, or nearly, without needless decimals."""
    unit, factor, places = printed(dimension, system)
    places = 3 if dimension == "land" and value * factor < 1 else places
    return f"{float(f'{value * factor:.{places}f}'):,.12g} {unit}"


@dataclass(frozen=True)
class RoundLength:
    """A round length for a scale bar: in metres, in the unit printed, and its parts."""

    metres: float
    number: float
    unit: str
    parts: int

    @property
    def words(self) -> str:
        """E.g. "100 m"."""
        return f"{self.number:,g} {self.unit}"


def round_length(most: float, system: str) -> RoundLength:
    """The longest round length of at most `most` metres.

    Metres or kilometres; feet or miles in US customary units.

    Raises
    ------
    ValueError
        If `most` is not above 0.
    """
    if not most > 0:
        raise ValueError(f"a scale bar of {most:g} m cannot be drawn")
    if system == "us":
        unit, size = ("mi", 1609.344) if most >= 1609.344 else ("ft", 0.3048)
    else:
        unit, size = ("km", 1000.0) if most >= 1000.0 else ("m", 1.0)
    room = most / size
    power = 1.0
    while power * 10 <= room * (1 + 1e-9):
        power *= 10
    while power > room:
        power /= 10
    number, parts = max((n * power, p) for n, p in ((1, 4), (2, 4), (3, 3), (4, 4), (5, 5))
                        if n * power <= room * (1 + 1e-9))
    return RoundLength(number * size, number, unit, parts)


def scale_bar(ax: Axes, x: float, y: float, length: RoundLength, per_metre: float = 1.0,
              point: float = 1.0) -> None:
    """Draw a scale bar whose left end stands at (x, y).

    Parameters
    ----------
    per_metre : float
        Units of the axes in a metre of ground.
    point : float
        Units of the axes in a point of paper; sizes the bar's height and lettering gaps.
    """
    step = length.metres * per_metre / length.parts
    height = 4.5 * point
    for part in range(length.parts):
        patch = Rectangle((x + part * step, y), step, height, facecolor=INK if part % 2 == 0
                          else PAPER, edgecolor=INK, linewidth=0.7, zorder=40)
        patch.set_gid("scale bar")
        ax.add_patch(patch)
    for part, words in ((0, "0"), (length.parts, length.words)):
        ax.text(x + part * step, y + height + 3.5 * point, words, ha="center", va="bottom",
                fontsize=SMALL_SIZE + 0.5, color=INK, zorder=41, gid="scale bar words")


def north_arrow(ax: Axes, x: float, y: float, height: float) -> None:
    """Draw an arrow to grid north whose foot stands at (x, y), in units of the axes."""
    half = 0.26 * height
    for side, face in ((-1, INK), (1, PAPER)):
        ax.add_patch(Polygon([(x, y + height), (x + side * half, y), (x, y + 0.22 * height)],
                             closed=True, facecolor=face, edgecolor=INK, linewidth=0.9,
                             joinstyle="miter", zorder=40, gid="north arrow"))
    ax.text(x, y + height * 1.08, "N", ha="center", va="bottom", fontsize=HEAD_SIZE,
            fontweight="bold", color=INK, zorder=41, gid="north arrow words")
