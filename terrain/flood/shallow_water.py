"""Shallow flow with the advection of momentum: finite volumes of second order, float64.

Arrays as in `local_inertia.py`; depth, bed and flux are float64, at the middles of cells.  A step
takes two stages, each a step of its own by `advance_full`; the mean of what stood before and what
the second makes is kept (Heun's method).  A stage goes row by row: speeds of a row (`_ready`),
how depth, level and speeds lean within its cells (`_lean`), what crosses the faces (`_cross`), and
the row's new state (`_settle`).

What leans within a cell is limited: speeds and level as in [2], the bed by the lesser difference,
depth by what both leave.  So a sheet of water on a slope sees the slope, however thin it is, and
water on a sill a flat sill.  Beside dry ground speeds do not lean, which is first order, and a
level only as it does on a slope; beside a wall likewise.

Held against closed forms (tests/flood/test_full.py, tests/benchmarks/flood_convergence.py): errors
of a smooth wave fall with the power 1.5 to 1.8 of the cell, of a shore 1.6, of dam breaks 1; sheets
of 0.2 to 20 mm on slopes of 1 to 20 % with cells of 1 m are within 1.6 % of Manning's depth five
cells below the divide.  Known limits: heads over a sill of 1 m cells come out too high against
critical flow, by 9 to 16 % where its sides are sheer, by 6 % to 44 % (0.05 m of head) where they
slope 1 in 2; with cells of 0.5 m by 11 % at most.  Without any friction, thin water on ground that
rises and falls by metres from cell to cell may come to 100 m/s in single cells; with n 0.02 it does
not.  Friction is taken at the end of each stage: exact in steady flow, of first order in time else.
Rain is given before each step, so that a rising sheet is up to half a step ahead.

References
----------
.. [1] Audusse, Bouchut, Bristeau, Klein & Perthame, SIAM Journal on Scientific Computing 25
   (2004), 2050-2065: depths at a face from the higher bed, so that still water stays still and no
   depth falls below 0; of second order with the bed's push within the cell.
.. [2] van Leer, Journal of Computational Physics 23 (1977), 276-299: the mean of the differences
   to either side, no more than twice the lesser.
.. [3] Harten, Lax & van Leer, SIAM Review 25 (1983), 35-61: the flux between two states; what runs
   along the face goes with the water, after Toro, Shock-Capturing Methods for Free-Surface Shallow
   Flows, Wiley, 2001, with its wave speeds.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.flood.bare_arrays import (
    as_bits,
    as_float,
    get,
    put,
    put_too,
    read_shared,
    write_shared,
)
from terrain.flood.local_inertia import INT, PATIENCE, REAL, START, THIRD
from terrain.runoff.green_ampt import ponded_gain
from terrain.surface.kernels import inlined, kernel

#: Depth below which water has no speed of its own, and beside which speeds do not lean. [m]
STILL = 1e-9
TINY = 1e-300  # where 0 would be divided by 0: nothing in any other sum


@inlined
def _limited(before: float, after: float) -> float:
    """How much a value changes across a cell, from the differences to either side."""
    mean, most = 0.5 * (before + after), 2.0 * min(abs(before), abs(after))
    found = mean if mean < most else most
    found = found if found > -most else -most
    return found if before * after > 0.0 else 0.0


@inlined
def _lesser(one: float, other: float) -> float:
    """The lesser of two changes; none where they go opposite ways."""
    found = one if abs(one) < abs(other) else other
    return found if one * other > 0.0 else 0.0


@inlined
def _alike(one: float, other: float) -> float:
    """1 where two changes are alike, to nothing where one is much the lesser or goes otherwise."""
    one_size, other_size = abs(one), abs(other)
    less = one_size if one_size < other_size else other_size
    more = other_size if one_size < other_size else one_size
    found = (less + less) / (more + TINY)
    found = found if found < 1.0 else 1.0
    return found if one * other > 0.0 else 0.0


@kernel
def _ready(h: NDArray[np.float64], qx: NDArray[np.float64], qy: NDArray[np.float64],
           z: NDArray[np.float64], wall: NDArray[np.uint8], w: int, row: int, at: int, g: float,
           deep: NDArray[np.float64], level: NDArray[np.float64], east: NDArray[np.float64],
           south: NDArray[np.float64], ground: NDArray[np.float64], wave: NDArray[np.float64],
           share_x: NDArray[np.float64], share_y: NDArray[np.float64]) -> None:
    """Level, speeds and the like of a row, put at `at`.

    `share_x` is the depth that may leave a cell east and west within a stage, `share_y` north and
    south, by the speeds of waves; together all that stands there.
    """
    for j in range(w):
        c = row * w + j
        here = get(h, c)
        fluid = here > STILL
        under = here if fluid else 1.0
        u = get(qx, c) / under if fluid else 0.0
        v = get(qy, c) / under if fluid else 0.0
        speed = np.sqrt(g * here)
        along, down = abs(u) + (speed + speed), abs(v) + (speed + speed)
        share = here / ((along + down) + TINY)
        put(deep, at + j, here)
        put_too(level, at + j, here + get(z, c))
        put_too(east, at + j, u)
        put_too(south, at + j, v)
        put_too(ground, at + j, 0.0 if get(wall, c) > 0 else 1.0)
        put_too(wave, at + j, speed)
        put_too(share_x, at + j, along * share)
        put_too(share_y, at + j, down * share)


@kernel
def _lean(deep: NDArray[np.float64], level: NDArray[np.float64], across: NDArray[np.float64],
          along: NDArray[np.float64], ground: NDArray[np.float64], wave: NDArray[np.float64],
          share: NDArray[np.float64], before: int, at: int, after: int, last: int, to: int,
          h_low: NDArray[np.float64], z_low: NDArray[np.float64], n_low: NDArray[np.float64],
          t_low: NDArray[np.float64], room_low: NDArray[np.float64], h_high: NDArray[np.float64],
          z_high: NDArray[np.float64], n_high: NDArray[np.float64], t_high: NDArray[np.float64],
          room_high: NDArray[np.float64], rise: NDArray[np.float64]) -> None:
    """Depth, bed and speeds at both ends of the cells of a row, and how much the level rises.

    `before` and `after` is where the cells to either side are.  A wall throws water back; level and
    depth go on towards it as they do on its other side, where that is as the bed does.  At a shore
    too a level leans by as much as both sides are alike: as a sheet's does on a slope, but not by
    the bank beside still water, which would stir it.  `room` is the depth that may leave over an
    end: what a cell may give is shared out by depths and speeds of waves there, so that no depth
    falls below 0.
    """
    for j in range(1, last):
        h, h_before, h_after = get(deep, at + j), get(deep, before + j), get(deep, after + j)
        open_before, open_after = get(ground, before + j) > 0.0, get(ground, after + j) > 0.0
        e, n, t = get(level, at + j), get(across, at + j), get(along, at + j)
        up, on = h - h_before, h_after - h
        up_e, on_e = e - get(level, before + j), get(level, after + j) - e
        up_n = n - get(across, before + j) if open_before else n + n
        on_n = get(across, after + j) - n if open_after else -(n + n)
        up_t = t - get(along, before + j) if open_before else 0.0
        on_t = get(along, after + j) - t if open_after else 0.0
        both = open_before & open_after
        wet = ((h > STILL) & ((h_before > STILL) | ~open_before)
               & ((h_after > STILL) | ~open_after) & (open_before | open_after))
        up_z, on_z = up_e - up, on_e - on
        alike = _alike(up_e if open_before else on_z, on_e if open_after else up_z)
        # Between open cells: bed, level and depth, of which each leaves what the others do not.
        lean_e = _limited(up_e, on_e) if wet else alike * _lesser(up_e, on_e)
        lean_z = _lesser(up_z, on_z)  # ends of beds overlap by no more: water fell twice there
        lean = _lesser(_limited(up, on), lean_e - lean_z)
        lean_e = _lesser(lean_e, lean + lean_z)
        # Beside one wall: as on its other side.
        beside = alike * (on if open_after else up)
        beside_e = alike * (on_e if open_after else up_e)
        beside = beside if beside < h + h else h + h
        beside = beside if beside > -(h + h) else -(h + h)
        lean = 0.5 * (lean if both else (beside if wet else 0.0))
        lean_e = 0.5 * (lean_e if both else (beside_e if wet else 0.0))
        lean_n = 0.5 * _limited(up_n, on_n) if wet else 0.0
        lean_t = 0.5 * _limited(up_t, on_t) if wet else 0.0
        low, high = h - lean, h + lean
        # So that what both halves carry is what the cell carries, as in [1].
        less, more = low / (h if wet else 1.0), high / (h if wet else 1.0)
        speed = get(wave, at + j)
        out_low = low * (speed - (n if n < 0.0 else 0.0))
        out_high = high * (speed + (n if n > 0.0 else 0.0))
        each = get(share, at + j) / ((out_low + out_high) + TINY)
        put(h_low, to + j, low)
        put_too(z_low, to + j, (e - lean_e) - low)
        put_too(n_low, to + j, n - lean_n * more)
        put_too(t_low, to + j, t - lean_t * more)
        put_too(room_low, to + j, each * out_low)
        put_too(h_high, to + j, high)
        put_too(z_high, to + j, (e + lean_e) - high)
        put_too(n_high, to + j, n + lean_n * less)
        put_too(t_high, to + j, t + lean_t * less)
        put_too(room_high, to + j, each * out_high)
        put_too(rise, to + j, lean_e + lean_e)


@kernel
def _cross(h_high: NDArray[np.float64], z_high: NDArray[np.float64], n_high: NDArray[np.float64],
           t_high: NDArray[np.float64], room_high: NDArray[np.float64], at_high: int,
           ground_high: int, h_low: NDArray[np.float64], z_low: NDArray[np.float64],
           n_low: NDArray[np.float64], t_low: NDArray[np.float64], room_low: NDArray[np.float64],
           at_low: int, ground_low: int, ground: NDArray[np.float64], last: int, g: float,
           back: float, to: int, water_to: NDArray[np.float64], before_to: NDArray[np.float64],
           after_to: NDArray[np.float64], along_to: NDArray[np.float64]) -> None:
    """What crosses faces: water, momentum across for either side, and momentum along.

    Of the momentum across what the water pushes at rest is left out, for either side its own.
    """
    for j in range(1, last):
        is_high, is_low = get(ground, ground_high + j) > 0.0, get(ground, ground_low + j) > 0.0
        h_l, h_r = get(h_high, at_high + j), get(h_low, at_low + j)
        z_l, z_r = get(z_high, at_high + j), get(z_low, at_low + j)
        u_l, u_r = get(n_high, at_high + j), get(n_low, at_low + j)
        v_l, v_r = get(t_high, at_high + j), get(t_low, at_low + j)
        most, least = get(room_high, at_high + j) * back, -(get(room_low, at_low + j) * back)
        h_l, h_r = h_l if is_high else h_r, h_r if is_low else h_l
        z_l, z_r = z_l if is_high else z_r, z_r if is_low else z_l
        u_l, u_r = u_l if is_high else -u_r, u_r if is_low else -u_l
        bed = z_l if z_l > z_r else z_r
        left, right = h_l + (z_l - bed), h_r + (z_r - bed)
        left, right = left if left > 0.0 else 0.0, right if right > 0.0 else 0.0
        c_l, c_r = np.sqrt(g * left), np.sqrt(g * right)
        middle = 0.5 * (u_l + u_r) + (c_l - c_r)
        between = 0.5 * (c_l + c_r) + 0.25 * (u_l - u_r)
        slow, fast = middle - between, middle + between
        slow = slow if slow < u_l - c_l else u_l - c_l
        fast = fast if fast > u_r + c_r else u_r + c_r
        slow = slow if left > 0.0 else u_r - (c_r + c_r)
        fast = fast if left > 0.0 else u_r + c_r
        slow = slow if right > 0.0 else u_l - c_l
        fast = fast if right > 0.0 else u_l + (c_l + c_l)
        slow, fast = slow if slow < 0.0 else 0.0, fast if fast > 0.0 else 0.0
        q_l, q_r = left * u_l, right * u_r
        rest_l, rest_r = 0.5 * g * (left * left), 0.5 * g * (right * right)
        width = 1.0 / ((fast - slow) + TINY)
        water = ((fast * q_l - slow * q_r) + fast * slow * (right - left)) * width
        gone = fast * slow * (q_r - q_l)
        # The mean of what either side pushes, less its own: exactly 0 between equals at rest.
        step = rest_r - rest_l
        moved = (fast * (q_l * u_l) - slow * (q_r * u_r)) + gone
        dry = (left <= 0.0) & (right <= 0.0)
        some = water if water < most else most
        some = some if some > least else least
        # What is held back takes its momentum with it.
        moved = moved * (some / water if water * some > 0.0 else 1.0)
        water = 0.0 if dry else some
        put(water_to, to + j, water)
        put_too(before_to, to + j, 0.0 if dry else (moved - slow * step) * width)
        put_too(after_to, to + j, 0.0 if dry else (moved - fast * step) * width)
        put_too(along_to, to + j, water * (v_l if water > 0.0 else v_r))


@kernel
def _settle(h: NDArray[np.float64], qx: NDArray[np.float64], qy: NDArray[np.float64],
            m: NDArray[np.float32], wall: NDArray[np.uint8], w: int, row: int, last: int,
            per: float, step: float, g: float, keep: float, h_old: NDArray[np.float64],
            qx_old: NDArray[np.float64], qy_old: NDArray[np.float64], water_x: NDArray[np.float64],
            before_x: NDArray[np.float64], after_x: NDArray[np.float64],
            along_x: NDArray[np.float64], rise_x: NDArray[np.float64], water_y: NDArray[np.float64],
            before_y: NDArray[np.float64], after_y: NDArray[np.float64],
            along_y: NDArray[np.float64], rise_y: NDArray[np.float64], at: int, north: int,
            h_new: NDArray[np.float64], qx_new: NDArray[np.float64], qy_new: NDArray[np.float64]
            ) -> None:
    """New state of a row: `keep` of the old one, the rest what a stage makes."""
    made = 1.0 - keep
    for j in range(1, last):
        c = row * w + j
        here = get(h, c)
        deep = here - per * ((get(water_x, at + j + 1) - get(water_x, at + j))
                             + (get(water_y, at + j) - get(water_y, north + j)))
        push = g * here
        east = get(qx, c) - per * (((get(before_x, at + j + 1) - get(after_x, at + j))
                                    + (get(along_y, at + j) - get(along_y, north + j)))
                                   + push * get(rise_x, at + j))
        down = get(qy, c) - per * (((get(before_y, at + j) - get(after_y, north + j))
                                    + (get(along_x, at + j + 1) - get(along_x, at + j)))
                                   + push * get(rise_y, at + j))
        deep = deep if deep > 0.0 else 0.0  # below 0 by rounding alone
        fluid = (deep > STILL) & (get(wall, c) == 0)
        under = deep if fluid else 1.0
        # 1 / h^(1/3) from the bits of h and two steps of a series.
        root = np.float64(as_float(INT(START - INT(REAL(as_bits(REAL(under))) * THIRD))))
        off = 1.0 - under * root * root * root
        root = root + root * off * (1.0 / 3.0 + off * (2.0 / 9.0 + off * (14.0 / 81.0)))
        off = 1.0 - under * root * root * root
        root = root + root * off * (1.0 / 3.0 + off * (2.0 / 9.0))
        inverse = root * root * root
        size = np.sqrt(east * east + down * down)
        n = np.float64(get(m, c))
        rough = 4.0 * n * n * step * (inverse * inverse * root)
        held = 2.0 / (1.0 + np.sqrt(1.0 + 4.0 * rough * size))
        held = held if fluid else 0.0
        deep = 0.0 if get(wall, c) > 0 else deep
        put(h_new, c, keep * get(h_old, c) + made * deep)
        put_too(qx_new, c, keep * get(qx_old, c) + made * (east * held))
        put_too(qy_new, c, keep * get(qy_old, c) + made * (down * held))


def scratch_rows(w: int) -> tuple[tuple[NDArray[np.float64], ...], ...]:
    """What a strip's stages are worked in: four rows of cells, each at (row % 4) w; two rows of how
    they lean, and of faces west of them, at (row % 2) w; and the same for faces south of them."""
    return tuple(tuple(np.zeros(rows * w) for _ in range(count))
                 for rows, count in ((4, 8), (2, 15), (2, 15)))


@kernel
def advance_full(h_kept: NDArray[np.float64], qx_kept: NDArray[np.float64],
                 qy_kept: NDArray[np.float64], h_between: NDArray[np.float64],
                 qx_between: NDArray[np.float64], qy_between: NDArray[np.float64],
                 z: NDArray[np.float64], m: NDArray[np.float32], wall: NDArray[np.uint8], w: int,
                 rows: int, cell: float, g: float, step: float, begin: int, end: int,
                 done: NDArray[np.int64], first: int, last: int, strip: int, strips: int,
                 edge_starts: NDArray[np.int64], edge_cells: NDArray[np.int64],
                 edge_factors: NDArray[np.float64], edge_powers: NDArray[np.float64],
                 booked: NDArray[np.float64], gate_starts: NDArray[np.int64],
                 gate_faces: NDArray[np.int64], passed: NDArray[np.float64],
                 scratch: tuple[tuple[NDArray[np.float64], ...], ...]
                 ) -> int:
    """Stages `begin` to `end` of rows first to last, two a step; the stage it came to.

    Strips go side by side as in `advance` of `local_inertia.py`.  Even stages read what is kept and
    write what is between, odd ones the other way round.  `scratch` is the strip's own, of
    `scratch_rows`.
    """
    per, back = step / cell, cell / step
    deep, level, east, south, ground, wave, share_x, share_y = scratch[0]
    (h_low, z_low, n_low, t_low, room_low, h_high, z_high, n_high, t_high, room_high, rise_x,
     water_x, before_x, after_x, along_x) = scratch[1]
    (h_up, z_up, n_up, t_up, room_up, h_down, z_down, n_down, t_down, room_down, rise_y,
     water_y, before_y, after_y, along_y) = scratch[2]
    for now in range(begin, end):
        turns = 0
        while ((strip > 0 and read_shared(done, strip - 1) < now)
               or (strip < strips - 1 and read_shared(done, strip + 1) < now)):
            turns += 1
            if turns > PATIENCE:
                return now
        # The second stage writes over what was kept, which no other strip reads any more.
        if now % 2 == 0:
            h, qx, qy, h_new, qx_new, qy_new = (h_kept, qx_kept, qy_kept, h_between, qx_between,
                                                qy_between)
            keep = 0.0
        else:
            h, qx, qy, h_new, qx_new, qy_new = (h_between, qx_between, qy_between, h_kept, qx_kept,
                                                qy_kept)
            keep = 0.5
        for row in range(max(first - 2, 0), first + 1):
            _ready(h, qx, qy, z, wall, w, row, row % 4 * w, g, deep, level, east, south, ground,
                   wave, share_x, share_y)
        for row in range(first - 2, last):
            if row >= first - 1:
                _ready(h, qx, qy, z, wall, w, row + 2, (row + 2) % 4 * w, g, deep, level, east,
                       south, ground, wave, share_x, share_y)
            below = (row + 1) % 2 * w
            _lean(deep, level, south, east, ground, wave, share_y, max(row, 0) % 4 * w,
                  (row + 1) % 4 * w, (row + 2) % 4 * w, w - 1, below,
                  h_up, z_up, n_up, t_up, room_up, h_down, z_down, n_down, t_down, room_down,
                  rise_y)
            if row < first - 1:
                continue
            at, here = row % 4 * w, row % 2 * w
            _cross(h_down, z_down, n_down, t_down, room_down, here, at,
                   h_up, z_up, n_up, t_up, room_up, below, (row + 1) % 4 * w, ground, w - 1, g,
                   back, here, water_y, before_y, after_y, along_y)
            if row < first:
                continue
            _lean(deep, level, east, south, ground, wave, share_x, at - 1, at, at + 1, w - 1, here,
                  h_low, z_low, n_low, t_low, room_low, h_high, z_high, n_high, t_high, room_high,
                  rise_x)
            _cross(h_high, z_high, n_high, t_high, room_high, here - 1, at - 1,
                   h_low, z_low, n_low, t_low, room_low, here, at, ground, w, g,
                   back, here, water_x, before_x, after_x, along_x)
            _settle(h, qx, qy, m, wall, w, row, w - 1, per, step, g, keep,
                    h_kept, qx_kept, qy_kept, water_x, before_x, after_x, along_x, rise_x,
                    water_y, before_y, after_y, along_y, rise_y, here, below, h_new, qx_new,
                    qy_new)
            for i in range(gate_starts[row], gate_starts[row + 1]):
                face = gate_faces[i]
                passed[i] += 0.5 * step * (water_x[here + face - row * w] if face >= 0
                                           else water_y[below - face - row * w])
            for e in range(edge_starts[row], edge_starts[row + 1]):
                c = edge_cells[e]
                out = edge_factors[e] * h[c] ** edge_powers[e] * per
                lost = min((1.0 - keep) * out, h_new[c])
                share = 1.0 - lost / h_new[c] if h_new[c] > 0.0 else 0.0
                h_new[c] -= lost
                qx_new[c] *= share
                qy_new[c] *= share
                booked[e] += lost if keep > 0.0 else 0.5 * lost
        write_shared(done, strip, now + 1)
    return end


@kernel
def survey_full(h: NDArray[np.float64], qx: NDArray[np.float64], qy: NDArray[np.float64],
                wall: NDArray[np.uint8], w: int, first: int, last: int, time: float, wet: float,
                g: float, deepest: NDArray[np.float64], fastest: NDArray[np.float32],
                strongest: NDArray[np.float32], arrival: NDArray[np.float32]
                ) -> tuple[float, float]:
    """Keep the extremes of rows first to last; the greatest depth and sum of wave speeds."""
    top, most = 0.0, 0.0
    for row in range(first, last):
        for c in range(row * w + 1, row * w + w - 1):
            if wall[c] or h[c] <= 0.0:
                continue
            strength = np.sqrt(qx[c] * qx[c] + qy[c] * qy[c])
            top = max(top, h[c])
            deepest[c] = max(deepest[c], h[c])
            strongest[c] = max(strongest[c], np.float32(strength))
            if h[c] > STILL:
                most = max(most, (abs(qx[c]) + abs(qy[c])) / h[c] + 2.0 * np.sqrt(g * h[c]))
            if h[c] > wet:
                fastest[c] = max(fastest[c], np.float32(strength / h[c]))
                if arrival[c] < 0.0:
                    arrival[c] = time
    return top, most


@kernel
def fall_and_soak_full(h: NDArray[np.float64], w: int, first: int, last: int,
                       kinds: NDArray[np.int32], add: NDArray[np.int32], cap: NDArray[np.int32],
                       unit: float, hours: float, suction: NDArray[np.float64],
                       conductivity: NDArray[np.float64], infiltrated: NDArray[np.float64],
                       soaked: NDArray[Any]) -> float:
    """Rain and soaking as `fall_and_soak`, where depth is not counted in units; depth lost. [m]"""
    lost = 0.0
    for row in range(first, last):
        for c in range(row * w + 1, row * w + w - 1):
            has = h[c] + add[kinds[c]] * unit
            here = 0.0
            if has > 0.0:
                if suction.size:
                    here = min(ponded_gain(infiltrated[c], suction[c], conductivity[c], hours)
                               / 1000.0, has)
                    infiltrated[c] += here * 1000.0
                here = min(here + cap[kinds[c]] * unit, has)
                soaked[c] += here
                lost += here
            h[c] = has - here
    return lost

