"""Crop coefficients of trees against FAO 56, Table 12."""

import pytest
from published import rows

from terrain.works.tree_kinds import tree_kinds, tree_named


# FAO Irrigation and Drainage Paper 56 (1998), Table 12, sections n and o, from memory.
def test_every_row_of_table_12_is_a_kind():
    by_crop = {kind.crop: kind for kind in tree_kinds().values()}
    table = rows("fao56_table_12_kc_trees.csv")
    assert {row["crop"] for row in table} == set(by_crop)
    for row in table:
        kind = by_crop[row["crop"]]
        assert [kind.start, kind.middle, kind.end] == [
            float(row[name]) for name in ("kc_ini", "kc_mid", "kc_end")], row["crop"]


def test_names_are_plain_words():
    assert tree_named("olive").middle == 0.70
    assert tree_named("peach") == tree_named("peach")
    assert tree_named("peach").crop == tree_named("apricot").crop
    assert tree_named("apple, green cover").middle == 1.20


def test_an_unknown_tree_names_the_nearest():
    with pytest.raises(ValueError, match="there is no tree 'Olives'; the nearest is 'olive'"):
        tree_named("Olives")
