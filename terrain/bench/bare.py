"""A site file for a raster that has none, so that works can be laid out on it at once."""

from __future__ import annotations

import json
from contextlib import suppress
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import CRS

from terrain.errors import InputError
from terrain.files import check_name, refuse_taken, whole_file
from terrain.inputs.elevation import ElevationFiles, open_elevation
from terrain.inputs.frame import Frame
from terrain.inputs.whole_bytes import refuse_no_file
from terrain.outputs.site_text.yaml_text import quoted

#: The boundary lies this share of the shorter side within the known ground, at least so many
#: cells and at most so far [m], but on small rasters no more than an eighth of that side.
INSET, LEAST_CELLS, FURTHEST, MOST_SHARE = 0.02, 3.0, 20.0, 1 / 8
#: The known ground of rasters with more cells than this is looked at in larger ones.
LOOKED_AT = 4_000_000
#: Storms taken until the owner asks the weather service: shower and 10-year day.
STORMS = {"metric": ("12 mm", "60 mm"), "us": ("0.5 in", "2.4 in")}

_HEAD = """\
# A site file that `levelsill bench` made of {raster} alone, so that works can be laid out on it.
# It is yours now: set right what was GUESSED, above all the rain, the boundary and what covers the
# ground.  Lines that start with # are comments.  Lengths, depths and volumes may carry their unit:
"""
_ELEVATION = "  file: {file}\n{said}"
_BOUNDARY = """\
# Your land, one outline.  GUESSED: nearly all of the raster, {inset} within its edge.  Name a
# layer of yours: GeoPackage, GeoJSON, shapefile or KML.
boundary:
  file: {edge}
{crs}"""
_COVER = """\
# What covers the ground.  GUESSED: one class everywhere, the one under `otherwise`; its field is
# left empty in the file that is named, and where it is empty that class is taken.  Change the
# class, or name a layer of areas with a field "cover" that holds a class of docs/site-file.md,
# such as  "desert shrub, fair"  "pasture, poor"  "bare soil"  "dirt road"  "woods, good".
cover:
  file: {edge}
{crs}  field: cover
  otherwise: desert shrub, fair
"""
_SOILS = """\
# Soil groups: A soaks fast (sand) ... D hardly at all (clay, rock).  GUESSED: C everywhere, in the
# same way.
soils:
  file: {edge}
{crs}  field: group
  otherwise: C
"""
_WORKS = """\
# What is to be dug or set up.  The bench writes the works here that you lay out on its map.
works:
"""


def site_for(raster: Path, units: str | None = None, *, crs: str | None = None,
             plan_unit: str | None = None, height_unit: str | None = None,
             nodata: float | None = None) -> Path:
    """The site file beside a raster, ``hill.site.yaml`` beside ``hill.tif``, made if there is none.

    Together with it an outline of the raster's known ground, a little drawn in so that works keep
    off its edge, is written as ``hill.edge.geojson``. Nothing that is there already is changed.

    Parameters
    ----------
    raster : Path
    units : {"metric", "us"}, optional
        Of numbers without a unit, and of what is printed; left out, us where the raster's own plan
        is in feet.
    crs, plan_unit, height_unit, nodata
        What the raster does not say of itself, as in `open_elevation`.

    Raises
    ------
    InputError
        If the raster cannot be read, is too small, or nothing may be written beside it.
    """
    raster = Path(raster)
    site, edge = (raster.with_name(f"{raster.stem}.{end}") for end in ("site.yaml",
                                                                        "edge.geojson"))
    if site.exists():
        return site
    refuse_no_file(raster, str(raster))
    if not raster.is_file():
        raise InputError(str(raster), "there is no such file",
                         check_name(raster, "Check the name of the elevation raster"))
    refuse_taken(site)  # a link that leads nowhere
    files = open_elevation(raster, crs=crs, plan_unit=plan_unit, height_unit=height_unit,
                           nodata=nodata)
    outline, inset = _known_ground(files)
    collection, named = _as_geojson(outline, files.frame, edge.name)
    said = {"crs": crs, "plan unit": plan_unit, "height unit": height_unit,
            "nodata": None if nodata is None else f"{nodata!r}"}
    units = units or ("us" if _in_feet(files.frame) else "metric")
    text = _site_text(raster.name, raster.stem, edge.name, units, said, inset, named)
    new = _write_edge(edge, collection)
    try:
        _write(site, text)
    except BaseException:
        if new and not site.exists():  # else another run's site file names it
            with suppress(OSError):
                edge.unlink()
        raise
    return site


def _known_ground(files: ElevationFiles) -> tuple[Any, float]:
    """The largest piece of known ground, holes counted in, drawn in from its edge, and how far.
    [m]"""
    from scipy import ndimage

    from terrain.surface.catchments import outline

    factor = max(int(np.ceil((files.shape[0] * files.shape[1] / LOOKED_AT) ** 0.5)), 1)
    if factor == 1:
        dem = files.read()
        known = np.isfinite(dem.heights)
    else:
        dem, highest = files.read_coarse(factor)
        known = np.isfinite(highest)
    label, count = ndimage.label(known)
    small = InputError(files.name, "it holds too little known ground to lay works out on",
                       "Give a raster that reaches beyond your land")
    if not count:
        raise small
    main = label == 1 + int(np.argmax(np.bincount(label.reshape(-1))[1:]))
    whole = outline(main, dem.transform)
    whole = shapely.Polygon(_largest(whole).exterior)
    whole = whole.intersection(shapely.box(*files.bounds))  # larger cells may stick out
    west, south, east, north = whole.bounds
    side = min(east - west, north - south)
    inset = min(max(INSET * side, LEAST_CELLS * dem.cell), FURTHEST + factor * files.cell,
                MOST_SHARE * side)
    inner = _largest(whole.buffer(-inset, join_style="mitre").simplify(inset / 4))
    if inner is None or inner.area < 4 * files.cell**2:
        raise small
    return inner, inset


def _largest(shape: Any) -> Any:
    """The largest polygon of a shape; None if it has none."""
    parts = [part for part in getattr(shape, "geoms", [shape])
             if part.geom_type == "Polygon" and not part.is_empty]
    return max(parts, key=lambda part: part.area, default=None)


def _as_geojson(outline: Any, frame: Frame, name: str) -> tuple[dict[str, Any], str | None]:
    """The outline in the raster's own coordinates, and the CRS to state in the site file where
    the file itself cannot say it."""
    ring = np.asarray(outline.exterior.coords)[:, :2]
    own = None if frame.source is None else _plan_of(frame.source)
    x, y = frame.to_source(ring[:, 0], ring[:, 1])
    places = 8 if own is not None and own.is_geographic else 3
    made: dict[str, Any] = {"type": "FeatureCollection", "name": Path(name).stem}
    authority = None if own is None else own.to_authority(min_confidence=100)
    if authority is not None:
        made["crs"] = {"type": "name", "properties": {
            "name": f"urn:ogc:def:crs:{authority[0]}::{authority[1]}"}}
    made["features"] = [{"type": "Feature",
                         "properties": {"name": "edge of the raster", "cover": "", "group": ""},
                         "geometry": {"type": "Polygon", "coordinates": [
                             [[round(float(a), places), round(float(b), places)]
                              for a, b in zip(x, y, strict=True)]]}}]
    return made, own.to_wkt() if own is not None and authority is None else None


def _in_feet(frame: Frame) -> bool:
    """Whether the raster's own plan is in feet."""
    own = None if frame.source is None else _plan_of(frame.source)
    metres = (frame.metres_per_unit if own is None or own.is_geographic else
              own.axis_info[0].unit_conversion_factor)
    return abs(metres - 0.3048) < 1e-4


def _plan_of(crs: CRS) -> CRS:
    """A CRS without its heights."""
    flat = crs.sub_crs_list[0] if crs.is_compound else crs
    return flat.to_2d() if len(flat.axis_info) > 2 else flat


def _site_text(raster: str, stem: str, edge: str, units: str, said: dict[str, str | None],
               inset: float, crs: str | None) -> str:
    """The text of the new site file: that of `levelsill start`, filled in."""
    template = (resources.files("terrain.inputs") / "starter.yaml").read_text("utf-8")
    edge_ = quoted(edge, True)
    crs_line = "" if crs is None else f"  crs: {quoted(' '.join(crs.split()), False)}\n"
    told = "".join(f"  {field}: {quoted(words, True) if field != 'nodata' else words}\n"
                   for field, words in said.items() if words is not None)
    parts = {"boundary": _BOUNDARY, "cover": _COVER, "soils": _SOILS}
    length = f"{inset / 0.3048:.0f} ft" if units == "us" else f"{inset:.3g} m"
    paragraphs = template.split("\n\n")
    made: list[str] = []
    for paragraph in paragraphs:
        lines = paragraph.split("\n")
        key = next((line.split(":")[0] for line in lines if line[:1].isalpha()), "")
        if paragraph is paragraphs[0]:
            example = next(line for line in lines if line.startswith("#   "))
            made.append(_HEAD.format(raster=" ".join(raster.split())) + example + "\n"
                        + f"# Read it all:   levelsill check {_word(stem + '.site.yaml')}"
                        + f"   and then   levelsill plan {_word(stem + '.site.yaml')}")
        elif key == "name":
            made.append("\n".join(
                f"name: {quoted(stem, True)}" if line.startswith("name:") else
                line.replace("units: metric", f"units: {units:<6}") for line in lines))
        elif key == "elevation":
            made.append("\n".join(
                _ELEVATION.format(file=quoted(raster, True), said=told).rstrip("\n")
                if line.startswith("  file:") else line for line in lines
                if not any(words is not None and line.startswith(f"  # {field}:")
                           for field, words in said.items())))
        elif key in parts:
            made.append(parts[key].format(edge=edge_, crs=crs_line, inset=length).rstrip("\n"))
        elif key == "rain":
            shower, day = STORMS[units]
            made.append(paragraph.replace("# Rain to plan for.", "# Rain to plan for.  GUESSED.")
                        .replace("depth: 12 mm,", f"depth: {shower},")
                        .replace("depth: 60 mm,", f"depth: {day},"))
        elif key == "works":
            made.append(_WORKS.rstrip("\n"))
        else:
            made.append(paragraph)
    return "\n\n".join(part.strip("\n") for part in made) + "\n"


def _word(name: str) -> str:
    """A file's name in a command that is shown: in quotes if it has a blank."""
    name = " ".join(name.split())
    return f'"{name}"' if " " in name else name


def _write_edge(path: Path, collection: dict[str, Any]) -> bool:
    """Write the outline, unless the same one is there already; whether it was written."""
    text = json.dumps(collection, ensure_ascii=False, indent=1) + "\n"
    with suppress(OSError, UnicodeDecodeError):
        if path.is_file() and path.read_text("utf-8") == text:
            return False
    _write(path, text)
    return True


def _write(path: Path, text: str) -> None:
    try:
        with whole_file(path) as draft:
            draft.write_text(text, encoding="utf-8", newline="\n")
    except InputError as error:
        if path.exists():
            raise
        raise InputError(error.where, error.what + ", and a site file is to be written beside the "
                         "raster", "Copy the raster into a folder of your own") from None
