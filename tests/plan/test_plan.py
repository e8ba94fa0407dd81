"""Site -> Plan: the same property told in different ways gives the same plan."""

from __future__ import annotations

import geopandas
import numpy as np
import pytest
import rasterio

from terrain.errors import InputError, InputErrors
from terrain.plan.plan import check_site, make_plan
from terrain.plan.water.routing import StormWater, peaks_when_full


def figures(plan):
    """What every telling must agree on."""
    account = plan.storms["big day"]
    return np.array([account.rain, account.run_on, account.passive, account.roof,
                     account.left_site, *(s.store.capacity for s in plan.stores),
                     *(n.catchment.area for n in plan.cascade.nodes)])


def edit(site, *pairs):
    text = site.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    site.write_text(text)
    return site


@pytest.fixture
def told(small_plan):
    return figures(small_plan)


def test_points_in_longitude_and_latitude(small_site, told):
    from pyproj import Transformer

    move = Transformer.from_crs(32734, 4326, always_xy=True).transform
    places = [(500085, 6399940), (500040, 6399870), (500080, 6399870), (500035, 6399905),
              (500030, 6399900), (500100, 6399900)]
    edit(small_site, ("name: Small valley", "name: Small valley\npoints: lonlat"),
         *((f"[{x}, {y}]", "[{:.10f}, {:.10f}]".format(*move(x, y))) for x, y in places))
    # The pond's wall lies exactly along the edges of its half-metre cells: a rounding of 0.01 mm
    # moves a row of them to its other side, a thousandth of what it holds.
    assert figures(make_plan(small_site)) == pytest.approx(told, rel=2e-3)


def test_layers_in_another_coordinate_system(small_site, told):
    for path in small_site.parent.glob("*.geojson"):
        layer = geopandas.read_file(path).to_crs(4326)
        path.unlink()
        layer.to_file(path)
    assert figures(make_plan(small_site)) == pytest.approx(told, rel=1e-4)


def test_heights_in_feet(small_site, told):
    path = small_site.parent / "ground.tif"
    with rasterio.open(path, "r+") as raster:
        raster.write((raster.read(1) / 0.3048).astype(np.float32), 1)
        raster.units = ("foot",)
    assert figures(make_plan(small_site)) == pytest.approx(told, rel=2e-3)


def test_no_coordinate_system_at_all(small_site, told, write_raster):
    """The raster loses its CRS, and so must the layers; the plan's unit is stated."""
    folder = small_site.parent
    with rasterio.open(folder / "ground.tif") as raster:
        heights = raster.read(1)
    (folder / "ground.tif").unlink()
    write_raster(folder / "ground.tif", heights, crs=None)
    text = small_site.read_text().replace("file: ground.tif", "file: ground.tif\n  plan unit: m")
    for path in folder.glob("*.geojson"):
        layer = geopandas.read_file(path).set_crs(None, allow_override=True)
        layer.to_file(path.with_suffix(".shp"))
        text = text.replace(path.name, path.with_suffix(".shp").name)
    small_site.write_text(text)
    assert figures(make_plan(small_site)) == pytest.approx(told, rel=1e-6)


def test_a_site_without_works_keeps_nothing(small_site):
    text = small_site.read_text()
    small_site.write_text(text[:text.index("works:")])
    plan = make_plan(small_site)
    for account in plan.storms.values():
        assert account.passive == account.roof == 0
        assert account.rain + account.run_on == pytest.approx(
            account.soaked_in_place + account.left_site, rel=1e-9)


def test_works_only_ever_keep_water(small_site, small_plan):
    """What leaves with the works and what they keep is what left without them, but for rain on
    their own surfaces and on the roof that feeds the tank."""
    with_works = small_plan.storms["big day"]
    text = small_site.read_text()
    small_site.write_text(text[:text.index("works:")])
    bare = make_plan(small_site).storms["big day"]
    assert with_works.left_site < bare.left_site
    assert with_works.rain == pytest.approx(bare.rain, rel=1e-3)
    kept = with_works.passive + with_works.roof
    assert kept > bare.left_site - with_works.left_site


def test_a_pipe_and_a_word_overrule_the_ground(small_site, small_plan):
    natural = {s.store.name: s.spills_to for s in small_plan.stores}
    assert natural["east swale"] == "pond"
    assert natural["trees 1"] == "trees 2"
    edit(small_site, ("name: east swale", "name: east swale\n    spills to: off site"),
         ("name: barn tank", "name: barn tank\n    pipe: [[500100, 6399900], [500061, 6399872]]"))
    plan = make_plan(small_site)
    ends = {s.store.name: s.spills_to for s in plan.stores}
    assert ends["barn tank"] == "pond"
    assert ends["east swale"] == "off the site by the owner's word"
    swale = plan.storms["big day"].entries[0]
    assert swale.spilled > 0
    assert plan.storms["big day"].entries[1].from_above < small_plan.storms["big day"].entries[
        1].from_above + 5


def test_a_hole_test_overrules_the_soil_group(small_site, small_plan):
    before = small_plan.stores[0]
    assert "half the published rate" in before.store.rate_source
    edit(small_site, ("name: east swale", "name: east swale\n    infiltration: 20 mm/h"))
    after = make_plan(small_site).stores[0]
    assert after.store.infiltration == 20
    assert after.drain_hours == pytest.approx(
        before.drain_hours * before.store.infiltration / 20, rel=1e-9)


def test_a_rule_of_the_owners_is_used(small_site):
    edit(small_site, ("works:", "rules: {berm freeboard: 0.3 m}\nworks:"))
    swale = make_plan(small_site).stores[0].swale
    assert swale.berm_height == pytest.approx(swale.sill.head + 0.3)


def test_ground_that_matters_and_nobody_described_is_refused(small_site):
    edit(small_site, ("  otherwise: pasture, poor\n", ""))
    with pytest.raises(InputError, match=r"cover layer says nothing about [\d,]+ m2"):
        make_plan(small_site)


def test_run_on_is_counted_apart(small_plan):
    """Ground above the boundary drains in: run-on, within each store and in all."""
    account = small_plan.storms["big day"]
    assert account.run_on > 0
    for entry in account.entries:
        assert 0 <= entry.run_on <= entry.runoff
    assert sum(e.run_on for e in account.entries) <= account.run_on


def test_stores_get_the_rain_on_their_own_surface_once(small_plan):
    """Curve number 100 stands for each store's water surface, no more and no less."""
    plan = small_plan
    for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True):
        wet = float(node.catchment.areas[node.catchment.curve_numbers == 100].sum())
        surface = 0.0 if planned.store.kind == "tank" else planned.store.curve.areas[-1]
        assert wet == pytest.approx(surface, rel=1e-9)
    bowl = next(p for p in plan.stores if p.store.kind == "tree basin")
    assert bowl.store.curve.areas[-1] == pytest.approx(np.pi * 1.5**2)


def test_all_ground_belongs_to_one_catchment(small_plan):
    """The property is the boundary's cells less the barn's, and the roof stands beside them."""
    plan = small_plan
    ground = plan.inputs.ground
    cells = (ground.inside & ~ground.roofs[0].cells).sum() * plan.inputs.dem.cell_area
    assert plan.cascade.ground_area == pytest.approx(cells, rel=1e-9)
    assert plan.cascade.roof_area == pytest.approx(ground.roofs[0].outline.area)


def test_sills_are_sized_for_the_peak_that_comes_when_all_are_full(small_plan):
    plan = small_plan
    design = plan.site.rain.design
    shape = plan.inputs.hydrology.shapes[design.name]
    peaks = peaks_when_full(plan.cascade, StormWater(plan.cascade, design.depth, shape))
    for planned, peak, storm in zip(plan.stores, peaks, plan.runs[design.name].stores, strict=True):
        if planned.store.kind != "tank":
            assert planned.store.sill.peak == pytest.approx(peak, rel=2e-3)
            assert peak >= storm.peak_in * (1 - 1e-9)


def test_a_sharper_storm_as_rare_sizes_the_sills_too_and_a_dry_condition_does_not(small_site,
                                                                                   small_plan):
    text = small_site.read_text()
    burst = ("    - {name: burst, depth: 45 mm, duration: 20 min, pattern: even, "
             "return period: 10}\n")
    small_site.write_text(text.replace("  storms:\n", f"  storms:\n{burst}")
                          + "runoff: {antecedent: I}\n")
    sharp = make_plan(small_site)
    assert sharp.site.rain.design.name == "big day"  # the longer of two as rare
    for before, after in zip(small_plan.stores, sharp.stores, strict=True):
        if before.store.kind in ("swale", "basin"):
            assert after.store.sill.peak > 1.2 * before.store.sill.peak


def test_a_storm_that_overtops_a_bank_is_told(small_site):
    text = small_site.read_text()
    flood = "    - {name: deluge, depth: 400 mm, duration: 1 h, pattern: even}\n"
    small_site.write_text(text.replace("  storms:\n", f"  storms:\n{flood}"))
    plan = make_plan(edit(small_site, ("    name: east swale\n",
                                       "    name: east swale\n    sill length: 0.5 m\n")))
    said = " ".join(plan.stores[0].cautions)
    assert 'In the storm "deluge"' in said
    assert "overtopped" in said
    assert 'In the storm "shower"' not in said


@pytest.mark.parametrize(("old", "new", "says"), [
    ("name: trees", "name: pond 2", None),
    ("  - kind: tank", "  - {kind: tree basin, name: trees 2, at: [500020, 6399890], crown: 3 m}\n"
     "  - kind: tank", "two stores would be called"),
    ("  - kind: tank", "  - {kind: tree basin, name: more, at: [500031, 6399900], crown: 3 m}\n"
     "  - kind: tank", "lie on the same ground"),
    ("at: [[500030, 6399900], [500035, 6399905]]", "at: [500085, 6399940]", "runs through"),
    ("at: [[500030, 6399900], [500035, 6399905]]", "at: [500100, 6399894]", "runs into the roof"),
    ("at: [[500030, 6399900], [500035, 6399905]]", "at: [500010.5, 6399900]",
     "reaches beyond the boundary"),
    ("    name: pond\n", "    name: pond\n    spills to: east swale\n", "takes water at"),
    ("    name: barn tank\n", "    name: barn tank\n    pipe: [[500100, 6399900], [500012, "
     "6399975]]\n", "the pipe's end stands at"),
])
def test_works_that_cannot_be(small_site, old, new, says):
    edit(small_site, (old, new))
    if says is None:
        make_plan(small_site)
        return
    with pytest.raises(InputError, match=says):
        make_plan(small_site)


def test_all_works_that_cannot_be_are_told_at_once(small_site):
    """A pond beyond the boundary, a swale on a roof, and trees in the pond; and names, before."""
    edit(small_site, ("through: [500085, 6399940]", "through: [500100, 6399893]"),
         ("[[500040, 6399870]", "[[500000, 6399870]"),
         ("at: [[500030, 6399900], ", "at: [[500060, 6399873], "))
    with pytest.raises(InputErrors) as errors:
        check_site(small_site)
    said = [str(error) for error in errors.value.each]
    assert ["works \"east swale\"" in said[0], "reaches beyond the boundary" in said[1],
            "\"trees 1\" and \"pond\" lie on the same ground" in said[2]] == [True] * 3
    edit(small_site, ("    name: pond\n", "    name: pond\n    spills to: nowhere\n"),
         ("roofs: [barn]", "roofs: [palace]"))
    with pytest.raises(InputErrors) as errors:
        check_site(small_site)
    assert ["nowhere" in str(error) or "palace" in str(error)
            for error in errors.value.each] == [True, True]


def test_roofs_on_one_another_are_refused(small_site, write_layer):
    from shapely.geometry import box

    path = small_site.parent / "roofs.geojson"
    path.unlink()
    write_layer(path, [{"name": "barn", "geometry": box(500095, 6399890, 500105, 6399898)},
                       {"name": "copy", "geometry": box(500095, 6399890, 500105, 6399898)}])
    with pytest.raises(InputError, match="counted twice"):
        make_plan(small_site)


def test_bare_road_widths_are_in_the_sites_units(small_site, small_plan):
    metric = small_plan.sheds[0].area
    edit(small_site, ("name: Small valley", "name: Small valley\nunits: us"))
    plan = make_plan(small_site)
    assert plan.sheds[0].area < metric / 2
    assert any("taken in feet" in note for note in plan.notes)


def test_starts_at_is_the_least_rain_that_runs_off_the_ground(small_plan):
    """Just under it a store gets only the rain on itself, just over it more."""
    from terrain.plan.water.routing import run_storm
    from terrain.runoff.storms import storm_shape

    plan = small_plan
    planned, node = plan.stores[0], plan.cascade.nodes[0]
    surface = planned.store.curve.areas[-1]
    for depth, more in ((planned.starts_at * 0.99, False), (planned.starts_at * 1.2, True)):
        found = run_storm(plan.cascade, depth, storm_shape("II", 24)).stores[0]
        assert (found.runoff > surface * depth / 1000 * (1 + 1e-9)) == more
    assert node.catchment.area > surface


def test_a_bowl_on_a_slope_is_dug_into_it(small_plan):
    """Above the water a disc on a plane: mean rise r s over the disc; past its rim in the direction
    t the side stands h = r s (1 + sin t) below the ground and nears it by k = 1 / 2 - s sin t a
    metre, r h^2 / (2 k) + h^3 / (6 k^2) in all; the valley's sides slope 0.04 and 0.08."""
    from scipy.integrate import quad

    planned = next(p for p in small_plan.stores if p.store.kind == "tree basin")
    slope, radius, side = np.hypot(0.04, 0.08), 1.5, 2.0
    within = slope * radius * np.pi * radius**2

    def past(t):
        high, nears = slope * radius * (1 + np.sin(t)), 1 / side - slope * np.sin(t)
        return radius * high**2 / (2 * nears) + high**3 / (6 * nears**2)
    above = within + quad(past, 0, 2 * np.pi)[0]
    assert planned.quantities.cut - planned.store.capacity == pytest.approx(above, rel=0.005)


def test_a_sill_where_the_owner_wants_it(small_site, small_plan):
    first = small_plan.stores[0].swale
    at = first.route.line[0]
    edit(small_site, ("name: east swale", f"name: east swale\n    sill at: [{at[0]}, {at[1]}]"))
    moved = make_plan(small_site).stores[0].swale
    assert (moved.sill_x, moved.sill_y) == pytest.approx(tuple(at), abs=0.01)
    edit(small_site, (f"sill at: [{at[0]}, {at[1]}]", "sill at: [500020, 6399900]"))
    with pytest.raises(InputError, match=r"sill at.*m from the swale"):
        make_plan(small_site)


def test_the_catchment_that_would_carry_a_tree(small_plan):
    """FAO AGL/MISC/17/91 (1991), sect. 4.4, from the plan's own rain and runoff."""
    plan = small_plan
    for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True):
        if planned.store.kind != "tree basin":
            assert planned.trees_catchment is None
            continue
        rain = plan.seasons.mean(plan.seasons.rain_mm)
        ground = node.catchment.curve_numbers < 100
        daily = [sum(a * max(d - 0.2 * s, 0) ** 2 / (d + 0.8 * s) for a, s in zip(
            node.catchment.areas[ground], 254 * (100 / node.catchment.curve_numbers[ground] - 1),
            strict=True)) if d else 0.0 for d in plan.seasons.rain_mm]
        share = plan.seasons.mean(np.array(daily)) / node.catchment.areas[ground].sum() / rain
        want = 0.5 * sum(plan.site.evapotranspiration)
        expected = np.pi * 1.5**2 * (want - rain) / (rain * share * 0.5)
        assert planned.trees_catchment == pytest.approx(expected, rel=1e-6)
