"""Templates that stand beside this module, filled with what they show."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any


def text_of(name: str) -> str:
    """A file that stands beside this module."""
    return resources.files("terrain.outputs.suggest").joinpath(name).read_text("utf-8")


@cache
def _environment() -> Any:
    from jinja2 import Environment, FunctionLoader

    return Environment(loader=FunctionLoader(text_of), autoescape=True, trim_blocks=True,
                       lstrip_blocks=True)


def filled(name: str, **shown: Any) -> str:
    """A template filled; whatever is shown is escaped unless it is `Markup`."""
    return str(_environment().get_template(name).render(**shown))
