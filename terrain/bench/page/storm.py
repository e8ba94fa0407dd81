"""The storm that is shown: its depth on a slider, who fills, and where it spills."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from bokeh.models import Column, Div, Row, Select, Slider

from terrain.bench import answer
from terrain.bench.laid import Laid
from terrain.bench.page import look
from terrain.plan.water.accounts import storm_account
from terrain.plan.water.routing import StormRun
from terrain.units import printed, shown

#: The choice that stands for a depth of the slider's own; a storm's begins with `STORM`, so that no
#: name is taken for it.
ANY, STORM = "any", "storm "
#: What is read of it.
_ANY_WORDS = "any depth"
#: The slider goes so far beyond the largest storm of the site file.
BEYOND = 1.25


class Storm:
    """A storm of any depth, or one of the site file's.

    Parameters
    ----------
    changed : callable
        Called when another storm is to be shown.
    """

    def __init__(self, laid: Laid, system: str, changed: Callable[[], None]) -> None:
        self._changed, self._setting, self._system = changed, False, system
        self._read(laid)
        self.depth = self._storms[self._design]
        self.choice = Select(title="Storm", options=self._options(),
                             value=STORM + self._design, stylesheets=[look.widgets()],
                             sizing_mode="stretch_width")
        self.slider = Slider(start=0, end=1, value=0, step=1, stylesheets=[look.widgets()],
                             sizing_mode="stretch_width", margin=(4, 14, 14, 14), name="depth")
        self.total = Div(stylesheets=[look.words()], sizing_mode="stretch_width")
        self.table = Div(stylesheets=[look.words()], sizing_mode="stretch_width", name="fates")
        self.root = Column(children=[Row(children=[self.choice, self.slider],
                                         sizing_mode="stretch_width"), self.total],
                           name="storm", sizing_mode="stretch_width")
        self.tell_in(system)
        self.choice.on_change("value", lambda a, old, new: self._chose())
        self.slider.on_change("value", lambda a, old, new: self._slid(new))

    def _read(self, laid: Laid) -> None:
        rain = laid.inputs.site.rain
        self._storms = {storm.name: storm.depth for storm in rain.storms}
        self._most = BEYOND * max(self._storms.values())
        self._design = rain.design.name

    def _keep_up(self, laid: Laid) -> None:
        """Know the storms of a site file that was read anew."""
        before = self._storms, self._design
        self._read(laid)
        if before == (self._storms, self._design):
            return
        if self.choice.value == ANY:
            choice, self.depth = ANY, min(self.depth, self._most)
        else:
            name = self.chosen if self.chosen in self._storms else self._design
            choice, self.depth = STORM + name, self._storms[name]
        self._setting = True
        self.choice.update(options=self._options(), value=choice)
        self.tell_in(self._system)

    def tell_in(self, system: str) -> None:
        """Show the slider in a system of units."""
        self._system = system
        unit, factor, _ = printed("rain", system)
        step = 0.05 if system == "us" else 1.0
        self._factor = factor
        self._setting = True
        self.slider.update(start=0, end=round(self._most * factor / step) * step, step=step,
                           value=self.depth * factor, title=f"Depth of rain, {unit}")
        self._setting = False

    def _options(self) -> list[tuple[str, str]]:
        """Choices and their words."""
        return [(ANY, _ANY_WORDS), *((STORM + name, f"\"{name}\"" if name == _ANY_WORDS else name)
                                     for name in self._storms)]

    @property
    def chosen(self) -> str | None:
        """The storm of the site file that is chosen; None where it is any depth."""
        return None if self.choice.value == ANY else self.choice.value.removeprefix(STORM)

    def _chose(self) -> None:
        if not self._setting and self.chosen is not None:
            self.depth = self._storms[self.chosen]
            self._setting = True
            self.slider.value = self.depth * self._factor
            self._setting = False
            self._changed()

    def _slid(self, value: float) -> None:
        if not self._setting:
            self.depth = float(value) / self._factor
            self._setting = True
            self.choice.value = ANY
            self._setting = False
            self._changed()

    @property
    def name(self) -> str:
        """The storm of the site file that is shown; of any depth, the one that it falls as."""
        return self._design if self.chosen is None else self.chosen

    def run(self, laid: Laid) -> StormRun:
        """The storm over a layout."""
        self._keep_up(laid)
        return laid.run(self.depth) if self.chosen is None else laid.runs[self.chosen]

    def show(self, laid: Laid, run: StormRun, chosen: str | None, system: str) -> None:
        """Who fills and where it spills."""
        account = storm_account(run)
        rows = "".join(
            f"<tr{' class=own' if fate.name == chosen else ''}><td>{escape(fate.name)}</td>"
            f"<td><span class='bar'><i style='width:{100 * min(fate.filled, 1):.0f}%'></i></span>"
            f"</td><td>{escape(shown(fate.caught, 'volume', system))}</td>"
            f"<td>{escape(_spill(fate, system))}</td></tr>" for fate in answer.fates(laid, run))
        self.total.text = (
            f"<p>Of {escape(shown(account.rain + account.run_on, 'volume', system))} of rain and "
            f"run-on the ground works catch <b>{escape(shown(account.passive, 'volume', system))}"
            f"</b> and the tanks <b>{escape(shown(account.roof, 'volume', system))}</b>; "
            f"{escape(shown(account.left_site, 'volume', system))} leave the site.</p>")
        self.table.text = "" if not rows else (
            "<h3>Who fills, and where it spills</h3><table id='fates'><thead><tr><th>Work</th>"
            "<th>fills</th><th>catches</th><th>spills</th></tr></thead>"
            f"<tbody>{rows}</tbody></table>"
            + ("" if self.chosen is not None else "<p class='small'>A storm of this depth falls "
               f"as {escape(self._design)} does.</p>"))


def _spill(fate: answer.Fate, system: str) -> str:
    if fate.spilled <= 0:
        return "–"
    arrow = "" if fate.to == (None,) else "→ "
    return f"{shown(fate.spilled, 'volume', system)} {arrow}{answer.takers_words(fate.to)}"
