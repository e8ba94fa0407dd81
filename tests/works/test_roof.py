"""Roof capture: litres, gallons, and what is left after losses."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows

from terrain.inputs.site import Roofs
from terrain.works.roof import RoofCatchment

GALLON = 231 * 0.0254**3
FOOT = 0.3048
CONSTANT = {row["quantity"]: float(row["value"]) for row in rows("conversions.csv")}


def test_a_litre_for_each_square_metre_and_millimetre():
    assert RoofCatchment(1.0, 1.0).runoff(1.0) * 1000 == CONSTANT["litre per m2 per mm"]


# From the definitions of the gallon (231 cubic inches) and the foot.
def test_0_623_gallons_for_each_square_foot_and_inch():
    roof = RoofCatchment(FOOT**2, FOOT**2)
    assert roof.runoff(25.4) / GALLON == pytest.approx(CONSTANT["gal per ft2 per inch"], abs=5e-7)
    large = RoofCatchment(1000 * FOOT**2, 1000 * FOOT**2)
    assert large.runoff(25.4) / GALLON == pytest.approx(CONSTANT["1 inch on 1000 ft2 in gal"],
                                                       abs=0.005)


def test_about_600_gallons_for_1000_square_feet_and_inch_after_losses():
    """Common practice, no source; by the site file's default share and a flush of 10 gallons."""
    area = 1000 * FOOT**2
    share = Roofs.model_fields["efficiency"].default
    flush = 10 * GALLON / area * 1000
    roof = RoofCatchment(area, area * share, first_flush=flush)
    assert roof.runoff(25.4) / GALLON == pytest.approx(600, rel=0.1)
    assert roof.runoff(25.4) / GALLON == pytest.approx((623.38 - 10) * share, rel=1e-4)


@given(st.floats(0, 300), st.floats(0, 300), st.floats(1, 1000), st.floats(0.1, 1), st.floats(0, 5))
def test_more_rain_never_gives_less_and_never_more_than_fell(rain, more, area, share, flush):
    roof = RoofCatchment(area, area * share, flush)
    assert 0 <= roof.runoff(rain) <= roof.runoff(rain + more)
    assert roof.runoff(rain) <= rain * area / 1000 * (1 + 1e-12)
    assert roof.runoff(roof.starts_at) == 0
    assert roof.runoff(roof.starts_at + 1) > 0


def test_the_first_flush_is_taken_from_the_start_of_cumulative_rain():
    roof = RoofCatchment(100.0, 100.0, first_flush=2.0)
    assert roof.runoff_volumes(np.array([1.0, 2.0, 5.0, 5.0])).tolist() == [0.0, 0.0, 0.3, 0.3]


def test_no_roof_never_starts():
    assert RoofCatchment(0.0, 0.0).starts_at == float("inf")
