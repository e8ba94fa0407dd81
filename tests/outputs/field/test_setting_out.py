"""Stakes: where they stand and which level they ask for."""

from __future__ import annotations

import csv

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from terrain.outputs.field.setting_out import setting_out
from terrain.outputs.field.stake_table import write_stake_table
from terrain.outputs.field.stakes import stakes_of
from terrain.plan.plan import make_plan


def of(plan, work, mark):
    return [s for s in stakes_of(plan) if s.work == work and s.mark == mark]


def test_a_swales_stakes(demo_plan):
    planned = next(p for p in demo_plan.stores if p.store.name == "upper swale")
    swale = planned.swale
    line = LineString(swale.route.line)
    stakes = of(demo_plan, "upper swale", "line") + of(demo_plan, "upper swale", "end")
    for stake in stakes:
        assert line.distance(Point(stake.x, stake.y)) < 1e-6
        assert stake.design == swale.sill.level
        assert stake.design_of == "lip"
    stations = sorted(s.station for s in stakes)
    assert stations[0] == 0
    assert stations[-1] == pytest.approx(line.length)
    assert np.diff(stations).max() <= 10 + 1e-9  # stakes every 10 m, common practice, no source
    left, right = of(demo_plan, "upper swale", "sill")
    assert right.station - left.station == pytest.approx(swale.sill.length)
    assert left.design == right.design == swale.sill.level


def test_bed_stakes_stand_uphill_of_the_lip_on_the_middle_of_the_bed(demo_plan):
    planned = next(p for p in demo_plan.stores if p.store.name == "lower swale")
    swale, line = planned.swale, LineString(planned.swale.route.line)
    beds = of(demo_plan, "lower swale", "bed")
    assert len(beds) > 3
    for stake in beds:
        assert stake.design == pytest.approx(swale.sill.level - swale.depth)
        assert line.distance(Point(stake.x, stake.y)) == pytest.approx(
            2 * swale.depth + swale.width / 2, abs=0.05)
    assert np.mean([s.ground for s in beds]) > swale.route.level


def test_berm_stakes_stand_downhill_at_the_crest_as_built(demo_plan):
    planned = next(p for p in demo_plan.stores if p.store.name == "lower swale")
    berm = of(demo_plan, "lower swale", "berm")
    line = LineString(planned.swale.route.line)
    assert len(berm) > 3
    for stake in berm:
        assert stake.design == pytest.approx(
            planned.swale.sill.level + planned.swale.berm_height_built)
        assert line.distance(Point(stake.x, stake.y)) == pytest.approx(
            2 * planned.swale.berm_height_built + 0.3, abs=0.05)
    assert np.mean([s.ground for s in berm]) < planned.swale.route.level


def test_a_spillway_lies_beyond_the_walls_end(demo_plan):
    planned = next(p for p in demo_plan.stores if p.store.name == "gully pond")
    basin, wall = planned.basin, planned.basin.profile
    near, far = (np.array([stake.x, stake.y]) for stake in of(demo_plan, "gully pond", "sill"))
    end = np.array([basin.sill_x, basin.sill_y])
    foot = wall.top / 2  # where crest and ground meet the bank is as wide as its top
    assert np.hypot(*(near - end)) == pytest.approx(foot, abs=1e-6)
    assert np.hypot(*(far - end)) == pytest.approx(foot + basin.sill.length)
    assert LineString(basin.line).distance(Point(*end)) < 1e-6


def test_a_pits_floor_stakes_stand_on_its_floor(demo_plan):
    planned = next(p for p in demo_plan.stores if p.store.name == "road basin")
    basin, shape = planned.basin, Polygon(planned.basin.line)
    for stake in of(demo_plan, "road basin", "floor"):
        assert shape.exterior.distance(Point(stake.x, stake.y)) == pytest.approx(
            basin.batter * basin.water_at_wall, abs=1e-6)
        assert stake.design == pytest.approx(basin.sill.level - basin.water_at_wall)
    rim = of(demo_plan, "road basin", "rim")
    assert len({(round(s.x, 3), round(s.y, 3)) for s in rim}) == len(rim)
    assert min(s.cut for s in rim) == pytest.approx(0, abs=0.06)


def test_staff_readings_and_feet(small_site, tmp_path):
    from terrain.inputs.elevation import read_elevation

    dem = read_elevation(small_site.parent / "ground.tif")
    level = float(dem.height_at(500060, 6399950))
    text = small_site.read_text().replace("name: Small valley", "name: Small valley\nunits: us")
    small_site.write_text(text + "benchmark: {at: [500060, 6399950], level: "
                          f"{level} m, staff reading: 1.5 m}}\n")
    plan = make_plan(small_site)
    write_stake_table(setting_out(plan), tmp_path / "s.csv")
    with open(tmp_path / "s.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    for row, stake in zip(rows, stakes_of(plan), strict=True):
        assert float(row["staff_reading_ft"]) == pytest.approx(
            (level + 1.5 - stake.design) / 0.3048, abs=0.001)
        assert float(row["design_ft"]) == pytest.approx(stake.design / 0.3048, abs=0.001)


@pytest.mark.parametrize("level", ["100 m", "640 m", "200 ft"])
def test_a_benchmark_off_the_rasters_heights_is_refused(small_site, level):
    from terrain.errors import InputError

    small_site.write_text(small_site.read_text()
                          + f"benchmark: {{at: [500060, 6399950], level: {level}}}\n")
    with pytest.raises(InputError, match=r"benchmark.*not near the raster's ground"):
        make_plan(small_site)
