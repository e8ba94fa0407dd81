"""Machine hours and money from earth."""

import pytest

from terrain.plan.cost import MACHINE_OUTPUT, quantities
from terrain.works.rules import Rulebook


def test_output_of_a_small_machine_by_the_formula():
    """US Army FM 5-434 (2000), formula with inputs of common practice: bucket 0.1 m3 filled to
    0.9, 25 s a cycle, efficiency 0.6, loose per bank 1.25, makes 6.2 m3 an hour."""
    assert pytest.approx(3600 / 25 * 0.1 * 0.9 * 0.6 / 1.25, abs=0.3) == MACHINE_OUTPUT


def test_hours_are_earth_over_output_and_a_quarter_for_finishing():
    found = quantities(60.0, 20.0, Rulebook(), output=6.0, rates=(100.0, 200.0), currency="crown")
    assert found.hours == pytest.approx(60 / 6 * 1.25)
    assert found.money == pytest.approx((1250.0, 2500.0))


def test_a_bank_without_a_cut_is_dug_elsewhere():
    """0.9 m3 of compacted earth for each in the bank (US Army FM 5-434, 2000, Table 1-1, from
    memory)."""
    assert quantities(0.0, 45.0, Rulebook(), output=5.0).hours == pytest.approx(50 / 5 * 1.25)
