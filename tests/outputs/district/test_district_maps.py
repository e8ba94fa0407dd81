"""The maps: what they show, that their lettering is readable, that ranks keep apart."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from colorspacious import cspace_convert
from matplotlib.colors import to_rgb
from shapely import box

from terrain.district.screened import Parcel, Screened
from terrain.outputs.district.district_map import draw_district
from terrain.outputs.district.parcel_map import draw_parcel, land_of, shown_entries
from terrain.outputs.district.rank_colours import (
    ALPHA,
    COLOURS,
    NOTHING,
    class_of,
    class_words,
    classes_for,
)
from terrain.outputs.drawing import symbols as sy
from terrain.plan.siting.reading import open_ground

pytestmark = pytest.mark.long

#: Least CIE 1976 colour difference of areas told apart by their colour alone, and the visions, as
#: in tests/outputs/drawing/test_colours.py.
LEAST = 4 * 2.3
VISIONS = {"usual": "sRGB1", **{
    name: {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    for name, kind in (("protanopia", "protanomaly"), ("deuteranopia", "deuteranomaly"),
                       ("tritanopia", "tritanomaly"))}}


@pytest.fixture(scope="module")
def map_(either):
    return draw_district(either)


@pytest.mark.parametrize("vision", VISIONS)
def test_ranks_keep_apart_for_the_colour_blind(vision):
    """On the middle tone of shaded ground, in all of their order, and from ground without one."""
    laid = [sy.mixed(sy.SHADE_MIDDLE, colour, ALPHA) for colour in (*COLOURS, NOTHING)]
    laid.append(to_rgb(sy.SHADE_MIDDLE))
    seen = [cspace_convert(np.clip(cspace_convert(c, VISIONS[vision], "sRGB1"), 0, 1), "sRGB1",
                           "CIELab") for c in laid]
    for a, b in itertools.combinations(seen, 2):
        assert np.linalg.norm(a - b) > LEAST
    light = [lab[0] for lab in seen[:len(COLOURS)]]
    assert light == sorted(light)  # the best the darkest, whoever looks


@pytest.mark.parametrize(("count", "words"), [
    (1, ["Rank 1"]), (2, ["Rank 1", "Rank 2"]), (3, ["Rank 1", "Rank 2", "Rank 3"]),
    (5, [f"Rank {n}" for n in range(1, 6)]),
    (100, ["Ranks 1 to 20", "Ranks 21 to 40", "Ranks 41 to 60", "Ranks 61 to 80",
           "Ranks 81 to 100"])])
def test_classes_of_ranks(screening, count, words):
    one = screening.parcels[0]
    many = replace(screening, parcels=(one,) * count)
    assert [class_words(n, many) for n in range(len(classes_for(many)))] == words
    classes = [class_of(rank, many) for rank in range(1, count + 1)]
    assert classes == sorted(classes)
    assert set(classes) == set(range(len(words)))


def test_the_lettering_of_the_district_is_readable(map_, seen):
    assert seen.faults(map_) == []


def test_the_district_shows_and_names_every_parcel(map_, either, seen):
    said = {a.get_text() for a in seen.with_gid(map_, "parcel label")}
    assert said >= {one.parcel.name for one in either.parcels}
    assert said >= {"1", "2", "3", "4", "5", "6"}
    for gid in ("scale bar", "north arrow", "parcel edge", "not screened", "flow", "legend:rank",
                "legend:hatch", "legend:flow"):
        assert seen.with_gid(map_, gid), gid
    words = seen.words(map_)
    assert "Quailstone valley" in words
    assert (" ft" if either.district.units == "us" else " m") in words
    assert ("gal" if either.district.units == "us" else "m³") in words


def test_a_crowd_of_parcels_overlaps_no_label(screening, seen):
    """A grid of 18 by 18 small parcels and a sliver: names that find no room are left out, and
    said to be."""
    west, south, east, north = screening.overview.bounds
    wide, high = (east - west) / 19, (north - south) / 19
    template = screening.parcels[0]
    shapes = [box(west + i * wide, south + j * high, west + (i + 1) * wide,
                  south + (j + 1) * high) for i in range(18) for j in range(18)]
    shapes.append(box(west, north - high / 40, east, north - high / 50))
    crowd = replace(screening, parcels=tuple(
        replace(template, parcel=Parcel(n, f"Parcel of somebody {n}", shape))
        for n, shape in enumerate(shapes, 1)))
    figure = draw_district(crowd)
    assert seen.overlaps(figure, 1.5) == []
    assert seen.outside(figure) == []
    assert "found no room for" in seen.words(figure)


def test_a_district_of_which_nothing_could_be_screened(screening, seen):
    none = replace(screening, parcels=tuple(
        Screened(one.parcel, fault="Off the elevation.") for one in screening.parcels))
    figure = draw_district(none)
    assert seen.faults(figure) == []
    assert not seen.with_gid(figure, "legend:rank")


@pytest.fixture(scope="module")
def land(screening):
    one = screening.parcels[0]
    return land_of(screening, one, open_ground(screening.district))


def test_the_map_of_a_parcel(screening, land, seen):
    one = screening.parcels[0]
    figure = draw_parcel(screening, 1, one, land)
    assert seen.faults(figure) == []
    for gid in ("best swale", "best dug basin", "road water", "run-on", "contour", "boundary",
                "scale bar", "north arrow", "road", "roof", "flow", "legend:best swale",
                "legend:best basin", "legend:run-on"):
        assert seen.with_gid(figure, gid), gid
    [line] = seen.with_gid(figure, "best swale")
    assert np.column_stack(line.get_data()) == pytest.approx(np.array(one.swale.line.coords))
    words = seen.words(figure)
    for said in ("Quailstone", "Rank 1 of Quailstone valley", "house", "best swale", "best basin",
                 "1: run-on, 2.00 ha", "2: run-on, 1.00 ha", "road water"):
        assert said in words, said


def test_arrows_grow_with_the_ground_behind_them(screening, land, seen):
    one = screening.parcels[0]
    arrows = seen.with_gid(draw_parcel(screening, 1, one, land), "run-on")
    arrows = [a for a in arrows if hasattr(a, "get_xy")]
    long = [np.hypot(*np.ptp(a.get_xy(), axis=0)) for a in arrows]
    assert len(long) == len(one.entries)
    assert long == sorted(long, reverse=True)
    assert long[0] > 1.5 * long[-1]  # the largest has five times the smallest's ground


def test_no_arrow_lies_under_the_scale_bar(screening, land, seen):
    """Water comes in where the bar would stand without it, then in all four corners."""
    one = screening.parcels[0]
    whole = land.dem.bounds

    def boxes(entries):
        figure = draw_parcel(screening, 1, replace(one, entries=entries), land)
        figure.canvas.draw()
        [bar, *_] = seen.with_gid(figure, "scale bar")
        return (bar.get_window_extent(), [arrow.get_window_extent() for arrow in seen.with_gid(
            figure, "run-on") if hasattr(arrow, "get_xy")], bar.axes)

    bar, _, ax = boxes(one.entries)
    x, y = ax.transData.inverted().transform(((bar.x0 + bar.x1) / 2, (bar.y0 + bar.y1) / 2))
    assert whole[0] < x < whole[2]
    there = replace(one.entries[0], at=(float(x), float(y)))
    moved, arrows, _ = boxes((there,))
    assert len(arrows) == 1
    assert not moved.overlaps(bar)
    assert not moved.overlaps(arrows[0])


def test_arrows_that_stand_close_share_one_with_all_numbers(screening, land, seen):
    one = screening.parcels[0]
    first, second, third = one.entries
    near = replace(second, at=(first.at[0] + 1.0, first.at[1]))
    figure = draw_parcel(screening, 1, replace(one, entries=(first, near, third)), land)
    words = seen.words(figure)
    assert "1, 2: run-on, 2.00 ha" in words
    assert "3: run-on, 4,000 m²" in words


def test_parcels_without_ground_are_not_among_the_best(screening, seen):
    last = screening.parcels[-1]
    figure = draw_district(replace(screening, parcels=(
        *screening.parcels[:-1], replace(last, swale=None, basin=None))))
    assert seen.with_gid(figure, "nothing found")
    assert seen.with_gid(figure, "legend:nothing")
    words = seen.words(figure)
    assert "No ground found" in words
    assert "0.0 m³" not in words
    assert seen.faults(figure) == []


def test_entries_of_next_to_nothing_get_no_arrow(screening):
    one = screening.parcels[0]
    tiny = replace(one.entries[0], area=one.entries[0].area * 0.01)
    assert shown_entries((*one.entries, tiny)) == list(one.entries)
    assert shown_entries(()) == []


def test_a_parcel_without_anything_in_it(made_up, seen):
    """US units, a small parcel, no best ground, no entries, no road, a name that is too long."""
    us = made_up("us")
    one = us.parcels[3]
    west, south, _, _ = one.parcel.outline.bounds
    bare = replace(one, swale=None, basin=None, entries=(), road=replace(one.road, at=None),
                   parcel=Parcel(4, "A name " * 30, box(west + 20, south - 60, west + 32,
                                                        south - 50)))
    figure = draw_parcel(us, 4, bare, land_of(us, bare, open_ground(us.district)))
    assert seen.overlaps(figure, 1.5) == []
    assert seen.words(figure).count("None of its ground lets one lie.") == 2
    assert not seen.with_gid(figure, "run-on")


def test_the_same_bytes_each_time(screening, land, seen):
    one = screening.parcels[0]
    assert seen.bytes_of(draw_district(screening)) == seen.bytes_of(draw_district(screening))
    assert seen.bytes_of(draw_parcel(screening, 1, one, land)) == seen.bytes_of(
        draw_parcel(screening, 1, one, land))
