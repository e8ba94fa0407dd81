"""The report's tables of trees in words."""

from terrain.outputs.page.tree_tables import _trees
from terrain.plan.water.trees_carried import MOST_TREES, RAIN_ALONE, Count


def test_where_rain_alone_is_enough_the_table_says_so_and_never_the_cap():
    shown = _trees(Count(8, 0)) + _trees(Count(RAIN_ALONE, None)) + _trees(Count(MOST_TREES, 7))
    assert shown == ["8", "0", "rain alone is enough", "-", "a million or more", "7"]
