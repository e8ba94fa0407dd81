"""Everything that a site file names, read and checked before anything is planned."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.files import is_folder
from terrain.inputs.dem import Dem
from terrain.inputs.elevation import ElevationFiles, open_elevation
from terrain.inputs.keep_clear import read_keep_clear
from terrain.inputs.layers import boundary_polygon, rasterized, read_layer
from terrain.inputs.named_files import refuse_missing
from terrain.inputs.rainfall import RainRecord
from terrain.inputs.site import Land, Site, read_site
from terrain.plan.siting.hydrology import (
    Evaporation,
    Hydrology,
    evaporation,
    hydrology,
    rain_record,
)
from terrain.plan.siting.layout import Places
from terrain.runoff.ground import Ground, read_ground, require_known
from terrain.surface.conditioning import Conditioning
from terrain.surface.culverts import read_culverts
from terrain.surface.terrain import Terrain
from terrain.surface.window import hold
from terrain.units import in_both, told_first
from terrain.works.rules import Rulebook, own_name

Progress = Callable[[str], None]
#: A benchmark may stand this far above or below the raster's ground. [m]
BENCHMARK_WITHIN = 3.0


@dataclass(frozen=True)
class Rain:
    """What falls, what the sun takes again, and how rain becomes water at the stores."""

    record: RainRecord | None
    evaporation: Evaporation | None
    hydrology: Hydrology


@dataclass(frozen=True)
class Inputs:
    """Everything read and checked, before anything is planned."""

    site: Site
    dem: Dem
    terrain: Terrain
    ground: Ground
    record: RainRecord | None
    evaporation: Evaporation | None
    hydrology: Hydrology
    rules: Rulebook

    def told(self, system: str | None = None) -> AbstractContextManager[None]:
        """In this sentences give the site's units, or these, first, and feet are its elevation's.
        """
        return told_first(system or self.site.units, self.dem.frame.foot)

    def runoff(self, rain: float) -> NDArray[np.float64]:
        """What runs off each cell in a storm of `rain` mm; NaN where its ground is not known. [m3]
        """
        depths = self.hydrology.rule.runoff(rain, self.ground.curve_number)
        depths *= self.dem.cell_area / 1000
        return depths


def read_inputs(path: Path, progress: Progress = lambda what: None) -> Inputs:
    """Read and check everything a site file names; change nothing.

    Raises
    ------
    InputError
        For the first thing that is wrong.
    """
    progress("Reading the site file")
    path = path / "site.yaml" if is_folder(path) else path
    site = read_site(path)
    progress("Reading the elevation raster")
    with told_first(site.units):
        files = open_ground(site)
    with told_first(site.units, files.frame.foot):
        if files.frame.foot != "ft":
            site = read_site(path)  # again, as its levels are in the elevation's own foot
        return _read(site, files, progress)


def open_ground(land: Land) -> ElevationFiles:
    """Open the elevation that a file names, where all else that it names is there too.

    Raises
    ------
    InputError
        As `refuse_missing` and `open_elevation` do.
    """
    refuse_missing(land)
    spec = land.elevation
    return open_elevation([land.folder / file for file in spec.file], crs=spec.crs,
                          plan_unit=spec.plan_unit, height_unit=spec.height_unit,
                          nodata=spec.nodata, cell=spec.cell, columns=spec.columns,
                          fill_holes=spec.fill_holes_up_to)


def _read(site: Site, files: ElevationFiles, progress: Progress) -> Inputs:
    spec = site.elevation
    line = read_layer(site.boundary, site.folder, files, site.where("boundary"))
    boundary = boundary_polygon(line, files, site.where("boundary"))
    culverts = (read_culverts(site.culverts, site.folder, files, site.where("culverts"),
                              site.units)
                if site.culverts is not None else ())

    def inside(terrain: Terrain) -> NDArray[np.bool_]:
        return rasterized([(boundary, 1)], terrain.dem, 0, np.uint8).astype(bool)
    terrain = hold(files, boundary.bounds, inside,
                   Conditioning(spec.breach_depth, spec.breach_length, culverts))
    dem = terrain.dem
    site, rules = with_rules(site)
    progress("Reading the layers")
    ground = read_ground(site, dem, boundary)
    things, said = read_keep_clear(site, files)
    ground = replace(ground, keep_clear=things,
                     notes=(*line.attrs["notes"], *ground.notes, *said))
    progress("Reading the rain and the weather")
    rain = read_rain(site, dem)
    _check_benchmark(site, dem, rules)
    progress("Following the water over the ground")
    require_known(ground, terrain.drains_to(ground.inside), dem, site)
    return Inputs(site, dem, terrain, ground, rain.record, rain.evaporation, rain.hydrology, rules)


def with_rules(site: Site) -> tuple[Site, Rulebook]:
    """The rules of the trade with those that a site file states, and the site with these by the
    rules' own names.

    Raises
    ------
    InputError
        If there is no such rule, or it cannot be what is stated.
    """
    try:
        return site.model_copy(update={"rules": {own_name(name): given for name, given
                                                 in site.rules.items()}}), Rulebook(site.rules,
                                                                                    site.units)
    except ValueError as error:
        raise InputError(f"{site.where('rules')}, rules", str(error), "Correct it") from None


def read_rain(site: Site, dem: Dem) -> Rain:
    """Read the rain record and the weather.

    Parameters
    ----------
    dem : Dem
        For the latitude and the height, by which the sun and the air go.

    Raises
    ------
    InputError
        As `rain_record`, `evaporation` and `hydrology` do.
    """
    record = rain_record(site)
    return Rain(record, evaporation(site, dem, record), hydrology(site, record))


def _check_benchmark(site: Site, dem: Dem, rules: Rulebook) -> None:
    """Refuse a benchmark whose level is not on the raster's heights: stakes would be wrong; and a
    reading on it that no staff of theirs has."""
    mark = site.benchmark
    if mark is None:
        return
    where = site.where("benchmark")
    x, y = Places(site, Terrain(dem)).point(mark.at, f"{where}, benchmark, at")
    ground = float(dem.height_at(x, y))
    if not abs(mark.level - ground) <= BENCHMARK_WITHIN:
        raise InputError(f"{where}, benchmark", f"its level {in_both(mark.level, 'level')} is not "
                         f"near the raster's ground there, {in_both(ground, 'level')}",
                         "Give its level on the raster's heights; check the unit and the place")
    staff = site.setting_out.staff or rules["staff length"]
    if mark.staff_reading is not None and mark.staff_reading > staff:
        raise InputError(f"{site.where('benchmark', 'staff reading')}, benchmark, staff reading",
                         f"{in_both(mark.staff_reading, 'size')} is longer than the staff, "
                         f"{in_both(staff, 'size')}",
                         "Set the level lower, or state the staff's length under setting out")


def assumptions(inputs: Inputs) -> list[str]:
    """What was taken for granted on reading, each thing said once."""
    notes = [*inputs.dem.notes, *inputs.ground.notes, *inputs.site.looked_up]
    if inputs.site.bare_numbers:
        notes.append("Numbers without a unit: " + "; ".join(inputs.site.bare_numbers) + ".")
    if inputs.record is not None:
        notes += inputs.record.notes
    if inputs.evaporation is not None:
        notes += inputs.evaporation.notes
    return list(dict.fromkeys(notes))
