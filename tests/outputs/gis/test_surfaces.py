"""Surfaces as they are written, read back by rasterio and rio-cogeo; breaklines, tables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import rasterio

from terrain.inputs.elevation import read_elevation
from terrain.inputs.frame import Frame
from terrain.outputs.data.earth_json import earth_of
from terrain.outputs.field.setting_out import setting_out
from terrain.outputs.gis import surfaces as surface_files
from terrain.outputs.gis.layers import breakline_rows
from terrain.outputs.gis.surfaces import (
    FOLDER,
    Band,
    level_words,
    surfaces_of,
    write_design_surface,
    write_surfaces,
)
from terrain.outputs.page.two_ways import two_ways_notes, two_ways_rows

#: The surfaces beside the designed ground.
OTHERS = ("ground_for_water", "contributing_area", "slope", "curve_number", "hollow_depth")


@pytest.fixture(scope="module")
def field(demo_plan):
    return setting_out(demo_plan)


@pytest.fixture(scope="module")
def written(demo_plan, tmp_path_factory):
    path = tmp_path_factory.mktemp("designed") / "design_ground.tif"
    assert write_design_surface(demo_plan, path)
    return path


def test_the_raster_is_tiled_compressed_and_in_the_working_frame(demo_plan, written):
    with rasterio.open(written) as found:
        assert found.count == 2
        assert found.dtypes == ("float32", "float32")
        assert found.descriptions == ("designed level, m", "fill above 0, cut below, m")
        assert found.block_shapes[0] == (256, 256)
        assert found.profile["compress"] == "deflate"
        assert found.crs == demo_plan.inputs.dem.frame.working
        assert np.isnan(found.nodata)
        assert found.width * found.height <= 16_000_000
        cell = demo_plan.inputs.dem.cell / found.res[0]
        assert cell == pytest.approx(round(cell))


def test_the_beds_of_the_swales_are_at_their_level(demo_plan, field, written):
    """Sill less depth, in the middle of the bed, on the uphill side."""
    with rasterio.open(written) as found:
        level = found.read(1)
        for planned in demo_plan.stores:
            if planned.swale is None:
                continue
            bed = planned.swale.sill.level - planned.swale.depth
            lines = [row for row in breakline_rows(field)
                     if row["work"] == planned.store.name and row["line"].startswith("bed, ")]
            middle = np.mean([np.asarray(row["geometry"].interpolate(
                0.5, normalized=True).coords[0])[:2] for row in lines], axis=0)
            assert level[found.index(*middle)] == pytest.approx(bed, abs=2e-3)


def test_level_less_change_is_the_ground(demo_plan, written):
    with rasterio.open(written) as found:
        level, change = found.read(1).astype(float), found.read(2).astype(float)
        rows, columns = np.nonzero(np.isfinite(level))
        some = slice(None, None, 997)
        x, y = rasterio.transform.xy(found.transform, rows[some], columns[some])
    ground = demo_plan.inputs.dem.height_at(np.asarray(x), np.asarray(y))
    assert (level - change)[rows[some], columns[some]] == pytest.approx(ground, abs=2.1e-3)


def test_the_same_plan_gives_the_same_bytes(demo_plan, written, tmp_path):
    write_design_surface(demo_plan, tmp_path / "again.tif")
    assert (tmp_path / "again.tif").read_bytes() == written.read_bytes()


def test_without_works_on_the_ground_nothing_is_written(demo_plan, tmp_path):
    bare = replace(demo_plan, designed=replace(demo_plan.designed, shapes=(), earth={}))
    assert not write_design_surface(bare, tmp_path / "none.tif")
    assert not (tmp_path / "none.tif").exists()
    assert breakline_rows(setting_out(bare)) == []
    assert two_ways_rows(bare) == two_ways_notes(bare) == []


def test_breaklines_carry_levels(demo_plan, field, tmp_path):
    import geopandas

    path = tmp_path / "layers.gpkg"
    geopandas.GeoDataFrame(breakline_rows(field), geometry="geometry",
                           crs=demo_plan.inputs.dem.frame.working).to_file(
        path, layer="breaklines", driver="GPKG")
    found = geopandas.read_file(path, layer="breaklines")
    assert set(found.columns) == {"work", "line", "marks", "geometry"}
    assert found.geometry.has_z.all()
    assert set(found.geometry.geom_type) == {"LineString"}
    swale = found[found.work == "upper swale"]
    assert {"lip", "sill", "toe", "edge of the cut", "bed, uphill edge", "bed, downhill edge",
            "berm crest, inner edge", "berm crest, outer edge"} <= set(swale.line)
    planned = next(p for p in demo_plan.stores if p.store.name == "upper swale")
    crest = swale[swale.line == "berm crest, inner edge"].geometry
    assert {round(z, 6) for line in crest for *_, z in line.coords} == {
        round(planned.swale.sill.level + planned.swale.berm_height_built, 6)}
    sill = swale[swale.line == "sill"].geometry.iloc[0]
    assert sill.length == pytest.approx(planned.swale.sill_to - planned.swale.sill_from, abs=0.01)


def test_earth_by_two_ways_for_programs(demo_plan):
    for planned in demo_plan.stores:
        found = earth_of(demo_plan, planned.store.name)
        if planned.store.kind in ("tank", "hollow"):
            assert found == {}
            continue
        assert set(found["earth"]) == {"cut_sections_m3", "fill_sections_m3", "cut_surface_m3",
                                       "fill_surface_m3", "spillway_cut_m3"}
        if planned.swale is not None:
            assert found["earth"]["cut_sections_m3"] == planned.quantities.cut
            assert found["earth"]["fill_sections_m3"] == planned.quantities.bank


def test_the_table_tells_both_and_the_difference(demo_plan, us_plan):
    table = dict(two_ways_rows(demo_plan))
    found = demo_plan.designed.earth["upper swale"]
    cells = table["upper swale"]
    assert cells[0] == f"{found.cut_sections:.1f} m³"
    assert cells[2] == f"{found.cut_surface / found.cut_sections - 1:+.1%}"
    assert dict(two_ways_rows(us_plan))["upper swale"][0].endswith("yd³")


def test_a_difference_of_more_than_the_rule_is_told(demo_plan):
    said = two_ways_notes(demo_plan)
    far = [name for name, earth in demo_plan.designed.earth.items()
           if earth.off(demo_plan.inputs.rules) is not None]
    for name in far:
        assert any(line.startswith(f"{name}: the difference of surfaces") and
                   "earth by two ways, common practice, no source" in line for line in said)
    assert len([line for line in said if "the difference of surfaces comes" in line]) == len(far)
    assert any(line.startswith("gully pond: its spillway") for line in said)


@pytest.fixture(scope="module")
def surfaces(demo_plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("surfaces")
    write_surfaces(demo_plan, folder)
    return folder


def test_all_surfaces_are_cloud_optimized(surfaces):
    """By rio-cogeo's own check, and by GDAL's word for it."""
    from rio_cogeo.cogeo import cog_validate

    for path in (surfaces / "design_ground.tif",
                 *(surfaces / FOLDER / f"{name}.tif" for name in OTHERS)):
        valid, errors, warnings = cog_validate(path, quiet=True)
        assert valid, (path, errors)
        assert not warnings
        with rasterio.open(path) as found:
            assert found.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
            assert found.overviews(1)
            assert np.isnan(found.nodata)
            assert all(found.descriptions)
            assert all(found.units)
            assert "levels in metres" in found.tags()["levels"]
            assert len(found.tags()["inputs_sha256"]) == 64


def test_surfaces_hold_what_the_plan_reckons_with(demo_plan, surfaces):
    terrain, dem = demo_plan.terrain, demo_plan.inputs.dem
    for name, (bands, _) in surfaces_of(demo_plan).items():
        with rasterio.open(surfaces / FOLDER / f"{name}.tif") as found:
            assert found.crs == dem.frame.working
            assert found.transform.almost_equals(dem.transform)
            assert found.units == tuple(band.unit for band in bands)
            for number, band in enumerate(bands, 1):
                assert np.array_equal(found.read(number), band.values.astype(np.float32),
                                      equal_nan=True)
    with rasterio.open(surfaces / FOLDER / "contributing_area.tif") as found:
        area = found.read(1)
    # The whole of a store's catchment drains to the lowest of it, or through its cells.
    swale = next(p for p in demo_plan.stores if p.store.name == "upper swale")
    marks = np.zeros(dem.shape, bool)
    marks[swale.placed.cells[:, 0], swale.placed.cells[:, 1]] = True
    assert area[marks].max() <= terrain.catchment(marks).sum() * dem.cell_area + 1e-3
    with rasterio.open(surfaces / FOLDER / "hollow_depth.tif") as found:
        pool = found.read(1)
    pan = next(p for p in demo_plan.stores if p.placed.hollow is not None).placed.hollow
    inside = rasterio.features.geometry_mask(
        [next(p for p in demo_plan.stores if p.placed.hollow is not None).placed.outline],
        dem.shape, dem.transform, invert=True)
    assert np.nanmax(pool[inside]) == pytest.approx(pan.depth, abs=1e-4)


def test_the_curve_number_of_a_road_shed_is_the_mean_of_its_cells(demo_plan, surfaces):
    with rasterio.open(surfaces / FOLDER / "curve_number.tif") as found:
        numbers = found.read(1).astype(float)
    ground, terrain = demo_plan.inputs.ground, demo_plan.terrain
    for road, shed in zip(ground.roads, demo_plan.sheds, strict=False):
        assert shed.name == road.name
        cells = terrain.catchment(road.cells & ground.inside & ~terrain.in_culverts)
        assert np.nanmean(numbers[cells]) == pytest.approx(shed.catchment.mean_curve_number,
                                                           abs=1e-3)


def test_surfaces_are_the_same_bytes_again(demo_plan, surfaces, tmp_path):
    write_surfaces(demo_plan, tmp_path)
    for path in sorted(surfaces.rglob("*.tif")):
        assert (tmp_path / path.relative_to(surfaces)).read_bytes() == path.read_bytes()


@pytest.mark.parametrize(("crs", "unit", "corner", "cell"), [
    ("EPSG:2225", "US survey foot", (6_200_000.0, 2_100_000.0), 3.0),
    ("EPSG:4326", "metre", (25.0, -33.0), 1 / 3600)])
def test_of_feet_and_of_degrees_metres_are_made_and_places_kept(crs, unit, corner, cell, tmp_path,
                                                                write_raster):
    """The middle of the surface, moved back by pyproj alone, is the middle of what was read."""
    from pyproj import Transformer

    high = np.add.outer(np.arange(40.0), np.arange(50.0)).astype(np.float32) + 100
    write_raster(tmp_path / "given.tif", high, cell, crs, unit, corner)
    dem = read_elevation(tmp_path / "given.tif")
    surface_files.write_raster(tmp_path / "out.tif", [Band("level, m", "m", dem.heights)],
                               dem.transform, dem.frame, {"levels": level_words(dem.frame)}, True)
    with rasterio.open(tmp_path / "out.tif") as found, rasterio.open(tmp_path / "given.tif") as src:
        assert found.crs.is_projected
        assert found.crs.linear_units_factor[1] == 1.0
        assert found.units == ("m",)
        x, y = found.xy(found.height // 2, found.width // 2)
        back = Transformer.from_crs(found.crs, src.crs, always_xy=True).transform(x, y)
        level = float(next(found.sample([(x, y)]))[0])
        metres = 1200 / 3937 if unit != "metre" else 1.0
        row, column = src.index(*back)
        assert level == pytest.approx(float(high[row, column]) * metres, abs=1.5 * metres)


@pytest.mark.parametrize(("crs", "words"), [
    ("EPSG:6344+5703", "NAVD88 height"), ("EPSG:32734", "its files do not name"),
    (None, "its files do not name"), ("EPSG:4979", "ellipsoid of WGS 84")])
def test_what_levels_are_counted_from_is_told(crs, words):
    from pyproj import CRS

    source = None if crs is None else CRS(crs)
    assert words in level_words(Frame(source, None))
