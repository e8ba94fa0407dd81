"""Cover classes and the curve numbers of cells against TR-55 (1986), Tables 2-2a to 2-2d."""

import numpy as np
import pytest
from published import rows

from terrain.runoff.cover import curve_numbers_of, published_classes

TABLE = rows("tr55_table_2_2_curve_numbers.csv")


def number(text):
    return float(text) if text else float("nan")


def test_every_row_of_the_published_table_is_a_class_with_its_numbers():
    ours = {(c.table, c.description): c.curve_numbers for c in published_classes().values()}
    assert len(ours) == len(published_classes()) == len(TABLE)
    for row in TABLE:
        said = ", ".join(row[part] for part in ("cover", "treatment", "condition") if row[part])
        assert ours[row["table"], said] == pytest.approx(
            tuple(number(row[group]) for group in "ABCD"), nan_ok=True)


def test_no_class_sheds_less_on_heavier_soil():
    for cover in published_classes().values():
        known = [n for n in cover.curve_numbers if not np.isnan(n)]
        assert known == sorted(known)
        assert all(0 < n <= 100 for n in known)


def test_cells_get_the_number_of_their_class_and_group():
    names = ["roof or paving", "dirt road"]
    cover = np.array([[0, 1, 1], [1, -1, 0]], np.int16)
    soil = np.array([[3, 0, 3], [-1, 2, 1]], np.int8)
    found = curve_numbers_of(cover, names, soil)
    # Paving 98 on any soil; dirt roads 72 on A and 89 on D (Table 2-2a).
    assert found == pytest.approx(np.array([[98, 72, 89], [np.nan, np.nan, 98]]), nan_ok=True)


def test_roads_and_bare_soil_count_as_bare_and_grass_and_paving_do_not():
    classes = published_classes()
    assert classes["dirt road"].bare
    assert classes["gravel road"].bare
    assert not classes["roof or paving"].bare
    assert not classes["open space, good"].bare
