"""Pictures of a flood: everything legible, drawn where it is, its figures those of the proof.

Limits of depth and colours are the tool's own; areas under hydrographs are volumes (no source
needed).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_hex

from terrain.outputs.proof.depth_colours import (
    BLUES,
    DEPTHS,
    depth_classes,
    depth_legend,
    water_colours,
)
from terrain.outputs.proof.flood_pages import draw_before_after, draw_deepest
from terrain.outputs.proof.gates_chart import DASHES, cascade_spills, draw_gates, spill_rates
from terrain.outputs.proof.storm_layers import PHONE, SCREEN, StormLayers
from terrain.proof.proof import Proof
from terrain.proof.store_proof import OverBank
from terrain.units import shown


@pytest.fixture(scope="module")
def harmed(us_proof) -> Proof:
    """The same with water over a bank, an unsafe place, and one store of a long name: all that a
    map marks."""
    first, *others = us_proof.stores
    at = us_proof.after.leaves.where
    spots = tuple(replace(s, hazard="unsafe for people and vehicles") for s in us_proof.spots)
    bank = OverBank(12.3, at[0] - 20, at[1] + 40, 0.05)
    return replace(us_proof, spots=spots, stores=(
        replace(first, over_bank=bank, name="the long upper swale below the old orchard"), *others))


@pytest.mark.parametrize("draw", [draw_deepest, draw_before_after, draw_gates])
def test_no_lettering_overlaps_or_leaves_the_page(draw, proof, seen):
    figure = draw(proof)
    assert seen.faults(figure) == []
    words = seen.words(figure)
    for said in ("Small valley", "shower, 45 mm", "m³", "L/s"):
        assert said in words
    assert " gal" not in words


def test_a_map_with_all_marks_in_us_units(harmed, seen):
    figure = draw_deepest(harmed)
    assert seen.faults(figure) == []
    words = seen.words(figure)
    for said in ("Water over a bank", "Unsafe beside or on it", "3,249 gal over its bank",
                 "in feet", "19.7 in", "Water goes over the bank of the long upper swale"):
        assert said in words.replace("\n", " ").replace("\u00a0", " ")
    assert " m³" not in words
    assert len(seen.with_gid(figure, "hazard")) == len(harmed.spots)
    assert [a for a in seen.with_gid(figure, "over bank")
            if a.center == pytest.approx((harmed.stores[0].over_bank.x,
                                          harmed.stores[0].over_bank.y))]


def test_a_map_marks_water_over_a_bank_that_its_cells_are_too_coarse_for(harmed, seen):
    first, *others = harmed.stores
    coarse = replace(harmed, stores=(replace(first, drawn=False, freeboard=-0.05), *others))
    figure = draw_deepest(coarse)
    assert seen.faults(figure) == []
    words = seen.words(figure).replace("\n", " ").replace("\u00a0", " ")
    assert "3,249 gal over its bank as far as these cells tell" in words
    assert "as far as these cells tell; run with smaller cells." in words
    assert f"water of {first.name} stands" not in words


def test_the_legend_tells_what_is_drawn_and_nothing_else(proof, seen):
    figure = draw_deepest(proof)
    told = {str(t.get_gid()).partition(":")[2] for t, _ in seen.texts(figure)
            if str(t.get_gid()).startswith("legend:")}
    assert {"depth", "edge", "bank", "way", "leaves", "wall", "road", "roof", "boundary",
            "contour", "tank", "sill"} <= told
    for key, gid in (("over bank", "over bank"), ("hazard", "hazard"), ("fast", "fast"),
                     ("way", "way of the water"), ("culvert", "culvert")):
        assert (key in told) == bool(seen.with_gid(figure, gid)), key
    for gid in ("north arrow", "scale bar", "boundary", "wall", "bank"):
        assert seen.with_gid(figure, gid), gid


def test_before_has_no_works(proof, seen):
    figure = draw_before_after(proof)
    before, after = figure.axes[:2]
    for gid, drawn in (("bank", True), ("wall", True), ("work label", True), ("boundary", False)):
        assert bool([a for a in before.get_children() if a.get_gid() == gid]) != drawn, gid
        assert [a for a in after.get_children() if a.get_gid() == gid], gid
    with pytest.raises(ValueError, match="not run over the ground without the works"):
        draw_before_after(replace(proof, before=None))


def test_water_lies_where_it_is_deep(proof):
    [picture] = [i for i in draw_deepest(proof).axes[0].images if i.get_array().shape[-1] == 4]
    grid, depth = proof.ground.grid, proof.after.flow.greatest_depth
    west, east, south, north = picture.get_extent()
    assert (west, north) == (grid.left, grid.top)
    assert (east - west, north - south) == (grid.columns * grid.cell, grid.rows * grid.cell)
    row, column = np.unravel_index(np.nanargmax(depth), depth.shape)
    colour = np.asarray(picture.get_array())[row, column]
    deepest = BLUES[np.searchsorted(DEPTHS, depth[row, column], "right") - 1]
    assert to_hex(colour[:3] / 255) == deepest


@pytest.mark.parametrize(("depth", "number"), [
    (0.0, 0), (0.0049, 0), (0.005, 1), (0.0199, 1), (0.02, 2), (0.2, 5), (0.5, 6), (9.0, 6),
    (float("nan"), 0)])
def test_a_depth_has_the_colour_of_its_limits(depth, number):
    found = np.array([[depth]])
    assert depth_classes(found)[0, 0] == number
    *colour, opaque = water_colours(found)[0, 0]
    assert bool(opaque) == bool(number)
    if number:
        assert to_hex(np.array(colour) / 255) == BLUES[number - 1]


def test_the_legend_of_depths_names_every_limit_in_one_system():
    assert [words for _, words in depth_legend("metric")] == [
        "5 to 20 mm", "20 to 50 mm", "50 to 100 mm", "100 to 200 mm", "200 to 500 mm",
        "over 500 mm"]
    for _, words in depth_legend("us"):
        assert words.endswith(" in")


def test_hydrographs_hold_the_volumes_that_are_told(proof, seen):
    figure = draw_gates(proof)
    top = figure.axes[0]
    runs = {line.get_gid(): line for line in top.get_lines()}
    for name, run in (("without the works", proof.before), ("with the works", proof.after)):
        x, y = runs[name].get_data()
        # Each value is the mean since the time before; L/s and hours.
        assert (np.diff(x) * y[1:]).sum() * 3.6 == pytest.approx(run.leaves.volume_out, rel=1e-6)
        assert shown(run.leaves.volume_out, "volume", "metric") in seen.words(figure)
    assert runs["without the works"].get_linestyle() == "--"
    assert DASHES[0] == 0


def test_hydrographs_of_stores_hold_what_they_spill(proof, seen):
    step, told = cascade_spills(proof)
    for store in proof.stores:
        times, rate = spill_rates(proof, store)
        assert (np.diff(times) * rate[1:]).sum() * 3600 == pytest.approx(store.spilled, abs=1e-6)
        assert told[store.index].sum() * step * 3600 == pytest.approx(store.told.spilled)
    named = [t for t in seen.words(draw_gates(proof)).split("\n") if " spills " in t]
    assert len(named) == sum(max(s.spilled, s.told.spilled) > 0.05 for s in proof.stores)


@pytest.mark.parametrize("inches", [SCREEN, PHONE])
def test_lettering_over_the_moving_picture(inches, proof, seen):
    figure, drawing = StormLayers(proof).draw_over(inches)
    assert seen.faults(figure) == []
    assert {"edge", "bank", "boundary"} <= drawing.drawn
    assert "east swale" in seen.words(figure)


def test_the_water_of_a_fine_grid_keeps_its_deepest(proof, monkeypatch):
    from terrain.outputs.proof import storm_layers

    monkeypatch.setattr(storm_layers, "MOST_CELLS", 20)
    layers, depth = StormLayers(proof), proof.after.frames.depths[-1]
    small = np.asarray(layers.water(depth))
    assert max(small.shape) <= 20
    assert small.max() == depth_classes(depth[layers.window] / 1000).max()
