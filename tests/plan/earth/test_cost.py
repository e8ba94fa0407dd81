"""Machine hours, days by hand and money from earth."""

import pytest
from published import rows

from terrain.plan.earth.cost import (
    bill,
    dig_hours,
    hand_days,
    loose_per_bank,
    machine_output,
    quantities,
    whole_bill,
)
from terrain.works.rules import Rulebook

SOILS = {"sand": "sand", "loam (common earth)": "loam", "clay": "clay"}


def test_output_of_a_small_machine_by_the_formula():
    """US Army FM 5-434 (2000), formula with inputs of common practice: bucket 0.1 m3 filled to
    0.9, 25 s a cycle, efficiency 0.6, loose per bank 1.25, makes 6.2 m3 an hour."""
    assert machine_output(Rulebook(), "loam") == pytest.approx(6.22, abs=0.005)


@pytest.mark.parametrize("row", rows("machine_output_formula.csv"))
def test_output_by_the_formula_as_recomputed_for_other_machines(row):
    """The source stands at the head of the table; printed to 0.01 m3."""
    rules = Rulebook({"machine bucket": row["bucket_m3"] + " m3",
                      "machine cycle": float(row["cycle_s"]),
                      "machine fill": float(row["fill_factor"]),
                      "machine efficiency": float(row["minutes_per_hour"]) / 60,
                      "loose per bank loam": float(row["loose_per_bank"])})
    assert machine_output(rules) == pytest.approx(float(row["m3_bank_per_h"]), abs=0.005)


@pytest.mark.parametrize("row", [row for row in rows("soil_volume_factors.csv")
                                 if row["soil"] in SOILS])
def test_swell_and_shrink_are_those_of_the_table(row):
    """FM 5-434, Table 1-1, from memory.  One figure stands for the shrinkage of all soils: of sand
    the table has 0.95, so that a bank of sand is never short."""
    rules = Rulebook()
    assert loose_per_bank(SOILS[row["soil"]], rules) == float(row["loose_per_bank"])
    shrunk = float(row["compacted_per_bank"])
    assert rules["compacted per bank"] == (0.9 if row["soil"] == "sand" else shrunk)
    assert rules["compacted per bank"] <= shrunk


def test_hours_are_earth_over_output_and_a_quarter_for_finishing():
    found = quantities(60.0, 20.0, Rulebook(), output=6.0, rates=(100.0, 200.0), currency="crown")
    assert found.hours == pytest.approx(60 / 6 * 1.25)
    assert found.money == pytest.approx((1250.0, 2500.0))


def test_a_bank_without_a_cut_is_dug_elsewhere():
    """0.9 m3 of compacted earth for each in the bank (US Army FM 5-434, 2000, Table 1-1, from
    memory)."""
    assert quantities(0.0, 45.0, Rulebook(), output=5.0).hours == pytest.approx(50 / 5 * 1.25)


def test_hard_ground_is_dug_at_two_fifths_of_the_output():
    """Common practice, no source: of 60 m3 a quarter at 0.4 * 6 m3 an hour, the rest at 6."""
    assert dig_hours(60.0, 6.0, Rulebook(), 0.25) == pytest.approx((10.0, 15 / 2.4 + 45 / 6))
    found = quantities(60.0, 0.0, Rulebook(), 6.0, (100.0, 200.0), hard=0.25)
    assert found.money == pytest.approx((100 * found.hours, 200 * found.hours_most))
    assert found.hours_most == pytest.approx((15 / 2.4 + 45 / 6) * 1.25)


def test_days_by_hand_by_published_task_rates():
    """ILO, Building Rural Roads (2008): 5 m3 a day in soft soil and 2 in very hard, from memory."""
    rates = {row["soil"]: float(row["m3_per_worker_day"]) for row in rows("hand_digging_rates.csv")}
    assert hand_days(8.0, Rulebook()) == pytest.approx(
        (8 * 1.25 / rates["soft"], 8 * 1.25 / rates["very hard"]))
    assert hand_days(15.1, Rulebook()) is None
    assert hand_days(0.0, Rulebook()) is None
    assert hand_days(20.0, Rulebook(), 4.0) == pytest.approx((5.0, 12.5))


def test_a_bill_by_hand():
    """14 h of work at 7 h a day are 2 days, 16 h paid; 21 h with hard ground 3 days, 24 h."""
    found = bill((12.0, 19.0), 1.5, 0.5, Rulebook(), (10.0, 20.0))
    assert found.days == pytest.approx((2.0, 3.0))
    assert found.hours == pytest.approx((16.0, 24.0))
    assert found.money == pytest.approx((160.0, 480.0))


def test_the_whole_site_pays_whole_days_of_set_up_and_haulage_once_each_way():
    """Two works of 10 h and 5 h: 15 h are 3 days of 7 h, so 18 h are paid."""
    parts = [bill((10.0, 10.0), 0.0, 0.0, Rulebook(), (10.0, 20.0)),
             bill((4.0, 4.0), 1.0, 0.0, Rulebook(), (10.0, 20.0))]
    whole = whole_bill(parts, Rulebook(), (10.0, 20.0), (300.0, 500.0))
    assert whole.days == (3.0, 3.0)
    assert whole.hours == pytest.approx((18.0, 18.0))
    assert whole.money == pytest.approx((180.0 + 600.0, 360.0 + 1000.0))
    assert (whole.carry, whole.spread) == (1.0, 0.0)
    assert whole_bill(parts, Rulebook()).money is None
    assert whole_bill([], Rulebook(), (10.0, 20.0), (300.0, 500.0)).money == (0.0, 0.0)


def test_a_day_that_is_all_set_up_is_refused():
    with pytest.raises(ValueError, match=r"takes 8 h of a day of 8 h"):
        bill((1.0, 1.0), 0.0, 0.0, Rulebook({"machine set-up": 8}))
