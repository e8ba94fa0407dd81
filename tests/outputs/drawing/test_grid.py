"""Figures along a map's frame: in the raster's own unit, at every tick, where they say."""

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox
from pyproj import CRS

from terrain.inputs.frame import Frame, in_metres
from terrain.outputs.drawing.base_map import true_view
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.labels import Labels
from terrain.outputs.drawing.map_features import draw_grid, grid_words, places_words

US_FOOT = 1200 / 3937  # National Bureau of Standards, Federal Register notice of 1959
#: A CRS in feet and one in metres, a place in each, and the length of their units. [m]
PLACES = [("EPSG:2277", 3_100_300.0, 10_069_700.0, US_FOOT, "US survey feet"),
          ("EPSG:32734", 512_345.0, 6_430_111.0, 1.0, "metres"),
          ("EPSG:2225", 6_000_300.0, 2_000_700.0, US_FOOT, "US survey feet"),
          ("EPSG:2222", 700_300.0, 1_000_700.0, 0.3048, "feet")]


def framed(name):
    source = CRS.from_user_input(name)
    return Frame(source, in_metres(source))


def drawn(frame, x, y, blocked=None):
    """An axes with its ticks and their figures; a box of it, in shares, may be taken."""
    figure = Figure(figsize=(6.0, 5.0))
    ax = figure.add_axes((0, 0, 1, 1))
    east, north = (float(v) for v in frame.to_working(x, y))
    view = true_view((east, north, east, north), 432.0, 360.0, 0.7)
    view.shown_on(ax)
    labels = Labels(ax)
    if blocked is not None:
        wide, high = figure.bbox.width, figure.bbox.height
        labels.block(Bbox.from_extents(blocked[0] * wide, blocked[1] * high, blocked[2] * wide,
                                       blocked[3] * high))
    draw_grid(ax, view, labels, frame)
    texts = [t for t in ax.texts if t.get_gid() == "grid words"]
    ticks = [line.get_xydata() for line in ax.lines if line.get_gid() == "grid"]
    return view, texts, ticks


@pytest.mark.parametrize(("name", "x", "y", "unit", "words"), PLACES)
def test_figures_are_of_the_rasters_own_unit_and_as_far_apart_as_they_say(name, x, y, unit, words):
    frame = framed(name)
    view, texts, ticks = drawn(frame, x, y)
    across = {float(t.get_text().replace("\u2009", "")): t.get_position()[0] for t in texts
              if t.get_ha() == "center"}
    assert len(across) >= 3
    assert min(across) > x - 2000
    assert max(across) < x + 2000
    low, high = min(across), max(across)
    # On one plane, in another unit: so many units lie so many metres apart.
    assert across[high] - across[low] == pytest.approx((high - low) * unit, abs=0.01)
    upright = {round(float(t[0, 0]), 3) for t in ticks if t[0, 0] == t[1, 0]}
    assert {round(v, 3) for v in across.values()} == upright  # no tick without its figure
    assert grid_words(frame) == f"Figures along the frame: {words} east and north."
    assert places_words(frame).startswith(f"{CRS.from_user_input(name).name}; ")
    assert view.holds(*(float(v) for v in frame.to_working(x, y)))


def test_where_the_scale_stands_figures_are_written_on_the_other_side():
    _, texts, ticks = drawn(framed("EPSG:2277"), 3_100_300.0, 10_069_700.0,
                            blocked=(0.0, 0.8, 0.6, 1.0))
    upright = {round(float(t[0, 0]), 3) for t in ticks if t[0, 0] == t[1, 0]}
    level = {round(float(t[0, 1]), 3) for t in ticks if t[0, 1] == t[1, 1]}
    assert {round(t.get_position()[0], 3) for t in texts if t.get_ha() == "center"} == upright
    assert {round(t.get_position()[1], 3) for t in texts if t.get_ha() != "center"} == level
    sides = {t.get_va() for t in texts if t.get_ha() == "center"}
    assert sides == {"top", "bottom"}


def test_of_a_raster_in_degrees_figures_are_metres_of_the_plane_that_is_named():
    frame = Frame(CRS.from_epsg(4326), CRS.from_epsg(32734))
    assert grid_words(frame) == ("Figures along the frame: metres east and north of "
                                 "WGS 84 / UTM zone 34S.")
    assert "drawn in WGS 84 / UTM zone 34S" in places_words(frame)


def test_marks_of_sheds_never_cover_each_other():
    """Thirty marks on one spot, as where many roads meet."""
    class Bare(GroundMap):
        def __init__(self):
            self.view = true_view((0.0, 0.0, 0.0, 0.0), 432.0, 360.0, 0.7)
            self.ax = Figure(figsize=(6.0, 5.0)).add_axes((0, 0, 1, 1))
            self.view.shown_on(self.ax)
            self.labels, self.drawn = Labels(self.ax), set()

    on = Bare()
    placed = np.array(on.shed_marks([(3.0, 4.0, 9.0 - 0.1 * i) for i in range(30)]))
    assert placed[0, :2].tolist() == [3.0, 4.0]
    for i, (x, y, size) in enumerate(placed):
        apart = np.hypot(placed[:i, 0] - x, placed[:i, 1] - y) / on.view.point
        assert (apart > placed[:i, 2] + size).all()
    leads = [line for line in on.ax.lines if line.get_gid() == "shed lead"]
    assert len(leads) > 20
    assert all(line.get_xydata()[0].tolist() == [3.0, 4.0] for line in leads)
