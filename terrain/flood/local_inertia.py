"""Shallow flow without the advection of momentum, in whole units of depth.

Depth and bed are int32 counts of a unit of some tens of nanometres, so what leaves a cell is what
its neighbour gets, to the last unit, in any order and on any number of threads; differences of
level are exact, so that a lake at rest stays so.  Fluxes at the faces between cells are float32.
Arrays are flat with a ring of walls around the ground: `w` columns, cell (row, column) of the
ground at (row + 1) w + column + 1.  `qx[c]` crosses the west side of cell c, `qy[c]` its north
side; east and south are positive. [m2/s]

References
----------
.. [1] Bates, Horritt & Fewtrell, Journal of Hydrology 387 (2010), 33-45: the equation, friction
   taken at the new step, depth at a face.
.. [2] de Almeida, Bates, Freer & Souvignet, Water Resources Research 48 (2012), W05528: flux
   weighted with those of the faces before and after.
.. [3] de Almeida & Bates, Water Resources Research 49 (2013), 4833-4844: friction by the size of
   the flux in both directions.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.flood.bare_arrays import (
    as_bits,
    as_float,
    get,
    get_kept,
    nearest,
    put,
    put_too,
    read_shared,
    write_shared,
)
from terrain.surface.kernels import inlined, kernel

INT, REAL = np.int32, np.float32
NONE = INT(0)
ZERO, HALF, ONE, FOUR, QUARTER = REAL(0.0), REAL(0.5), REAL(1.0), REAL(4.0), REAL(0.25)
TINY = REAL(1e-30)  # where 0 would be divided by 0: nothing in any other sum
#: Roughness term of a wall: through a face beside it goes less than a unit.
WALL = 1e17
#: Share of the flux itself when it is weighted with those before and after, as [2] advises.
KEEP = REAL(0.9)
BESIDE = REAL(0.05)
# Start and series of the inverse cube root.
START, THIRD = INT(0x54A2FA8C), REAL(1 / 3)
SECOND, LAST = REAL(2 / 9), REAL(14 / 81)
#: Columns of a piece of a row; pieces in and about which nothing moves are passed over.
PIECE = 32
#: What a piece is after a step: moved in it; moved in the step before alone; moved at its west end,
#: at its east end; worked; moved at its ends in the step before.  One that has held still for two
#: steps is the same in both states.
MOVED, JUST_MOVED, WEST_END, EAST_END, WORKED, WEST_BEFORE, EAST_BEFORE = 1, 2, 4, 8, 16, 32, 64
#: Where water came from elsewhere.
STIRRED = MOVED | WEST_END | EAST_END
#: Turns that a thread waits for its neighbour before it gives its core away.
PATIENCE = 20_000


@inlined
def _face(h_before: np.int32, h_after: np.int32, z_before: np.int32, z_after: np.int32,
          m_before: np.float32, m_after: np.float32, q: np.float32, q_before: np.float32,
          q_after: np.float32, across: np.float32, unit: np.float32, pull: np.float32,
          step: np.float32, back: np.float32, all_of: np.float32, film: np.int32, cap: np.int32
          ) -> tuple[np.float32, np.int32]:
    """Flux through a face and the whole units that it moves within the step.

    No branch, so that it compiles to vector instructions: h^(7/3) from the bits of h, a first
    guess of its inverse cube root and one step of a series, good to 2e-5 of it.  Friction of the
    new flux is solved for, g n^2 |q| q / h^(7/3), with what the other direction adds to |q| as it
    was: [1] takes |q| as it was, which swings from step to step where friction is strong.  Between
    cells whose roughness is below 0, which are calm, water conveys as if no deeper than `cap`.
    """
    drop = INT(z_after - z_before)
    level = INT(drop + h_after)
    top = h_before if h_before > level else level
    bed = drop if drop > NONE else NONE
    deep = INT(top - bed)
    calm = (m_before < ZERO) & (m_after < ZERO)
    h = REAL(cap if calm & (deep > cap) else deep) * unit
    rise = REAL(INT(level - h_before))
    root = as_float(INT(START - INT(REAL(as_bits(h)) * THIRD)))
    off = ONE - h * root * root * root
    root = root + root * off * (THIRD + off * (SECOND + off * LAST))
    power = h * h * h * root * root
    rough = abs(m_before) + abs(m_after)
    weighted = KEEP * q + BESIDE * (q_before + q_after)
    driven = power * (weighted - pull * h * rise)
    along = abs(q)
    drag = step * rough * rough
    base = power + drag * (np.sqrt(q * q + across * across) - along)
    new = (driven + driven) / (base + np.sqrt(base * base + FOUR * drag * abs(driven)) + TINY)
    most, least = REAL(h_before) * all_of, REAL(INT(-h_after)) * all_of
    new = new if new < most else most
    new = new if new > least else least
    new = new if deep > film else ZERO
    count = nearest(new * back)
    count = count if count < h_before else h_before
    count = count if count > INT(-h_after) else INT(-h_after)
    return (ZERO if count == NONE else new), count


@kernel
def _across_columns(h: NDArray[np.int32], qx: NDArray[np.float32], qy: NDArray[np.float32],
                    z: NDArray[np.int32], m: NDArray[np.float32], w: int, row: int, first: int,
                    last: int, unit: np.float32, pull: np.float32, step: np.float32,
                    back: np.float32, all_of: np.float32, film: np.int32, cap: np.int32,
                    to: NDArray[np.float32], at: int, moved: NDArray[np.int32]) -> None:
    """Faces first to last on the west sides of a row's cells."""
    for j in range(first, last):
        c = row * w + j
        across = ((get(qy, c - 1) + get(qy, c)) + (get(qy, c - 1 + w) + get(qy, c + w))) * QUARTER
        new, count = _face(get(h, c - 1), get(h, c), get(z, c - 1), get(z, c), get(m, c - 1),
                           get(m, c), get(qx, c), get(qx, c - 1), get(qx, c + 1), across,
                           unit, pull, step, back, all_of, film, cap)
        put(to, at + j, new)
        put_too(moved, j, count)


@kernel
def _across_rows(h: NDArray[np.int32], qx: NDArray[np.float32], qy: NDArray[np.float32],
                 z: NDArray[np.int32], m: NDArray[np.float32], w: int, row: int, first: int,
                 last: int, unit: np.float32, pull: np.float32, step: np.float32, back: np.float32,
                 all_of: np.float32, film: np.int32, cap: np.int32, to: NDArray[np.float32],
                 at: int, moved: NDArray[np.int32]) -> None:
    """Faces on the north sides of a row's cells."""
    for j in range(first, last):
        c = row * w + j
        across = ((get(qx, c - w) + get(qx, c)) + (get(qx, c - w + 1) + get(qx, c + 1))) * QUARTER
        new, count = _face(get(h, c - w), get(h, c), get(z, c - w), get(z, c), get(m, c - w),
                           get(m, c), get(qy, c), get(qy, c - w), get(qy, c + w), across,
                           unit, pull, step, back, all_of, film, cap)
        put(to, at + j, new)
        put_too(moved, j, count)


@kernel
def _settle(h: NDArray[np.int32], w: int, row: int, first: int, last: int, east: NDArray[np.int32],
            north: NDArray[np.int32], south: NDArray[np.int32], to: NDArray[np.int32], at: int
            ) -> tuple[np.int32, np.int32]:
    """New depths of a row; the most by which a cell gives more than it has, and whether any
    moves."""
    most, moved = NONE, NONE
    for j in range(first, last):
        had = get(h, row * w + j)
        from_west, to_east = get(east, j), get(east, j + 1)
        from_north, to_south = get(north, j), get(south, j)
        given = to_east if to_east > NONE else NONE
        given = INT(given - (from_west if from_west < NONE else NONE))
        given = INT(given + (to_south if to_south > NONE else NONE))
        given = INT(given - (from_north if from_north < NONE else NONE))
        given = INT(given - had)
        most = given if given > most else most
        moved = INT(moved | from_west | to_east | from_north | to_south)
        put(to, at + j, INT(INT(INT(had + from_west) - to_east) + INT(from_north - to_south)))
    return most, moved


@kernel
def _cut(h: NDArray[np.int32], w: int, row: int, first: int, last: int, east: NDArray[np.int32],
         north: NDArray[np.int32], south: NDArray[np.int32], qx: NDArray[np.float32], at_x: int,
         q_north: NDArray[np.float32], at_north: int, q_south: NDArray[np.float32], at_south: int,
         above: NDArray[np.int32], at_above: int) -> None:
    """Share out what the cells of a row have, where they would give more.

    Faces that a cell gives through are its own alone, so the order does not matter.  The row above
    has been settled; what it does not get any more is taken from it.
    """
    for j in range(first, last):
        had = np.int64(h[row * w + j])
        none = np.int64(0)
        given = (max(np.int64(east[j + 1]), none) - min(np.int64(east[j]), none)
                 + max(np.int64(south[j]), none) - min(np.int64(north[j]), none))
        if given <= had:
            continue
        share = had / given * (1.0 - 1e-9)
        if east[j + 1] > 0:
            east[j + 1] = INT(east[j + 1] * share)
            qx[at_x + j + 1] = REAL(qx[at_x + j + 1] * share)
        if east[j] < 0:
            east[j] = INT(east[j] * share)
            qx[at_x + j] = REAL(qx[at_x + j] * share)
        if south[j] > 0:
            south[j] = INT(south[j] * share)
            q_south[at_south + j] = REAL(q_south[at_south + j] * share)
        if north[j] < 0:
            before = north[j]
            north[j] = INT(before * share)
            q_north[at_north + j] = REAL(q_north[at_north + j] * share)
            above[at_above + j] = INT(above[at_above + j] + before - north[j])


@kernel
def _over_edges(row: int, w: int, live: NDArray[np.uint8], film: np.int32, h: NDArray[np.int32],
                h_new: NDArray[np.int32], unit: float, back: float, starts: NDArray[np.int64],
                cells: NDArray[np.int64], factors: NDArray[np.float64], powers: NDArray[np.float64],
                booked: NDArray[np.int64]) -> None:
    """Let water out of the ground, after all else has moved."""
    wide = (w - 3 + PIECE) // PIECE + 2
    for e in range(starts[row], starts[row + 1]):
        c = cells[e]
        at = row * wide + 1 + (c - row * w - 1) // PIECE
        if h[c] > film and live[at] & WORKED:
            out = factors[e] * (np.float64(h[c]) * unit) ** powers[e] * back
            count = INT(min(np.floor(out + 0.5), np.float64(h_new[c])))
            if count > 0:
                h_new[c] = INT(h_new[c] - count)
                booked[e] += count
                live[at] |= STIRRED


@kernel
def _find_live(live: NDArray[np.uint8], row: int, rows: int, w: int, found: NDArray[np.uint8]
               ) -> bool:
    """Which pieces of a row are worked: those that something moved in, or at a cell beside.

    A face whose water is still is set going by its two cells and the fluxes about it alone, also
    when these cease: they may have held it back.
    """
    pieces = (w - 3 + PIECE) // PIECE
    wide = pieces + 2
    any_ = np.uint8(0)
    if row < 1 or row > rows:
        for piece in range(pieces):
            found[piece] = any_
        return False
    for piece in range(pieces):
        at = row * wide + piece + 1
        found[piece] = np.uint8((live[at] & (MOVED | JUST_MOVED))
                                | ((live[at - wide] | live[at + wide])
                                   & (MOVED | JUST_MOVED))
                                | (live[at - 1] & (EAST_END | EAST_BEFORE))
                                | (live[at + 1] & (WEST_END | WEST_BEFORE)))
        any_ |= found[piece]
    return bool(any_ != 0)


@kernel
def _row(row: int, side: int, first_own: int, last_own: int, rows: int, h: NDArray[np.int32],
         qx: NDArray[np.float32], qy: NDArray[np.float32], h_new: NDArray[np.int32],
         qx_new: NDArray[np.float32], qy_new: NDArray[np.float32], z: NDArray[np.int32],
         m: NDArray[np.float32], w: int, live: NDArray[np.uint8], live_new: NDArray[np.uint8],
         touched: NDArray[np.uint8], here: NDArray[np.uint8], below: NDArray[np.uint8],
         any_here: bool, unit: np.float32, pull: np.float32, step: np.float32, back: np.float32,
         all_of: np.float32, film: np.int32, cap: np.int32, east: NDArray[np.int32],
         north: NDArray[np.int32], south: NDArray[np.int32], spare_h: NDArray[np.int32],
         spare_q: NDArray[np.float32]) -> bool:
    """Fluxes of a row and the depths they make; whether any piece of the next row is worked.

    `side` is -1 or 1 for the row before or after the strip's own, 0 for one of its own: others are
    worked for what they do at the faces between, and kept to `spare` otherwise.  `here` tells which
    pieces are worked; `below` comes to tell it of the next row.
    """
    own = side == 0
    to_h, at_h = (h_new, row * w) if own else (spare_h, 0)
    to_x, at_x = (qx_new, row * w) if own else (spare_q, 0)
    # A flux is kept by the strip that its cell belongs to, and by no other.
    q_north, at_north = (qy_new, row * w) if own else (spare_q, (2 + side) * w)
    q_south, at_south = (spare_q, (3 + max(side, 0)) * w) if row >= last_own else (
        qy_new, (row + 1) * w)
    above, at_above = (h_new, (row - 1) * w) if row > first_own else (spare_h, w)
    pieces = (w - 3 + PIECE) // PIECE
    at_live = row * (pieces + 2) + 1
    any_below = _find_live(live, row + 1, rows, w, below)
    if not any_here:
        for j in range(w):
            south[j] = NONE
        if own:
            for piece in range(pieces):
                live_new[at_live + piece] = 0
        return any_below
    piece = 0
    while piece < pieces:
        begin = piece
        first = 1 + piece * PIECE
        still = here[piece] == 0
        while piece < pieces and (here[piece] == 0) == still:
            piece += 1
        last = min(1 + piece * PIECE, w - 1)
        if still:
            for j in range(first, last):
                south[j] = NONE
            if own:
                for part in range(begin, piece):
                    live_new[at_live + part] = 0
            continue
        _across_columns(h, qx, qy, z, m, w, row, first, last + 1, unit, pull, step, back, all_of,
                        film, cap, to_x, at_x, east)
        _across_rows(h, qx, qy, z, m, w, row + 1, first, last, unit, pull, step, back, all_of, film,
                     cap, q_south, at_south, south)
        # Nothing goes to a piece that is passed over.
        for j in (first, last):
            if 1 < j < w - 1:
                east[j] = NONE
                to_x[at_x + j] = ZERO
        most = NONE
        for part in range(begin, piece):
            a = 1 + part * PIECE
            b = min(a + PIECE, w - 1)
            if below[part] == 0:
                for j in range(a, b):
                    south[j] = NONE
                    q_south[at_south + j] = ZERO
            over, moved = _settle(h, w, row, a, b, east, north, south, to_h, at_h)
            most = max(most, over)
            if own:
                at = at_live + part
                before = ((WEST_BEFORE if live[at] & WEST_END else 0)
                          | (EAST_BEFORE if live[at] & EAST_END else 0))
                if moved != 0:
                    west = (east[a] | east[a + 1] | north[a] | south[a]) != 0
                    east_ = (east[b] | east[b - 1] | north[b - 1] | south[b - 1]) != 0
                    live_new[at] = (WORKED | MOVED | before | (WEST_END if west else 0)
                                    | (EAST_END if east_ else 0))
                else:
                    live_new[at] = WORKED | before | (JUST_MOVED if live[at] & MOVED else 0)
                touched[at] = 1
        if most > 0:
            _cut(h, w, row, first, last, east, north, south, to_x, at_x, q_north, at_north,
                 q_south, at_south, above, at_above)
            _settle(h, w, row, first, last, east, north, south, to_h, at_h)
    return any_below


@kernel
def advance(h_even: NDArray[np.int32], qx_even: NDArray[np.float32], qy_even: NDArray[np.float32],
            h_odd: NDArray[np.int32], qx_odd: NDArray[np.float32], qy_odd: NDArray[np.float32],
            z: NDArray[np.int32], m: NDArray[np.float32], w: int, rows: int,
            live_even: NDArray[np.uint8], live_odd: NDArray[np.uint8], touched: NDArray[np.uint8],
            unit: float, cell: float, gravity: float, film: np.int32, cap: np.int32, step: float,
            begin: int, end: int, done: NDArray[np.int64], first: int, last: int, strip: int,
            strips: int, edge_starts: NDArray[np.int64], edge_cells: NDArray[np.int64],
            edge_factors: NDArray[np.float64], edge_powers: NDArray[np.float64],
            booked: NDArray[np.int64], gate_starts: NDArray[np.int64],
            gate_faces: NDArray[np.int64], passed: NDArray[np.float64]) -> int:
    """Steps `begin` to `end` of rows first to last; the step it came to.

    Strips step side by side: each waits until its neighbours have done as many steps, `done`, and
    gives up after a while, to be called again.  Even steps read the even arrays and write the odd.
    `live` tells of each piece of a row, with a ring about them, what it did in the step that led
    to the state; pieces that are worked are marked in `touched`.
    """
    pull = REAL(gravity * step / cell * unit)
    back, all_of = REAL(step / cell / unit), REAL(cell * unit / step)
    unit32, step32 = REAL(unit), REAL(step)
    east, north, south = np.empty(w + 1, INT), np.empty(w + 1, INT), np.empty(w + 1, INT)
    spare_h, spare_q = np.empty(2 * w, INT), np.empty(5 * w + 1, REAL)
    pieces = (w - 3 + PIECE) // PIECE
    here, below = np.empty(pieces, np.uint8), np.empty(pieces, np.uint8)
    last_own = last - 1 if last <= rows else rows + 1  # the last strip keeps its south side too
    for j in range(w):
        east[j] = NONE
    for now in range(begin, end):
        turns = 0
        while ((strip > 0 and read_shared(done, strip - 1) < now)
               or (strip < strips - 1 and read_shared(done, strip + 1) < now)):
            turns += 1
            if turns > PATIENCE:
                return now
        if now % 2 == 0:
            h, qx, qy, h_new, qx_new, qy_new = h_even, qx_even, qy_even, h_odd, qx_odd, qy_odd
            live, live_new = live_even, live_odd
        else:
            h, qx, qy, h_new, qx_new, qy_new = h_odd, qx_odd, qy_odd, h_even, qx_even, qy_even
            live, live_new = live_odd, live_even
        for j in range(w):
            north[j] = NONE
        if first > 1:
            _find_live(live, first - 2, rows, w, below)
            any_ = _find_live(live, first - 1, rows, w, here)
            _north_of_strip(h, qx, qy, z, m, w, first - 1, here, below, unit32, pull, step32, back,
                            all_of, film, cap, spare_q, north)
            any_ = _row(first - 1, -1, first, last_own, rows, h, qx, qy, h_new, qx_new, qy_new, z,
                        m, w, live, live_new, touched, here, below, any_, unit32, pull, step32,
                        back, all_of, film, cap, east, north, south, spare_h, spare_q)
            north, south = south, north
            here, below = below, here
        else:
            any_ = _find_live(live, first, rows, w, here)
        for row in range(first, last):
            any_ = _row(row, 0, first, last_own, rows, h, qx, qy, h_new, qx_new, qy_new, z, m, w,
                        live, live_new, touched, here, below, any_, unit32, pull, step32, back,
                        all_of, film, cap, east, north, south, spare_h, spare_q)
            north, south = south, north
            here, below = below, here
            if row > first:
                _over_edges(row - 1, w, live_new, film, h, h_new, unit, step / cell / unit,
                            edge_starts, edge_cells, edge_factors, edge_powers, booked)
            for g in range(gate_starts[row], gate_starts[row + 1]):
                face = gate_faces[g]
                flux = qx_new[face] if face >= 0 else qy_new[-face]
                passed[g] += np.float64(flux) * step
        if last <= rows:
            _row(last, 1, first, last_own, rows, h, qx, qy, h_new, qx_new, qy_new, z, m, w, live,
                 live_new, touched, here, below, any_, unit32, pull, step32, back, all_of, film,
                 cap, east, north, south, spare_h, spare_q)
        _over_edges(last - 1, w, live_new, film, h, h_new, unit, step / cell / unit, edge_starts,
                    edge_cells, edge_factors, edge_powers, booked)
        write_shared(done, strip, now + 1)
    return end


@kernel
def _north_of_strip(h: NDArray[np.int32], qx: NDArray[np.float32], qy: NDArray[np.float32],
                    z: NDArray[np.int32], m: NDArray[np.float32], w: int, row: int,
                    here: NDArray[np.uint8], above: NDArray[np.uint8], unit: np.float32,
                    pull: np.float32, step: np.float32, back: np.float32, all_of: np.float32,
                    film: np.int32, cap: np.int32, spare_q: NDArray[np.float32],
                    north: NDArray[np.int32]) -> None:
    """North faces of the row before a strip's own, where both sides of them are worked."""
    for piece in range(here.size):
        if here[piece] and above[piece]:
            _across_rows(h, qx, qy, z, m, w, row, 1 + piece * PIECE,
                         min(1 + (piece + 1) * PIECE, w - 1), unit, pull, step, back, all_of, film,
                         cap, spare_q, w, north)


@kernel
def survey(h: NDArray[np.int32], qx: NDArray[np.float32], qy: NDArray[np.float32],
           m: NDArray[np.float32], w: int, first: int, last: int, touched: NDArray[np.uint8],
           tops: NDArray[np.int32], unit: float, time: float, wet: float,
           deepest: NDArray[np.int32], fastest: NDArray[np.float32], strongest: NDArray[np.float32],
           arrival: NDArray[np.float32]) -> None:
    """Keep the extremes of rows first to last where anything moved since the last look, and the
    tops of their pieces, calm cells left out."""
    pieces = (w - 3 + PIECE) // PIECE
    for row in range(first, last):
        for piece in range(pieces):
            at = row * (pieces + 2) + 1 + piece
            if touched[at] == 0:
                continue
            touched[at] = 0
            tops[at] = _survey_part(
                h, qx, qy, m, w, row * w + 1 + piece * PIECE,
                row * w + min(1 + (piece + 1) * PIECE, w - 1), REAL(unit), REAL(time),
                INT(max(wet / unit, 1.0)), deepest, fastest, strongest, arrival)


@kernel
def _survey_part(h: NDArray[np.int32], qx: NDArray[np.float32], qy: NDArray[np.float32],
                 m: NDArray[np.float32], w: int, first: int, last: int, unit: np.float32,
                 time: np.float32, wet: np.int32, deepest: NDArray[np.int32],
                 fastest: NDArray[np.float32], strongest: NDArray[np.float32],
                 arrival: NDArray[np.float32]) -> np.int32:
    top = NONE
    for c in range(first, last):
        here = get(h, c)
        top = here if (here > top) & (get(m, c) >= ZERO) else top
        west, east, north, south = get(qx, c), get(qx, c + 1), get(qy, c), get(qy, c + w)
        along, down = (west + east) * HALF, (north + south) * HALF
        strength = np.sqrt(along * along + down * down)
        speed = strength / (REAL(here if here > wet else wet) * unit)
        speed = speed if here > wet else ZERO
        kept = get_kept(deepest, c)
        put(deepest, c, here if here > kept else kept)
        greatest = get_kept(fastest, c)
        put_too(fastest, c, speed if speed > greatest else greatest)
        greatest = get_kept(strongest, c)
        put_too(strongest, c, strength if strength > greatest else greatest)
        came = get_kept(arrival, c)
        put_too(arrival, c, time if (here > wet) & (came < ZERO) else came)
    return top
