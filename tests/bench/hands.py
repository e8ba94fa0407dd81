"""A person at the bench's page: finds places of the map on the screen, clicks, drags and reads."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

#: Gives up after this long. [s]
PATIENCE = 20.0

#: Where a place of the map is on the screen, and which place is in the middle of what is shown.
PLACE = """([x, y]) => {
  const m = Bokeh.documents[0].get_model_by_name("map");
  const v = [...Bokeh.index.query((w) => w.model === m)][0];
  const r = v.el.getBoundingClientRect(), b = v.frame.bbox, {x_range: h, y_range: u} = m;
  return [r.left + b.left + (x - h.start) / (h.end - h.start) * b.width,
          r.top + b.top + (u.end - y) / (u.end - u.start) * b.height];
}"""
VIEW = """() => { const {x_range: h, y_range: u} = Bokeh.documents[0].get_model_by_name("map");
  return [h.start, u.start, h.end, u.end]; }"""
SHOW = """([west, south, east, north]) => {
  const {x_range: h, y_range: u} = Bokeh.documents[0].get_model_by_name("map");
  h.setv({start: west, end: east}); u.setv({start: south, end: north}); }"""
MET = """([x, y]) => { const met = document.elementFromPoint(x, y);
  return met?.closest("#map")?.id ?? met?.outerHTML.slice(0, 200) ?? `nothing at ${x}, ${y}`; }"""
#: Elements that a selector finds, within shadow roots too.
DEEP = """globalThis.deep = (what, root = document) => {
  const found = [...root.querySelectorAll(what)];
  for (const one of root.querySelectorAll("*"))
    if (one.shadowRoot) found.push(...deep(what, one.shadowRoot));
  return found;
};"""
#: Places of the handles that are shown.
HANDLES = """() => { const m = Bokeh.documents[0].get_model_by_name("map");
  return m.center.filter((a) => a.editable && a.visible).map(
    (a) => [(a.left + a.right) / 2, (a.bottom + a.top) / 2]); }"""


class Hands:
    """One page that is open.

    Attributes
    ----------
    faults : list of str
        What the page complained of: errors of its console, and requests that left this machine.
    """

    def __init__(self, page: Any, url: str, *, touch: bool = False) -> None:
        self.page, self.url, self.touch = page, url, touch
        self.faults: list[str] = []
        page.set_default_timeout(PATIENCE * 1000)
        page.on("console", self._heard)
        page.on("pageerror", lambda error: self.faults.append(f"error: {error} {error.stack}"))
        page.on("request", self._asked)
        page.add_init_script(DEEP)
        page.add_init_script("document.addEventListener('securitypolicyviolation', (e) => "
                             "console.error(`policy: ${e.violatedDirective} ${e.blockedURI}`));")
        self.open()

    def _heard(self, message: Any) -> None:
        if message.type == "error":
            self.faults.append(f"{message.type}: {message.text}")

    def _asked(self, request: Any) -> None:
        here = self.url[:self.url.index("/", 8) + 1]
        if not request.url.startswith((here, "data:", "blob:", here.replace("http", "ws"))):
            self.faults.append(f"asked elsewhere: {request.url}")

    def open(self) -> None:
        """Load the page, and wait until it is ready."""
        self.page.goto(self.url)
        self.ready()

    def ready(self) -> None:
        """Wait until everything is drawn and the map has its shape."""
        self.page.wait_for_function(
            "() => globalThis.Bokeh?.documents[0]?.is_idle && globalThis.benchWidth > 0")
        self.pause(0.3)
        self.first = self.page.evaluate(VIEW)

    def show_first(self, x: float, y: float) -> None:
        """Show what was shown first until it stays, and a place of it is met."""
        def shown() -> bool:
            self.page.evaluate(SHOW, self.first)
            self.pause(0.05)
            return self.page.evaluate(VIEW) == self.first and self.met(x, y) == "map"
        self.until(shown, f"{x}, {y} is not seen")

    def pause(self, seconds: float) -> None:
        """Do nothing for a while."""
        self.page.wait_for_timeout(1000 * seconds)

    def until(self, true: Callable[[], Any], what: str) -> Any:
        """Wait until something is so; what it is."""
        end = time.monotonic() + PATIENCE
        while True:
            found = true()
            if found:
                return found
            assert time.monotonic() < end, f"{what}; the page says: {self.said()}"
            self.pause(0.02)

    # What is done.

    def met(self, x: float, y: float) -> str:
        """What lies on the screen over a place of the map: "map" where nothing does."""
        return self.page.evaluate(MET, self.page.evaluate(PLACE, [x, y]))

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Where a place of the map is on the screen; it must be seen."""
        self.until(lambda: self.met(x, y) == "map",
                   f"{x}, {y} is not seen on the map, but {self.met(x, y)}, "
                   f"where {self.page.evaluate(VIEW)} is shown")
        return tuple(self.page.evaluate(PLACE, [x, y]))

    def click(self, x: float, y: float) -> None:
        """Click, or tap, a place of the map."""
        (self.page.touchscreen.tap if self.touch else self.page.mouse.click)(*self.place(x, y))

    def look(self, x: float, y: float, name: str) -> None:
        """Choose a work by a click on it."""
        if "Look" not in self.texts("nav .bk-btn.bk-active"):
            self.tool("Look")
        self.click(x, y)
        self.chosen(name)

    def press(self, label: str) -> None:
        """Press a button by what is written on it."""
        button = self.button(label)
        button.tap() if self.touch else button.click()

    def button(self, label: str) -> Any:
        """A button by what is written on it."""
        return self.page.get_by_role("button", name=label, exact=True).or_(
            self.page.locator(".bk-btn").get_by_text(label, exact=True)).first

    def tool(self, name: str) -> None:
        """Choose what a click does."""
        self.press(name)
        self.until(lambda: name in self.texts("nav .bk-btn.bk-active"), f"no {name}")

    @contextmanager
    def held(self, x: float, y: float) -> Iterator[Callable[[float, float], None]]:
        """Hold the mouse's button from a place on, and move."""
        mouse = self.page.mouse
        mouse.move(*self.place(x, y))
        mouse.down()
        yield lambda to_x, to_y: mouse.move(*self.place(to_x, to_y))
        mouse.up()

    def drag(self, start: tuple[float, float], end: tuple[float, float], steps: int = 6) -> None:
        """Drag from one place to another."""
        with self.held(*start) as move:
            for k in range(1, steps + 1):
                share = k / steps
                move(start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))
                self.pause(0.03)

    def swipe(self, start: tuple[float, float], end: tuple[float, float], steps: int = 8) -> None:
        """Drag with a finger."""
        told = self.page.context.new_cdp_session(self.page)
        places = [self.place(start[0] + k / steps * (end[0] - start[0]),
                             start[1] + k / steps * (end[1] - start[1])) for k in range(steps + 1)]
        for k, (x, y) in enumerate(places):
            told.send("Input.dispatchTouchEvent", {
                "type": "touchMove" if k else "touchStart", "touchPoints": [{"x": x, "y": y}]})
            self.pause(0.03)
        told.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def zoom(self, x: float, y: float, notches: int) -> None:
        """Turn the wheel over a place of the map, away from the person for more of it."""
        self.page.mouse.move(*self.place(x, y))
        for _ in range(abs(notches)):
            before = self.page.evaluate(VIEW)
            self.page.mouse.wheel(0, -100 if notches > 0 else 100)
            self.until(lambda: self.page.evaluate(VIEW) != before, "the wheel does nothing")  # noqa: B023

    def slider(self, title: str) -> Any:
        """The handle of a slider by the beginning of its title."""
        for slider in self.page.locator(".noUi-target").all():
            if slider.is_visible() and title in slider.locator("xpath=ancestor::*[1]").evaluate(
                    "e => e.getRootNode().textContent"):
                return slider.locator(".noUi-handle")
        raise AssertionError(f"no slider {title}")

    def slide(self, title: str, by: float, steps: int = 6,
              each: Callable[[], None] = lambda: None) -> None:
        """Drag a slider's handle by points of the screen."""
        box = self.slider(title).bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        mouse = self.page.mouse
        mouse.move(x, y)
        mouse.down()
        for k in range(1, steps + 1):
            mouse.move(x + by * k / steps, y)
            each()
        mouse.up()

    def slid(self, title: str) -> float:
        """Where a slider stands in the page, by the beginning of its title; what the handle says
        of it has one decimal."""
        return float(self.page.evaluate(
            "title => [...Bokeh.documents[0].all_models].find("
            "(one) => one.type === 'Slider' && one.title?.startsWith(title)).value", title))

    # What is read.

    def texts(self, what: str) -> list[str]:
        """What the elements that a selector finds say."""
        return [t.strip() for t in self.page.locator(what).all_text_contents()]

    def table(self, what: str) -> list[list[str]]:
        """Cells of a table's body."""
        return self.page.evaluate(
            "what => deep(what).map((r) => [...r.cells].map((c) => c.textContent))",
            f"{what} tr:not(thead tr)")

    def heading(self) -> str:
        """Whose figures are shown."""
        return "".join(self.page.evaluate("() => deep('h2').map((h) => h.textContent)")[:1])

    def chosen(self, name: str) -> None:
        """Wait until the figures are a work's."""
        self.until(lambda: self.heading() == name, f"{name} is not chosen, but {self.heading()}")

    def figures(self) -> dict[str, str]:
        """Figures of the chosen work."""
        return dict(self.table("#figures"))

    def figure(self, head: str) -> float:
        """A figure as a number."""
        return float(self.figures()[head].split()[0].replace(",", ""))

    def storms(self) -> list[tuple[str, ...]]:
        """What each storm brings to the chosen work."""
        return [tuple(row) for row in self.table("#storms")]

    def fates(self) -> dict[str, tuple[str, ...]]:
        """Who fills, catches and spills in the storm that is shown."""
        return {row[0]: tuple(row[2:]) for row in self.table("#fates")}

    def said(self) -> str:
        """What the page has to say."""
        return " ".join(self.page.evaluate(
            "() => deep('p', document.querySelector('.said')).map((p) => p.textContent)"))

    def errands(self) -> str:
        """How far what takes longer is."""
        return " ".join(self.page.evaluate(
            "() => deep('p', document.querySelector('.made')).map((p) => p.textContent)"))

    def state(self) -> str:
        """Whether all is saved."""
        return " ".join(self.page.evaluate(
            "() => deep('p').map((p) => p.textContent).filter((t) => /^(Saved|Not saved yet)$/"
            ".test(t))"))

    def handles(self) -> list[tuple[float, float]]:
        """Places of the handles."""
        return [tuple(place) for place in self.page.evaluate(HANDLES)]

    def settled(self) -> None:
        """Wait until the slower things are told: cautions, handles, the journal."""
        self.pause(0.6)
