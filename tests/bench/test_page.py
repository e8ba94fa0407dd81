"""The bench's page in a real browser: what a person does there, and what it says.

What is shown is held against `levelsill plan`'s own functions on the file that was saved, and
against the small site's valley, which is a formula: 200 m at its north edge, falling 4 cm in a
metre to the south and 8 cm in a metre to its floor at the 61st column.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from hands import Hands
from shapely import box

from terrain.bench.opening import Opened, open_bench
from terrain.inputs.site import read_site
from terrain.plan.plan import make_plan
from terrain.plan.planned import Plan
from terrain.plan.water.routing import run_storm
from terrain.units import lasting, shown

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
def shots(tmp_path_factory) -> Path:
    """Where pictures of the page go."""
    asked = os.environ.get("LEVELSILL_SHOTS")
    folder = Path(asked) if asked else tmp_path_factory.mktemp("shots")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


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
        hands.picture(shots / "opened.png")
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
            hands.picture(shots / f"{tool.lower().replace(' ', '_')}.png")
        hands.tool("Measure")
        hands.click(500020, 6399970)
        hands.click(500020, 6399940)
        measured = hands.until(lambda: "falls" in hands.said() and hands.said(), "no measure")
        hands.picture(shots / "measure.png")
        told = {"metric": read_all(hands)}
        hands.press("US")
        hands.until(lambda: "gal" in hands.figures()["Holds"], "no US units")
        told["us"] = read_all(hands)
        hands.picture(shots / "us.png")
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
        least = "at least " if any(n.catchment.touches_edge for n in nodes) else ""
        found["Catchment"] = least + shown(sum(n.catchment.area for n in nodes), "area", system)
        found["Earth dug"] = shown(sum(s.quantities.cut for s in stores), "earth", system)
    else:
        found["Roofs"] = shown(sum(n.roof.area for n in nodes), "area", system)
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
    comes = sum(e.runoff + e.run_on + e.roof for e in entries) + from_above
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
