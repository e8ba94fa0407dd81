"""Paper to print on, and the round scales that a ruler reads off it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from terrain.inputs.site import Site

#: Few printers reach closer to the edge of the paper: a quarter of an inch.  Common practice, no
#: source. [mm]
PRINTABLE = 6.35
#: Metres in an inch on paper.
INCH = 0.0254
#: Scales that faces of a metric scale ruler have, 1 to so many, and 1:150, that of 1:75 counted
#: double; then ten and more times these.
#: Common practice, no source.
METRIC = (20, 25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 1250, 1500)
#: Feet in an inch that faces of a US engineer's ruler have, and 12 and 15: the face of 60 counted
#: double, a mark of that of 30 counted as half a foot; then ten and more times these.  Common
#: practice, no source.
US = (1, 2, 3, 4, 5, 6, 10, 12, 15, 20, 30, 40, 50, 60, 100)


@dataclass(frozen=True)
class Paper:
    """A size of paper, upright on its short side or not: as pages lie, landscape.

    Attributes
    ----------
    name : str
    wide, high : float
        [mm]
    standard : str
        That gives its size.
    """

    name: str
    wide: float
    high: float
    standard: str

    @property
    def inches(self) -> tuple[float, float]:
        """Width and height. [in]"""
        return self.wide / 25.4, self.high / 25.4

    def size(self, system: str) -> str:
        """Width and height in words, in the units of a site."""
        return (f"{self.wide / 25.4:g} × {self.high / 25.4:g} in" if system == "us" else
                f"{self.wide:g} × {self.high:g} mm")

    @property
    def grows(self) -> float:
        """How much taller than A4 drawings on it may be, at most by three tenths."""
        return min(max(self.high / 210.0, 1.0), 1.3)

    @property
    def letters(self) -> float:
        """How much larger than on A4 pages of words are lettered on it; Letter is like A4."""
        return self.grows if self.grows > 1.1 else 1.0


#: By name.  ISO 216:2007 gives the A series; ANSI/ASME Y14.1 the US engineering sizes A and B,
#: 8.5 by 11 in and 11 by 17 in, which offices call Letter and Tabloid.
PAPERS = {paper.name: paper for paper in (
    Paper("A4", 297.0, 210.0, "ISO 216"), Paper("A3", 420.0, 297.0, "ISO 216"),
    Paper("Letter", 11 * 25.4, 8.5 * 25.4, "ANSI/ASME Y14.1 size A"),
    Paper("Tabloid", 17 * 25.4, 11 * 25.4, "ANSI/ASME Y14.1 size B"))}


def paper_of(site: Site, asked: str | None = None) -> Paper:
    """The paper that was asked for, else the site file's; else A4, or Letter in US units."""
    return PAPERS[asked or site.paper or ("Letter" if site.units == "us" else "A4")]


@dataclass(frozen=True)
class Scale:
    """A round scale: a length on paper stands for `ratio` times as much on the ground."""

    ratio: float
    words: str

    @property
    def point(self) -> float:
        """Ground that a point of paper covers. [m]"""
        return self.ratio * INCH / 72


def round_scale(least: float, system: str) -> Scale:
    """The largest round scale at which a length on paper stands for `least` times it or more.

    Parameters
    ----------
    least : float
        [-]

    Raises
    ------
    ValueError
        If `least` is not above 0.
    """
    if not least > 0:
        raise ValueError(f"no scale shows a ratio of {least:g}")
    faces: Sequence[int] = US if system == "us" else METRIC
    unit = 12.0 if system == "us" else 1.0  # inches in a foot
    times = 1.0
    while True:
        for face in faces:
            ratio = face * times * unit
            if ratio >= least * (1 - 1e-9):
                return Scale(ratio, f"1 in = {face * times:,.0f} ft (1:{ratio:,.0f})"
                             if system == "us" else f"1:{ratio:,.0f}")
        times *= 10


def fitting_scale(wide: float, high: float, room_wide: float, room_high: float, system: str
                  ) -> Scale:
    """The largest round scale at which ground of a size finds room.

    Parameters
    ----------
    wide, high : float
        [m]
    room_wide, room_high : float
        On paper. [pt]
    """
    return round_scale(max(wide / (room_wide * INCH / 72), high / (room_high * INCH / 72)), system)
