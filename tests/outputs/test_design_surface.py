"""The designed ground as it is written: raster read back, breaklines, tables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import rasterio

from terrain.outputs.design_surface import (
    breakline_rows,
    earth_of,
    two_ways_notes,
    two_ways_rows,
    write_design_surface,
)


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


def test_the_beds_of_the_swales_are_at_their_level(demo_plan, written):
    """Sill less depth, in the middle of the bed, on the uphill side."""
    with rasterio.open(written) as found:
        level = found.read(1)
        for planned in demo_plan.stores:
            if planned.swale is None:
                continue
            bed = planned.swale.sill.level - planned.swale.depth
            lines = [row for row in breakline_rows(demo_plan)
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
    assert breakline_rows(bare) == []
    assert two_ways_rows(bare) == two_ways_notes(bare) == []


def test_breaklines_carry_levels(demo_plan, tmp_path):
    import geopandas

    path = tmp_path / "layers.gpkg"
    geopandas.GeoDataFrame(breakline_rows(demo_plan), geometry="geometry",
                           crs=demo_plan.inputs.dem.frame.working).to_file(
        path, layer="breaklines", driver="GPKG")
    found = geopandas.read_file(path, layer="breaklines")
    assert set(found.columns) == {"work", "line", "geometry"}
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
