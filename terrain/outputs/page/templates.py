"""The pages' parts as templates: text files of a room, filled with what they show."""

from __future__ import annotations

from functools import cached_property
from importlib import resources
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

#: Where the parts stand that several pages share, the report's own among them.
SHARED = "terrain.outputs.page"


class Templates:
    """The text files that stand in a room, and those that all rooms share.

    Parameters
    ----------
    room : str
        A package's name.
    """

    def __init__(self, room: str) -> None:
        self.room = room

    def text_of(self, name: str) -> str:
        """A file that stands in the room, or among those that are shared."""
        own, shared = (resources.files(room).joinpath(name) for room in (self.room, SHARED))
        return (own if own.is_file() else shared).read_text("utf-8")

    @cached_property
    def _environment(self) -> Environment:
        from jinja2 import Environment, FunctionLoader

        return Environment(loader=FunctionLoader(self.text_of), autoescape=True, trim_blocks=True,
                           lstrip_blocks=True)

    def filled(self, name: str, /, **shown: Any) -> str:
        """A template filled; whatever is shown is escaped unless it is `Markup`."""
        return str(self._environment.get_template(name).render(**shown))


_OWN = Templates(SHARED)
text_of = _OWN.text_of


def filled(name: str, /, **shown: Any) -> Markup:
    """A part of the report filled; whatever is shown is escaped unless it is `Markup`."""
    from markupsafe import Markup

    return Markup(_OWN.filled(name, **shown))
