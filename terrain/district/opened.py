"""District file -> `Opened`: everything that it names, read, checked and ready for tasks."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from terrain.district.kept_layers import Kept, keep_layers
from terrain.district.parcel_list import read_parcels
from terrain.district.screened import Parcel
from terrain.errors import InputError
from terrain.inputs.district import District, read_district
from terrain.inputs.elevation import ElevationFiles
from terrain.plan.siting.reading import open_ground
from terrain.surface.culverts import read_culverts
from terrain.surface.tiled.culverts import LedThrough, lead_through
from terrain.surface.tiled.grid import SIDE, Grid, Window
from terrain.surface.tiled.ground import ElevationValues
from terrain.surface.tiled.kept_tiles import KeptTiles
from terrain.surface.tiled.work import Work
from terrain.units import told_first


@dataclass(frozen=True)
class Opened:
    """A district, read and checked.  Small without its parcels, so that tasks can be given it.

    Attributes
    ----------
    district : District
        As the file says, but its layers are the copies in the folder of the tiles.
    values : ElevationValues
        Its elevation.
    parcels : tuple of Parcel
        In the layer's order.
    work : Work
        The surface that water is led over, cut into tiles.
    notes : tuple of str
        What was assumed or mended, in whole sentences.
    kept : Kept
        The copies.
    faults : dict of int to str
        Why a parcel cannot be screened, by its number.
    told : dict of int to tuple of str
        What is to be said of a parcel beside its figures, by its number.
    parts : dict of int to shapely geometry
        As `ParcelList.parts`.
    """

    district: District
    values: ElevationValues
    parcels: tuple[Parcel, ...]
    work: Work
    notes: tuple[str, ...]
    kept: Kept
    faults: dict[int, str] = field(default_factory=dict)
    told: dict[int, tuple[str, ...]] = field(default_factory=dict)
    parts: dict[int, Any] = field(default_factory=dict)

    @property
    def files(self) -> ElevationFiles:
        """The elevation, to be read window by window."""
        return self.values.files


def open_district(folder: Path, tiles: Path, side: int = SIDE) -> Opened:
    """Read and check everything that a district file names, and copy its layers.

    Parameters
    ----------
    folder : Path
        Of the district file, or the file itself.
    tiles : Path
        The folder for finished tiles and copies; made if it is not there.
    side : int
        Of a tile. [cells]

    Raises
    ------
    InputError
        For the first thing that is wrong.
    """
    district = read_district(folder)
    with told_first(district.units):
        files = open_ground(_absolute(district))
    with told_first(district.units, files.frame.foot):
        if files.frame.foot != "ft":
            district = read_district(folder)  # again, as its levels are in the elevation's own foot
        return _opened(_absolute(district), files, tiles.absolute(), side)


def _absolute(district: District) -> District:
    """The same wherever a worker runs."""
    district._path = district.path.absolute()
    return district


def _opened(district: District, files: ElevationFiles, tiles: Path, side: int) -> Opened:
    if files.frame.working is None and files.frame.metres_per_unit != 1:
        raise InputError(f"{district.where('elevation')}, elevation", "it is in feet and has no "
                         "coordinate system, so layers cannot be laid on parts of it",
                         "State its coordinate system (crs: under elevation)")
    values = ElevationValues(files)
    parcels = read_parcels(district, files)
    ground, notes = _led_through(district, values)
    grid = Grid.square(values.shape, side)
    work = Work(values if ground is None else ground, grid, KeptTiles(tiles))
    work.begin()
    kept = keep_layers(district, values, parcels, tiles)
    said = (*files.notes, *parcels.notes, *notes, *kept.notes, *district.looked_up)
    if district.bare_numbers:
        said += ("Numbers without a unit: " + "; ".join(district.bare_numbers) + ".",)
    return Opened(kept.land, values, parcels.parcels, work, tuple(dict.fromkeys(said)), kept,
                  parcels.faults, parcels.told, parcels.parts)


def _led_through(district: District, values: ElevationValues
                 ) -> tuple[LedThrough | None, list[str]]:
    """The surface with its culverts cut through banks; None where there are none."""
    if district.culverts is None:
        return None, []
    where = district.where("culverts")
    culverts = read_culverts(district.culverts, district.folder, values.files, where,
                             district.units)
    rows, columns = values.shape
    try:
        led = lead_through(values, values.lattice(Window(0, rows, 0, columns)), culverts)
    except ValueError as error:
        raise InputError(f"{where}, {district.culverts.file}", str(error), "Draw it from ground to "
                         "ground on both sides of the bank") from None
    many = len(culverts)
    return led, [f"Water was led through {many:,} {'culvert' if many == 1 else 'culverts'}; cells "
                 f"lowered for {'it' if many == 1 else 'them'}: {led.rows.size:,}."]
