"""A section through the chosen work, to scale."""

from __future__ import annotations

from html import escape

from bokeh.models import Column, ColumnDataSource, Div, Range1d
from bokeh.plotting import figure

from terrain.bench.cut_through import cut_through
from terrain.bench.laid import Laid
from terrain.bench.page import look

#: The picture: its size, and room about what it shows. [points of a screen], [-]
WIDE, HIGH, ROOM = 400, 150, 0.03


class Profile:
    """The section."""

    def __init__(self) -> None:
        self.figure = figure(
            width=WIDE, height=HIGH, x_range=Range1d(0, 1), y_range=Range1d(0, 1),
            toolbar_location=None, tools="", min_border=0, outline_line_color=None,
            background_fill_color=look.HALO, border_fill_color=look.HALO, match_aspect=False)
        self.figure.axis.visible = False
        self.figure.grid.visible = False
        self._shapes = ColumnDataSource({"xs": [], "ys": [], "face": [], "edge": []})
        self._lines = ColumnDataSource({"xs": [], "ys": [], "colour": [], "wide": [], "dash": []})
        self.figure.patches("xs", "ys", source=self._shapes, fill_color="face", line_color="edge")
        self.figure.multi_line("xs", "ys", source=self._lines, line_color="colour",
                               line_width="wide", line_dash="dash")
        self.words = Div(stylesheets=[look.words()], sizing_mode="stretch_width")
        self.root = Column(children=[self.figure, self.words], css_classes=["hidden"],
                           stylesheets=[look.words()], sizing_mode="stretch_width")

    def show(self, laid: Laid, name: str, system: str) -> None:
        """Draw the section of a work; nothing where it has none."""
        cut = cut_through(laid, name, system)
        look.hide(self.root, cut is None)
        if cut is None:
            return
        shapes, lines = cut.shapes, cut.lines
        self._shapes.data = {
            "xs": [points[:, 0] for points, _, _ in shapes],
            "ys": [points[:, 1] for points, _, _ in shapes],
            "face": [None if face == "none" else face for _, face, _ in shapes],
            "edge": [None if edge == "none" else edge for _, _, edge in shapes]}
        self._lines.data = {
            "xs": [points[:, 0] for points, *_ in lines],
            "ys": [points[:, 1] for points, *_ in lines],
            "colour": [line[1] for line in lines], "wide": [1.3 * line[2] for line in lines],
            "dash": [[5, 4] if line[3] else [] for line in lines]}
        west, east, low, high = cut.extent
        per = max((east - west) / WIDE, (high - low) / HIGH) * (1 + 2 * ROOM)
        x, y = (west + east) / 2, (low + high) / 2
        self.figure.x_range.update(start=x - per * WIDE / 2, end=x + per * WIDE / 2)
        self.figure.y_range.update(start=y - per * HIGH / 2, end=y + per * HIGH / 2)
        levels = "".join(f"<li>{escape(level.words)}</li>" for level in
                         sorted(cut.levels_said, key=lambda level: -level.z))
        key = "".join(f"<span><i style='background:{'transparent' if face == 'none' else face}'>"
                      f"</i>{escape(words)}</span>" for words, face, _ in cut.key_said)
        self.words.text = (f"<p class='small'>{escape(cut.heading)}</p><div class='key'>{key}</div>"
                           f"<ul class='small'>{levels}</ul>")
