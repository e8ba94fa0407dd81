"""Rasters of numbers from 0 to 255 as pictures that a browser shows."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.colors import to_rgb
from numpy.typing import NDArray
from PIL import Image

Bytes = NDArray[np.uint8]

#: No side of a picture has more pixels than this: browsers' own limits begin not far above it.
MOST_PIXELS = 4096
#: Quality of JPEG pictures: at this, fine texture of the ground stays.
QUALITY = 88


@dataclass(frozen=True)
class Picture:
    """A picture as it goes to the browser: its bytes, what they are, and its size in pixels."""

    data: bytes
    mime: str
    width: int
    height: int


@dataclass(frozen=True)
class Tint:
    """A colour, and how far it covers what lies under it: 0 nothing, 1 wholly."""

    colour: str
    cover: float


def reduced(numbers: Bytes, smooth: bool) -> Bytes:
    """A raster with no side longer than `MOST_PIXELS`, over the same extent.

    Parameters
    ----------
    smooth : bool
        Means of what falls into a pixel; else the number at its middle, for numbers of classes.
    """
    rows, columns = numbers.shape
    share = MOST_PIXELS / max(rows, columns)
    if share >= 1:
        return numbers
    size = (max(round(columns * share), 1), max(round(rows * share), 1))
    way = Image.Resampling.BOX if smooth else Image.Resampling.NEAREST
    return np.asarray(Image.fromarray(numbers).resize(size, way))


def jpeg_of(numbers: Bytes, colours: NDArray[np.uint8]) -> Picture:
    """A raster, shape (rows, columns), in the colours, shape (256, 3), of its numbers."""
    return _jpeg(coloured(reduced(numbers, smooth=True), colours))


def coloured(numbers: Bytes, colours: NDArray[np.uint8]) -> Image.Image:
    """Numbers, shape (rows, columns), in their colours, shape (256, 3)."""
    image = Image.fromarray(numbers)
    image.putpalette(colours.reshape(-1).tolist())
    return image.convert("RGB")


def rgb_jpeg(pixels: Bytes) -> Picture:
    """Pixels, shape (rows, columns, 3), as JPEG."""
    return _jpeg(Image.fromarray(pixels))


def _jpeg(image: Image.Image) -> Picture:
    held = io.BytesIO()
    image.save(held, "JPEG", quality=QUALITY)
    return Picture(held.getvalue(), "image/jpeg", image.width, image.height)


def png_of(classes: Bytes, tints: Sequence[Tint]) -> Picture:
    """Classes as a picture that lets what lies under it show.

    Parameters
    ----------
    classes : uint8, shape (rows, columns)
        0 where nothing is to be drawn, else one more than a position in `tints`.
    tints : at most 255
    """
    thin = reduced(classes, smooth=False)
    image = Image.fromarray(thin).convert("P")
    colours = [round(255 * part) for tint in tints for part in to_rgb(tint.colour)]
    image.putpalette([0, 0, 0, *colours])
    held = io.BytesIO()
    image.save(held, "PNG", compress_level=1,
               transparency=bytes([0, *(round(255 * tint.cover) for tint in tints)]))
    return Picture(held.getvalue(), "image/png", thin.shape[1], thin.shape[0])
