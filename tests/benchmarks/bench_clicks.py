"""How long the bench takes from a click, a drag or a slider to the painted answer, on the demo.

    python tests/benchmarks/bench_clicks.py [clicks of each kind, 40 if left out]

The demo is copied, put on the bench by the installed command, and shown in Debian's chromium,
headless and without a graphics card.  The clock runs within the page: from the time stamp of the
mouse event until the frame after both the figures of the work stand in the page and the map was
painted with what has changed.  Each click is undone before the next.  What is refused has an answer
as well, in words; it is told apart.
"""

from __future__ import annotations

import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from shapely import Point

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "bench"))
from hands import Hands  # noqa: E402

#: What the issue allows. [ms]
WANTED = 200
#: Gives up on an answer after this long; such a click counts as lost. [ms]
LOST = 8000

WATCH = """(lost) => {
  const map = Bokeh.documents[0].get_model_by_name("map");
  const view = [...Bokeh.index.query((w) => w.model === map)][0];
  const now = () => performance.now();
  let began = 0, ended = 0, changed = 0, told = 0, refused = false, before = "", words = "";
  const real = view._actual_paint;
  view._actual_paint = function (...given) {
    const at = now();
    real.apply(this, given);
    [began, ended] = [at, now()];
  };
  // What the map shows comes with the figures; what follows later, as the storm's table, is no
  // part of the answer.
  for (const one of map.renderers)
    one.data_source?.properties.data.change.connect(() => { if (!told) changed = now(); });
  const facts = deep("h2")[0].getRootNode(), said = document.querySelector(".said");
  const figures = () => ["h2", "#figures"].map((w) => facts.querySelector(w)?.textContent).join();
  const says = () => deep("p", said).map((p) => p.textContent).join(" ");
  new MutationObserver(() => { if (!told && figures() !== before) told = now(); }).observe(
    facts, {childList: true, subtree: true, characterData: true});
  globalThis.watch = (type) => {
    let asked = 0;
    [before, words, told, refused, changed] = [figures(), says(), 0, false, 0];
    document.addEventListener(type, (e) => { asked ||= e.timeStamp; },
                              {capture: true, once: true});
    globalThis.answered = new Promise((answer) => {
      const begun = now();
      const look = () => {
        if (asked && !told && says() && says() !== words) { told = now(); refused = true; }
        if (told && (refused || (changed > asked && began >= changed && ended > began)))
          requestAnimationFrame(() => answer({
            ms: now() - asked, refused, bench: told - asked, drawn: ended - began}));
        else if (now() - begun > lost) answer({ms: null, refused: false});
        else requestAnimationFrame(look);
      };
      requestAnimationFrame(look);
    });
  };
}"""

#: Time from the beginning of the navigation to the frame after the map's first whole painting.
LOADED = """(() => {
  const look = () => {
    const doc = globalThis.Bokeh?.documents?.[0];
    const map = doc?.is_idle && doc.get_model_by_name("map");
    if (map && globalThis.benchWidth > 0 && performance.getEntriesByType("resource").some(
        (r) => r.name.includes("/picture/") && r.responseEnd > 0))
      requestAnimationFrame(() => requestAnimationFrame(() => {
        globalThis.loaded = performance.now(); }));
    else requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
})();"""


class Bench:
    """The demo on the bench, and one page of it."""

    def __init__(self, hands: Hands) -> None:
        self.hands = hands
        hands.page.evaluate(WATCH, LOST)

    def timed(self, event: str, act: Any) -> dict[str, Any]:
        """Do something with the mouse, and how long its answer takes."""
        self.hands.page.evaluate("(type) => watch(type)", event)
        act()
        return dict(self.hands.page.evaluate("() => answered"))

    def quiet(self) -> None:
        """Let what is slower come to its end, so that it is not counted with the next."""
        self.hands.pause(0.7)

    def undo(self) -> None:
        """Take back what the last click did."""
        self.hands.page.keyboard.press("Control+z")
        self.quiet()


def clicks(bench: Bench, tool: str, places: list[tuple[float, float]]) -> list[dict[str, Any]]:
    """Click with a tool at places, each taken back."""
    found = []
    for x, y in places:
        bench.hands.tool("Look")
        bench.hands.tool(tool)  # ends the group of trees, and a wall that was begun
        bench.quiet()
        at = bench.hands.place(x, y)
        bench.hands.page.mouse.move(*at)
        bench.quiet()
        answer = bench.timed("pointerup", lambda at=at: bench.hands.page.mouse.click(*at))
        found.append(answer)
        if answer["ms"] is not None and not answer["refused"]:
            bench.undo()
    return found


def drags(bench: Bench, place: tuple[float, float], name: str, number: int, times: int
          ) -> list[dict[str, Any]]:
    """Drag a handle to and fro, a few points of the screen at a time."""
    hands = bench.hands
    hands.look(*place, name)
    bench.quiet()
    found: list[dict[str, Any]] = []
    while len(found) < times:
        x, y = hands.place(*hands.handles()[number])
        hands.page.mouse.move(x, y)
        hands.page.mouse.down()
        hands.page.mouse.move(x + 7, y)  # from here on it is a drag
        bench.quiet()
        for k in range(1, 6):
            to = (x + 7 + 5 * k, y)
            found.append(bench.timed(
                "pointermove", lambda to=to: hands.page.mouse.move(*to)))
        hands.page.mouse.up()
        bench.quiet()
        while not hands.button("Undo").is_disabled():
            bench.undo()
    return found[:times]


def crests(bench: Bench, place: tuple[float, float], name: str, times: int
           ) -> list[dict[str, Any]]:
    """Raise and lower a wall's crest by its slider."""
    hands = bench.hands
    hands.look(*place, name)
    bench.quiet()
    found: list[dict[str, Any]] = []
    while len(found) < times:
        box = hands.slider("Crest level").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        hands.page.mouse.move(x, y)
        hands.page.mouse.down()
        for k in range(1, 6):
            to = (x + 14 * k, y)
            found.append(bench.timed("pointermove", lambda to=to: hands.page.mouse.move(*to)))
            bench.quiet()
        hands.page.mouse.up()
        bench.quiet()
        while not hands.button("Undo").is_disabled():
            bench.undo()
    return found[:times]


def report(kind: str, answers: list[dict[str, Any]]) -> None:
    """Print the median and what 19 of 20 are within."""
    good = sorted(a["ms"] for a in answers if a["ms"] is not None and not a["refused"])
    refused = sorted(a["ms"] for a in answers if a["refused"])
    lost = sum(a["ms"] is None for a in answers)

    def part(name: str) -> float:
        return statistics.median(a[name] for a in answers if a["ms"] is not None
                                 and not a["refused"])
    if good:
        median, most = statistics.median(good), float(np.percentile(good, 95))
        print(f"{kind:<16} {len(good):>3} answers  median {median:6.0f} ms  p95 {most:6.0f} ms  "
              f"longest {good[-1]:6.0f} ms  {'' if median <= WANTED else 'OVER ' + str(WANTED)}"
              f"  refused {len(refused)}"
              + (f" (median {statistics.median(refused):.0f} ms)" if refused else "")
              + f"  no answer {lost}\n{'':<16} of which until the bench's answer is there "
              f"{part('bench'):.0f} ms, to paint the map {part('drawn'):.0f} ms", flush=True)
    else:
        print(f"{kind:<16} no answers; refused {len(refused)}, no answer {lost}", flush=True)


def busy() -> str:
    """How busy the machine is, and how fast one of its processors."""
    def ticks() -> tuple[int, int]:
        with open("/proc/stat") as stat:
            told = [int(v) for v in stat.readline().split()[1:]]
        return sum(told) - told[3] - told[4], sum(told)
    first = ticks()
    time.sleep(2)
    last = ticks()
    begun = time.perf_counter()
    total = 0
    for k in range(3_000_000):
        total += k
    loop = time.perf_counter() - begun
    share = (last[0] - first[0]) / max(last[1] - first[1], 1)
    return (f"{os.cpu_count()} processors, {100 * share:.0f} % busy with other things, load "
            f"{os.getloadavg()[0]:.1f}; 3 million additions in Python take {1000 * loop:.0f} ms")


def places_for(site: Path, count: int) -> dict[str, list[tuple[float, float]]]:
    """Varied places within the boundary, for walls in beds of gullies."""
    from terrain.plan.siting.reading import read_inputs

    inputs = read_inputs(site)
    draw = random.Random(10)
    dem, land = inputs.dem, inputs.ground.boundary.buffer(-12)
    west, south, east, north = land.bounds
    area = inputs.terrain.contributing_area
    rows, columns = np.nonzero(np.nan_to_num(area) > 1500)
    beds = [(float(x), float(y)) for x, y in (dem.xy(int(r), int(c)) for r, c in zip(
        rows, columns, strict=True)) if land.contains(Point(x, y))]
    found: dict[str, list[tuple[float, float]]] = {"Wall": draw.sample(beds, min(count, len(beds)))}
    for tool in ("Swale", "Dug basin", "Trees"):
        places: list[tuple[float, float]] = []
        while len(places) < count:
            spot = draw.uniform(west, east), draw.uniform(south, north)
            if land.contains(Point(spot)):
                places.append(spot)
        found[tool] = places
    return found


def main() -> None:
    """Print a line of each kind."""
    from playwright.sync_api import sync_playwright

    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with tempfile.TemporaryDirectory() as folder:
        site = Path(folder) / "demo" / "site.yaml"
        shutil.copytree(ROOT / "demo_dem", site.parent)
        places = places_for(site, count)
        print(busy(), flush=True)
        command = [Path(sys.executable).parent / "levelsill", "bench", site, "--no-browser"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process, \
                sync_playwright() as driver:
            try:
                assert process.stdout is not None
                url = next(line.strip() for line in process.stdout if "http://" in line)
                browser = driver.chromium.launch(
                    executable_path=shutil.which("chromium"),
                    args=["--no-sandbox", "--disable-gpu"])
                loads(browser, url)
                page = browser.new_page(viewport={"width": 1440, "height": 900})
                bench = Bench(Hands(page, url))
                for tool, spots in places.items():
                    report(tool, clicks(bench, tool, spots))
                report("swale's end", drags(bench, (512431.0, 6430136.0), "upper swale", 0, count))
                name, place = wall_of(site)
                report("wall's end", drags(bench, place, name, 0, count))
                report("crest", crests(bench, place, name, count))
                if bench.hands.faults:
                    print(f"The page complained: {bench.hands.faults[:3]}")
                browser.close()
            finally:
                process.terminate()
        print(busy())


def wall_of(site: Path) -> tuple[str, tuple[float, float]]:
    """A wall of the demo, and a place on it."""
    from terrain.inputs.site import read_site

    wall = next(work for work in read_site(site).works if getattr(work, "wall", None))
    (x0, y0), (x1, y1) = wall.wall[0], wall.wall[1]
    return wall.name, (0.7 * x0 + 0.3 * x1, 0.7 * y0 + 0.3 * y1)


def loads(browser: Any, url: str) -> None:
    """First pages, each in a browser that knows nothing yet, and second ones."""
    first, second = [], []
    for _ in range(5):
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        page = context.new_page()
        page.add_init_script(LOADED)
        for took in (first, second):
            page.goto(url)
            page.wait_for_function("() => globalThis.loaded > 0")
            took.append(page.evaluate("() => globalThis.loaded"))
        context.close()
    for words, took in (("first page", first), ("loaded again", second)):
        print(f"{words:<16} {len(took):>3} times    median {statistics.median(took):6.0f} ms  "
              f"longest {max(took):6.0f} ms", flush=True)


if __name__ == "__main__":
    main()
