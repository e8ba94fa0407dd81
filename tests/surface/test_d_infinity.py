"""D-infinity against Tarboton's planes, cones, a slow reference and a flow library."""

import itertools
import math

import matplotlib.cbook
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from published import rows
from scipy.integrate import solve_ivp

from terrain.surface.d_infinity import NOWHERE, accumulate_d_infinity, d_infinity
from terrain.surface.depressions import drain
from terrain.surface.kernels import cut_in_strips
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP, VOID
from terrain.surface.slope import hushed

#: Half the spacing of float32 below 8, the greatest angle: what rounding leaves in a share.
ROUNDED = 2.0**-22 * 1.01


def routed(heights):
    """Angles and D8 directions on ground whose hollows stand full."""
    heights = np.ascontiguousarray(heights, np.float32)
    drainage = drain(heights)
    return d_infinity(drainage.filled(heights), drainage.direction), drainage.direction


def gathered(heights, weights=1.0):
    return accumulate_d_infinity(routed(heights)[0], weights)


def shares(angle):
    """What goes to each of the eight neighbours, shape (rows, columns, 8)."""
    goes = angle >= 0
    whole = np.where(goes, np.floor(angle), 0).astype(int)
    rest = np.where(goes, angle - whole, 0.0)
    found = np.zeros((*angle.shape, 8))
    row, column = np.indices(angle.shape)
    found[row, column, whole] = np.where(goes, 1 - rest, 0)
    found[row, column, (whole + 1) % 8] += rest
    return found


def alike(one, other, within):
    """Whether all agree within a relative error, voids with voids."""
    return np.allclose(one, other, rtol=within, atol=0, equal_nan=True)


def apart(one, other):
    """How far two angles in eighths of a turn lie apart."""
    return np.abs((one - other + 4) % 8 - 4)


# Tarboton, Water Resources Research 33 (1997), 309-319: counter-clockwise from east, in degrees;
# ours go clockwise, as rows grow southwards, in eighths of a turn.
@pytest.mark.parametrize("plane", rows("dinf_plane_directions.csv"),
                         ids=lambda plane: plane["plane_direction_deg"])
def test_a_plane_gives_its_own_direction_and_splits_by_angle(plane):
    towards, slope = math.radians(float(plane["plane_direction_deg"])), float(plane["plane_slope"])
    row, column = np.mgrid[-2:3, -2:3]
    heights = -slope * (column * math.cos(towards) - row * math.sin(towards))
    angle, _ = routed(heights)
    off = apart(angle[1:-1, 1:-1], -float(plane["angle_deg"]) / 45)
    assert off.max() < 2e-6  # heights are rounded to 3e-8 of a drop of 0.2
    drop = np.zeros((5, 5))
    drop[2, 2] = 1.0
    received = accumulate_d_infinity(angle, drop)
    for share, way in (("p1", "a1_deg"), ("p2", "a2_deg")):
        k = round(-float(plane[way]) / 45) % 8
        there = received[2 + ROW_STEP[k], 2 + COLUMN_STEP[k]]
        assert there == pytest.approx(float(plane[share]), abs=3e-6)  # printed to 1e-6


@pytest.mark.parametrize("k", range(8))
def test_a_plane_towards_a_neighbour_drains_to_it_alone(k):
    row, column = np.indices((9, 9))
    angle, _ = routed(-0.25 * (row * ROW_STEP[k] + column * COLUMN_STEP[k]))
    assert (angle[1:-1, 1:-1] == k).all()


def rings(cell, half):
    """x, y (southwards) and distance of cell centres from a top between four cells. [m]"""
    x = (np.arange(-round(half / cell), round(half / cell)) + 0.5) * cell
    x, y = np.meshgrid(x, x)
    return x, y, np.hypot(x, y)


def bearing_errors(cell):
    x, y, away = rings(cell, 44.0)
    angle, _ = routed(100 - away)
    ring = (away > 20) & (away < 40)
    off = apart(angle, np.degrees(np.arctan2(y, x)) / 45)[ring] * 45
    return float(np.sqrt(np.mean(off**2))), float(off.max())


# Geometry: an outward cone falls straight away from its top, on every bearing.
def test_directions_on_a_cone_near_every_bearing_as_cells_shrink():
    """A facet's slope holds for its middle, half a cell off: the error goes with the cell."""
    errors = [bearing_errors(cell) for cell in (4.0, 2.0, 1.0, 0.5)]
    assert errors[-1][0] < 0.26
    assert errors[-1][1] < np.degrees(0.5 * 0.5 / 20)  # half a cell, seen from 20 m
    for coarse, fine in itertools.pairwise(errors):
        assert fine[0] < 0.6 * coarse[0]
        assert fine[1] < 0.7 * coarse[1]


# Geometry: specific catchment area of a plane is the distance upslope (Tarboton 1997).  Falls of
# whole sixty-fourths of a metre, exact in float32.
@pytest.mark.parametrize(("east", "south"), [(0, 1), (1, 2), (1, 3), (2, 3), (1, 1)])
@pytest.mark.parametrize("cell", [4.0, 0.5])
def test_area_on_a_plane_is_exact_on_any_bearing(east, south, cell):
    """Below a top edge each row hands all it has to the next.

    A cell's share of the contour is its side times the cosine of the angle between flow and its
    rows' normal; cells within reach of the west edge have less above them, and are left out.
    """
    row, column = np.indices((30, 80))
    total = gathered(-(east * column + south * row) / 64.0)[:-1, 30:-1]
    across = south / math.hypot(east, south)
    upslope = (np.arange(29) + 1) * cell / across
    specific = total * cell**2 / (cell * across)
    assert alike(specific, upslope[:, None], 1e-12)


def test_published_area_of_a_plane():
    table = [row for row in rows("specific_catchment_area_analytic.csv")
             if row["surface"].startswith("plane")]
    assert table
    total = gathered(np.tile(-0.25 * np.arange(120)[:, None], (1, 9)))
    for row in table:  # one cell of 1 m wide; from a cell's lower side to the top edge
        assert total[round(float(row["r_or_x_m"])) - 1, 4] == float(row["sca_m"])


def fan_on_a_cone(across):
    """Area per cell side of the far row over y, as cells shrink to nothing; `across` is x / y.

    Water moves v = (4/pi) arctan(x/y) columns a row (the share that goes by the diagonal), where
    a cone asks for x/y.  What a row carries, y g(x/y), then obeys g (1 + v') + g' (v - u) = 1.
    """
    def change(u, g):
        v, rise = 4 / np.pi * np.arctan(u), 4 / np.pi / (1 + u**2)
        return (1 - g * (1 + rise)) / (v - u)

    on_axis = 1 / (1 + 4 / np.pi)
    solved = solve_ivp(change, (1e-6, 0.9), [on_axis], rtol=1e-9, atol=1e-12, dense_output=True)
    return solved.sol(across)[0]


def area_errors(height, cell):
    """Relative errors of the area on an outward cone, of its limit and of geometry's r/2."""
    x, y, away = rings(cell, 44.0)
    area = gathered(height(away)) * cell
    inside = (x > 0) & (x < 0.8 * y) & (away > 20) & (away < 40)
    limit = area[inside] / (y[inside] * fan_on_a_cone(x[inside] / y[inside])) - 1
    ring = (away > 20) & (away < 40)
    specific = area / (np.maximum(abs(x), abs(y)) / away)
    return float(np.sqrt(np.mean(limit**2))), specific[ring] / (away[ring] / 2) - 1


# Costa-Cabral & Burges, Water Resources Research 30 (1994), 1681-1692; Tarboton (1997): r/2 a
# metre of contour about a top.  The paraboloid has the cone's flow lines, and so its areas.
@pytest.mark.parametrize("height", [lambda r: 100 - r, lambda r: 100 - r**2 / 50],
                         ids=["cone", "paraboloid"])
def test_area_about_a_top_nears_its_limit_as_cells_shrink(height):
    """Splitting by angle leads water off its line by up to 4 degrees, however small the cells.

    So r/2 is not reached cell by cell: the limit lies 12 % below it on the axes and rises towards
    the diagonals.  That limit is neared with the cell; the mean on a ring comes to 1 % of r/2.
    """
    errors = [area_errors(height, cell) for cell in (4.0, 2.0, 1.0, 0.5)]
    assert errors[-1][0] < 0.025
    assert all(fine[0] < 0.6 * coarse[0] for coarse, fine in itertools.pairwise(errors))
    means = [abs(float(error.mean())) for _, error in errors]
    assert means[-1] < 0.01
    assert all(fine < coarse for coarse, fine in itertools.pairwise(means))
    spread = [float(np.sqrt(np.mean(error**2))) for _, error in errors]
    assert all(fine < coarse for coarse, fine in itertools.pairwise(spread))


def inward_means(cell, radii, outer=100.0):
    """Mean specific catchment area on rings 4 m wide of an inward cone with a drain, over exact."""
    x, y, away = rings(cell, outer)
    area = gathered(np.where((away <= outer) & (away > 5), away, np.nan)) * cell
    specific = area / (np.maximum(abs(x), abs(y)) / away)
    exact = (outer**2 - away**2) / (2 * away)
    return [float(np.mean((specific / exact)[abs(away - r) < 2])) for r in radii]


def test_mean_area_on_an_inward_cone_is_near_the_published_one():
    """Water drifts towards the axes here, the more the nearer to the middle, so that single cells
    never come near; the mean on a ring does, to the 2 % that the drift turns it by."""
    table = [row for row in rows("specific_catchment_area_analytic.csv")
             if row["surface"].startswith("inward") and float(row["r_or_x_m"]) >= 20]
    radii = [float(row["r_or_x_m"]) for row in table]
    for r, row in zip(radii, table, strict=True):
        assert (100**2 - r**2) / (2 * r) == pytest.approx(float(row["sca_m"]))
    for ratio in inward_means(0.5, radii):
        assert ratio == pytest.approx(1, abs=0.02)


def channel_error(cell, side, channel):
    """Largest relative error of the area along a V-valley's channel, sides 20 m wide."""
    half = round(20 / cell)
    x = (np.arange(2 * half + 1) - half) * cell
    y = (np.arange(round(60 / cell)) + 0.5) * cell  # southwards from the top edge
    total = gathered(50 + side * abs(x)[None, :] - channel * y[:, None])
    reach, width = y + cell / 2, 20 + cell / 2
    v = 4 / np.pi * math.atan(channel / side)  # rows that water is led down a column
    exact = np.where(reach < v * width, reach**2 / v, 2 * (width * reach - v * width**2 / 2))
    known = (reach > 10) & (reach < 45)  # away from both ends
    return float(np.abs(total[:, half] * cell**2 / exact - 1)[known].max())


@pytest.mark.parametrize(("side", "channel"), [(0.1, 0.1), (0.1, 0.05), (0.1, 0.002)])
def test_area_along_a_valley_nears_geometry_as_cells_shrink(side, channel):
    """A channel cell at L below the top drains what comes down to it within L on each side.

    Where sides and channel fall alike that is geometry's own; else the lines are led a little
    off (4/pi arctan for the slope they cross the sides at), and the area is that of those lines.
    """
    errors = [channel_error(cell, side, channel) for cell in (4.0, 2.0, 1.0, 0.5)]
    assert errors[-1] < 0.02
    assert all(fine < 0.9 * coarse for coarse, fine in itertools.pairwise(errors))


#: Tarboton's table 1: the two cells of a facet as (row, column), a_c and a_f.
FACETS = [((0, 1), (-1, 1), 0, 1), ((-1, 0), (-1, 1), 1, -1), ((-1, 0), (-1, -1), 1, 1),
          ((0, -1), (-1, -1), 2, -1), ((0, -1), (1, -1), 2, 1), ((1, 0), (1, -1), 3, -1),
          ((1, 0), (1, 1), 3, 1), ((0, 1), (1, 1), 4, -1)]


def slow_angle(filled, row, column):
    """Tarboton's eq. 1-6 in his order of signs, in eighths clockwise; None on a flat or in a pit.

    Unknown ground is as high as a tower.  He leaves open which of equal facets is taken: the
    first clockwise from east.  Also whether facets of two kinds (along an edge, across) are equal.
    """
    def height(step):
        r, c = row + step[0], column + step[1]
        inside = 0 <= r < filled.shape[0] and 0 <= c < filled.shape[1]
        return float(filled[r, c]) if inside and np.isfinite(filled[r, c]) else 1e7

    here, best, found, mixed, kind = float(filled[row, column]), 0.0, None, False, None
    for first, second, a_c, a_f in reversed(FACETS):
        s1, s2 = here - height(first), height(first) - height(second)
        r, s = math.atan2(s2, s1), math.hypot(s1, s2)
        if r < 0:
            r, s = 0.0, s1
        elif r > math.atan(1):
            r, s = math.atan(1), (here - height(second)) / math.sqrt(2)
        if s <= 0:
            continue
        this = "straight" if r == 0 else "diagonal" if r == math.atan(1) else "across"
        if abs(s - best) <= 1e-12 * best:
            mixed |= this != kind
        elif s > best:
            best, found, mixed, kind = s, a_f * r + a_c * math.pi / 2, False, this
    return None if found is None else (-found * 4 / math.pi) % 8, mixed


#: Plateaus, or sixty-fourths of a metre: drops are exact, and slopes equal or well apart.
ROUGH = hnp.arrays(np.float32, hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=9),
                   elements=st.integers(0, 4).map(float) | st.integers(0, 640).map(
                       lambda n: n / 64))


def with_holes(heights, holes):
    for i in range(holes):
        heights[(3 * i) % heights.shape[0], (5 * i + 1) % heights.shape[1]] = np.nan
    return heights


@given(ROUGH, st.integers(0, 4))
@settings(max_examples=60)
def test_angles_are_those_of_the_papers_equations(heights, holes):
    heights = with_holes(heights, holes)
    drainage = drain(heights)
    filled, direction = drainage.filled(heights), drainage.direction
    angle = d_infinity(filled, direction)
    for row, column in np.ndindex(heights.shape):
        found, way = float(angle[row, column]), direction[row, column]
        if way == VOID:
            assert math.isnan(found)
            continue
        expected, mixed = slow_angle(filled, row, column)
        assume(not mixed)
        if expected is None:  # on a flat by D8, or off the known ground
            assert found == (float(NOWHERE) if way == LEAVES else way)
        else:
            assert apart(found, expected) <= ROUNDED
            assert 0 <= found < 8


def slow_sums(angle, filled, direction, weights):
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
        flow = float(angle[cell])
        if flow < 0:
            continue
        for k, share in ((math.floor(flow), 1 - flow % 1), (math.floor(flow) + 1, flow % 1)):
            if share:
                total[cell[0] + ROW_STEP[k % 8], cell[1] + COLUMN_STEP[k % 8]] += (
                    share * total[cell])
    return total


@given(ROUGH, st.integers(0, 4), st.integers(0, 2**32 - 1))
@settings(max_examples=50)
def test_sums_are_those_of_a_slow_walk_from_the_top(heights, holes, seed):
    heights = with_holes(heights, holes)
    weights = np.random.default_rng(seed).uniform(0, 5, heights.shape)
    drainage = drain(heights)
    filled = drainage.filled(heights)
    angle = d_infinity(filled, drainage.direction)
    total = accumulate_d_infinity(angle, weights)
    for cell, expected in slow_sums(angle, filled, drainage.direction, weights).items():
        assert total[cell] == pytest.approx(expected, rel=1e-12)


#: Slots of richdem's shares by our codes: its neighbours go W, NW, N ... from 1.
SLOT = np.array([5, 6, 7, 8, 1, 2, 3, 4])


def walled(filled):
    """In a wall of high ground, as richdem routes no cell at its border; voids filled with it."""
    return np.pad(np.where(np.isfinite(filled), filled, np.float32(1e5)), 1, constant_values=1e5)


def shares_by_richdem(filled):
    """richdem's shares by our codes, its two shares of a cell exchanged.

    Release 2.2.0rc3 gives each neighbour the other's share: on a plane that falls 15 degrees from
    a row it sends two thirds to the diagonal, where Tarboton's angles (and the table above) send
    one third.
    """
    import richdem

    with hushed():
        grid = richdem.rdarray(walled(filled), no_data=-9999.0)
        grid.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        found = np.array(richdem.flow_proportions(grid, method="Dinf"))[1:-1, 1:-1, SLOT]
    found = np.maximum(found, 0)
    two = (found > 0).sum(axis=2, keepdims=True) == 2
    return np.where(two & (found > 0), 1 - found, found)


def sums_by_richdem(share):
    import richdem

    padded = np.full((share.shape[0] + 2, share.shape[1] + 2, 9), -1, np.float32)
    padded[1:-1, 1:-1][..., SLOT] = share
    padded[1:-1, 1:-1, 0] = np.where(share.sum(axis=2) > 0, 0, -1)
    with hushed():
        props = richdem.rd3array(padded, no_data=-2)
        props.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        found = richdem.flow_accum_from_props(props)
    return np.array(found)[1:-1, 1:-1]


@pytest.fixture(scope="module")
def fault():
    """matplotlib's sample raster of 344 by 403 cells, in whole metres (SRTM)."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        return data["elevation"].astype(np.float32)


def tilted(seed, shape=(60, 80)):
    """Random ground without hollows and, in 24 random bits a cell, without ties."""
    row, column = np.indices(shape)
    rough = np.random.default_rng(seed).uniform(0, 0.6, shape)
    return (500 - 1.0 * row - 0.7 * column + rough).astype(np.float32)


# Reference library: richdem.  It keeps shares as float32, so each is off by up to 2.4e-7 in our
# angle and as much in its share; along a path such errors mostly cancel.
def test_shares_and_sums_on_tilted_ground_equal_richdem():
    heights = tilted(3)
    angle, _ = routed(heights)
    share = shares_by_richdem(heights)
    assert np.abs(shares(angle) - share).max() < 2 * ROUNDED
    assert alike(accumulate_d_infinity(angle), sums_by_richdem(share), 2e-6)


def test_shares_on_a_real_raster_equal_richdem(fault):
    """Where no two neighbours are level (of equal facets richdem takes another than we do) and
    one is lower (richdem sends nothing over a flat)."""
    heights = fault + np.random.default_rng(4).uniform(0, 0.9, fault.shape).astype(np.float32)
    drainage = drain(heights)
    filled = drainage.filled(heights)
    inner = (slice(1, -1), slice(1, -1))
    windows = np.lib.stride_tricks.sliding_window_view(filled, (3, 3)).reshape(
        *filled[inner].shape, 9)
    around = np.sort(np.delete(windows, 4, axis=2), axis=2)
    compared = (np.diff(around, axis=2) > 0).all(axis=2) & (around[..., 0] < filled[inner])
    assert compared.mean() > 0.85
    ours = shares(d_infinity(filled, drainage.direction))
    off = np.abs(ours - shares_by_richdem(filled)).max(axis=2)
    assert off[inner][compared].max() < 2 * ROUNDED


def test_sums_on_a_real_raster_equal_richdem(fault):
    """richdem's own sum over our angles, hollows and flats too; its shares are float32."""
    angle, _ = routed(fault)
    assert alike(accumulate_d_infinity(angle), sums_by_richdem(shares(angle)), 1e-6)


GROUND = hnp.arrays(np.float32, hnp.array_shapes(min_dims=2, max_dims=2, min_side=3, max_side=12),
                    elements=st.integers(0, 4).map(float) | st.floats(-400, 8000, width=32))


@given(GROUND, st.integers(0, 4), st.integers(0, 2**32 - 1))
def test_what_leaves_is_what_fell(heights, holes, seed):
    heights = with_holes(heights, holes)
    angle, direction = routed(heights)
    weights = np.random.default_rng(seed).uniform(0, 5, heights.shape)
    total = accumulate_d_infinity(angle, weights)
    known = np.isfinite(heights)
    assert np.array_equal(np.isnan(total), ~known)
    assert (direction[angle == NOWHERE] == LEAVES).all()
    assert total[angle == NOWHERE].sum() == pytest.approx(weights[known].sum(), rel=1e-12)
    assert (total[known] >= weights[known]).all()


def test_a_pass_beside_a_void_sends_its_water_down_all_the_same():
    """The hollow in the east spills over a cell whose D8 leads into the void beside it, though on
    the full surface the ground to the south-west lies lower."""
    angle, direction = routed([[0, np.nan, 1, 1, 1, 0],
                               [0, 0, 1, 0, 1, 0],
                               [0, 0, 1, 1, 1, 0]])
    assert direction[0, 2] == LEAVES
    assert angle[0, 2] == 3


@pytest.mark.parametrize("hair", [1e-6, 2e-8, 1e-8, 1e-13])
def test_nothing_is_lost_where_an_angle_is_next_to_nothing(hair):
    """Water runs east along a ditch; one cell's neighbour to the south-east is a hair lower."""
    heights = np.full((5, 5), 9, np.float32)
    heights[2] = [3, 2, 1, 0, -1]
    heights[3] = [9, 9, 9, -hair, -2]
    heights[4] = [9, 9, 9, -5, -9]
    angle, direction = routed(heights)
    assert 0 <= angle[2, 2] < 2e-6
    assert (direction[angle == NOWHERE] == LEAVES).all()
    assert accumulate_d_infinity(angle)[angle == NOWHERE].sum() == pytest.approx(25, rel=1e-12)


@given(GROUND, st.integers(0, 4), st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_two_rains_together_give_the_sum_of_each(heights, holes, seed):
    angle, _ = routed(with_holes(heights, holes))
    one, other = np.random.default_rng(seed).uniform(0, 5, (2, *heights.shape))
    both = accumulate_d_infinity(angle, one) + accumulate_d_infinity(angle, other)
    assert alike(accumulate_d_infinity(angle, one + other), both, 1e-12)


def smooth_ground(seed, shape=(20, 17)):
    """Random ground without hollows and, in 24 random bits a cell, without ties."""
    random = np.random.default_rng(seed)
    row, column = np.indices(shape)
    east, south = random.uniform(-1, 1, 2)
    tilt = row * np.sign(south) * (2 + abs(south)) + column * np.sign(east) * (2 + abs(east))
    return (500 + tilt + random.uniform(0, 0.9, shape)).astype(np.float32)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_turned_or_mirrored_ground_turns_the_answer(seed):
    """Up to the rounding of angles, which are finer towards east than before a whole turn."""
    heights = smooth_ground(seed)
    angle, _ = routed(heights)
    total = accumulate_d_infinity(angle)

    def same(found, expected, by):
        goes = found >= 0
        assert np.array_equal(goes, expected >= 0)
        assert apart(found, by(expected))[goes].max() <= 2 * ROUNDED

    for quarter in (1, 2, 3):  # against the clock; angles are counted with the clock
        turned = np.rot90(heights, quarter)
        same(routed(turned)[0], np.rot90(angle, quarter), lambda a, q=quarter: a - 2 * q)
        assert alike(gathered(turned), np.rot90(total, quarter), 1e-5)
    same(routed(heights[:, ::-1])[0], angle[:, ::-1], lambda a: 4 - a)
    assert alike(gathered(heights[:, ::-1]), total[:, ::-1], 1e-5)


@given(hnp.arrays(np.float32, (9, 11), elements=st.integers(0, 6400).map(lambda n: n / 64)),
       st.sampled_from([-128.0, 256.0, 1024.0]))
@settings(max_examples=25)
def test_higher_ground_of_the_same_shape_drains_the_same(heights, lift):
    """Sixty-fourths of a metre and whole metres add without rounding in float32."""
    lifted = heights + np.float32(lift)
    assert np.array_equal(routed(lifted)[0], routed(heights)[0])
    assert np.array_equal(gathered(lifted), gathered(heights))


def test_a_raster_worked_in_strips_gives_the_same_answer(monkeypatch):
    """Hills with plateaus, hollows across the cuts and voids, in one strip and in eight."""
    from scipy import ndimage

    random = np.random.default_rng(5)
    heights = ndimage.gaussian_filter(random.normal(size=(90, 70)), 2) * 40
    heights[:, :30] = np.round(heights[:, :30])
    heights[40:44, 20:25] = np.nan
    weights = random.uniform(0, 9, heights.shape)
    angle, _ = routed(heights)
    total = accumulate_d_infinity(angle, weights)
    monkeypatch.setattr("terrain.surface.kernels.LEAST_STRIP", 1)
    assert len(cut_in_strips(*heights.shape)) == 8
    assert np.array_equal(routed(heights)[0], angle, equal_nan=True)
    assert alike(accumulate_d_infinity(angle, weights), total, 1e-12)


def test_unknown_weights_count_as_nothing_and_the_callers_stay():
    angle = np.array([[0, 0, -1]], np.float32)
    weights = np.array([[1.0, np.nan, 2.0]])
    assert accumulate_d_infinity(angle, weights).tolist() == [[1.0, 1.0, 3.0]]
    assert np.isnan(weights[0, 1])
    assert angle.tolist() == [[0, 0, -1]]
