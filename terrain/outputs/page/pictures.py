"""Pictures of the report, as addresses that hold the picture itself."""

from __future__ import annotations

import base64
import io
from typing import Any


def picture_of(png: bytes) -> str:
    """The map as a data address, in a format a third the size."""
    from PIL import Image

    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").save(out, "WEBP", quality=90, method=2)
    return "data:image/webp;base64," + base64.b64encode(out.getvalue()).decode()


def svg_of(figure: Any) -> str:
    """A figure as an SVG image, the same bytes each time."""
    import matplotlib

    out = io.StringIO()
    with matplotlib.rc_context({"svg.hashsalt": "levelsill"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return "data:image/svg+xml;base64," + base64.b64encode(out.getvalue().encode()).decode()
