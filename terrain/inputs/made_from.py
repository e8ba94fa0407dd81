"""What an answer was made from: every file that a site file names with its SHA-256, and what
versions of what programs."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterator
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from terrain.files import fingerprint
from terrain.inputs.file_list import elevation_files
from terrain.inputs.site import Site

#: Layers that are several files of one name, and what these end in.
SEVERAL = {".shp": (".shp", ".shx", ".dbf", ".prj", ".cpg", ".cst", ".qix", ".sbn", ".sbx",
                    ".shp.xml"),
           ".tab": (".tab", ".dat", ".map", ".id", ".ind"), ".mif": (".mif", ".mid")}
#: Beside a raster these say where it lies, in what unit, or hold parts of it.
BESIDE_RASTERS = (".prj", ".hdr", ".tfw", ".tifw", ".wld", ".aux.xml", ".ovr", ".msk", ".ige",
                  ".jgw", ".pgw", ".blw", ".clr", ".stx")
RASTERS = {".tif", ".tiff", ".vrt", ".img", ".asc", ".flt", ".bil", ".bip", ".bsq", ".dem",
           ".hgt", ".jp2", ".png", ".xyz"}
#: Libraries that reckon; what only draws or reads words is left out.
LIBRARIES = ("numpy", "scipy", "numba", "shapely", "pyproj", "rasterio", "pyogrio", "geopandas",
             "pandas", "py-richdem", "contourpy", "refet", "pint")


def input_files(site: Site) -> dict[str, Path]:
    """Every file read for a site, by its name as seen from the site file's folder.

    Of a layer in several files (a shapefile, a raster with its world file, a folder that is one
    database) all of them; a virtual raster's own sources; of an elevation given as a pattern
    every tile.
    """
    paths = {site.folder / file for name in type(site).model_fields if name != "elevation"
             for file in _named(getattr(site, name))}
    paths |= set(elevation_files([site.folder / file for file in site.elevation.file]))
    files = {site.path.name: site.path}
    for path in paths:
        for part in parts_of_layer(path):
            within = part.relative_to(site.folder) if part.is_relative_to(site.folder) else part
            files[within.as_posix()] = part
    return {name: files[name] for name in sorted(files)}


def fingerprints(site: Site) -> dict[str, str]:
    """SHA-256 of every file read, by name."""
    return {name: _print(path, path.stat().st_mtime_ns, path.stat().st_size)
            for name, path in input_files(site).items()}


@lru_cache(maxsize=1024)
def _print(path: Path, changed: int, size: int) -> str:
    """The SHA-256 of a file, read once while its time and size stay: rasters are large."""
    return fingerprint(path)


def inputs_digest(site: Site) -> str:
    """One SHA-256 that stands for all inputs: of lines `SHA-256  name`, in the order of the names.

    It changes when any byte of any input does.
    """
    lines = "".join(f"{found}  {name}\n" for name, found in fingerprints(site).items())
    return hashlib.sha256(lines.encode()).hexdigest()


def _named(part: Any) -> Iterator[Path]:
    """The files that a part of a site file names, whatever its fields are called."""
    if isinstance(part, Path):
        yield part
    elif isinstance(part, BaseModel):
        for name in type(part).model_fields:
            yield from _named(getattr(part, name))
    elif isinstance(part, list | tuple):
        for one in part:
            yield from _named(one)


def parts_of_layer(path: Path) -> list[Path]:
    """All files that are read when one is: itself, and what lies beside it or within."""
    if path.is_dir():
        return sorted(part for part in path.rglob("*") if part.is_file())
    ending = path.suffix.lower()
    if ending in SEVERAL:
        return list(_beside(path, SEVERAL[ending]))
    found = [path]
    if ending in RASTERS:
        found += _beside(path, BESIDE_RASTERS)
    if ending == ".vrt":
        found += _sources(path)
    if ending == ".gpkg":  # what another program has not yet written into it
        found += [part for part in (path.with_name(path.name + "-wal"),) if part.is_file()]
    return list(dict.fromkeys(found))


def _beside(path: Path, endings: tuple[str, ...]) -> Iterator[Path]:
    """Files beside one, called as it is, or as it is without its ending, with others."""
    stem, whole = path.with_suffix("").name.lower(), path.name.lower()
    wanted = {name + end for name in (stem, whole) for end in endings}
    return (part for part in sorted(path.parent.iterdir())
            if part.is_file() and part.name.lower() in wanted)


def _sources(path: Path) -> Iterator[Path]:
    """The files that a virtual raster names."""
    from xml.etree import ElementTree

    try:
        root = ElementTree.parse(path).getroot()
    except ElementTree.ParseError:
        return
    for source in root.iter("SourceFilename"):
        text = (source.text or "").strip()
        part = path.parent / text if source.get("relativeToVRT") == "1" else Path(text)
        if part.is_file():
            yield part


def made_with() -> dict[str, str]:
    """The version of the tool, of Python, of the libraries, and of the C libraries in them."""
    import pyproj
    import rasterio
    import shapely

    return {"levelsill": _version("levelsill"), "python": platform.python_version(),
            **{name: _version(name) for name in LIBRARIES},
            "gdal": rasterio.__gdal_version__, "proj": pyproj.proj_version_str,
            "geos": shapely.geos_version_string}


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:  # run from a copy that is not installed
        return "not installed"
