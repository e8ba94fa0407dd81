"""Lettering with a soft edge, which vector files are given as text and not as outlines."""

from __future__ import annotations

from functools import partial
from typing import Any

from matplotlib.backends.backend_mixed import MixedModeRenderer
from matplotlib.figure import Figure
from matplotlib.patheffects import Stroke
from matplotlib.text import Text


def keep_as_text(figure: Figure) -> None:
    """Have a figure's lettering drawn as text into vector files: its soft edge alone as outlines.

    Words with an effect are otherwise drawn as outlines whole, and cannot be found or copied.
    """
    for text in (*figure.texts, *(text for ax in figure.axes for text in ax.texts)):
        if text.get_path_effects():
            text.draw = partial(_draw, text)  # type: ignore[method-assign]


def _draw(text: Text, given: Any) -> None:
    effects: Any = text.get_path_effects()
    renderer: Any = given
    if not isinstance(given, MixedModeRenderer):
        Text.draw(text, renderer)
        return
    try:
        text.set_path_effects([Stroke(**effect._gc) for effect in effects])
        Text.draw(text, renderer)
        text.set_path_effects([])
        Text.draw(text, renderer)
    finally:
        text.set_path_effects(effects)
