"""Names on the map keep clear of each other."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.bench.page.drawn import LETTER, SIDES, sides_of


def boxes(names, sides):
    found = []
    for (x, y, wide), (right, down) in zip(names, sides, strict=True):
        west = x + right - (wide if right < 0 else 0)
        found.append((west, y - down - LETTER * 0.6, west + wide, y - down + LETTER * 0.6))
    return found


def overlap(a, b) -> float:
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3])
                                                             - max(a[1], b[1]))


def test_two_names_of_one_place_stand_apart():
    names = [(100.0, 100.0, 80.0)] * 4
    found = boxes(names, sides_of(names))
    assert all(overlap(a, b) == 0 for i, a in enumerate(found) for b in found[:i])


def test_a_name_by_itself_stands_on_the_first_side():
    assert sides_of([(5.0, 5.0, 40.0)]) == [SIDES[0]]


@given(st.lists(st.tuples(*[st.floats(0, 300)] * 2, st.floats(10, 120)), max_size=12))
def test_no_other_side_of_the_last_name_covers_less(names):
    """By trying all sides of the last one, where the others stand."""
    sides = sides_of(names)
    assert len(sides) == len(names)
    if not names:
        return
    taken = boxes(names[:-1], sides[:-1])
    covered = [sum(overlap(boxes([names[-1]], [side])[0], other) for other in taken)
               for side in SIDES]
    mine = sum(overlap(boxes([names[-1]], [sides[-1]])[0], other) for other in taken)
    assert mine == pytest.approx(min(covered), abs=1e-6)
