"""Tree basins from the site file to the plan: forms, rows, months, and what is refused."""

import numpy as np
import pytest
from matplotlib.text import Text

from terrain.errors import InputError
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.field.stakes import stakes_of
from terrain.plan.plan import check_site, make_plan
from terrain.runoff.curve_number import runoff_depth
from terrain.works.crescent import crescent_volume

BOWLS = """\
  - kind: tree basin
    name: trees
    at: [[500030, 6399900], [500035, 6399905]]
    crown: 3 m
"""
#: On the valley's sides the ground slopes 0.04 across and 0.08 down it.
SLOPE = np.hypot(0.04, 0.08)


def trees(site, text: str):
    """The small site with its tree basins put otherwise; the path of its site file."""
    written = site.read_text()
    assert BOWLS in written
    site.write_text(written.replace(BOWLS, "".join(f"  {line}\n" for line in text.splitlines())))
    return site


CRESCENT = """\
- kind: tree basin
  name: trees
  form: crescent
  at: [500030, 6399900]
  crown: 3 m
"""
TRENCH = CRESCENT.replace("form: crescent", "form: trench")
ROW = """\
- kind: tree basin
  name: trees
  along: east swale
  spacing: 6 m
  crown: 3 m
"""
DRAWN = """\
- kind: tree basin
  name: trees
  along: [[500024, 6399910], [500036, 6399900]]
  count: 4
  crown: 3 m
"""


def planted(plan):
    return [p for p in plan.stores if p.store.kind == "tree basin"]


def test_a_crescent_on_the_valleys_side(small_site):
    plan = make_plan(trees(small_site, CRESCENT + "  radius: 2.5 m\n  depth: 0.2 m\n"))
    shape = planted(plan)[0].placed.tree
    assert shape.crescent.slope == pytest.approx(SLOPE, rel=0.01)
    assert shape.curve.capacity == pytest.approx(crescent_volume(2.5, 0.2, SLOPE), rel=0.05)
    assert shape.decided == "as stated"
    assert planted(plan)[0].quantities.bank == pytest.approx(shape.bank)
    said = planted(plan)[0].cautions
    assert any("above 5% a bund holds little for its earth" in words for words in said)
    marks = {stake.mark: stake for stake in stakes_of(plan) if stake.work == "trees"}
    assert set(marks) == {"tree", "sill", "bund"}
    assert marks["sill"].cut == pytest.approx(0, abs=0.02)  # a tip stands on natural ground


def test_a_trench_beside_a_tree(small_site):
    plan = make_plan(trees(small_site, TRENCH + "  depth: 0.5 m\n  gravel porosity: 0.35\n"))
    found = planted(plan)[0]
    assert found.store.capacity == pytest.approx(3.0 * 0.6 * 0.5 * 0.35)
    assert found.quantities.cut > 3.0 * 0.6 * 0.5  # and the ground above its lower side
    assert plan_object(plan)["stores"][2]["porosity"] == 0.35


def test_a_row_below_a_swale_stands_clear_of_its_berm_and_in_a_line(small_site):
    plan = make_plan(trees(small_site, ROW))
    swale = plan.stores[0].placed
    row = planted(plan)
    assert [p.store.name for p in row] == [f"trees {i + 1}" for i in range(len(row))]
    assert len(row) == 5 or len(row) == 6  # 30 m by 6 m
    from shapely import LineString, Point

    line = LineString(swale.route.line)
    gaps = [line.distance(Point(p.placed.x, p.placed.y)) for p in row]
    assert min(gaps) == pytest.approx(max(gaps), rel=0.05)
    assert min(gaps) > 0.6 + 4 * 0.2475 + 1.5  # top, two sides of 2:1, half a crown
    assert all(p.store.sill.level < swale.sill_level for p in row)
    assert not any("berm of" in said and "trunk" in said for p in row for said in p.cautions)
    assert all(any("write spills to: trees" in said or "from tree to tree" in said
                   for said in p.cautions) for p in row)


def crested(site, plan):
    """The small site, whose plan is given, with its swale's crest fixed 0.8 m above its sill."""
    level = plan.stores[0].swale.sill.level
    site.write_text(site.read_text().replace(
        "name: east swale", f"name: east swale\n    crest: {level + 0.8} m"))
    return site


def test_a_row_below_a_swale_stands_clear_of_a_berm_whose_crest_is_fixed(small_site,
                                                                              small_plan):
    """0.88 m high as built, 0.6 m wide on top, sides of 2:1: on a slope s its toe lies
    (0.6 + 4 x 0.88) / (1 - 2 s) off, beyond where the usual berm's trees would stand."""
    plan = make_plan(trees(crested(small_site, small_plan), ROW))
    swale, row = plan.stores[0], planted(plan)
    from shapely import LineString, Point

    line = LineString(swale.swale.route.line)
    gaps = [line.distance(Point(p.placed.x, p.placed.y)) for p in row]
    slope = swale.swale.route.cross_slope
    toe = (0.6 + 4 * 0.88) / (1 - 2 * slope)
    assert min(gaps) == pytest.approx(toe + 0.5 + 1.5, abs=0.15)
    assert not any("against its berm" in said for p in row for said in p.cautions)


def test_a_tree_on_the_high_berm_is_warned_of_where_the_usual_one_would_not_reach(small_site,
                                                                                  small_plan):
    from shapely import LineString

    line = LineString(small_plan.stores[0].placed.route.line)
    spot = line.interpolate(0.2, normalized=True)
    x, y = (np.array([spot.x, spot.y]) + 3.5 * np.array([-0.08, -0.04]) / SLOPE).round(2)
    tree = f"- kind: tree basin\n  name: trees\n  at: [{x}, {y}]\n  crown: 2 m\n"
    usual = make_plan(trees(small_site, tree))
    assert not any("against its berm" in said for said in planted(usual)[0].cautions)
    high = make_plan(crested(small_site, usual))
    assert any("against its berm" in said for said in planted(high)[0].cautions)


def test_a_swale_may_spill_to_its_row(small_site):
    trees(small_site, ROW)
    small_site.write_text(small_site.read_text().replace(
        "name: east swale", "name: east swale\n    spills to: trees"))
    plan = make_plan(small_site)
    assert plan.stores[0].spills_to == "trees 1"
    assert any("from tree to tree" in said for said in planted(plan)[0].cautions)


def test_a_drawn_row_by_count(small_site):
    plan = make_plan(trees(small_site, DRAWN))
    at = np.array([(p.placed.x, p.placed.y) for p in planted(plan)])
    assert at == pytest.approx(np.linspace((500024, 6399910), (500036, 6399900), 4))


def test_a_tree_on_a_berm_is_warned_of(small_site, small_plan):
    line = small_plan.stores[0].placed.route.line
    x, y = (line[len(line) // 2] + 1.9 * np.array([-0.08, -0.04]) / SLOPE).round(2)
    down = make_plan(trees(small_site, f"""\
- kind: tree basin
  name: trees
  at: [{x}, {y}]
  crown: 2 m
"""))
    assert any("from the line of \"east swale\", on or against its berm" in said
               for said in planted(down)[0].cautions)


def test_a_tree_in_the_way_of_much_water_is_warned_of(small_site):
    plan = make_plan(trees(small_site, CRESCENT.replace("[500030, 6399900]", "[500058, 6399900]")))
    node = next(n for n in plan.cascade.nodes if n.store.name == "trees")
    assert node.catchment.area > 1000  # FAO: microcatchments are smaller
    assert any("washed out" in said for said in planted(plan)[0].cautions)


def test_a_tree_below_a_wall_is_warned_of(small_site):
    """The wall stands on y = 6399870; within 5 m of its foot no tree."""
    trees(small_site, BOWLS.replace("  - ", "- ").replace("\n    ", "\n  ").replace(
        "[[500030, 6399900], [500035, 6399905]]", "[[500060, 6399864], [500090, 6399900]]"))
    near, far = planted(make_plan(small_site))
    assert any("wall of \"pond\"" in said for said in near.cautions)
    assert not any("wall of" in said for said in far.cautions)


def test_the_map_shows_crescents_and_trenches_with_their_keys(small_site):
    from terrain.outputs.drawing.site_map import draw_site_map

    text = CRESCENT.replace("[500030, 6399900]", "[[500030, 6399900], [500040, 6399905]]")
    plan = make_plan(trees(small_site, text + TRENCH.replace("name: trees", "name: figs").replace(
        "[500030, 6399900]", "[500030, 6399920]")))
    figure = draw_site_map(plan)
    words = "\n".join(text.get_text() for text in figure.findobj(Text))
    assert "Crescent about a tree" in words
    assert "Trench uphill" in words
    gids = [artist.get_gid() for artist in figure.findobj()]
    assert gids.count("bund") == 2
    assert gids.count("tree") == 3


def test_a_kind_of_tree_sets_the_plant_factor_unless_it_is_stated(small_site):
    text = BOWLS.replace("  - ", "- ").replace("\n    ", "\n  ")
    plan = make_plan(trees(small_site, text + "  tree: olive\n"))
    assert planted(plan)[0].placed.tree.factor == 0.70  # FAO 56, Table 12, from memory
    crown = np.pi * 1.5**2
    assert planted(plan)[0].trees_need == pytest.approx(1.69 * 0.7 * crown)  # ET 1,690 mm
    assert any("olive" in note for note in plan.notes)
    small_site.write_text(small_site.read_text().replace("tree: olive",
                                                         "tree: olive\n    plant factor: 0.4"))
    assert planted(make_plan(small_site))[0].placed.tree.factor == 0.4


@pytest.mark.parametrize(("text", "says"), [
    (CRESCENT + "  depth: 0.3 m\n  radius: 2 m\n", ("falls only 0.18 m", "form: bowl")),
    (CRESCENT + "  radius: 1 m\n", ("drip line", "half the crown")),
    (CRESCENT + "  length: 3 m\n", ("length belongs to a trench", "this is a crescent")),
    (TRENCH + "  depth: 1.6 m\n", ("1.60 m", "shored", "OSHA", "longer or wider")),
    (TRENCH + "  gravel porosity: 0.9\n", ("gravel porosity", "0.6")),
    (ROW.replace("east swale", "west swale"), ("west swale", "not there", "east swale")),
    (ROW.replace("east swale", "pond"), ("pond", "is no swale")),
    (ROW.replace("6 m", "2 m"), ("spacing", "2.0 m", "crowns of 3.0 m")),
    (ROW + "  first: 20 m\n  last: 40 m\n", ("last", "30.0 m", "long")),
    (ROW + "  count: 3\n", ("either a spacing or a count",)),
    (ROW.replace("  along: east swale\n", ""), ("at points or along",)),
    (DRAWN.replace("count: 4", "count: 8"), ("count", "closer than their crowns")),
    (DRAWN.replace("[[500024, 6399910], [500036, 6399900]]", "[500024, 6399910]"),
     ("neither a swale's name nor a line",)),
    (DRAWN.replace("count: 4", "spacing: 40 m"), ("spacing of 40.0 m", "15.6 m")),
    (DRAWN + "  first: 2 m\n", ("stations of the swale",)),
    (CRESCENT + "  tree: olives\n", ("no tree 'olives'", "'olive'")),
])
def test_what_cannot_be_is_told_in_a_sentence(small_site, text, says):
    with pytest.raises(InputError) as told:
        check_site(trees(small_site, text))
    message = str(told.value)
    assert "\n" not in message
    for words in ("trees", *says):
        assert words in message, message


def test_a_crescent_on_flat_ground_is_refused(small_site, write_raster):
    import rasterio

    with rasterio.open(small_site.parent / "ground.tif") as held:
        heights = held.read(1)
    rows = np.indices(heights.shape)[0]
    level = heights[60:90, 10:40].mean()
    heights[60:90, 10:40] = level + 0.001 * (rows[60:90, 10:40] - 75)
    write_raster(small_site.parent / "ground.tif", heights)
    with pytest.raises(InputError, match=r"slopes only 0\.\d%.*Use form: bowl"):
        check_site(trees(small_site, CRESCENT.replace("[500030, 6399900]", flat_spot())))


def flat_spot():
    from constructed import NORTH, WEST

    return f"[{WEST + 25.5}, {NORTH - 75.5}]"


@pytest.fixture(scope="module")
def lived(small_site_folder, tmp_path_factory):
    """The small site with seven years of winter rain, some drier than others."""
    site = small_site_folder(tmp_path_factory.mktemp("trees"))
    days = np.arange("2004-01-01", "2011-01-01", dtype="datetime64[D]")
    month = days.astype("datetime64[M]").astype(int) % 12
    year = days.astype("datetime64[Y]").astype(int) + 1970
    wet = (np.arange(days.size) % 6 == 0) & (np.isin(month, [4, 5, 6, 7]))
    depth = np.where(wet, 10.0 + 5.0 * (year % 7), 0.0)
    (site.parent / "rain.csv").write_text("date,rain_mm\n" + "".join(
        f"{day},{mm}\n" for day, mm in zip(days, depth, strict=True)))
    return make_plan(site)


def test_every_month_closes_and_the_year_is_the_account(lived):
    """rain + soaked in = used + drained + gain of the soil; soaked in is the year's account."""
    entries = {entry.name: entry for entry in lived.year.entries}
    assert planted(lived)
    for found in planted(lived):
        assert [m.name.split()[0] for m in found.life.months] == ["average", "dry", "wet"]
        for months in found.life.months:
            off = months.rain + months.soaked - months.gets - months.drained - months.gain
            assert np.abs(off).max() <= 1e-9 * (months.rain + months.soaked).sum()
            assert (months.gets <= months.want + 1e-12).all()
        average = found.life.months[0]
        assert average.soaked.sum() == pytest.approx(entries[found.store.name].infiltrated)
        assert average.want.sum() == pytest.approx(found.trees_need, rel=1e-3)
        assert 0 < found.life.gap_days < 366
        assert 0 < found.life.short_days < 366


def test_what_passes_a_place_on_the_road_is_that_of_its_storms(lived):
    """The cells behind a place, summed by TR-55's equation, give the volume told of a storm."""
    from terrain.runoff.catchment import gather

    storms = lived.site.rain.storms
    deepest = max(range(len(storms)), key=lambda i: storms[i].depth)
    for _, point in lived.ranked_shed_points[:3]:
        outlet = np.zeros(lived.terrain.dem.shape, bool)
        outlet[point.exits[:, 0], point.exits[:, 1]] = True
        part = gather(lived.inputs.ground.curve_number, lived.terrain.catchment(outlet),
                      lived.terrain.dem.cell_area)
        made = (runoff_depth(storms[deepest].depth, part.curve_numbers) * part.areas).sum() / 1000
        assert made == pytest.approx(point.volumes[deepest], rel=1e-6)


def test_the_question_is_answered_for_stores_and_road_places(lived):
    assert {found.kind for found in lived.carried} == {"store", "road", "bare ground"}
    sources = {found.source for found in lived.carried if found.kind == "store"}
    assert {"east swale", "pond", "trees"} <= sources
    assert "barn tank" not in sources
    for found in lived.carried:
        assert found.full.median <= found.some.median
        assert found.full.dry <= found.full.median
        assert found.water_dry <= found.water_median
    listed = plan_object(lived)["trees_carried"]
    assert len(listed) == len(lived.carried)
    assert {"source", "trees_full_median", "trees_some_dry"} <= set(listed[0])
