from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from weakref import WeakKeyDictionary

import pytest

DEMO = Path(__file__).parents[2] / "demo_dem"


@pytest.fixture(scope="session")
def demo_plan():
    from terrain.plan.plan import make_plan

    return make_plan(DEMO / "site.yaml")


@pytest.fixture(scope="session")
def us_plan(demo_plan):
    """The same plan, printed in US customary units."""
    site = demo_plan.site.model_copy(update={"units": "us"})
    return replace(demo_plan, inputs=replace(demo_plan.inputs, site=site))


@pytest.fixture(scope="session")
def demo_raster():
    return DEMO / "ground.tif"


@pytest.fixture(scope="session")
def seen():
    """Ways to look at a figure: its words, their boxes, its bytes."""
    return Seen


#: Lettering of figures as it was last measured, by the figure.
_MEASURED = WeakKeyDictionary()


class Seen:
    @staticmethod
    def texts(figure):
        """Every piece of lettering that is drawn, with its box in pixels.

        What was measured stands until something is added to the figure or changed in it.
        """
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.text import Text

        if figure in _MEASURED and not figure.stale:
            return _MEASURED[figure]
        renderer = FigureCanvasAgg(figure).get_renderer()
        figure.draw_without_rendering()  # lays out all lettering, and paints no picture
        found = []
        for text in figure.findobj(Text):
            if text.get_visible() and text.get_text().strip():
                found.append((text, text.get_window_extent(renderer)))
        _MEASURED[figure] = found
        figure.stale = False  # any change sets it again
        return found

    @staticmethod
    def words(figure):
        return "\n".join(text.get_text() for text, _ in Seen.texts(figure))

    @staticmethod
    def overlaps(figure, spare=1.0):
        """Pairs of words whose boxes overlap by more than `spare` pixels both ways."""
        return Seen.overlapping(Seen.texts(figure), spare)

    @staticmethod
    def overlapping(found, spare=1.0):
        """The same of lettering with its boxes."""
        boxes = [(t.get_text(), b.x0, b.y0, b.x1, b.y1) for t, b in found]
        pairs = []
        for i, (name, x0, y0, x1, y1) in enumerate(boxes):
            for other, u0, v0, u1, v1 in boxes[i + 1:]:
                across = min(x1, u1) - max(x0, u0)
                up = min(y1, v1) - max(y0, v0)
                if across > spare and up > spare:
                    pairs.append((name, other))
        return pairs

    @staticmethod
    def outside(figure):
        """Words that reach beyond the figure."""
        edge = figure.bbox
        return [t.get_text() for t, b in Seen.texts(figure)
                if b.x0 < edge.x0 or b.y0 < edge.y0 or b.x1 > edge.x1 or b.y1 > edge.y1]

    @staticmethod
    def faults(figure, margin=0.0, least=6.0):
        """What is wrong with a drawing's lettering, in words: it overlaps, leaves the page's
        margin [mm] or the frame that it stands in, or is smaller than so many points."""
        found = Seen.texts(figure)
        said = [f"'{a}' overlaps '{b}'" for a, b in Seen.overlapping(found, 1.5)]
        inset = margin / 25.4 * figure.dpi
        edge = figure.bbox
        for text, box in found:
            words = text.get_text()
            if (box.x0 < edge.x0 + inset or box.y0 < edge.y0 + inset
                    or box.x1 > edge.x1 - inset or box.y1 > edge.y1 - inset):
                said.append(f"'{words}' leaves the page")
            if text.get_fontsize() < least - 1e-6:
                said.append(f"'{words}' is of {text.get_fontsize():.1f} pt")
            ax = text.axes
            if ax is not None and Seen.framed(ax):
                frame = ax.get_window_extent()
                if not (frame.x0 <= box.x0 and box.x1 <= frame.x1
                        and frame.y0 <= box.y0 and box.y1 <= frame.y1):
                    said.append(f"'{words}' leaves its frame")
        return said

    @staticmethod
    def framed(ax):
        """Whether an axes is a map: a frame on all sides and no figures along it."""
        return ax.axison and all(s.get_visible() for s in ax.spines.values()) and not len(
            ax.get_xticks())

    @staticmethod
    def bytes_of(figure):
        made = io.BytesIO()
        figure.savefig(made, format="png", metadata={"Software": None})
        return made.getvalue()

    @staticmethod
    def with_gid(figure, gid):
        return [a for a in figure.findobj() if a.get_gid() == gid]
