"""What is told of grey water that comes to a store."""

import numpy as np

from terrain.plan.water.roofs_told import _grey_caution


def test_no_grey_water_goes_where_water_stands_longer_than_a_day():
    assert "stands" not in _grey_caution(["house tank"], 20.0)
    said = _grey_caution(["house tank"], 192.0)
    assert "let it soak in the same day" in said
    assert "stands about 8 days: lead no grey water there while water stands in it" in said
    assert "does not soak away: lead no grey water there" in _grey_caution(["tank"], np.inf)
