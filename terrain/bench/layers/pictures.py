"""Pictures of the ground for the bench's map: hillshade, slope, wetness, cover, aerial picture."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from matplotlib.colors import to_hex, to_rgb
from numpy.typing import NDArray

from terrain.bench.layers.aerial import Aerial, aerial_of
from terrain.bench.layers.cover_colours import OTHER, colours_of
from terrain.bench.layers.encoded import Picture, Tint, coloured, jpeg_of, png_of
from terrain.bench.layers.thinned import thinned
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.shading import lift_of, tones_of, typical_slope
from terrain.plan.siting.reading import Inputs
from terrain.units import shown

#: Names of the pictures and what they are called on the page, in the order they are offered.
LABELS = {"hillshade": "Hillshade", "slope": "Slope", "wetness": "Wetness", "cover": "Cover",
          "aerial": "Aerial picture"}
#: Shares of the ground, the wettest first, that a tint each marks. [-]
WETTEST = (0.01, 0.05, 0.15, 0.35)
WET_TINTS = (Tint("#0d3b4d", 0.85), Tint(sy.WATER, 0.66), Tint("#3f8aa8", 0.5),
             Tint("#6fb0c9", 0.38))
#: A share of a raster is read off so many of its cells.
SAMPLED = 1_000_000
#: Number of the tone that stands for unknown ground: the lightest of all, so that it mixes well.
VOID = 255
#: 1 in a foot and 1 in a metre are so far apart in the logarithm of the wetness index.
FOOT_IN_LOG = float(np.log(1 / 0.3048))


@dataclass(frozen=True)
class KeyEntry:
    """A line of a picture's legend: a colour as it looks on the ground, and what it means."""

    colour: str
    words: str


class Pictures:
    """The pictures of a site's ground, each made when it is first asked for and kept.

    All cover the same `extent`, the raster's edges, and may be laid over the hillshade; they may
    be asked for from several threads at once.

    Parameters
    ----------
    inputs : Inputs
    aerial : Path, optional
        A picture from the air, in any format and coordinate system that can be read.

    Raises
    ------
    InputError
        If the aerial picture cannot be laid on the site.
    """

    def __init__(self, inputs: Inputs, aerial: Path | None = None) -> None:
        self.inputs = inputs
        self.aerial: Aerial | None = None if aerial is None else aerial_of(aerial, inputs.dem)
        self._makers: dict[str, Callable[[], Picture]] = {
            "hillshade": self._hillshade, "slope": self._slope, "wetness": self._wetness,
            "cover": self._cover}
        if self.aerial is not None:
            self._makers["aerial"] = self._aerial
        self._locks = {name: threading.Lock() for name in self._makers}
        self._made: dict[str, Picture] = {}
        self._ground = threading.Lock()

    @property
    def names(self) -> tuple[str, ...]:
        """Of the pictures, in the order they are offered."""
        return tuple(self._makers)

    def label(self, name: str) -> str:
        """What a picture is called on the page."""
        return LABELS[name]

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top edge of every picture in the working frame. [m]"""
        return self.inputs.dem.bounds

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed of the aerial picture, in whole sentences."""
        return () if self.aerial is None else self.aerial.notes

    def encoded(self, name: str) -> tuple[bytes, str]:
        """A picture's bytes and their mime type.

        Raises
        ------
        KeyError
            If there is no picture of that name.
        InputError
            If the aerial picture turns out to be damaged.
        """
        picture = self.picture(name)
        return picture.data, picture.mime

    def picture(self, name: str) -> Picture:
        """The same with its size; raises as `encoded` does."""
        with self._locks[name]:
            if name not in self._made:
                self._made[name] = self._makers[name]()
            return self._made[name]

    def key(self, name: str, system: str | None = None) -> tuple[KeyEntry, ...]:
        """A picture's legend, in the site's units or in those of `system`, metric or us.

        That of the wetness takes as long as its picture: ask for it when that is shown.

        Raises
        ------
        KeyError
            If there is no picture of that name.
        """
        system = system or self.inputs.site.units
        if name == "slope":
            return tuple(KeyEntry(_laid(Tint(colour, sy.SLOPE_ALPHA)), words)
                         for _, words, colour in sy.SLOPES)
        if name == "wetness":
            return self._wetness_key(system)
        if name == "cover":
            return self._cover_key(system)
        if name == "hillshade":
            return (KeyEntry(sy.SHADE_LIGHT, "faces north-west, towards the light"),
                    KeyEntry(sy.SHADE_DARK, "faces south-east, away from it"))
        if name in self._makers:
            return ()
        raise KeyError(name)

    @cached_property
    def _lift(self) -> float:
        return lift_of(typical_slope(thinned(self.inputs.dem)))

    def _tones(self) -> NDArray[np.uint8]:
        """Tones of the ground from 0 to 254; `VOID` where it is not known."""
        dem = self.inputs.dem
        tones = tones_of(dem.heights, dem.cell, self._lift)
        np.multiply(tones, VOID - 1, out=tones)
        np.nan_to_num(tones, copy=False, nan=VOID)
        return np.rint(tones, out=tones).astype(np.uint8)

    def _hillshade(self) -> Picture:
        return jpeg_of(self._tones(), _ground_colours())

    def _slope(self) -> Picture:
        with self._ground:
            slope = self.inputs.terrain.slope
        return png_of(_classed(slope, [least for least, _, _ in sy.SLOPES]),
                      [Tint(colour, sy.SLOPE_ALPHA) for _, _, colour in sy.SLOPES])

    def _wetness(self) -> Picture:
        return png_of(_classed(self._index, self._wet_from[::-1]), WET_TINTS[::-1])

    @property
    def _index(self) -> NDArray[np.float32]:
        with self._ground:
            return self.inputs.terrain.wetness

    @cached_property
    def _wet_from(self) -> list[float]:
        """The wetness index from which on each tint is laid, the wettest first. [ln m]"""
        index = self._index.reshape(-1)
        seen = index[::max(index.size // SAMPLED, 1)]
        seen = seen[np.isfinite(seen)]
        if not seen.size:
            return [float("inf")] * len(WETTEST)
        return [float(v) for v in np.quantile(seen, [1 - share for share in WETTEST])]

    def _wetness_key(self, system: str) -> tuple[KeyEntry, ...]:
        more, unit = (FOOT_IN_LOG, "ln ft") if system == "us" else (0.0, "ln m")
        entries, before = [], 0.0
        for tint, share, least in zip(WET_TINTS, WETTEST, self._wet_from, strict=True):
            band = f"{100 * before:g} to {100 * share:g} %" if before else f"{100 * share:g} %"
            entries.append(KeyEntry(_laid(tint), f"wettest {band} of the ground: index from "
                                                 f"{least + more:.1f} {unit}"))
            before = share
        return tuple(entries)

    @cached_property
    def _classes(self) -> list[int]:
        """Classes of cover that the raster holds, by how much of it each covers."""
        ground = self.inputs.ground
        counts = np.bincount(ground.cover[ground.cover >= 0].reshape(-1),
                             minlength=len(ground.classes))
        return sorted(np.flatnonzero(counts).tolist(), key=lambda i: (-counts[i], i))

    @cached_property
    def _cover_tints(self) -> list[Tint]:
        return colours_of([self.inputs.ground.classes[index] for index in self._classes])

    def _cover(self) -> Picture:
        colours = list(dict.fromkeys(self._cover_tints))
        ground = self.inputs.ground
        number = np.zeros(len(ground.classes) + 1, np.uint8)  # the last for -1, unknown
        for index, tint in zip(self._classes, self._cover_tints, strict=True):
            number[index] = colours.index(tint) + 1
        classes = number[ground.cover]
        classes[np.isnan(self.inputs.dem.heights)] = 0
        return png_of(classes, colours)

    def _cover_key(self, system: str) -> tuple[KeyEntry, ...]:
        ground = self.inputs.ground
        entries, others = [], 0
        own = np.bincount(ground.cover[ground.inside & (ground.cover >= 0)],
                          minlength=len(ground.classes))
        for index, tint in zip(self._classes, self._cover_tints, strict=True):
            if tint.colour == OTHER:
                others += 1
                continue
            area = float(own[index]) * self.inputs.dem.cell_area
            entries.append(KeyEntry(_laid(tint), ground.classes[index] + (
                f": {shown(area, 'land', system)} of the property" if area else
                ": beyond the property only")))
        if others:
            entries.append(KeyEntry(_laid(self._cover_tints[-1]), f"{others} more classes"))
        return tuple(entries)

    def _aerial(self) -> Picture:
        assert self.aerial is not None
        return self.aerial.picture(lambda: coloured(self._tones(), _ground_colours()))


def _ground_colours() -> NDArray[np.uint8]:
    """Colours of the tones of ground, shape (256, 3), as on the printed map."""
    dark, light = np.array(to_rgb(sy.SHADE_DARK)), np.array(to_rgb(sy.SHADE_LIGHT))
    share = np.linspace(0, 1, VOID)[:, None]
    colours = np.concatenate([dark * (1 - share) + light * share, [to_rgb(sy.PAPER)]])
    found: NDArray[np.uint8] = np.rint(255 * colours).astype(np.uint8)
    return found


def _classed(values: NDArray[np.float32], least: list[float]) -> NDArray[np.uint8]:
    """One more than the position of the last of rising limits that a value reaches; else 0."""
    classes = np.zeros(values.shape, np.uint8)
    for limit in least:
        classes += values >= limit
    return classes


def _laid(tint: Tint) -> str:
    """How a tint looks on ground of the middle tone."""
    return to_hex(sy.mixed(sy.SHADE_MIDDLE, tint.colour, tint.cover))
