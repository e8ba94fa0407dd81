"""Shallow flow with the advection of momentum: finite volumes, first order, float64.

Arrays as in `local_inertia.py`; depth, bed and flux are float64, at the middles of cells.

References
----------
.. [1] Audusse, Bouchut, Bristeau, Klein & Perthame, SIAM Journal on Scientific Computing 25
   (2004), 2050-2065: depths at a face from the higher bed, so that still water stays still and no
   depth falls below 0.
.. [2] Harten, Lax & van Leer, SIAM Review 25 (1983), 35-61: the flux between two states; what runs
   along the face goes with the water, after Toro, Shock-Capturing Methods for Free-Surface Shallow
   Flows, Wiley, 2001, with its wave speeds.
"""

from __future__ import annotations

import numpy as np

from terrain.flood.bare_arrays import read_shared, write_shared
from terrain.flood.local_inertia import PATIENCE
from terrain.runoff.green_ampt import ponded_gain
from terrain.surface.kernels import kernel

#: Depth below which water has no speed of its own. [m]
STILL = 1e-9


@kernel
def _face(h_before, q_before, p_before, z_before, h_after, q_after, p_after, z_after, g):
    """Flux of water, of momentum across for either side, and of momentum along a face."""
    bed = max(z_before, z_after)
    left, right = max(h_before + z_before - bed, 0.0), max(h_after + z_after - bed, 0.0)
    # What the step of the bed pushes back, for either side.
    push_left = 0.5 * g * (h_before * h_before - left * left)
    push_right = 0.5 * g * (h_after * h_after - right * right)
    if left <= 0.0 and right <= 0.0:
        return 0.0, push_left, push_right, 0.0
    u_left = q_before / h_before if h_before > STILL else 0.0
    v_left = p_before / h_before if h_before > STILL else 0.0
    u_right = q_after / h_after if h_after > STILL else 0.0
    v_right = p_after / h_after if h_after > STILL else 0.0
    c_left, c_right = np.sqrt(g * left), np.sqrt(g * right)
    if left <= 0.0:
        slow, fast = u_right - 2.0 * c_right, u_right + c_right
    elif right <= 0.0:
        slow, fast = u_left - c_left, u_left + 2.0 * c_left
    else:
        middle = 0.5 * (u_left + u_right) + (c_left - c_right)
        between = 0.5 * (c_left + c_right) + 0.25 * (u_left - u_right)
        slow = min(u_left - c_left, middle - between)
        fast = max(u_right + c_right, middle + between)
    water_left, water_right = left * u_left, right * u_right
    thrust_left = water_left * u_left + 0.5 * g * left * left
    thrust_right = water_right * u_right + 0.5 * g * right * right
    if slow >= 0.0:
        water, thrust = water_left, thrust_left
    elif fast <= 0.0:
        water, thrust = water_right, thrust_right
    else:
        water = ((fast * water_left - slow * water_right) + fast * slow * (right - left)) / (
            fast - slow)
        thrust = ((fast * thrust_left - slow * thrust_right)
                  + fast * slow * (water_right - water_left)) / (fast - slow)
    along = water * (v_left if water > 0.0 else v_right)
    return water, thrust + push_left, thrust + push_right, along


@kernel
def _between(c, d, h, q, p, z, wall, g):
    """Flux between two cells, at least one of which is ground; a wall throws back."""
    if wall[c]:
        return _face(h[d], -q[d], p[d], z[d], h[d], q[d], p[d], z[d], g)
    if wall[d]:
        return _face(h[c], q[c], p[c], z[c], h[c], -q[c], p[c], z[c], g)
    return _face(h[c], q[c], p[c], z[c], h[d], q[d], p[d], z[d], g)


@kernel
def advance_full(h_even, qx_even, qy_even, h_odd, qx_odd, qy_odd, z, m, wall, w, rows, cell, g,
                 step, begin, end, done, first, last, strip, strips, edge_starts, edge_cells,
                 edge_factors, edge_powers, booked, gate_starts, gate_faces, passed):
    """Steps `begin` to `end` of rows first to last; the step it came to, as `advance`."""
    per = step / cell
    water_x, before_x, after_x, along_x = (np.empty(w + 1), np.empty(w + 1), np.empty(w + 1),
                                           np.empty(w + 1))
    water_n, after_n, along_n = np.empty(w), np.empty(w), np.empty(w)
    for now in range(begin, end):
        turns = 0
        while ((strip > 0 and read_shared(done, strip - 1) < now)
               or (strip < strips - 1 and read_shared(done, strip + 1) < now)):
            turns += 1
            if turns > PATIENCE:
                return now
        if now % 2 == 0:
            h, qx, qy, h_new, qx_new, qy_new = h_even, qx_even, qy_even, h_odd, qx_odd, qy_odd
        else:
            h, qx, qy, h_new, qx_new, qy_new = h_odd, qx_odd, qy_odd, h_even, qx_even, qy_even
        for row in range(first - 1, last):
            if row >= first:
                for j in range(1, w):
                    c = row * w + j
                    if not (wall[c] and wall[c - 1]):
                        water_x[j], before_x[j], after_x[j], along_x[j] = _between(
                            c - 1, c, h, qx, qy, z, wall, g)
            for g_at in range(gate_starts[row], gate_starts[row + 1]):
                face = gate_faces[g_at]
                if row >= first:
                    passed[g_at] += step * (water_x[face - row * w] if face >= 0
                                            else water_n[-face - row * w])
            for j in range(1, w - 1):
                c = row * w + j
                water_s, before_s, after_s, along_s = 0.0, 0.0, 0.0, 0.0
                if not (wall[c] and wall[c + w]):
                    water_s, before_s, after_s, along_s = _between(c, c + w, h, qy, qx, z, wall, g)
                if row >= first and not wall[c]:
                    deep = h[c] - per * ((water_x[j + 1] - water_x[j]) + (water_s - water_n[j]))
                    deep = max(deep, 0.0)  # below 0 by rounding alone
                    east = qx[c] - per * ((before_x[j + 1] - after_x[j]) + (along_s - along_n[j]))
                    south = qy[c] - per * ((along_x[j + 1] - along_x[j]) + (before_s - after_n[j]))
                    if deep > STILL:
                        size = np.sqrt(east * east + south * south)
                        rough = 4.0 * m[c] * m[c] * step / deep ** (7.0 / 3.0)
                        held = 2.0 / (1.0 + np.sqrt(1.0 + 4.0 * rough * size))
                        h_new[c], qx_new[c], qy_new[c] = deep, east * held, south * held
                    else:
                        h_new[c], qx_new[c], qy_new[c] = deep, 0.0, 0.0
                water_n[j], after_n[j], along_n[j] = water_s, after_s, along_s
            if row >= first:
                for e in range(edge_starts[row], edge_starts[row + 1]):
                    c = edge_cells[e]
                    out = min(edge_factors[e] * h[c] ** edge_powers[e] * per, h_new[c])
                    share = 1.0 - out / h_new[c] if h_new[c] > 0.0 else 0.0
                    h_new[c] -= out
                    qx_new[c] *= share
                    qy_new[c] *= share
                    booked[e] += out
        write_shared(done, strip, now + 1)
    return end


@kernel
def survey_full(h, qx, qy, wall, w, first, last, time, wet, g, deepest, fastest, strongest,
                arrival):
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
def fall_and_soak_full(h, w, first, last, kinds, add, cap, unit, hours, suction, conductivity,
                       infiltrated, soaked):
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

