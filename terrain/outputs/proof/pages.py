"""Templates of a proof's pages."""

from __future__ import annotations

from terrain.outputs.page.templates import Templates

_OWN = Templates(__package__)
text_of, filled = _OWN.text_of, _OWN.filled
