"""Virtual rasters (VRT), lists of other rasters in XML: which of them may be opened."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

from terrain.errors import InputError
from terrain.inputs.whole_bytes import bytes_of, refuse_no_files

#: No list is longer, names lists within lists more deeply, or opens more files with all of them.
#: [bytes], [-], [-]
MOST_BYTES, DEEPEST, MOST_OPENED = 100_000_000, 8, 100_000
_AGAIN = "Build it again from the rasters themselves"


def refuse_wild(path: Path) -> None:
    """Refuse a virtual raster that would be read without end, or that reads more than rasters.

    Any other file is left alone, whatever it is.

    Raises
    ------
    InputError
        If it names itself, or too many others; a pipe or a device; holds a program; or takes bytes
        of any file for cells.
    """
    if _opened(path, path, {}) > MOST_OPENED:
        raise InputError(str(path), "the rasters that it lists are lists again, of more than "
                         f"{MOST_OPENED:,} files or without end", _AGAIN)


def _opened(path: Path, named: Path, known: dict[Path, float], depth: int = 0) -> float:
    """How many files are opened to read one, it among them; infinite where it needs itself."""
    if path not in known:
        if path != named:
            refuse_no_files(path, f"{named}, which lists {path.name}")
        known[path] = float("inf")  # met again within itself, or too deep
        if depth <= DEEPEST:
            known[path] = 1 + sum(_opened(one, named, known, depth + 1)
                                  for one in _sources(path, named))
    return known[path]


def _sources(path: Path, named: Path) -> list[Path]:
    """The files that a virtual raster lists; none of any other file."""
    if not path.is_file():
        return []
    with path.open("rb") as stream:
        if b"<VRTDataset" not in stream.read(1024):
            return []
    try:
        root = ElementTree.fromstring(bytes_of(path, MOST_BYTES))
    except (ElementTree.ParseError, ValueError, OSError):
        return []  # GDAL will not read it either, and says so
    for band in root.iter("VRTRasterBand"):
        if band.get("subClass", "").lower() == "vrtrawrasterband":
            raise InputError(str(named), "it takes the bytes of a file for heights, whatever file "
                             "that is (VRTRawRasterBand)", _AGAIN)
        if any((one.text or "").strip().lower() == "python" for one in
               band.iter("PixelFunctionLanguage")):
            raise InputError(str(named), "it holds a program (PixelFunctionCode), which is not run",
                             _AGAIN)
    found = []
    for tag in ("SourceFilename", "SourceDataset"):
        for source in root.iter(tag):
            text = (source.text or "").strip().removeprefix("vrt://").split("?")[0]
            if text.startswith("<"):
                raise InputError(str(named), "a raster that it lists is written within it", _AGAIN)
            if "/vsistdin" in text:
                raise InputError(str(named), "it lists what stands at the keyboard (/vsistdin/)",
                                 _AGAIN)
            beside = "1" in (source.get("relativeToVRT"), source.get("relativetoVRT"))
            found.append(path.parent / text if beside else Path(text))
    return found
