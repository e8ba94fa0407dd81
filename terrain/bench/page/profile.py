"""A section through the chosen work, to scale."""

from __future__ import annotations

from bokeh.models import ColumnDataSource, Div, Column

from terrain.bench.laid import Laid


class Profile:
    """The section."""

    def __init__(self) -> None:
        self.root = Column(sizing_mode="stretch_width")

    def clear(self) -> None:
        """Nothing is shown."""

    def show(self, laid: Laid, name: str, system: str) -> None:
        """Draw the section of a work."""
