"""Natural hollows named as works, and those that are not."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass

import numpy as np
import pytest
import rasterio
from shapely.geometry import Point

from terrain.errors import InputError
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.drawing.site_map import draw_site_map
from terrain.outputs.field.setting_out import setting_out
from terrain.outputs.field.stake_table import write_stake_table
from terrain.outputs.gis.geopackage import write_geopackage
from terrain.outputs.page.build_tables import build_rows
from terrain.outputs.page.earth_tables import balance_rows
from terrain.outputs.page.store_tables import store_rows
from terrain.plan.plan import make_plan
from terrain.plan.water.routing import run_storm
from terrain.runoff.storms import storm_shape


@dataclass(frozen=True)
class Dish:
    """A paraboloid pressed into the floor of the small site's valley."""

    x: float
    y: float
    radius: float
    depth: float


PAN, SMALL = Dish(500060.5, 6399922.5, 9.0, 0.6), Dish(500060.5, 6399902.5, 3.0, 0.4)
WORKS = """\
  - kind: hollow
    name: pan
    at: [500061, 6399921]
    infiltration: 4 mm/h
"""


def press(site, *dishes):
    """Press dishes into the raster; return it."""
    path = site.parent / "ground.tif"
    with rasterio.open(path, "r+") as raster:
        heights = raster.read(1).astype(float)
        row, column = np.mgrid[0:heights.shape[0], 0:heights.shape[1]]
        for dish in dishes:
            far = np.hypot(500000.5 + column - dish.x, 6399999.5 - row - dish.y)
            lip = heights[np.abs(far - dish.radius) < 1].min()
            bowl = lip - dish.depth * (1 - (far / dish.radius) ** 2)
            heights = np.where(far < dish.radius, np.minimum(heights, bowl), heights)
        raster.write(heights.astype(np.float32), 1)
    return heights.astype(np.float32)


def add(site, text):
    site.write_text(site.read_text() + text)


@pytest.fixture
def hollow_site(small_site):
    press(small_site, PAN, SMALL)
    add(small_site, WORKS)
    return small_site


@pytest.fixture
def plan(hollow_site):
    return make_plan(hollow_site)


def pool_of(plan, dish):
    """The cells of a dish under water, by richdem's filled surface and scipy's labels."""
    from scipy import ndimage

    from terrain.surface.slope import filled_by_library

    heights = plan.inputs.dem.heights
    depth = filled_by_library(heights).astype(np.float64) - heights
    label, _ = ndimage.label(depth > 0, structure=np.ones((3, 3)))
    row, column = plan.inputs.dem.row_column(dish.x, dish.y)
    pool = label == label[row, column]
    return pool, depth


def pan_of(plan):
    index = next(i for i, s in enumerate(plan.stores) if s.store.kind == "hollow")
    return plan.stores[index], plan.cascade.nodes[index]


def test_a_hollow_holds_what_the_ground_holds(plan):
    planned, node = pan_of(plan)
    pool, depth = pool_of(plan, PAN)
    assert planned.store.capacity == pytest.approx(depth[pool].sum())
    assert planned.placed.outline.area == pytest.approx(pool.sum())
    assert planned.store.curve.areas[-1] == pool.sum()
    assert planned.store.infiltration == 4.0
    # Its water surface sheds all rain; all that drains to it is its own or another store's.
    wet = node.catchment.areas[node.catchment.curve_numbers == 100].sum()
    assert wet == pytest.approx(pool.sum())
    drains = plan.terrain.catchment(pool)
    above = np.isin(plan.cascade.labels, [i + 1 for i, s in enumerate(plan.stores)
                                          if s.spills_to == "pan"])
    assert node.catchment.area == (drains & ~above).sum()
    assert above.any()


def test_it_spills_at_its_rim_when_it_is_full_and_not_before(plan):
    planned, node = pan_of(plan)
    row, column = plan.inputs.dem.row_column(*node.spill_path[0])
    sill = planned.store.sill
    assert plan.inputs.dem.heights[row, column] == np.float32(sill.level)
    assert planned.spills_to == "pond"
    index = plan.stores.index(planned)
    for share, spills in ((0.97, False), (1.03, True)):
        run = run_storm(plan.cascade, planned.full_at * share, storm_shape("II", 24)).stores[index]
        assert (run.spilled > 0) == spills


def test_its_sill_is_natural_and_not_sized_for_the_peak(plan, hollow_site):
    """On the floor of the valley, whose sides rise 0.08 m in a cell: one cell within 5 cm."""
    sill = pan_of(plan)[0].store.sill
    assert sill.length == 1.0
    assert sill.peak > 0
    # Flow over a broad lip: Chow, Open-Channel Hydraulics, 1959, ch. 3.
    assert 1.7 * sill.length * sill.head**1.5 == pytest.approx(sill.peak)
    assert any("as wide as the rim" in note and "pan 1.0 m" in note for note in plan.notes)
    hollow_site.write_text(hollow_site.read_text().replace(
        "works:", "rules: {hollow rim: 0.17 m}\nworks:"))
    assert pan_of(make_plan(hollow_site))[0].store.sill.length == 5.0


def test_nothing_is_dug_or_set_out(plan, tmp_path):
    planned, _ = pan_of(plan)
    assert planned.quantities is None
    assert "pan" not in [row.name for row in build_rows(plan)]
    assert "pan" not in dict(balance_rows(plan))
    write_stake_table(setting_out(plan), tmp_path / "stakes.csv")
    with open(tmp_path / "stakes.csv", encoding="utf-8") as stream:
        assert {row["work"] for row in csv.DictReader(stream)} == {
            "east swale", "pond", "trees 1", "trees 2"}


def test_it_is_told_in_the_report_plan_json_and_the_layers(plan, tmp_path):
    import geopandas

    planned, _ = pan_of(plan)
    row = next(row for row in store_rows(plan) if row.name == "pan")
    assert row.cells[0] == "hollow"
    told = next(s for s in plan_object(plan)["stores"] if s["name"] == "pan")
    pool, depth = pool_of(plan, PAN)
    assert told["kind"] == "hollow"
    assert told["at"] == [500061.0, 6399921.0]
    assert told["pool_area_m2"] == pool.sum()
    assert told["depth_m"] == pytest.approx(depth[pool].max(), abs=1e-5)
    assert told["storage_m3"] == pytest.approx(depth[pool].sum(), abs=1e-6)
    assert "cut_m3" not in told
    write_geopackage(plan, tmp_path / "plan.gpkg")
    layer = geopandas.read_file(tmp_path / "plan.gpkg", layer="hollows")
    assert list(layer["name"]) == ["pan"]
    assert layer.geometry[0].area == pytest.approx(pool.sum())
    assert layer["storage_m3"][0] == pytest.approx(planned.store.capacity)


def test_it_counts_as_passive_capture(plan):
    for account in (*plan.storms.values(), plan.year):
        caught = {entry.name: entry.caught for entry in account.entries}
        assert caught["pan"] > 0
        assert account.passive == pytest.approx(sum(caught.values()) - caught["barn tank"])


def test_the_map_shows_and_names_it(plan):
    figure = draw_site_map(plan)
    marks = [a for a in figure.axes[0].get_children() if a.get_gid() == "hollow"]
    assert len(marks) == 2  # its water, and the teeth of its edge
    west, south, east, north = pan_of(plan)[0].placed.outline.bounds
    box = marks[0].get_path().get_extents()
    assert (box.x0, box.y0, box.x1, box.y1) == pytest.approx((west, south, east, north), abs=1.0)
    for foot, tip in marks[1].get_segments():
        assert Point(tip).distance(Point(500060.5, 6399922.5)) < Point(foot).distance(
            Point(500060.5, 6399922.5))
    words = [text.get_text() for text in figure.axes[0].texts if text.get_gid() == "work label"]
    assert words[words.index("pan") + 1].endswith("m³")
    legend = [text.get_text() for text in figure.axes[1].texts
              if text.get_gid() == "legend:hollow"]
    assert legend == ["Natural hollow, full to its rim"]


def test_its_cautions(plan, hollow_site):
    said = " ".join(pan_of(plan)[0].cautions)
    assert "go and look" in said
    assert "can drown a child" in said  # 0.6 m; warned above 0.45 m
    assert "breeds mosquitoes" in said  # 0.6 m at 4 mm/h: 150 h at its middle; warned above 72 h
    assert "beyond the property line" not in said
    hollow_site.write_text(hollow_site.read_text().replace("4 mm/h", "40 mm/h").replace(
        "works:", "rules: {drowning depth: 1 m}\nworks:"))
    said = " ".join(pan_of(make_plan(hollow_site))[0].cautions)
    assert "drown" not in said
    assert "mosquitoes" not in said


def test_a_hollow_at_a_road_may_be_the_roads_own(small_site):
    press(small_site, Dish(500060.5, 6399951.5, 6.0, 0.5))
    add(small_site, WORKS.replace("500061, 6399921", "500061, 6399951"))
    said = " ".join(pan_of(make_plan(small_site))[0].cautions)
    assert 'reaches the road "track"' in said
    assert "move it" not in said


def test_a_point_beside_the_hollow_is_told_where_it_is(hollow_site):
    hollow_site.write_text(hollow_site.read_text().replace("[500061, 6399921]",
                                                           "[500080, 6399921]"))
    with pytest.raises(InputError) as told:
        make_plan(hollow_site)
    assert re.search(r'works "pan", at: the point 500080\.0, 6399921\.0 lies in no hollow',
                     str(told.value))
    place, = re.findall(r"is at ([\d.]+, [\d.]+); move", str(told.value))
    held, = re.findall(r"of ([\d.]+) m³", str(told.value).split("nearest")[1])
    hollow_site.write_text(hollow_site.read_text().replace("[500080, 6399921]", f"[{place}]"))
    assert pan_of(make_plan(hollow_site))[0].store.capacity == pytest.approx(float(held), abs=0.05)


def test_where_no_hollow_is_near_it_is_said(small_site):
    add(small_site, WORKS)
    with pytest.raises(InputError, match=r"no hollow that holds more than 0\.1 m³.*none is within"):
        make_plan(small_site)


def test_roughness_of_the_survey_is_no_hollow(small_site):
    """One cell 5 cm deep holds 0.05 m3."""
    row, column = 78, 30
    with rasterio.open(small_site.parent / "ground.tif", "r+") as raster:
        heights = raster.read(1)
        around = np.delete(heights[row - 1:row + 2, column - 1:column + 2].ravel(), 4)
        heights[row, column] = around.min() - 0.05
        raster.write(heights, 1)
    add(small_site, WORKS.replace("500061, 6399921", "500030.5, 6399921.5"))
    with pytest.raises(InputError, match="lies in no hollow that holds more than"):
        make_plan(small_site)


@pytest.mark.parametrize("work", [
    "  - {kind: hollow, name: same, at: [500060, 6399923]}\n",
    "  - {kind: tree basin, name: oak, at: [500060, 6399922], crown: 3 m}\n",
    "  - {kind: basin, name: hole, depth: 0.3 m, dug: [[500058, 6399920], [500062, 6399920], "
    "[500062, 6399924], [500058, 6399924]]}\n",
])
def test_two_works_in_one_hollow_are_refused(hollow_site, work):
    add(hollow_site, work)
    with pytest.raises(InputError, match="lie on the same ground"):
        make_plan(hollow_site)


@pytest.mark.parametrize(("west", "refused"), [(500058, False), (500062, True)])
def test_a_pool_that_reaches_beyond_the_boundary(small_site, write_layer, west, refused):
    from shapely.geometry import box

    press(small_site, PAN)
    add(small_site, WORKS)
    (small_site.parent / "boundary.geojson").unlink()
    write_layer(small_site.parent / "boundary.geojson",
                [{"name": "east", "geometry": box(west, 6399850, 500110, 6399980)}])
    text = small_site.read_text()
    # Of the other works, only the tank lies wholly east of the valley's floor.
    start, end = text.index("  - kind: swale"), text.index("  - kind: tank")
    small_site.write_text(text[:start] + text[end:])
    if refused:
        with pytest.raises(InputError, match=r'"pan" reaches beyond the boundary'):
            make_plan(small_site)
        return
    planned, node = pan_of(make_plan(small_site))
    assert any(said.startswith("Its full pool reaches beyond the property line")
               for said in planned.cautions)
    assert node.catchment.run_on_area > 0


def hollow_note(plan):
    return [note for note in plan.notes if "within the boundary and in none" in note]


def test_hollows_that_are_no_works_are_counted_in_the_notes(hollow_site):
    named = hollow_site.read_text()
    hollow_site.write_text(named.replace(WORKS, ""))
    plan = make_plan(hollow_site)
    held = []
    for dish in (PAN, SMALL):
        pool, depth = pool_of(plan, dish)
        held.append(depth[pool].sum())
    assert held[0] > held[1] > 1.0  # m3, from which on they are told; common practice, no source
    note, = hollow_note(plan)
    assert note.startswith("2 natural hollows of more than 1.0 m³")
    assert f"the largest holds {held[0]:.1f} m³" in note
    assert "500060.5, 6399922.5" in note
    assert "upper bounds" in note
    hollow_site.write_text(named)
    note, = hollow_note(make_plan(hollow_site))
    assert note.startswith("One natural hollow of more than")
    assert f"(it holds {held[1]:.1f} m³" in note
    hollow_site.write_text(named.replace("works:", "rules: {hollow noted: 50 m3}\nworks:"))
    assert hollow_note(make_plan(hollow_site)) == []


def test_a_hollow_beyond_the_boundary_or_within_a_work_is_not_counted(small_site):
    press(small_site, Dish(500060.5, 6399873.5, 3.0, 0.4),  # under the pond
          Dish(500060.5, 6399990.5, 4.0, 0.6))  # north of the property
    plan = make_plan(small_site)
    assert len([h for h in plan.terrain.hollows if h.volume > 1]) == 2
    assert hollow_note(plan) == []
