"""Multiple flow against the papers' formulas, geometry, a slow reference and a flow library."""

import itertools
import math

import matplotlib.cbook
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from published import rows

from terrain.surface.depressions import drain
from terrain.surface.kernels import cut_in_strips
from terrain.surface.multiple_flow import accumulate_multiple_flow
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID
from terrain.surface.slope import hushed

#: Keywords for the two published methods.
QUINN = {"exponent": 1.0, "contour_lengths": True}
FREEMAN = {"exponent": 1.1, "contour_lengths": False}
BOTH = pytest.mark.parametrize("method", [QUINN, FREEMAN], ids=["Quinn", "Freeman"])

#: Length of contour to the eight neighbours, in cell sides: Quinn, Beven, Chevallier & Planchon,
#: Hydrological Processes 5 (1991), 59-79; they print 0.354 for a quarter of the diagonal.
CONTOUR = np.where(np.arange(8) % 2 == 0, 0.5, math.sqrt(2) / 4)
FAR = np.where(np.arange(8) % 2 == 0, 1.0, math.sqrt(2))


def gathered(heights, method, weights=1.0):
    heights = np.ascontiguousarray(heights, np.float32)
    drainage = drain(heights)
    return accumulate_multiple_flow(drainage.filled(heights), drainage.direction, weights, **method)


def alike(one, other, within):
    """Whether all agree within a relative error, voids with voids."""
    return np.allclose(one, other, rtol=within, atol=0, equal_nan=True)


def published_shares(heights, row, column, method):
    """Shares of the lower neighbours by the formulas of the papers, {code: share}.

    Quinn et al. (1991): tan b L over its sum.  Freeman, Computers & Geosciences 17 (1991),
    413-422: (tan b)^1.1 over its sum.
    """
    found = {}
    for k in range(8):
        r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
        if 0 <= r < heights.shape[0] and 0 <= c < heights.shape[1]:
            slope = (float(heights[row, column]) - float(heights[r, c])) / FAR[k]
            if slope > 0:  # never of an unknown height
                length = CONTOUR[k] if method["contour_lengths"] else 1.0
                found[k] = slope ** method["exponent"] * length
    return {k: part / math.fsum(found.values()) for k, part in found.items()}


# Quinn et al. (1991), Freeman (1991): shares worked by hand.
@pytest.mark.parametrize(("method", "expected"), [
    # The neighbour to the east falls by 0.2 of the distance, that to the south-west by 0.1.
    (QUINN, {0: 0.2 * 0.5 / (0.2 * 0.5 + 0.1 * 0.25 * 2**0.5),
             3: 0.1 * 0.25 * 2**0.5 / (0.2 * 0.5 + 0.1 * 0.25 * 2**0.5)}),
    (FREEMAN, {0: 2**1.1 / (2**1.1 + 1), 3: 1 / (2**1.1 + 1)}),
    ({"exponent": 4.0, "contour_lengths": False}, {0: 16 / 17, 3: 1 / 17})],
    ids=["Quinn", "Freeman", "fourth power"])
def test_shares_of_one_cell(method, expected):
    heights = np.full((5, 5), 9.0)
    heights[2, 2:] = 0, -0.2, -5
    heights[[3, 4], [1, 0]] = -0.1 * 2**0.5, -5
    drop = np.zeros((5, 5))
    drop[2, 2] = 1.0
    found = gathered(heights, method, drop)
    for k, share in expected.items():
        assert found[2 + ROW_STEP[k], 2 + COLUMN_STEP[k]] == pytest.approx(share, rel=1e-6)


def towards(east, south):
    """Angle clockwise from east of a plane that falls so much each way."""
    return math.atan2(south, east)


def cosines(angle):
    """Slope to the eight neighbours of a plane of slope 1 that falls at an angle; 0 uphill."""
    return np.maximum(np.cos(np.asarray(angle)[..., None] - np.arange(8) * np.pi / 4), 0)


def contour_length(angle):
    """Contour that leaves a cell by Quinn et al., in cell sides: their specific area is over it."""
    return (CONTOUR * cosines(angle)).sum(axis=-1)


# Geometry: specific catchment area of a plane is the distance upslope (Tarboton, Water Resources
# Research 33 (1997), 309-319).  Falls of whole sixty-fourths of a metre are exact in float32.
@pytest.mark.parametrize(("east", "south"), [(0, 1), (1, 2), (1, 3), (2, 3), (1, 1)])
@pytest.mark.parametrize("cell", [4.0, 0.5])
def test_quinns_specific_area_on_a_plane_is_exact_on_any_bearing(east, south, cell):
    """Over the contour the water crosses, sum of L cos, it is the distance to the top edge.

    Far from the sides, whose cells have less above them or fewer ways out, and above the last row.
    """
    row, column = np.indices((40, 300))
    total = gathered(-(east * column + south * row) / 64.0, QUINN)[:-1, 150]
    angle = towards(east, south)
    upslope = (np.arange(39) + 1) * cell / math.sin(angle)
    assert alike(total * cell**2 / (cell * contour_length(angle)), upslope, 1e-12)


@pytest.mark.parametrize(("east", "south"), [(0, 1), (1, 2), (1, 3), (2, 3), (1, 1)])
def test_freemans_area_on_a_plane(east, south):
    """A row hands all it has to the next, but for the share e that goes on along the row itself:
    the row n from the top carries n / (1 - e) a cell."""
    row, column = np.indices((40, 300))
    total = gathered(-(east * column + south * row) / 64.0, FREEMAN)[:-1, 150]
    part = cosines(towards(east, south)) ** 1.1
    along_the_row = part[0] / part.sum()
    # Slopes to the power 1.1 are in float32.
    assert alike(total, (np.arange(39) + 1) / (1 - along_the_row), 1e-7)


def test_published_area_of_a_plane():
    table = [row for row in rows("specific_catchment_area_analytic.csv")
             if row["surface"].startswith("plane")]
    assert table
    for method in (QUINN, FREEMAN):
        total = gathered(np.tile(-0.25 * np.arange(120)[:, None], (1, 251)), method)
        for row in table:  # cells of 1 m; from a cell's lower side to the top edge
            assert total[round(float(row["r_or_x_m"])) - 1, 125] == pytest.approx(
                float(row["sca_m"]), rel=1e-12)


def rings(cell, half):
    """x, y (southwards) and distance of cell centres from a top between four cells. [m]"""
    x = (np.arange(-round(half / cell), round(half / cell)) + 0.5) * cell
    x, y = np.meshgrid(x, x)
    return x, y, np.hypot(x, y)


def mean_move(angle):
    """How far a plane's water moves along its fall in a step by Freeman's shares, in cell sides."""
    part = cosines(angle) ** 1.1
    return (part * FAR * cosines(angle)).sum(axis=-1) / part.sum(axis=-1)


def specific(total, cell, angle, method):
    """Specific catchment area from a count of cells, where the ground falls at an angle. [m]

    What passes a cell, times how far it moves in a step, is flow per length of contour; by Quinn's
    shares that is the area over the contour length of the paper.
    """
    return total * cell * (1 / contour_length(angle) if method is QUINN else mean_move(angle))


def top_errors(height, cell, method):
    """Relative errors of specific catchment area, r/2, from 20 m to 40 m about a top."""
    x, y, away = rings(cell, 44.0)
    found = specific(gathered(height(away), method), cell, np.arctan2(y, x), method)
    return (found / (away / 2) - 1)[(away > 20) & (away < 40)]


def root_mean_square(error):
    return float(np.sqrt(np.mean(error**2)))


TOPS = pytest.mark.parametrize("height", [lambda r: 100 - r, lambda r: 100 - r**2 / 50],
                               ids=["cone", "paraboloid"])


# Costa-Cabral & Burges, Water Resources Research 30 (1994), 1681-1692; Tarboton (1997): r/2 a
# metre of contour about a top.  The paraboloid has the cone's flow lines, and so its areas.
@TOPS
def test_quinns_area_about_a_top_nears_geometry_as_cells_shrink(height):
    """Weighed with contour lengths, the mean step lies along the fall on every bearing, so that
    each cell comes to r/2, by halves."""
    errors = [top_errors(height, cell, QUINN) for cell in (4.0, 2.0, 1.0, 0.5)]
    assert root_mean_square(errors[-1]) < 0.02
    assert abs(errors[-1]).max() < 0.03
    for coarse, fine in itertools.pairwise(errors):
        assert root_mean_square(fine) < 0.55 * root_mean_square(coarse)
        assert abs(fine).max() < 0.65 * abs(coarse).max()


@TOPS
def test_freemans_area_about_a_top_nears_geometry_as_cells_shrink(height):
    """Its mean step lies up to half a degree off the fall, however small the cells: the mean nears
    r/2 by halves, single cells stay within 8 %, most within 3 %."""
    errors = [top_errors(height, cell, FREEMAN) for cell in (4.0, 2.0, 1.0, 0.5)]
    assert root_mean_square(errors[-1]) < 0.03
    assert abs(errors[-1]).max() < 0.08
    for coarse, fine in itertools.pairwise(errors):
        assert abs(fine.mean()) < 0.55 * abs(coarse.mean())
        assert root_mean_square(fine) < root_mean_square(coarse)


def bowl_errors(cell, radii, outer=100.0):
    """Root mean square errors on rings 4 m wide of an inward cone with a drain in its middle."""
    x, y, away = rings(cell, outer)
    found = specific(gathered(np.where((away <= outer) & (away > 5), away, np.nan), QUINN),
                     cell, np.arctan2(-y, -x), QUINN)
    exact = (outer**2 - away**2) / (2 * away)
    return np.array([root_mean_square((found / exact - 1)[abs(away - r) < 2]) for r in radii])


def test_quinns_area_on_an_inward_cone_nears_the_published_one_as_cells_shrink():
    table = [row for row in rows("specific_catchment_area_analytic.csv")
             if row["surface"].startswith("inward")]
    radii = [float(row["r_or_x_m"]) for row in table]
    for r, row in zip(radii, table, strict=True):
        assert (100**2 - r**2) / (2 * r) == pytest.approx(float(row["sca_m"]))
    errors = [bowl_errors(cell, radii) for cell in (4.0, 2.0, 1.0, 0.5)]
    assert errors[-1].max() < 0.02
    assert all((fine < 0.7 * coarse).all() for coarse, fine in itertools.pairwise(errors))


def channel_error(cell, side, channel):
    """Largest relative error of the area along a V-valley's channel, sides 20 m wide."""
    half = round(20 / cell)
    x = (np.arange(2 * half + 1) - half) * cell
    y = (np.arange(round(60 / cell)) + 0.5) * cell  # southwards from the top edge
    total = gathered(50 + side * abs(x)[None, :] - channel * y[:, None], QUINN)
    reach, width, v = y + cell / 2, 20 + cell / 2, channel / side
    exact = np.where(reach < v * width, reach**2 / v, 2 * (width * reach - v * width**2 / 2))
    known = (reach > 5) & (reach < 45)  # away from both ends
    return float(np.abs(total[:, half] * cell**2 / exact - 1)[known].max())


@pytest.mark.parametrize(("side", "channel"), [(0.1, 0.1), (0.1, 0.05), (0.1, 0.002)])
def test_quinns_area_along_a_valley_nears_geometry_as_cells_shrink(side, channel):
    """A channel cell at L below the top drains what comes down to it within L on each side.

    Sides at least as steep as the channel, so that no water spreads out of it again.
    """
    errors = [channel_error(cell, side, channel) for cell in (2.0, 1.0, 0.5, 0.25)]
    assert errors[-1] < 0.08
    assert all(fine < 0.7 * coarse for coarse, fine in itertools.pairwise(errors))


#: Plateaus, or sixty-fourths of a metre.
ROUGH = hnp.arrays(np.float32, hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=9),
                   elements=st.integers(0, 4).map(float) | st.integers(0, 640).map(
                       lambda n: n / 64))


def with_holes(heights, holes):
    for i in range(holes):
        heights[(3 * i) % heights.shape[0], (5 * i + 1) % heights.shape[1]] = np.nan
    return heights


def slow_sums(filled, direction, weights, method):
    """Cell after cell from the highest down, on flats by how far D8 has still to go."""
    def steps(cell):
        row, column = cell
        count = 0
        while direction[row, column] < LEAVES:
            k = direction[row, column]
            row, column, count = row + ROW_STEP[k], column + COLUMN_STEP[k], count + 1
        return count

    known = [cell for cell in np.ndindex(filled.shape) if direction[cell] != VOID]
    total = {cell: float(weights[cell]) for cell in known}
    for cell in sorted(known, key=lambda cell: (-filled[cell], -steps(cell))):
        share = published_shares(filled, *cell, method)
        if not share and direction[cell] < LEAVES:
            share = {int(direction[cell]): 1.0}
        for k, part in share.items():
            total[cell[0] + ROW_STEP[k], cell[1] + COLUMN_STEP[k]] += part * total[cell]
    return total


@BOTH
@given(ROUGH, st.integers(0, 4), st.integers(0, 2**32 - 1))
@settings(max_examples=50)
def test_sums_are_those_of_a_slow_walk_from_the_top(method, heights, holes, seed):
    """Freeman's powers are taken in float32: shares are then off by some 2e-7 a step."""
    heights = with_holes(heights, holes)
    weights = np.random.default_rng(seed).uniform(0, 5, heights.shape)
    drainage = drain(heights)
    filled = drainage.filled(heights)
    total = accumulate_multiple_flow(filled, drainage.direction, weights, **method)
    expected = slow_sums(filled, drainage.direction, weights, method)
    assert alike([total[cell] for cell in expected], list(expected.values()),
                 1e-12 if method is QUINN else 5e-6)
    assert np.isnan(total).sum() == total.size - len(expected)


#: Slots of richdem's shares by our codes: its neighbours go W, NW, N ... from 1.
SLOT = np.array([5, 6, 7, 8, 1, 2, 3, 4])


def sums_by_richdem(filled, direction, name):
    """richdem's shares and sum; its flats, over which it sends nothing, led by our D8.

    It routes no cell at its border and sees no ground in voids: a wall of high ground round it
    and in voids, which gets no rain, leaves each cell just its known lower neighbours.  For
    "Quinn" it takes 0.354 for the diagonal contour: put right to a quarter of the diagonal here.
    """
    import richdem

    known = np.isfinite(filled)
    with hushed():
        grid = richdem.rdarray(np.pad(np.where(known, filled, np.float32(1e5)), 1,
                                      constant_values=1e5), no_data=-9999.0)
        grid.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        share = np.array(richdem.flow_proportions(
            grid, method=name, exponent=1.1 if name == "Freeman" else None))
    if name == "Quinn":
        goes = np.maximum(share[..., 1:], 0).astype(float)
        goes[..., SLOT[1::2] - 1] *= CONTOUR[1] / 0.354
        whole = goes.sum(axis=2, keepdims=True)
        share[..., 1:] = np.divide(goes, whole, out=goes, where=whole > 0)
    way = np.pad(direction, 1, constant_values=LEAVES)
    row, column = np.nonzero((way < LEAVES) & (share[..., 0] != 0))
    share[row, column, SLOT[way[row, column]]] = 1
    share[row, column, 0] = 0
    with hushed():
        props = richdem.rd3array(share, no_data=-2)
        props.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        found = np.array(richdem.flow_accum_from_props(
            props, weights=np.pad(known.astype(float), 1)))[1:-1, 1:-1]
    return np.where(known, found, np.nan)


@pytest.fixture(scope="module")
def fault():
    """matplotlib's sample raster of 344 by 403 cells, in whole metres (SRTM), with two voids."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        heights = data["elevation"].astype(np.float32)
    heights[100:130, 200:260] = np.nan
    heights[300, 50] = np.nan
    return heights


# Reference library: richdem.  It keeps shares as float32, each within 1.2e-7 of itself; as the
# errors have either sign they mostly cancel along a path.
@pytest.mark.parametrize(("name", "method"), [("Quinn", QUINN), ("Freeman", FREEMAN)])
def test_sums_on_a_real_raster_equal_richdem(fault, name, method):
    """With plateaus, hollows that stand full, voids and borders."""
    drainage = drain(fault)
    filled = drainage.filled(fault)
    assert (filled > fault).sum() > 5000
    total = accumulate_multiple_flow(filled, drainage.direction, **method)
    assert alike(total, sums_by_richdem(filled, drainage.direction, name), 1e-6)


@pytest.mark.parametrize(("name", "method"), [("Quinn", QUINN), ("Freeman", FREEMAN)])
def test_sums_on_tilted_ground_equal_richdems_own_accumulation(name, method):
    """One call of the library, in a wall of high ground that gives each border cell one more.

    With 0.354 for the contour to diagonal neighbours, not 0.35355, its Quinn favours them by
    0.13 % a step; on this ground no sum comes to differ by more than one such step.
    """
    import richdem

    row, column = np.indices((60, 80))
    rough = np.random.default_rng(3).uniform(0, 0.6, row.shape)
    heights = (500 - 1.0 * row - 0.7 * column + rough).astype(np.float32)
    with hushed():
        grid = richdem.rdarray(np.pad(heights, 1, constant_values=1e5), no_data=-9999.0)
        grid.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        found = np.array(richdem.flow_accumulation(
            grid, method=name, exponent=1.1 if name == "Freeman" else None))[1:-1, 1:-1]
    assert alike(gathered(heights, method), found, 1e-6 if name == "Freeman" else 1.3e-3)


GROUND = hnp.arrays(np.float32, hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=12),
                    elements=st.integers(0, 4).map(float) | st.floats(-400, 8000, width=32))


def has_lower(filled):
    """Whether a cell has a lower neighbour."""
    padded = np.pad(filled, 1, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, (3, 3))
    return (windows < filled[..., None, None]).any(axis=(2, 3))


@given(GROUND, st.integers(0, 4), st.integers(0, 2**32 - 1),
       st.sampled_from([QUINN, FREEMAN, {"exponent": 6.0}]))
def test_what_leaves_is_what_fell(heights, holes, seed, method):
    heights = with_holes(heights, holes)
    drainage = drain(heights)
    direction, known = drainage.direction, np.isfinite(heights)
    weights = np.random.default_rng(seed).uniform(0, 5, heights.shape)
    filled = drainage.filled(heights)
    total = accumulate_multiple_flow(filled, direction, weights, **method)
    leaves = (direction == LEAVES) & ~has_lower(filled)
    assert np.array_equal(np.isnan(total), ~known)
    assert total[leaves].sum() == pytest.approx(weights[known].sum(), rel=1e-12)
    assert (total[known] >= weights[known]).all()


@BOTH
def test_a_pass_beside_a_void_sends_its_water_down_all_the_same(method):
    """The hollow in the east spills over a cell whose D8 leads into the void beside it, though on
    the full surface the ground to the south-west lies lower."""
    heights = np.array([[0, np.nan, 1, 1, 1, 0],
                        [0, 0, 1, 0, 1, 0],
                        [0, 0, 1, 1, 1, 0]], np.float32)
    drainage = drain(heights)
    assert drainage.direction[0, 2] == LEAVES
    assert drainage.filled(heights)[1, 3] == 1
    drop = np.zeros(heights.shape)
    drop[0, 2] = 1.0
    assert gathered(heights, method, drop)[1, 1] == 1.0


@pytest.mark.parametrize(("step", "exponent"), [
    (1e-5, 2.0), (1e-5, 10.0), (1e-3, 20.0), (100.0, 10.0), (100.0, 30.0), (1e-42, 1.1)])
def test_nothing_is_lost_at_any_slope_and_exponent(step, exponent):
    """Slopes whose powers are too small or too large for float32."""
    heights = np.tile((np.arange(9)[::-1] * step).astype(np.float32), (5, 1))
    drainage = drain(heights)
    total = accumulate_multiple_flow(heights, drainage.direction, exponent=exponent)
    assert total[drainage.direction == LEAVES].sum() == pytest.approx(45, rel=1e-12)


def test_larger_exponents_come_to_d8():
    from terrain.surface.accumulation import accumulate

    heights = smooth_ground(7)
    drainage = drain(heights)
    d8 = accumulate(drainage.direction)
    off = [np.abs(accumulate_multiple_flow(heights, drainage.direction, exponent=exponent,
                                           contour_lengths=False) / d8 - 1).max()
           for exponent in (1.0, 4.0, 16.0)]
    assert off[2] < off[1] < off[0]


@BOTH
@given(GROUND, st.integers(0, 4), st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_two_rains_together_give_the_sum_of_each(method, heights, holes, seed):
    heights = with_holes(heights, holes)
    one, other = np.random.default_rng(seed).uniform(0, 5, (2, *heights.shape))
    both = gathered(heights, method, one) + gathered(heights, method, other)
    assert alike(gathered(heights, method, one + other), both, 1e-12)


def smooth_ground(seed, shape=(20, 17)):
    """Random ground without hollows and, in 24 random bits a cell, without ties."""
    random = np.random.default_rng(seed)
    row, column = np.indices(shape)
    east, south = random.uniform(-1, 1, 2)
    tilt = row * np.sign(south) * (2 + abs(south)) + column * np.sign(east) * (2 + abs(east))
    return (500 + tilt + random.uniform(0, 0.9, shape)).astype(np.float32)


@BOTH
@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_turned_or_mirrored_ground_turns_the_answer(method, seed):
    heights = smooth_ground(seed)
    total = gathered(heights, method)
    for quarter in (1, 2, 3):
        assert alike(gathered(np.rot90(heights, quarter), method), np.rot90(total, quarter), 1e-12)
    assert alike(gathered(heights[:, ::-1], method), total[:, ::-1], 1e-12)


@BOTH
@given(hnp.arrays(np.float32, (9, 11), elements=st.integers(0, 6400).map(lambda n: n / 64)),
       st.sampled_from([-128.0, 256.0, 1024.0]))
@settings(max_examples=25)
def test_higher_ground_of_the_same_shape_drains_the_same(method, heights, lift):
    """Sixty-fourths of a metre and whole metres add without rounding in float32."""
    lifted = heights + np.float32(lift)
    assert np.array_equal(gathered(lifted, method), gathered(heights, method))


@BOTH
def test_a_raster_worked_in_strips_gives_the_same_answer(method, monkeypatch):
    """Hills with plateaus, hollows across the cuts and voids, in one strip and in eight."""
    from scipy import ndimage

    random = np.random.default_rng(5)
    heights = ndimage.gaussian_filter(random.normal(size=(90, 70)), 2) * 40
    heights[:, :30] = np.round(heights[:, :30])
    heights[40:44, 20:25] = np.nan
    weights = random.uniform(0, 9, heights.shape)
    total = gathered(heights, method, weights)
    monkeypatch.setattr("terrain.surface.kernels.LEAST_STRIP", 1)
    assert len(cut_in_strips(*heights.shape)) == 8
    assert alike(gathered(heights, method, weights), total, 1e-12)


def test_unknown_weights_count_as_nothing_and_the_callers_stay():
    heights = np.array([[3, 2, 1]], np.float32)
    weights = np.array([[1.0, np.nan, 2.0]])
    assert gathered(heights, QUINN, weights).tolist() == [[1.0, 1.0, 3.0]]
    assert np.isnan(weights[0, 1])


@pytest.mark.parametrize("exponent", [0.0, -1.0, math.nan])
def test_an_exponent_that_is_not_above_0_is_refused(exponent):
    with pytest.raises(ValueError, match="not above 0"):
        gathered(np.array([[3, 2, 1]]), {"exponent": exponent})
