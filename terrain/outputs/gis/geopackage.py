"""Every layer of the plan in one GeoPackage, each with its style."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from terrain.inputs.made_from import inputs_digest
from terrain.outputs.field.setting_out import SettingOut, setting_out
from terrain.outputs.gis.layers import Layer, layers_of
from terrain.outputs.gis.style import Rule, sld
from terrain.outputs.gis.styles import STYLES
from terrain.outputs.gis.surfaces import level_words
from terrain.plan.planned import Plan

#: Time of writing in the file: always this, so that the same plan gives the same bytes.
WRITTEN = "2000-01-01T00:00:00.000Z"
#: Where desktop GIS looks for the styles of a database's layers.
STYLE_TABLE = "layer_styles"


def write_geopackage(plan: Plan, path: Path, field: SettingOut | None = None) -> None:
    """Write works, water, ground and what the owner gave; a layer without features is left out.

    The table `layer_styles` holds a Styled Layer Descriptor for every layer.
    """
    frame = plan.inputs.dem.frame
    write_layers(layers_of(plan, field or setting_out(plan)), path, frame.working,
                 f" ({level_words(frame)}; inputs_sha256 {inputs_digest(plan.site)})")


def write_layers(layers: Sequence[Layer], path: Path, crs: Any, made_from: str = "",
                 styles: Mapping[str, Sequence[Rule]] = STYLES) -> None:
    """Write layers into a new GeoPackage, the same bytes each time, and what each looks like.

    Parameters
    ----------
    crs : CRS or None
        Of all of them.
    made_from : str
        Ends what is said of each layer.
    """
    import geopandas

    with _time_of_writing(WRITTEN):
        for layer in layers:
            rows = geopandas.GeoDataFrame(layer.rows, geometry="geometry", crs=crs)
            rows.to_file(path, layer=layer.name, driver="GPKG", engine="pyogrio",
                         layer_options={"DESCRIPTION": f"{layer.said}{made_from}"})
    add_styles(path, layers, styles)


def add_styles(path: Path, layers: Sequence[Layer],
               styles: Mapping[str, Sequence[Rule]] = STYLES) -> None:
    """Add the table of styles to a GeoPackage, and name it among its contents."""
    with closing(sqlite3.connect(path)) as base, base:
        base.execute(
            f"CREATE TABLE {STYLE_TABLE} (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
            "f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256), "
            "f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT, "
            "useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), "
            "update_time DATETIME)")
        columns = dict(base.execute("SELECT table_name, column_name FROM gpkg_geometry_columns"))
        base.executemany(
            f"INSERT INTO {STYLE_TABLE} (f_table_catalog, f_table_schema, f_table_name, "
            "f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner, "
            "update_time) VALUES ('', '', ?, ?, ?, '', ?, 1, ?, '', ?)",
            [(layer.name, columns[layer.name], layer.name,
              sld(layer.name, layer.said, styles[layer.name]), layer.said, WRITTEN)
             for layer in layers])
        base.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, "
            "last_change, srs_id) VALUES (?, 'attributes', ?, ?, ?, 0)",
            (STYLE_TABLE, STYLE_TABLE, "What each layer looks like, as Styled Layer Descriptors.",
             WRITTEN))


@contextmanager
def _time_of_writing(told: str) -> Iterator[None]:
    import pyogrio

    option: Any = "OGR_CURRENT_DATE"
    before = pyogrio.get_gdal_config_option(option)
    pyogrio.set_gdal_config_options({option: told})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({option: before})
