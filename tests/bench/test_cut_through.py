"""Sections on the page: the same shapes as on the printed sheets, true to the figures."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure
from shapely import Polygon

from terrain.bench.cut_through import cut_through
from terrain.bench.desk import Desk
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.sections import Section
from terrain.outputs.sheets.swale_sections import swale_section
from terrain.plan.siting.reading import read_inputs


@pytest.fixture(scope="module")
def laid(tmp_path_factory, small_site_folder):
    inputs = read_inputs(small_site_folder(tmp_path_factory.mktemp("cut")))
    with inputs.told():
        yield Desk(inputs).laid


def area(cut, face: str) -> float:
    return sum(Polygon(points).area for points, own, _ in cut.shapes if own == face)


def test_water_in_a_swale_fills_a_trapezoid(laid):
    """Area of a trapezoid: depth times the mean of bed and top."""
    cut = cut_through(laid, "east swale", "metric")
    depth, bed, _ = laid.placed[laid.nodes_of("east swale")[0]].section
    side = laid.built[laid.nodes_of("east swale")[0]].swale.section.side_slope
    assert area(cut, sy.POOL) == pytest.approx(depth * (bed + side * depth), rel=1e-6)


def test_shapes_are_those_of_the_printed_sheet(laid):
    swale = laid.built[laid.nodes_of("east swale")[0]].swale
    figure = Figure((8, 4))
    printed = Section(figure, 0.2, 0.2, 7, 3.4)
    swale_section(printed, swale, "metric")
    fills = [patch.get_xy() for patch in printed.ax.patches if patch.get_gid() in (
        "cut", "water", "berm")]
    cut = cut_through(laid, "east swale", "metric")
    for points in fills:
        closed = points[:-1] if np.array_equal(points[0], points[-1]) else points
        assert any(len(own) == len(closed) and np.allclose(own, closed)
                   for own, _, _ in cut.shapes)


@pytest.mark.parametrize("name", ["east swale", "pond", "trees"])
def test_every_shape_lies_in_what_is_shown(laid, name):
    cut = cut_through(laid, name, "us")
    west, east, low, high = cut.extent
    assert cut.heading
    assert cut.levels_said
    points = np.concatenate([points for points, face, _ in cut.shapes if face == sy.POOL])
    assert (points[:, 0] >= west).all()
    assert (points[:, 0] <= east).all()
    assert (points[:, 1] >= low).all()
    assert (points[:, 1] <= high + 1e-9).all()


def test_a_tank_has_none(laid):
    assert cut_through(laid, "barn tank", "metric") is None
