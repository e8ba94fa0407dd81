"""Ways of spills on ground of known shape, pumps, and rings of spills.

The small site's valley has its floor in the column at x = 500060.5 and falls to the south; water on
its sides goes straight down at 45 degrees (0.12 over a diagonal is steeper than 0.08 over a cell).
So lengths are closed forms of the plan; a corner of a way is rounded by a third of a cell.
"""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import rasterio
from shapely.geometry import LineString, Point

from terrain.errors import InputError
from terrain.outputs.data.cascade_json import store_facts
from terrain.outputs.page.cascade_tables import way_steps
from terrain.plan.plan import check_site, make_plan
from terrain.plan.safety.cautions import LEAVES
from terrain.plan.water.accounts import storm_account
from terrain.plan.water.routing import run_storm
from terrain.plan.water.spill_ways import ends_in_hollows, pump_cautions, spill_ways
from terrain.units import in_both
from terrain.works.ground_of_bank import spillway_floor
from terrain.works.rules import Rulebook

TANK = """\
works:
  - kind: tank
    name: hill tank
    at: [500080.5, 6399975.5]
    volume: 1 m3
  - kind: tank
    name: barn barrel
    at: [500104.5, 6399910.5]
    volume: 0.2 m3
    roofs: [barn]
  - kind: tank
    name: piped tank
    at: [500080.5, 6399977.5]
    volume: 1 m3
    pipe: [[500080.5, 6399977.5], [500090.5, 6399975.5]]
"""
LIFTED = "    name: pond\n    spills to: east swale\n    pump: true\n"


def with_only(site, works):
    text = site.read_text()
    site.write_text(text[:text.index("works:")] + works)
    return site


def edit(site, *pairs):
    text = site.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    site.write_text(text)
    return site


def lifted(site, pond=LIFTED, swale="    name: east swale\n    spills to: off site\n"):
    return edit(site, ("    name: pond\n", pond), ("    name: east swale\n", swale))


def steps(way):
    return {step.kind: step for step in way.steps}


def dig(site):
    """Lower five cells of the floor by 0.5 m: a hollow that spills over the cell below them."""
    path = site.parent / "ground.tif"
    with rasterio.open(path, "r+") as raster:
        heights = raster.read(1)
        heights[80:85, 60] -= 0.5
        raster.write(heights, 1)
    return site


@pytest.fixture(scope="module")
def tanks(small_site_folder, tmp_path_factory):
    """The valley with a hollow dug into its floor, and three tanks."""
    return make_plan(dig(with_only(small_site_folder(tmp_path_factory.mktemp("tanks")), TANK)))


@pytest.fixture(scope="module")
def pumped(small_site_folder, tmp_path_factory):
    """The small site whose pond is pumped up to the swale."""
    site = lifted(small_site_folder(tmp_path_factory.mktemp("pumped")))
    site.write_text(site.read_text() + "  - {kind: drain, name: west drain, from: "
                    "[500020, 6399930], to: pond}\n")
    return make_plan(site)


def test_a_drain_leads_along_its_own_line(pumped):
    way = pumped.told.ways[-1]
    drain = pumped.stores[-1].drain
    assert [step.kind for step in way.steps] == ["drain", "road", "road", "joins"]
    line, road = LineString(drain.route.line), pumped.inputs.ground.roads[0].surface
    for step in way.steps[1:3]:  # it runs round the head of the valley, over the track and back
        at = line.interpolate(step.at)
        assert (at.x, at.y) == pytest.approx((step.x, step.y), abs=1e-6)
        assert road.boundary.distance(at) < 1e-6
    assert way.steps[0].size == way.length == pytest.approx(drain.route.length)
    assert way.then[:2] == ("pond", "east swale")


def test_a_way_of_known_length_is_measured(tanks):
    """20 cells down the side at 45 degrees, then 105.5 m down the floor to the south line.  The
    track's edge lies where 1.052 k = 1.97 + 2.003, k cells east of the floor."""
    way = tanks.told.ways[0]
    met = steps(way)
    assert way.length == pytest.approx(20 * math.sqrt(2) + 105.5, abs=0.5)
    assert met["leaves"].name == "south"
    assert (met["leaves"].x, met["leaves"].y) == pytest.approx((500060.5, 6399850.0), abs=0.01)
    entered = (20 - (1.97 + 2.003) / 1.052) * math.sqrt(2)
    assert met["road"].name == "track"
    assert met["road"].at == pytest.approx(entered, abs=0.15)
    assert met["road"].size == pytest.approx(20 * math.sqrt(2) - entered, abs=0.4)
    assert way.then == ()
    assert way.leaves
    said = way_steps(tanks, way)
    assert "crosses the road \"track\"" in said[0]
    assert "leaves the property over its south side" in said[-1]


def test_a_way_past_a_roof_tells_how_close(tanks):
    """The barrel's water passes the barn's north-west corner (500095, 6399898) on the line
    x - y = -806 of the last three digits, 3 / sqrt 2 from it, 11 cells down."""
    roof = steps(tanks.told.ways[1])["roof"]
    assert roof.name == "barn"
    assert roof.size == pytest.approx(3 / math.sqrt(2), abs=0.02)
    assert roof.at == pytest.approx(11 * math.sqrt(2), abs=0.05)


def test_a_hollow_on_the_way_is_a_dead_end_until_it_is_full(tanks):
    """Depths of its five cells below the rim, 0.30 to 0.46 m, sum up to 1.90 m3."""
    way = tanks.told.ways[0]
    hollow = steps(way)["hollow"]
    assert hollow.size == pytest.approx(1.90, abs=1e-3)
    assert hollow.at == pytest.approx(20 * math.sqrt(2) + 36, abs=0.5)
    said = " ".join(way_steps(tanks, way))
    assert "a dead end until it holds 1.9 m³" in said
    assert "nothing spills" in said  # nothing feeds that tank
    facts = store_facts(tanks, 0)["spill_way"]["steps"]
    assert [s["volume_m3"] for s in facts if s["kind"] == "hollow"] == [hollow.size]


def test_a_hollow_too_small_to_tell_is_passed_over(tanks):
    inputs = replace(tanks.inputs, rules=Rulebook({"hollow noted": "2 m3"}))
    ways = spill_ways(inputs, tanks.cascade, [p.placed for p in tanks.stores])
    assert "hollow" not in steps(ways[0])


def test_a_pipe_is_told_and_the_ground_from_its_end(tanks):
    """The pipe ends where the way starts anew, 30 cells from the floor."""
    way = tanks.told.ways[2]
    pipe = steps(way)["pipe"]
    assert (pipe.at, pipe.size) == pytest.approx((0.0, math.hypot(10, 2)))
    down = 30 * math.sqrt(2) + (6399975.5 - 30 - 6399850)
    assert way.length == pytest.approx(math.hypot(10, 2) + down, abs=0.5)


def test_every_way_ends_where_the_cascade_says(pumped):
    for way, node, planned in zip(pumped.told.ways, pumped.cascade.nodes, pumped.stores,
                                  strict=True):
        assert way.name == planned.store.name
        assert way.length >= 0
        ats = [step.at for step in way.steps]
        assert ats == sorted(ats)
        assert (way.steps[-1].kind == "joins") == (node.spills_to is not None)
        if node.spills_to is not None:
            assert way.steps[-1].name == way.then[0] == planned.spills_to
        else:
            assert way.leaves


# ---- pumps ----

def test_without_a_pump_no_spill_goes_uphill(small_site):
    lifted(small_site, "    name: pond\n    spills to: east swale\n")
    with pytest.raises(InputError, match=r"takes water at .* and no pump is named"):
        check_site(small_site)


def test_a_pump_lifts_a_spill_and_the_rise_is_told(pumped):
    """It rises by the difference of the two sills; all that spills goes up."""
    plan = pumped
    swale, pond = plan.stores[0], plan.stores[1]
    node = plan.cascade.nodes[1]
    rise = swale.store.sill.level - pond.store.sill.level
    assert rise > 1
    assert node.rise == pytest.approx(rise)
    assert pond.spills_to == "east swale"
    entries = plan.storms["big day"].entries
    assert entries[0].from_above == pytest.approx(entries[1].spilled)
    assert entries[1].spilled > 0
    note, = [n for n in plan.notes if "The pump of" in n]
    assert f"lifts its spill by {rise:.2f} m" in note
    assert steps(plan.told.ways[1])["pump"].size == pytest.approx(rise)
    assert not any("The furrow to" in said for said in pond.cautions)
    assert store_facts(plan, 1)["pump"]["capacity_m3_s"] is None


BESIDE = """works:
  - kind: swale
    name: east swale
    through: [500085, 6399940]
    length: 30 m
  - kind: tank
    name: barn tank
    at: [500085, 6399930]
    volume: 5 m3
    roofs: [barn]
    spills to: east swale
"""


def test_the_height_of_a_tank_counts_only_through_a_pipe(small_site):
    """The ground falls by 0.04 m a metre along the valley (conftest's own shape), so the tank
    stands 0.4 m below the swale's contour: no furrow climbs there, a pipe from 2 m up falls."""
    with_only(small_site, BESIDE)
    with pytest.raises(InputError, match=r"takes water at .* lead its overflow there in a pipe"):
        check_site(small_site)
    piped = "    spills to: east swale\n    pipe: [[500085, 6399930], [500085, 6399940]]\n"
    edit(small_site, ("    spills to: east swale\n", piped))
    plan = make_plan(small_site)
    assert plan.stores[1].spills_to == "east swale"
    note, = [n for n in plan.notes if n.startswith("Nobody says how high")]
    assert '"barn tank" is: the overflow is taken 2.0 m' in note
    edit(small_site, ("    volume: 5 m3\n", "    volume: 5 m3\n    height: 0.3 m\n"))
    with pytest.raises(InputError, match=r"the pipe's end stands at .* no pump is named"):
        check_site(small_site)
    edit(small_site, ("height: 0.3 m", "height: 0.9 m"))
    plan = make_plan(small_site)
    tank = plan.stores[1].store
    assert not any(n.startswith("Nobody says how high") for n in plan.notes)
    assert (tank.curve.levels[-1], tank.curve.areas[0]) == pytest.approx((0.9, 5 / 0.9))


def test_a_pump_that_leads_down_is_said_to_be_needless(small_site):
    with_only(small_site, BESIDE + "    pump: true\n")
    plan = make_plan(small_site)
    fall = -plan.cascade.nodes[1].rise
    assert fall == pytest.approx(2.0 - 0.4, abs=0.1)
    note, = [n for n in plan.notes if "The pump of" in n]
    assert note.startswith(f'The pump of "barn tank" leads its spill {fall:.2f} m')
    assert note.endswith("down, which needs no pump, only a pipe.")


def test_a_hollow_that_holds_the_spill_is_proposed_as_a_store(small_site):
    """Named at the point proposed, it takes the spill, and nothing spills beyond it."""
    swale = BESIDE[:BESIDE.index("  - kind: tank")]
    with_only(small_site, swale)
    plain = make_plan(small_site)
    spilled = plain.runs["big day"].stores[0].spilled
    leaves, = [c for c in plain.stores[0].cautions if c.startswith("Its spill leaves")]
    assert leaves == LEAVES
    dem = plain.inputs.dem
    x, y = plain.cascade.nodes[0].spill_path[len(plain.cascade.nodes[0].spill_path) // 2]
    row, column = dem.cell_of(float(x), float(y), "here")
    with rasterio.open(small_site.parent / "ground.tif", "r+") as raster:
        heights = raster.read(1)
        heights[row - 8:row + 9, column - 8:column + 9] -= 1.5
        raster.write(heights, 1)
    plan = make_plan(small_site)
    hollow = steps(plan.told.ways[0])["hollow"]
    assert hollow.size > spilled > 0
    said, = [c for c in plan.stores[0].cautions if c.startswith("Its spill leaves")]
    assert said.startswith("Its spill leaves the property only when a hollow on its way")
    with_only(small_site, f"{swale}  - {{kind: hollow, name: pan, at: [{hollow.x}, {hollow.y}]}}\n")
    assert make_plan(small_site).stores[0].spills_to == "pan"
    way, past = plan.told.ways[0], steps(plan.told.ways[0])["leaves"]

    def ends(*hollows, sizes=(spilled,)):
        ways = [replace(way, name=f"way {i}", steps=(*found, past))
                for i, found in enumerate(hollows)]
        return ends_in_hollows(ways, sizes, dem)

    half, one, two = (replace(hollow, size=size * spilled, pool=pool)
                      for size, pool in ((0.5, 1), (1.5, 2), (0.6, 3)))
    assert ends((half,)) == [None]  # it would not hold one alone
    # Either of two spills would stay in a hollow of one and a half, but not both of them.
    alone, = ends((one,))
    assert alone.held
    both = ends((one,), (one,), sizes=(spilled, spilled))
    assert [end.held for end in both] == [False, False]
    assert "but \"way 1\" spills there too" in both[0].said
    assert in_both(0.5 * spilled, "volume") in both[0].said
    # What the first has no room for is caught by the next, which a third spill comes to as well.
    caught = ends((one, two), (one,), sizes=(spilled, 0.9 * spilled))
    assert [end.held for end in caught] == [True, False]
    lost = ends((one, two), (one, two), (two,), sizes=(spilled, 0.9 * spilled, 0.3 * spilled))
    assert [end.held for end in lost] == [False, False, False]
    # One that does not spill fills nothing, and is not named.
    assert ends((one,), (one,), sizes=(spilled, 0.0)) == [alone, None]


def test_a_pump_lifts_through_a_pipe(small_site):
    pipe = "    name: pond\n    pipe: [[500060, 6399870], [500060, 6399945]]\n"
    lifted(small_site, pipe)
    with pytest.raises(InputError, match=r"the pipe's end stands at .* no pump is named"):
        check_site(small_site)
    edit(small_site, (pipe, pipe + "    pump: true\n"))
    plan = make_plan(small_site)
    end = float(plan.inputs.dem.height_at(500060, 6399945))
    assert plan.cascade.nodes[1].rise == pytest.approx(end - plan.stores[1].store.sill.level)
    assert not [check for check in plan.pipes if check.name == "pond"]  # it is under pressure


def test_a_pump_too_small_for_a_peak_lifts_less_and_is_told(pumped):
    """Between the greatest spills of the two storms it is too small for the larger alone."""
    peaks = {name: run.stores[1].peak_spill for name, run in pumped.runs.items()}
    assert 0 < peaks["shower"] < peaks["big day"]
    site = pumped.inputs.site

    def with_pump(lifts):
        node = replace(pumped.cascade.nodes[1], lifts=lifts)
        cascade = replace(pumped.cascade, nodes=[pumped.cascade.nodes[0], node,
                                                 *pumped.cascade.nodes[2:]])
        runs = {storm.name: run_storm(cascade, storm.depth,
                                      pumped.inputs.hydrology.shapes[storm.name])
                for storm in site.rain.storms}
        return runs, pump_cautions(cascade, runs)

    runs, said = with_pump((peaks["shower"] + peaks["big day"]) / 2)
    assert list(said) == [1]
    assert "\"big day\"" in said[1]
    assert "\"shower\"" not in said[1]
    assert said[1].endswith("what it cannot lift goes over the ground and off the site.")
    big = runs["big day"].stores
    assert 0 < big[1].over < big[1].spilled
    assert big[0].from_above == pytest.approx(big[1].spilled - big[1].over)
    assert storm_account(runs["big day"]).unexplained <= 1e-9
    assert with_pump(peaks["big day"] * 1.01)[1] == with_pump(None)[1] == {}


def test_what_a_small_pump_cannot_lift_takes_the_way_it_took_before_the_pump(small_site):
    """The swale is pumped to the tank at the barn; without the pump its spill comes to the pond
    down the valley, and so does what is over."""
    works = small_site.read_text()
    plain = make_plan(small_site).cascade.nodes[0]
    small_site.write_text(works.replace(
        "    name: east swale\n",
        "    name: east swale\n    spills to: barn tank\n    pump: 2 L/min\n"))
    plan = make_plan(small_site)
    node = plan.cascade.nodes[0]
    assert node.lifts == pytest.approx(2e-3 / 60)
    assert plan.stores[4].store.name == "barn tank"
    assert plan.stores[1].store.name == "pond"
    assert (node.spills_to, node.over_to) == (4, 1)
    assert plain.spills_to == 1
    assert node.over_path == pytest.approx(plain.spill_path)
    entries = plan.storms["big day"].entries
    assert entries[0].over > 0.5 * entries[0].spilled > 0
    assert entries[4].from_above == pytest.approx(entries[0].spilled - entries[0].over)
    assert plan.year.unexplained <= 1e-9
    note, = [n for n in plan.notes if "The pump of" in n]
    assert "as it would without the pump, over the ground" in note
    facts = store_facts(plan, 0)["pump"]
    assert facts["over_m3"]["big day"] == pytest.approx(entries[0].over)
    assert facts["over_goes_to"] == "pond"


@pytest.mark.parametrize("given", ["40 L/min", "2.4 m3/h", "2400 L/h"])
def test_a_pump_is_stated_in_the_units_pumps_are_sold_in(small_site, given):
    inputs, _ = check_site(lifted(small_site, LIFTED.replace("true", given)))
    assert inputs.site.works[1].pump == pytest.approx(40e-3 / 60)


@pytest.mark.parametrize(("given", "says"), [
    ("pump: true", "neither is given"),
    ("spills to: off site\n    pump: true", "neither is given"),
    ("spills to: east swale\n    pump: 40", "neither true nor what a pump lifts with its unit"),
    ("spills to: east swale\n    pump: 40 m", "'40 m' is not a flow"),
    ("spills to: east swale\n    pump: -3 L/min", "is no pump of a property")])
def test_pumps_that_cannot_be(small_site, given, says):
    lifted(small_site, f"    name: pond\n    {given}\n")
    with pytest.raises(InputError, match=says) as caught:
        check_site(small_site)
    assert "pond" in str(caught.value)


def test_a_drain_takes_no_pump(small_site):
    small_site.write_text(small_site.read_text() + "  - {kind: drain, name: west drain, from: "
                          "[500020, 6399930], to: pond, pump: true}\n")
    with pytest.raises(InputError, match="pump of its own"):
        check_site(small_site)


def test_a_pump_makes_no_ring_legal(small_site):
    """The swale's spill runs down to the pond, which would pump it up again."""
    lifted(small_site, swale="    name: east swale\n    spills to: pond\n")
    with pytest.raises(InputError, match=r"circle: .*pond.*east swale.*pond|"
                                         r"circle: .*east swale.*pond"):
        check_site(small_site)


def test_a_ring_of_three_is_named_in_the_order_of_the_water(small_site):
    works = "works:\n" + "".join(
        f"  - {{kind: tank, name: {name}, at: [5000{x}, 6399920], volume: 1 m3, spills to: {to}, "
        "pump: true}\n" for name, x, to in (("one", 40, "two"), ("two", 45, "three"),
                                            ("three", 50, "one")))
    with_only(small_site, works)
    with pytest.raises(InputError) as caught:
        check_site(small_site)
    named = [part.strip().strip('"') for part in
             caught.value.what.removeprefix("spills run in a circle: ").split(" to ")]
    follows = {"one": "two", "two": "three", "three": "one"}
    assert len(named) == 4
    assert all(follows[a] == b for a, b in itertools.pairwise(named))


def test_a_ring_through_a_tank_tells_lines_fields_and_the_way_out(small_site):
    """A pond pumped up to a tank from whose foot the overflow runs down to the pond again."""
    edit(small_site, ("    crest: 195.9 m\n",
                      "    crest: 195.9 m\n    spills to: header\n    pump: true\n"))
    text = small_site.read_text()
    small_site.write_text(text + "  - kind: tank\n    name: header\n    at: [500060, 6399900]\n"
                          "    volume: 3 m3\n")
    lines = small_site.read_text().splitlines()
    line = next(n for n, said in enumerate(lines, 1) if "spills to: header" in said)
    of_tank = next(n for n, said in enumerate(lines, 1) if "name: header" in said) - 1
    with pytest.raises(InputError) as caught:
        check_site(small_site)
    assert caught.value.where == f'{small_site} line {line}, works "pond", spills to'
    assert f'line {of_tank}, works "header", over the ground' in caught.value.remedy
    assert "pipe the overflow to another work, below the pond, or off the site" in (
        caught.value.remedy)
    # What it says to do is enough.
    small_site.write_text(small_site.read_text() + "    spills to: off site\n")
    check_site(small_site)


def test_a_record_of_less_than_a_year_is_refused(small_site):
    days = np.arange("2010-01-01", "2010-11-01", dtype="datetime64[D]")
    (small_site.parent / "rain.csv").write_text(
        "date,rain_mm\n" + "".join(f"{day},1.0\n" for day in days))
    with pytest.raises(InputError, match=r"less than a year \(304 days\)"):
        check_site(small_site)


def test_a_walls_spill_begins_where_its_spillway_lets_go(small_plan):
    """Not at the foot of the bank: by the spillway's floor, as drawn, and never through the bank
    (common practice, no source)."""
    walls = [(p, n) for p, n in zip(small_plan.stores, small_plan.cascade.nodes, strict=True)
             if p.basin is not None and p.basin.has_wall and not n.led]
    assert walls
    for planned, node in walls:
        floor, lip = spillway_floor(small_plan.inputs.dem, planned.basin)
        begins = Point(node.spill_path[0])
        assert floor.distance(begins) < 0.01
        wall = LineString(planned.basin.line)
        assert begins.distance(LineString(lip)) < begins.distance(wall) + 1.0
        assert not LineString(node.spill_path).crosses(wall)
