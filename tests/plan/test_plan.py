"""Site -> Plan: the same property told in different ways gives the same plan."""

from __future__ import annotations

import geopandas
import numpy as np
import pytest
import rasterio

from terrain.errors import InputError
from terrain.plan.plan import make_plan


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
def told(small_site):
    return figures(make_plan(small_site))


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


def test_works_only_ever_keep_water(small_site):
    """What leaves with the works and what they keep is what left without them, but for rain on
    their own surfaces and on the roof that feeds the tank."""
    with_works = make_plan(small_site).storms["big day"]
    text = small_site.read_text()
    small_site.write_text(text[:text.index("works:")])
    bare = make_plan(small_site).storms["big day"]
    assert with_works.left_site < bare.left_site
    assert with_works.rain == pytest.approx(bare.rain, rel=1e-3)
    kept = with_works.passive + with_works.roof
    assert kept > bare.left_site - with_works.left_site


def test_a_pipe_and_a_word_overrule_the_ground(small_site):
    first = make_plan(small_site)
    natural = {s.store.name: s.spills_to for s in first.stores}
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
    assert plan.storms["big day"].entries[1].from_above < first.storms["big day"].entries[
        1].from_above + 5


def test_a_hole_test_overrules_the_soil_group(small_site):
    before = make_plan(small_site).stores[0]
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


def test_run_on_is_counted_apart(small_site):
    """Ground above the boundary drains in: run-on, within each store and in all."""
    account = make_plan(small_site).storms["big day"]
    assert account.run_on > 0
    for entry in account.entries:
        assert 0 <= entry.run_on <= entry.runoff
    assert sum(e.run_on for e in account.entries) <= account.run_on
