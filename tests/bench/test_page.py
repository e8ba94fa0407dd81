"""The bench's page in a real browser: what a person does there, and what it says.

What is shown is held against `levelsill plan`'s own functions on the file that was saved, and
against the small site's valley, which is a formula: 200 m at its north edge, falling 4 cm in a
metre to the south and 8 cm in a metre to its floor at the 61st column.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from hands import Hands
from shapely import box

from terrain.bench import errands
from terrain.bench.opening import Opened, open_bench
from terrain.bench.page import errand_bar
from terrain.inputs.site import read_site
from terrain.plan.plan import make_plan
from terrain.plan.planned import Plan
from terrain.plan.safety.raster_edge import bound_of
from terrain.plan.water.routing import run_storm
from terrain.units import lasting, shown

pytestmark = pytest.mark.long

DESK = {"width": 1440, "height": 900}
MONEY = """\
# What things cost here.
money:
  currency: crown
  machine hour: [420, 560]
  machine output: 6
  haulage: [300, 500]
  tank: [700, 1100]
  pipe: [9, 16]
  tree: [40, 90]
"""
#: What is laid out by clicks: the tool, where it is clicked.
CLICKS = {
    "swale 1": ("Swale", [(500035, 6399945)]),
    "wall 1": ("Wall", [(500060, 6399925)]),
    "basin 1": ("Dug basin", [(500030, 6399880)]),
    "trees 3": ("Trees", [(500085, 6399880), (500088, 6399877), (500091, 6399880)]),
    "tank 1": ("Tank", [(500028, 6399863)]),
    "east swale": ("Pipe", [(500085, 6399940), (500063, 6399930)]),
    "drain 1": ("Drain", [(500080, 6399905), (500062, 6399880)])}
#: Where each work is met by a click.
MET = {"swale 1": (500035, 6399945), "wall 1": (500060.5, 6399930), "basin 1": (500030, 6399880),
       "trees 3": (500088, 6399877), "tank 1": (500028, 6399863), "east swale": (500085, 6399940),
       "drain 1": (500080, 6399905), "pond": (500045, 6399870), "trees": (500030, 6399900),
       "barn tank": (500100, 6399900)}


def ground(x: float, y: float) -> float:
    """Height of the valley at a place, of cells' middles. [m]"""
    return 200 - 0.04 * (6400000 - y - 0.5) + 0.08 * abs(x - 500060.5)


@contextmanager
def on_the_bench(browser, serving, path: Path, *, name: str = "", **context: Any
                 ) -> Iterator[tuple[Opened, Hands]]:
    """A site on the bench, and one page of it; no page may have complained."""
    opened = open_bench(path)
    with serving(opened.server):
        shown_in = browser.new_context(**({"viewport": DESK} | context))
        try:
            hands = Hands(shown_in.new_page(), opened.server.url,
                          touch=context.get("has_touch", False))
            yield opened, hands
            assert hands.faults == []
        finally:
            shown_in.close()
            opened.sitting.file.close()


def site_in(folder: Path, small_site_folder, write_layer, changes: dict[str, str] | None = None
            ) -> Path:
    """The small site with prices, comments and one more roof."""
    path = small_site_folder(folder)
    write_layer(path.with_name("roofs.geojson"), [
        {"name": "barn", "geometry": box(500095, 6399890, 500105, 6399898)},
        {"name": "shed", "geometry": box(500018, 6399860, 500025, 6399866)}])
    text = path.read_text()
    wanted = {"works:\n": MONEY + "works:\n    # Dug by hand in the spring.\n",
              "crest: 195.9 m": "crest: 195.9 m      # measured twice"} | (changes or {})
    for old, new in wanted.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    path.write_text(text)
    return path


@pytest.fixture(scope="module")
def shots() -> Callable[[Hands, str], None]:
    """Takes a picture of the page into the folder LEVELSILL_SHOTS, where one is named."""
    asked = os.environ.get("LEVELSILL_SHOTS")

    def take(hands: Hands, name: str) -> None:
        if asked:
            Path(asked).mkdir(parents=True, exist_ok=True)
            hands.page.screenshot(path=Path(asked) / f"{name}.png")
    return take


@pytest.fixture(scope="module")
def make_site(tmp_path_factory, small_site_folder, write_layer) -> Callable[..., Path]:
    def make(changes: dict[str, str] | None = None) -> Path:
        return site_in(tmp_path_factory.mktemp("bench"), small_site_folder, write_layer, changes)
    return make


# Every tool, and whether what is shown is what the plan says.

@dataclass
class Told:
    """What a page told of each work in a system of units."""

    figures: dict[str, dict[str, str]] = field(default_factory=dict)
    storms: dict[str, list[tuple[str, ...]]] = field(default_factory=dict)
    fates: dict[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass
class Drawn:
    """A site after every tool was used and all was saved."""

    path: Path
    before: str
    works: list[Any]
    told: dict[str, Told]
    measured: str
    saved: str
    plan: Plan

    def work(self, name: str) -> Any:
        return next(work for work in self.plan.inputs.site.works if work.name == name)


def read_all(hands: Hands) -> Told:
    told = Told()
    for name, place in MET.items():
        hands.look(*place, name)
        told.figures[name], told.storms[name] = hands.figures(), hands.storms()
    hands.settled()
    told.fates = hands.fates()
    return told


@pytest.fixture(scope="module")
def drawn(browser, serving, make_site, shots) -> Drawn:
    path = make_site()
    before = path.read_text()
    with on_the_bench(browser, serving, path) as (opened, hands):
        shots(hands, "opened")
        for name, (tool, places) in CLICKS.items():
            hands.tool(tool)
            for number, place in enumerate(places, 1):
                hands.click(*place)
                if tool == "Trees":
                    hands.chosen(name)
                    hands.until(lambda n=number: hands.figures()["Bowls"] == f"{n}", "a bowl")
                else:
                    hands.pause(0.15)
            hands.chosen(name)
            hands.settled()
            shots(hands, f"{tool.lower().replace(' ', '_')}")
        hands.tool("Measure")
        hands.click(500020, 6399970)
        hands.click(500020, 6399940)
        measured = hands.until(lambda: "falls" in hands.said() and hands.said(), "no measure")
        shots(hands, "measure")
        told = {"metric": read_all(hands)}
        hands.press("US")
        hands.until(lambda: "gal" in hands.figures()["Holds"], "no US units")
        told["us"] = read_all(hands)
        shots(hands, "us")
        hands.press("Save")
        saved = hands.until(lambda: hands.state() == "Saved" and hands.said(), "not saved")
        works = opened.sitting.desk.works
    return Drawn(path, before, works, told, measured, saved, make_plan(path))


def test_tools_lay_works_where_they_are_clicked(drawn):
    swale = next(s.placed.route for s in drawn.plan.stores if s.placed.name == "swale 1")
    ends = [ground(*end) for end in (swale.line[0], swale.line[-1])]
    assert ends == pytest.approx([ground(500035, 6399945)] * 2, abs=0.02)
    assert swale.length == pytest.approx(40, abs=0.1)
    wall = drawn.work("wall 1")
    for end in wall.wall:
        assert ground(*end) == pytest.approx(wall.crest + 0.05, abs=0.02)
    assert all(abs(y - 6399925) <= 5 for _, y in wall.wall)
    rim = drawn.work("basin 1").dug
    assert len(rim) == 8
    assert sum(x for x, _ in rim) / 8 == pytest.approx(500030, abs=0.3)
    assert sum(y for _, y in rim) / 8 == pytest.approx(6399880, abs=0.3)
    for stood, clicked in zip(drawn.work("trees 3").at, CLICKS["trees 3"][1], strict=True):
        assert stood == pytest.approx(clicked, abs=0.2)  # half a point of the screen
    assert drawn.work("tank 1").roofs == ["shed"]
    assert drawn.work("drain 1").to == "pond"
    assert drawn.work("drain 1").from_ == pytest.approx((500080, 6399905), abs=0.2)
    assert drawn.work("east swale").spills_to == "wall 1"
    assert len(drawn.work("east swale").pipe) == 2


def test_the_measure_follows_the_formula(drawn):
    long, fall, share = (float(part.split()[-2]) for part in (
        drawn.measured.replace("long", "").replace("falls", "").rstrip(".").split(",")))
    assert long == pytest.approx(30, abs=0.3)
    assert fall == pytest.approx(0.04 * 30, abs=0.02)
    assert share == pytest.approx(4, abs=0.1)


def expected(plan: Plan, name: str, system: str) -> dict[str, str]:
    """Figures of a work as the plan prints them."""
    mine = [i for i, s in enumerate(plan.stores) if s.placed.work.name == name]
    stores = [plan.stores[i] for i in mine]
    nodes = [plan.cascade.nodes[i] for i in mine]
    found: dict[str, str] = {}
    kind = stores[0].store.kind
    if kind != "tank":
        least = bound_of(n.catchment for n in nodes)
        found["Catchment"] = least + shown(sum(n.catchment.area for n in nodes), "ground", system)
        found["Earth dug"] = shown(sum(s.quantities.cut for s in stores), "earth", system)
    else:
        found["Roofs"] = shown(sum(n.roof.area for n in nodes), "ground", system)
    if kind != "drain":
        found["Holds"] = shown(sum(s.store.capacity for s in stores), "volume", system)
    if kind in ("swale", "basin"):
        found["Sill level"] = shown(stores[0].store.sill.level, "level", system)
        found["Soaks away in"] = lasting(stores[0].drain_hours)
    led = {w.name for w in plan.earth.works if w.leads_from == name}
    paid = [w.cost for w in plan.money.works if w.name in {name, *led}]
    found["Costs"] = (f"{sum(c[0] for c in paid):,.0f} to {sum(c[1] for c in paid):,.0f} crown")
    return found


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("name", MET)
def test_figures_are_those_of_the_plan(drawn, name, system):
    told = drawn.told[system].figures[name]
    wanted = expected(drawn.plan, name, system)
    assert {head: told.get(head) for head in wanted} == wanted


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("name", MET)
def test_storms_are_those_of_the_plan(drawn, name, system):
    wanted = []
    for storm in drawn.plan.inputs.site.rain.storms:
        comes, caught, spilled = fate(drawn.plan, drawn.plan.runs[storm.name], name)
        wanted.append((f"{storm.name}, {shown(storm.depth, 'rain', system)}",
                       *(shown(v, "volume", system) for v in (comes, caught, spilled))))
    assert drawn.told[system].storms[name] == wanted


def fate(plan: Plan, run: Any, name: str) -> tuple[float, float, float]:
    """What comes to the stores of a work from beyond them, stays there, and leaves them. [m3]

    What stays is what soaks, evaporates, is used or held.
    """
    mine = {i for i, s in enumerate(plan.stores) if s.placed.work.name == name}
    entries = [run.stores[i] for i in mine]
    stays = sum(e.infiltrated + e.evaporated + e.used + e.held for e in entries)
    from_above = 0.0
    for i, other in enumerate(run.stores):
        if i not in mine:
            from_above += sum(v for to, v in plan.cascade.nodes[i].given(other.spilled, other.over)
                              if to in mine)
    comes = sum(e.runoff + e.roof for e in entries) + from_above  # run-on is part of runoff
    return comes, stays, comes - stays


@pytest.mark.parametrize("system", ["metric", "us"])
def test_who_fills_and_where_it_spills_is_as_the_plan_says(drawn, system):
    run = drawn.plan.runs["big day"]
    assert set(drawn.told[system].fates) == set(MET)
    for name, (caught, spills) in drawn.told[system].fates.items():
        _, stays, spilled = fate(drawn.plan, run, name)
        assert caught == shown(stays, "volume", system)
        assert spills.startswith(shown(spilled, "volume", system) if spilled > 1e-9 else "–")
    assert drawn.told["metric"].fates["east swale"][1].endswith("→ wall 1")


def test_saving_keeps_comments_and_what_stood_there(drawn):
    text = drawn.path.read_text()
    for comment in ("# What things cost here.", "# Dug by hand in the spring.",
                    "crest: 195.9 m      # measured twice"):
        assert comment in text
    [backup] = (drawn.path.parent / "site backups").iterdir()
    assert backup.read_text() == drawn.before
    assert backup.name in drawn.saved
    assert list(read_site(drawn.path).works) == drawn.works
    assert {work.name for work in drawn.works} == set(MET)
    # What was not touched stands to the letter.
    assert drawn.before[:drawn.before.index("works:")] == text[:text.index("works:")]


# Changing what lies.

@pytest.fixture(scope="module")
def begun(browser, serving, make_site) -> Iterator[tuple[Opened, Hands]]:
    with on_the_bench(browser, serving, make_site()) as both:
        yield both


@pytest.fixture(scope="module")
def pristine(begun) -> str:
    return begun[0].sitting.file.path.read_text()


def on_the_servers_thread(opened: Opened, what: Callable[[], None]) -> None:
    over = threading.Event()

    def do() -> None:
        try:
            what()
        finally:
            over.set()
    opened.server.add_callback(do)
    assert over.wait(20)


@pytest.fixture
def desk(begun, pristine) -> tuple[Opened, Hands]:
    """The same bench and page, with the works of the small site again, and "Look" chosen."""
    opened, hands = begun
    path = opened.sitting.file.path
    if path.read_text() != pristine or opened.sitting.desk.undoes is not None:
        path.write_text(pristine)
        on_the_servers_thread(opened, opened.sitting.take_theirs)
        for one in (path.parent / "site backups").glob("*"):
            one.unlink()
    hands.page.keyboard.press("Escape")
    hands.tool("Look")
    nothing = (500016, 6399975)
    hands.show_first(*nothing)
    hands.click(*nothing)
    hands.until(lambda: hands.heading() == "Nothing is chosen", "something is chosen")
    return opened, hands


def test_the_end_of_a_swale_is_dragged(desk, shots):
    opened, hands = desk
    hands.look(*MET["east swale"], "east swale")
    hands.settled()
    before, holds = hands.figure("Length"), hands.figure("Holds")
    assert before == pytest.approx(30, abs=0.1)
    start = hands.handles()[0]
    x, y = start
    assert ground(x, y) == pytest.approx(ground(500085, 6399940), abs=0.02)
    # Its contour falls two metres south for each to the east, on the east side.
    along = (x + 4, y - 8) if y < 6399940 else (x - 4, y + 8)
    hands.drag(start, along, 8)
    hands.until(lambda: abs(hands.figure("Length") - before - 80 ** 0.5) < 0.6,
                "it did not grow as far as it was dragged")
    hands.settled()
    assert hands.figure("Holds") > holds
    end = hands.handles()[0]
    assert ground(*end) == pytest.approx(ground(500085, 6399940), abs=0.02)
    assert end == pytest.approx(along, abs=0.6)
    shots(hands, "dragged")
    hands.press("Undo")  # the whole drag is one step
    hands.until(lambda: hands.figure("Length") == before, "it was not undone at once")
    hands.until(lambda: hands.button("Undo").is_disabled(), "a button is not as it should be")
    assert not opened.sitting.desk.unsaved


def test_a_tree_is_dragged(desk):
    opened, hands = desk
    hands.look(*MET["trees"], "trees")
    hands.settled()
    hands.drag((500030, 6399900), (500028, 6399908))
    hands.until(lambda: tuple(opened.sitting.desk.work("trees").at[0]) == pytest.approx(
        (500028, 6399908), abs=0.3), "it is not where it was dragged")
    hands.settled()
    assert tuple(opened.sitting.desk.work("trees").at[1]) == (500035, 6399905)
    assert hands.handles()[0] == pytest.approx((500028, 6399908), abs=0.3)


def test_a_corner_of_a_rim_is_dragged(desk):
    opened, hands = desk
    hands.tool("Dug basin")
    hands.click(500030, 6399880)
    hands.chosen("basin 1")
    hands.tool("Look")
    hands.zoom(500030, 6399880, 4)  # else its handles lie over each other
    hands.settled()
    before, dug = opened.sitting.desk.work("basin 1").dug, hands.figure("Earth dug")
    corner = min(hands.handles(), key=lambda at: abs(at[0] - before[0][0])
                 + abs(at[1] - before[0][1]))
    out = (corner[0] + 0.8 * (corner[0] - 500030), corner[1] + 0.8 * (corner[1] - 6399880))
    hands.drag(corner, out)
    hands.until(lambda: opened.sitting.desk.work("basin 1").dug[0] == pytest.approx(out, abs=0.1),
                "the corner is not where it was dragged")
    hands.until(lambda: hands.figure("Earth dug") > dug, "no more earth is dug")
    after = opened.sitting.desk.work("basin 1").dug
    assert after[1:] == before[1:]


def test_the_pool_grows_while_the_crest_is_raised(desk, shots):
    opened, hands = desk
    hands.look(*MET["pond"], "pond")
    hands.settled()
    pools = [hands.figure("Water covers")]
    crest = opened.sitting.desk.work("pond").crest

    def each() -> None:
        hands.pause(0.12)
        pools.append(hands.figure("Water covers"))
    hands.slide("Crest level", 60, 8, each)
    hands.until(lambda: crest < opened.sitting.desk.work("pond").crest == pytest.approx(
        hands.slid("Crest level"), abs=0.001), "the crest is not where the slider was let go")
    hands.until(lambda: hands.figure("Water covers") == pytest.approx(
        opened.sitting.desk.laid.placed[1].basin.pool_area, rel=0.01), "its pool is not told")
    hands.settled()
    pools.append(hands.figure("Water covers"))
    assert pools == sorted(pools)
    assert len(set(pools[:-1])) >= 3  # before the button was let go
    # A V-shaped valley: the pool is a triangle as long as it is deep over 4 %, and as wide as
    # twice its depth over 8 %; it ends on the bank's face, half the top and the wet slope times
    # the freeboard from the wall's line.
    basin = opened.sitting.desk.laid.placed[1].basin
    edge = basin.profile.top / 2 + basin.profile.wet_slope * (basin.crest - basin.sill.level)
    deep = basin.sill.level - ground(500060.5, 6399870) - 0.04 * edge
    assert pools[-1] == pytest.approx(deep / 0.04 * deep / 0.08, rel=0.15)
    shots(hands, "crest")
    hands.press("Undo")
    hands.until(lambda: hands.figure("Water covers") == pools[0], "it was not undone at once")


def test_undo_and_redo_by_buttons_and_by_keys(desk):
    opened, hands = desk
    keyboard = hands.page.keyboard
    names = [[work.name for work in opened.sitting.desk.works]]
    for tool, place in (("Dug basin", (500030, 6399880)), ("Swale", (500035, 6399945))):
        hands.tool(tool)
        hands.click(*place)
        names.append(hands.until(lambda: len(opened.sitting.desk.works) > len(names[-1]) and [
            work.name for work in opened.sitting.desk.works], "nothing was laid out"))
    hands.settled()
    for back, again in ((lambda: hands.press("Undo"), lambda: hands.press("Redo")),
                        (lambda: keyboard.press("Control+z"),
                         lambda: keyboard.press("Control+Shift+z"))):
        for step, wanted in ((back, 1), (back, 0), (again, 1), (again, 2)):
            step()
            hands.until(lambda: [work.name for work in opened.sitting.desk.works] ==
                        names[wanted], f"not as after {wanted} steps")  # noqa: B023
            hands.until(lambda: set(hands.fates()) == set(names[wanted]),  # noqa: B023
                        "not shown")
            hands.pause(0.1)
    hands.until(lambda: hands.button("Redo").is_disabled(), "a button is not as it should be")


def test_the_slider_of_the_storm(desk, shots):
    opened, hands = desk
    shape = opened.sitting.inputs.hydrology.shapes["big day"]
    handle = hands.slider("Depth of rain")
    before = hands.fates()
    handle.focus()
    for _ in range(25):
        hands.page.keyboard.press("ArrowLeft")
    hands.until(lambda: float(handle.get_attribute("aria-valuenow")) == 35, "the slider stays")
    hands.until(lambda: hands.fates() != before, "nothing changed")
    hands.settled()
    plan = make_plan(opened.sitting.file.path)
    run = run_storm(plan.cascade, 35.0, shape)
    for name, (caught, spills) in hands.fates().items():
        _, stays, spilled = fate(plan, run, name)
        assert caught == shown(stays, "volume")
        assert spills.startswith(shown(spilled, "volume") if spilled > 1e-9 else "–")
    assert hands.fates()["trees"][1].endswith("→ pond")
    shots(hands, "storm")
    hands.page.get_by_label("Storm").first.select_option("shower")
    hands.until(lambda: float(handle.get_attribute("aria-valuenow")) == 20, "the slider stays")
    wanted = {name: shown(fate(plan, plan.runs["shower"], name)[1], "volume")
              for name in hands.fates()}
    hands.until(lambda: {name: row[0] for name, row in hands.fates().items()} == wanted,
                "not the plan's shower")


def test_the_catchment_of_a_new_swale_is_shaded(desk):
    import io

    from PIL import Image

    opened, hands = desk
    uphill, downhill = (500022, 6399952), (500050, 6399940)

    def colours() -> list[tuple[int, ...]]:
        seen = Image.open(io.BytesIO(hands.page.screenshot())).convert("RGB")
        found = []
        for x, y in (uphill, downhill):
            px, py = hands.place(x, y)
            around = seen.crop((int(px) - 6, int(py) - 6, int(px) + 7, int(py) + 7))
            found.append(around.resize((1, 1), Image.Resampling.BOX).getpixel((0, 0)))
        return found
    hands.tool("Swale")
    up, down = colours()
    hands.click(500035, 6399945)
    hands.chosen("swale 1")
    hands.settled()
    cells = opened.sitting.desk.laid.catchment_cells("swale 1")
    dem = opened.sitting.inputs.dem
    assert [bool(cells[dem.cell_of(*place, "it")]) for place in (uphill, downhill)] == [True, False]
    new_up, new_down = colours()
    assert up[2] - new_up[2] > 40  # yellower
    assert max(abs(a - b) for a, b in zip(down, new_down, strict=True)) < 12


# Losing nothing.

def test_a_page_that_is_loaded_again_shows_what_is_not_saved(desk, browser):
    opened, hands = desk
    hands.tool("Dug basin")
    hands.click(500030, 6399880)
    hands.chosen("basin 1")
    hands.open()
    assert "basin 1" in hands.fates()
    hands.until(lambda: hands.state() == "Not saved yet", "the state is not told")
    # Two pages show the same; one is killed, and nothing is lost.
    context = browser.new_context(viewport=DESK)
    other = Hands(context.new_page(), hands.url)
    assert other.fates() == hands.fates()
    other.tool("Swale")
    other.click(500035, 6399945)
    other.chosen("swale 1")
    hands.until(lambda: "swale 1" in hands.fates(), "the other page's swale is not shown")
    assert other.faults == []
    context.close()
    hands.press("Undo")
    hands.until(lambda: "swale 1" not in hands.fates(), "not undone")
    assert [w.name for w in opened.sitting.desk.works][-1] == "basin 1"


def changed_meanwhile(opened: Opened, hands: Hands, pristine: str) -> str:
    """Another program moves the crest while a basin is laid out here; saving must ask."""
    hands.tool("Dug basin")
    hands.click(500030, 6399880)
    hands.chosen("basin 1")
    theirs = pristine.replace("crest: 195.9 m", "crest: 196.0 m")
    assert theirs != pristine
    opened.sitting.file.path.write_text(theirs)
    hands.page.keyboard.press("Control+s")
    hands.until(lambda: "another program changed it" in hands.said().lower(), "it does not ask")
    assert opened.sitting.file.path.read_text() == theirs
    return theirs


def test_a_file_changed_meanwhile_is_joined(desk, pristine, shots):
    opened, hands = desk
    changed_meanwhile(opened, hands, pristine)
    shots(hands, "changed_meanwhile")
    hands.press("Join both")
    hands.until(lambda: "Both are joined" in hands.said(), "not joined")
    hands.until(lambda: hands.state() == "Not saved yet", "the state is not told")
    hands.press("Save")
    hands.until(lambda: hands.state() == "Saved", "not saved")
    works = {work.name: work for work in read_site(opened.sitting.file.path).works}
    assert works["pond"].crest == 196.0
    assert "basin 1" in works


def test_a_file_changed_meanwhile_is_left_and_mine_saved_beside_it(desk, pristine):
    opened, hands = desk
    path = opened.sitting.file.path
    theirs = changed_meanwhile(opened, hands, pristine)
    hands.press("Save mine beside it")
    said = hands.until(lambda: "Saved as" in hands.said() and hands.said(), "not saved beside")
    [beside] = [file for file in path.parent.glob("*.yaml") if file != path]
    assert beside.name in said
    assert path.read_text() == theirs
    assert list(read_site(beside).works) == opened.sitting.desk.works
    beside.unlink()


def test_a_file_changed_meanwhile_is_taken(desk, pristine):
    opened, hands = desk
    path = opened.sitting.file.path
    theirs = changed_meanwhile(opened, hands, pristine)
    hands.press("Take the file's")
    hands.until(lambda: "read again" in hands.said(), "not taken")
    assert path.read_text() == theirs
    hands.until(lambda: hands.state() == "Saved", "the state is not told")
    hands.until(lambda: "basin 1" not in hands.fates(), "it is still told of")
    [beside] = [file for file in path.parent.glob("*.yaml") if file != path]
    assert "basin 1" in {work.name for work in read_site(beside).works}
    beside.unlink()


@pytest.mark.slow
def test_a_bench_that_is_killed_offers_what_was_not_saved(browser, make_site, shots):
    path = make_site()
    command = [Path(sys.executable).parent / "levelsill", "bench", path, "--no-browser"]
    context = browser.new_context(viewport=DESK)
    for began in range(2):
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                              text=True) as process:
            try:
                url = next(line.strip() for line in process.stdout if "http://" in line)
                hands = Hands(context.new_page(), url)
                if not began:
                    hands.tool("Dug basin")
                    hands.click(500030, 6399880)
                    hands.chosen("basin 1")
                    journal = path.with_name(f".{path.name}.unsaved")
                    hands.until(lambda: journal.exists() and "basin 1" in journal.read_text(),  # noqa: B023
                                "nothing is written down")
                else:
                    assert "not saved" in hands.said()
                    shots(hands, "offered_again")
                    hands.press("Take them up")
                    hands.until(lambda h=hands: "basin 1" in h.fates(), "not taken up")
                    hands.press("Save")
                    hands.until(lambda h=hands: h.state() == "Saved", "not saved")
                process.kill()
                process.wait()
            finally:
                process.kill()
    context.close()
    assert "basin 1" in {work.name for work in read_site(path).works}


# By keys, by touch, in the sun.

def test_everything_goes_by_keyboard(desk):
    opened, hands = desk
    keyboard = hands.page.keyboard
    hands.page.locator("#map").focus()
    keyboard.press("4")
    hands.until(lambda: "Dug basin" in hands.texts("nav .bk-btn.bk-active"), "no tool by number")
    for key in ("ArrowLeft",) * 6 + ("ArrowDown",) * 5 + ("Shift+ArrowDown",) * 2:
        keyboard.press(key)
    keyboard.press("Enter")
    hands.chosen("basin 1")
    rim = opened.sitting.desk.work("basin 1").dug
    middle = sum(x for x, _ in rim) / 8, sum(y for _, y in rim) / 8
    assert middle[0] < 500060
    assert middle[1] < 6399915
    # To the slider of its depth by the Tab key alone.
    for _ in range(60):
        keyboard.press("Tab")
        if hands.page.evaluate(FOCUSED).startswith("Depth,"):
            break
    assert hands.page.evaluate(FOCUSED).startswith("Depth,")
    before = opened.sitting.desk.work("basin 1").depth
    for _ in range(4):
        keyboard.press("ArrowLeft")
    hands.until(lambda: opened.sitting.desk.work("basin 1").depth <= before - 0.19, "as deep")
    assert opened.sitting.desk.work("basin 1").depth == pytest.approx(before - 4 * 0.05)
    keyboard.press("Control+s")
    hands.until(lambda: hands.state() == "Saved", "not saved")
    assert next(work for work in read_site(opened.sitting.file.path).works
                if work.name == "basin 1").depth == pytest.approx(before - 0.2)
    hands.page.locator("#map").focus()
    keyboard.press("Delete")
    hands.until(lambda: "basin 1" not in hands.fates(), "not taken away")


#: The title of the slider, or the words of what else has the keyboard.
FOCUSED = """() => {
  let at = document.activeElement;
  while (at?.shadowRoot?.activeElement) at = at.shadowRoot.activeElement;
  return at?.classList.contains("noUi-handle")
    ? at.getRootNode().querySelector(".bk-slider-title").textContent : at?.textContent ?? "";
}"""

#: What can be touched beside the map: its words and its smaller side, a slider's round about it.
TARGETS = """() => {
  const found = [];
  for (const one of deep("button, input, select, a, summary, .noUi-handle")) {
    if (one.closest(".skip, .unseen") || one.getRootNode().host?.closest?.(".unseen") ||
        !one.checkVisibility({visibilityProperty: true}) || !one.getClientRects().length)
      continue;
    let root = one.getRootNode(), hidden = false;
    while (root.host) { hidden ||= !!root.host.closest(".unseen"); root = root.host.getRootNode(); }
    if (hidden) continue;
    const area = one.querySelector(".noUi-touch-area") ?? one;
    const r = area.getBoundingClientRect();
    if (r.width > 0) found.push([one.textContent || one.className, r.width, r.height]);
  }
  return found;
}"""


@pytest.mark.parametrize(("width", "height"), [(820, 1180), (1180, 820)])
def test_on_a_tablet(browser, serving, make_site, shots, width, height):
    with on_the_bench(browser, serving, make_site(), viewport={"width": width, "height": height},
                      has_touch=True, device_scale_factor=2) as (_, hands):
        hands.page.locator("#map").scroll_into_view_if_needed()
        hands.tool("Swale")
        hands.click(500035, 6399945)
        hands.chosen("swale 1")
        hands.settled()
        hands.page.locator("#map").scroll_into_view_if_needed()
        length = hands.figure("Length")
        start = hands.handles()[0]
        toward = (start[0] - 5, start[1] - 10)
        hands.swipe(start, toward)
        hands.until(lambda: abs(abs(hands.figure("Length") - length) - 125 ** 0.5) < 1,
                    "the end is not where it was dragged")
        hands.settled()
        shots(hands, f"tablet_{width}")
        small = [target for target in hands.page.evaluate(TARGETS)
                 if min(target[1:]) < 44 and target[0].strip()]
        assert small == []
        wide = hands.page.evaluate(
            "() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]")
        assert wide[0] <= wide[1]
        beyond = hands.page.evaluate(
            "() => deep('.bk-btn').map((b) => b.getBoundingClientRect()).filter((r) => r.width && "
            "(r.right > innerWidth + 1 || r.left < -1)).length")
        assert beyond == 0


#: Words that are seen: themselves, their contrast with what lies behind them, and whether they are
#: text to be read.  WCAG 2.1, relative luminance.
CONTRASTS = """() => {
  const rgba = (s) => {
    const n = s.match(/[\\d.]+/g).map(Number);
    return n.length < 4 ? [...n, 1] : n; };
  const over = (a, b) => [0, 1, 2].map((i) => a[i] * a[3] + b[i] * (1 - a[3])).concat(1);
  const light = (c) => { const [r, g, b] = c.slice(0, 3).map((v) => v / 255).map(
    (v) => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const above = (e) => e.assignedSlot ?? e.parentElement ?? e.getRootNode().host;
  const behind = (e) => { const layers = [];
    for (let at = e; at; at = above(at)) {
      layers.push(rgba(getComputedStyle(at).backgroundColor));
      if (layers.at(-1)[3] === 1) break;
    }
    return layers.reverse().reduce((below, c) => over(c, below), [255, 255, 255, 1]); };
  const found = [];
  for (const e of deep("*")) {
    const words = e.matches("input, select") ? e.value : [...e.childNodes].filter(
      (n) => n.nodeType === 3).map((n) => n.textContent).join("").trim();
    if (!words || e.matches("script, style, option, noscript") || !e.getClientRects().length)
      continue;
    const look = getComputedStyle(e);
    if (look.visibility !== "visible") continue;
    let hidden = false, opacity = 1;
    for (let at = e; at; at = above(at)) {
      hidden ||= at.matches(".unseen, .skip");
      opacity *= getComputedStyle(at).opacity;
    }
    if (hidden || !opacity) continue;
    const back = behind(e), front = rgba(look.color); front[3] *= opacity;
    const [a, b] = [light(over(front, back)), light(back)].sort((x, y) => y - x);
    found.push([words.slice(0, 40), (a + 0.05) / (b + 0.05), e.matches(
      "p, li, td, th, b, h1, h2, h3, span, label, .bk-slider-title")]);
  }
  return found;
}"""


def test_words_stand_out(desk, shots):
    _, hands = desk
    for system in ("light", "dark"):
        hands.page.emulate_media(color_scheme=system)
        hands.look(*MET["pond"], "pond")
        hands.settled()
        seen = hands.page.evaluate(CONTRASTS)
        assert len(seen) > 60
        assert [one for one in seen if one[1] < 4.5] == []
        assert [one for one in seen if one[2] and one[1] < 7] == []
        hands.look(500016, 6399975, "Nothing is chosen")
    hands.page.emulate_media(color_scheme="light")


# Names that would do harm.

HARM = ["</script><script>harmed = 1</script>", "<img src=x onerror='harmed = 2'>",
        "\"'`{{ 7*7 }}${7*7}</title>", "x" * 90 + " " + "y" * 200]


def test_names_that_would_do_harm(browser, serving, make_site, write_layer, shots):
    path = make_site({"name: Small valley": f"name: {json.dumps(HARM[0] + HARM[1])}\nunits: us",
                      "name: east swale": f"name: {json.dumps(HARM[0])}",
                      "name: pond": f"name: {json.dumps(HARM[1])}",
                      "name: trees": f"name: {json.dumps(HARM[2])}",
                      "name: barn tank": f"name: {json.dumps(HARM[3])}",
                      "roofs: [barn]": f"roofs: [{json.dumps(HARM[1])}]",
                      "name: big day": f"name: {json.dumps(HARM[1])}"})
    write_layer(path.with_name("roofs.geojson"), [
        {"name": HARM[1], "geometry": box(500095, 6399890, 500105, 6399898)},
        {"name": HARM[0], "geometry": box(500018, 6399860, 500025, 6399866)}])
    with on_the_bench(browser, serving, path) as (opened, hands):
        met = dict(zip(HARM, ("east swale", "pond", "trees", "barn tank"), strict=True))
        for name, place in met.items():
            hands.look(*MET[place], name)
            hands.settled()
        hands.look(*MET["east swale"], HARM[0])
        field = hands.page.get_by_label("Name", exact=True)
        field.fill("<b onclick='harmed = 3'>bold</b>")
        field.press("Enter")
        hands.chosen("<b onclick='harmed = 3'>bold</b>")
        hands.tool("Tank")
        hands.click(500028, 6399863)
        hands.chosen("tank 1")
        hands.settled()
        hands.press("Save")
        hands.until(lambda: hands.state() == "Saved", "not saved")
        shots(hands, "harm")
        assert hands.page.evaluate("() => globalThis.harmed ?? 0") == 0
        assert hands.page.evaluate("() => deep('img[src=\"x\"], b[onclick]').length") == 0
        wide = hands.page.evaluate("() => [document.documentElement.scrollWidth, innerWidth]")
        assert wide[0] <= wide[1]
        assert list(read_site(path).works) == opened.sitting.desk.works


# Names that the page might take for its own words.

def test_names_that_the_page_uses_itself(browser, serving, make_site):
    path = make_site({"name: pond": "name: over the ground", "name: trees": "name: Nothing yet",
                      "name: shower": "name: any depth"})
    with on_the_bench(browser, serving, path) as (opened, hands):
        hands.look(*MET["trees"], "Nothing yet")
        goal = hands.page.get_by_label("Spills to")
        assert goal.is_visible()
        goal.select_option('"over the ground"')
        works = opened.sitting.desk
        hands.until(lambda: works.work("Nothing yet").spills_to == "over the ground", "not led")
        goal.select_option("over the ground")
        hands.until(lambda: works.work("Nothing yet").spills_to is None, "not left to the ground")
        handle = hands.slider("Depth of rain")
        hands.page.get_by_label("Storm").first.select_option('"any depth"')
        hands.until(lambda: float(handle.get_attribute("aria-valuenow")) == 20, "no such storm")


# What lies beneath.

def test_ground_that_changes_on_the_disk_is_told(browser, serving, make_site, shots):
    path = make_site()
    with on_the_bench(browser, serving, path) as (_, hands):
        hands.pause(2.5)  # longer than from one look at the disk to the next
        assert hands.said() == ""
        roofs = path.with_name("roofs.geojson")
        roofs.write_text(roofs.read_text() + "\n")
        hands.until(lambda: "roofs.geojson changed on the disk" in hands.said(), "not told")
        hands.look(*MET["pond"], "pond")
        assert "start it again" in hands.said()
        shots(hands, "changed_beneath")


# Room.

#: How far what stands beside the map is wider than its place, and the page than its window.
TOO_WIDE = """() => { const side = document.querySelector("aside"), page = document.documentElement;
  return [side.scrollWidth - side.clientWidth, page.scrollWidth - innerWidth]; }"""


def test_the_side_of_the_map_holds_what_it_tells(browser, serving, demo_site, shots, tmp_path):
    """On the demo, whose gully takes so much that US figures are told in acre-feet too."""
    path = Path(shutil.copytree(demo_site.parent, tmp_path / "demo")) / demo_site.name
    with on_the_bench(browser, serving, path) as (opened, hands):
        laid = opened.sitting.desk.laid
        for name in ("upper swale", "gully pond"):
            middle = laid.placed[laid.nodes_of(name)[0]].outline.representative_point()
            hands.look(middle.x, middle.y, name)
            for system, unit in (("US", "gal"), ("Metric", "m³")):
                hands.press(system)
                hands.until(lambda unit=unit: unit in hands.figures()["Holds"], "no such units")
                hands.settled()
                for width in (1024, 1300, 1440, 1920):
                    hands.page.set_viewport_size({"width": width, "height": 850})
                    hands.pause(0.2)
                    assert hands.page.evaluate(TOO_WIDE) == [0, 0]
                    shots(hands, f"side_{width}_{system}")
                told = any("acre-ft" in cell for row in hands.storms() for cell in row)
                assert told == (system == "US" and name == "gully pond")


# What takes longer.

PRETENDS = """\
import sys, time, pathlib
for word in ("Reading the ground", "Writing the report"):
    print(word, "...", file=sys.stderr, flush=True)
    time.sleep({seconds})
folder = pathlib.Path({folder!r})
folder.mkdir(exist_ok=True)
(folder / "report.html").write_text("<!doctype html><title>Report</title><p id=p>made here</p>")
(folder / ".levelsill-wrote.json").write_text("{{}}")
print("Written")
print("  " + str(folder / "report.html"))
"""


def test_buttons_of_what_takes_longer(desk, monkeypatch, shots):
    opened, hands = desk
    folder = opened.sitting.file.path.parent / "bench plan of site"
    seconds = [1.2, 30.0]

    def pretended(site: Path, *_: Any) -> errands.Errand:
        assert site == opened.sitting.file.path
        told = PRETENDS.format(folder=str(folder), seconds=seconds.pop(0))
        return errands.Errand("plan", (sys.executable, "-c", told), folder,
                              {"report": "report.html"})
    monkeypatch.setattr(errand_bar, "plan", pretended)
    hands.tool("Dug basin")
    hands.click(500030, 6399880)
    hands.chosen("basin 1")
    hands.press("Plan")
    hands.until(lambda: "Writing the report" in hands.errands(), "no progress is told")
    hands.until(lambda: hands.button("Prove").is_disabled(), "a button is not as it should be")
    # What is planned is what is on the desk.
    hands.until(lambda: hands.state() == "Saved", "the state is not told")
    assert "basin 1" in opened.sitting.file.path.read_text()
    hands.until(lambda: "Plan: report" in hands.errands(), "it does not end")
    shots(hands, "planned")
    with hands.page.context.expect_page() as opens:
        hands.page.locator(".made a").click()
    assert opens.value.locator("#p").text_content() == "made here"
    opens.value.close()
    hands.click(500085, 6399960)
    hands.chosen("basin 2")
    hands.until(lambda: "before the last changes" in hands.errands(), "it does not tell its age")
    hands.press("Undo")
    hands.until(lambda: "before the last" not in hands.errands(), "it tells a wrong age")
    hands.press("Plan")
    hands.until(lambda: "Reading the ground" in hands.errands(), "no progress is told")
    hands.press("Stop")
    hands.until(lambda: "Plan" not in hands.errands(), "it does not stop")
    hands.until(lambda: not hands.button("Prove").is_disabled(), "a button is not as it should be")


@pytest.mark.slow
def test_a_real_plan_by_its_button_agrees_with_the_page(browser, serving, make_site):
    with on_the_bench(browser, serving, make_site()) as (_, hands):
        hands.tool("Dug basin")
        hands.click(500030, 6399880)
        hands.chosen("basin 1")
        holds = hands.figures()["Holds"]
        hands.press("Report")
        for _ in range(400):
            hands.pause(0.5)
            if "Plan: report" in hands.errands():
                break
        with hands.page.context.expect_page() as opens:
            hands.page.locator(".made a", has_text="report").click()
        report = opens.value
        report.wait_for_load_state()
        rows = [row for row in report.locator("tr").all_text_contents() if "basin 1" in row]
        assert any(holds.split()[0] in row for row in rows)
