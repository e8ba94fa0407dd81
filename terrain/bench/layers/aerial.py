"""An aerial picture laid on the site: any raster of colours, moved into the working frame."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from pyproj import CRS

from terrain.bench.layers.encoded import MOST_PIXELS, Picture, rgb_jpeg
from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.inputs.layers import in_short, way_between
from terrain.inputs.whole_bytes import refuse_no_files

#: Files and pictures larger than this are refused: most computers would grind for minutes.
MOST_BYTES = 4 << 30
MOST_CELLS = 1_500_000_000
#: No piece in which a file is packed may unpack to more than this. [bytes]
MOST_IN_PIECE = 512 << 20
#: Formats that hold a picture themselves; others may name further files or a server to fetch from.
FORMATS = ("GTiff", "COG", "PNG", "JPEG", "JPEGXL", "JP2OpenJPEG", "JP2KAK", "JP2ECW", "JP2MrSID",
           "ECW", "MrSID", "WEBP", "AVIF", "HEIF", "BMP", "GIF", "BIGGIF", "TGA", "PNM", "HFA",
           "ENVI", "ERS", "EHdr", "NITF", "PCIDSK", "RMF", "KEA", "GPKG", "MBTiles")
#: Of pictures with more than 8 bits, this share is let go at either end of the scale. [-]
LET_GO = 0.01
_SAVE = "Save it as a GeoTIFF with its coordinate system"


@dataclass(frozen=True)
class Aerial:
    """An aerial picture that was opened and checked, to be read when it is asked for.

    Attributes
    ----------
    path : Path
    dem : Dem
        On whose extent it is laid.
    width, height : int
        Of the picture that is made. [px]
    bands : tuple of int
        Those that are shown, 1 or 3, counted from 1.
    clear : bool
        Whether the file itself says where it holds nothing.
    notes : tuple of str
        What was assumed, in whole sentences.
    """

    path: Path
    dem: Dem
    width: int
    height: int
    bands: tuple[int, ...]
    clear: bool
    notes: tuple[str, ...]

    def picture(self, ground: Callable[[], Image.Image]) -> Picture:
        """The picture on the raster's extent.

        Parameters
        ----------
        ground : callable -> Image
            The same extent as it shows where the picture holds nothing, in red, green and blue.

        Raises
        ------
        InputError
            If the file is damaged or has been taken away.
        """
        pixels, seen = self._warped()
        if not seen.all():
            under = np.asarray(ground().resize((self.width, self.height),
                                               Image.Resampling.BILINEAR, reducing_gap=2.0))
            pixels = np.where(seen[..., None], pixels, under)
        return rgb_jpeg(np.ascontiguousarray(pixels))

    def _warped(self) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
        """Pixels, shape (height, width, 3), and where the file holds any."""
        from rasterio.transform import from_bounds
        from rasterio.vrt import WarpedVRT

        west, south, east, north = self.dem.bounds
        assert self.dem.frame.working is not None
        with _opened(self.path) as source:
            table = _colour_table(source)
            way = "nearest" if table is not None else "bilinear"
            with WarpedVRT(source, crs=self.dem.frame.working.to_wkt(),
                           transform=from_bounds(west, south, east, north, self.width,
                                                 self.height),
                           width=self.width, height=self.height, resampling=_resampling(way),
                           add_alpha=not self.clear, warp_mem_limit=256) as laid:
                found = laid.read(indexes=list(self.bands))
                seen = laid.dataset_mask() > 0
        pixels = found if found.dtype == np.uint8 else _stretched(found, seen)
        if table is not None:
            return table[pixels[0]], seen
        return np.moveaxis(np.repeat(pixels, 3 // len(self.bands), axis=0), 0, -1), seen


def aerial_of(path: Path, dem: Dem) -> Aerial:
    """Open and check an aerial picture.

    Parameters
    ----------
    path : Path
        One band of grey or of a colour table, or red, green and blue and what follows them (an
        alpha band counts, others are left out); 8 or 16 bits.

    Raises
    ------
    InputError
        If it cannot be read, has no coordinate system, lies off the raster, is too large, or is
        no picture.
    """
    where = str(path)
    refuse_no_files(path, where)
    if not path.is_file():
        raise InputError(where, "there is no such file", "Check its name and folder")
    if path.stat().st_size > MOST_BYTES:
        raise InputError(where, f"it is {path.stat().st_size / 1e9:,.1f} GB large, too much for a "
                         "picture on a page", "Cut it to the site, or save it in coarser pixels")
    with _opened(path) as source:
        _refuse_huge(source, where)
        bands, clear = _bands(source, where)
        if dem.frame.working is None:
            raise InputError(where, f"it cannot be laid on {dem.source}, which has no coordinate "
                             "system", "State the raster's coordinate system in the site file")
        if source.crs is None:
            raise InputError(where, "it has no coordinate system, so its place is not known", _SAVE)
        own = CRS.from_user_input(source.crs)
        _, notes = way_between(own, dem.frame.working, dem, where)
        width, height = _size(source, dem, where)
    return Aerial(path, dem, width, height, bands, clear, tuple(notes))


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """The file, opened as what holds a picture itself; every failure is the person's to mend."""
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import DatasetReader

    from terrain.inputs.raster_faults import UNREADABLE

    try:
        with warnings.catch_warnings(), rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="FALSE") as env:
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            formats = [name for name in env.drivers() if name in FORMATS]
            # `rasterio.open` takes one format only.
            with DatasetReader(os.path.abspath(path), driver=formats) as source:
                yield source
    except UNREADABLE + (MemoryError, OSError) as error:  # noqa: RUF005
        raise InputError(str(path), f"it cannot be read as a picture ({in_short(error)})",
                         "Give a GeoTIFF, or fetch the file again") from None


def _refuse_huge(source: Any, where: str) -> None:
    """Refuse what would fill the memory, whatever the file's own size."""
    cells = source.width * source.height
    if cells > MOST_CELLS:
        raise InputError(where, f"it has {source.width:,} by {source.height:,} pixels, too many "
                         "for a picture on a page",
                         "Cut it to the site, or save it in coarser pixels")
    for (high, wide), kind in zip(source.block_shapes, source.dtypes, strict=True):
        if high * wide * np.dtype(kind).itemsize * source.count > MOST_IN_PIECE:
            raise InputError(where, f"it is packed in one piece of {wide:,} by {high:,} pixels, "
                             "too large to unpack", "Save it as a GeoTIFF in tiles")


def _bands(source: Any, where: str) -> tuple[tuple[int, ...], bool]:
    """The bands to show, and whether another says where there is nothing."""
    from rasterio.enums import ColorInterp, MaskFlags

    kinds = source.colorinterp
    shown = [i for i, kind in enumerate(kinds, 1) if kind != ColorInterp.alpha]
    if any(source.dtypes[i - 1] not in ("uint8", "uint16") for i in shown) or not shown:
        raise InputError(where, f"it holds numbers ({source.dtypes[0]}), not the colours of a "
                         "picture", "Give a picture of 8 or 16 bits, grey or in colours")
    if len(shown) == 2:
        raise InputError(where, "it has two bands, which is neither grey nor colours",
                         "Give a picture with one band of grey or three of colours")
    clear = len(shown) < source.count or any(
        MaskFlags.per_dataset in flags and MaskFlags.alpha not in flags
        for flags in source.mask_flag_enums)
    by_name = [next((i for i in shown if kinds[i - 1] == colour), None)
               for colour in (ColorInterp.red, ColorInterp.green, ColorInterp.blue)]
    named = [band for band in by_name if band is not None]
    return (tuple(shown[:1]) if len(shown) == 1 else
            tuple(named) if len(named) == 3 else tuple(shown[:3])), clear


def _size(source: Any, dem: Dem, where: str) -> tuple[int, int]:
    """Width and height to read it in: as fine as it is, within `MOST_PIXELS`. [px]"""
    from rasterio.warp import transform_bounds

    wide, high = source.width, source.height
    corners = np.array([source.transform * corner for corner in
                        ((0, 0), (wide, 0), (0, high), (wide, high))])
    west, south, east, north = transform_bounds(
        source.crs, dem.frame.working.to_wkt() if dem.frame.working else None,
        *corners.min(axis=0), *corners.max(axis=0))
    box = dem.bounds
    across, up = min(east, box[2]) - max(west, box[0]), min(north, box[3]) - max(south, box[1])
    if not (across > 0 and up > 0):
        raise InputError(where, f"it does not touch the ground of {dem.source}",
                         "Give a picture of the site, or correct its coordinate system")
    pixel = max(float(np.sqrt((east - west) * (north - south) / (wide * high))), 1e-3)
    size = np.array([box[2] - box[0], box[3] - box[1]])
    pixels = size / max(pixel, float(size.max()) / MOST_PIXELS)
    width, height = (int(min(max(round(float(n)), 1), MOST_PIXELS)) for n in pixels)
    return width, height


def _resampling(way: str) -> Any:
    from rasterio.enums import Resampling

    return Resampling[way]


def _colour_table(source: Any) -> NDArray[np.uint8] | None:
    """Colours, shape (256, 3), of the numbers of a picture that has a table of them."""
    from rasterio.enums import ColorInterp

    if source.colorinterp[0] != ColorInterp.palette or source.dtypes[0] != "uint8":
        return None
    table = np.zeros((256, 3), np.uint8)
    for number, colour in source.colormap(1).items():
        table[number] = colour[:3]
    return table


def _stretched(found: NDArray[Any], seen: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Pixels of 16 bits in 8, from the darkest to the lightest but for a hundredth of each."""
    values = found[:, seen]
    if not values.size:
        return np.zeros(found.shape, np.uint8)
    thin = values[:, ::max(values.shape[1] // 1_000_000, 1)]
    low, high = (float(v) for v in np.quantile(thin, [LET_GO, 1 - LET_GO]))
    scaled = (found.astype(np.float32) - low) * (255 / max(high - low, 1.0))
    answer: NDArray[np.uint8] = np.clip(scaled, 0, 255).astype(np.uint8)
    return answer
