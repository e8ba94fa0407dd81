"""Published uses of water a head, and shares of rain that roofs give, against copies of tables."""

import numpy as np
import pytest
from published import rows

from terrain.runoff.evapotranspiration import MONTH_DAYS
from terrain.runoff.roof_materials import MATERIALS, material_named
from terrain.works.rules import RULES
from terrain.works.water_use import PEOPLE, PER_HEAD, Use, plain_use

LEVELS = {row["level"]: row for row in rows("household_demand.csv")}
SURFACES = {(row["surface"], row["source"].split(",")[0]): row
            for row in rows("roof_runoff_coefficients.csv")}
NAMED = {"survival": "survival: drinking and food", "basic emergency": "total basic emergency need",
         "basic access": "basic access", "intermediate access": "intermediate access",
         "water-conscious": "water-conscious rural household (35 gal)",
         "efficient fixtures": "US indoor with efficient fixtures 1999 (45.2 gal)",
         "indoor average": "US indoor average 2016 (58.6 gal)"}


# Sphere Handbook (2018); Howard & Bartram (WHO, 2003); Mayer (1999); DeOreo (2016); from memory,
# the rural household of 35 gal as Home Power prints it.
@pytest.mark.parametrize("word", NAMED)
def test_uses_a_head_are_those_of_the_table(word):
    row = LEVELS[NAMED[word]]
    assert PER_HEAD[word].low == float(row["low"])
    assert PER_HEAD[word].high == float(row["high"] or row["low"])


def test_optimal_access_is_100_litres_and_gallons_agree():
    assert PER_HEAD["optimal access"].high == float(LEVELS["optimal access"]["low"])
    for word, gallons in (("water-conscious", 35), ("efficient fixtures", 45.2),
                          ("indoor average", 58.6)):
        assert PER_HEAD[word].high == pytest.approx(gallons * 3.785411784, abs=0.55)
    assert set(NAMED) | {"optimal access"} == set(PEOPLE)


def test_every_use_a_head_names_a_source():
    for word, head in PER_HEAD.items():
        assert 0 < head.low <= head.high, word
        assert len(head.source) > 5, word


# Agrodok 43 (2006), from memory; Rainwater Harvesting Trainers Manual (India Water Portal).
@pytest.mark.parametrize(("word", "surface"), [
    ("aluminium sheet", "aluminium sheet"), ("glazed tiles", "tiles, glazed"),
    ("flat cement", "flat cement roof"), ("tiles", "tiles"),
    ("corrugated metal", "corrugated metal sheets"), ("concrete ground", "concrete ground"),
    ("brick paving", "brick pavement"), ("rock", "rocky natural catchment")])
def test_shares_of_materials_are_those_of_the_table(word, surface):
    row = next(row for (name, _), row in SURFACES.items() if name == surface)
    assert (MATERIALS[word].low, MATERIALS[word].high) == (float(row["low"]), float(row["high"]))
    assert material_named(word.upper()).share == pytest.approx(
        (float(row["low"]) + float(row["high"])) / 2)


def test_a_material_that_is_not_known_names_the_nearest():
    with pytest.raises(ValueError, match="the nearest is 'corrugated metal'"):
        material_named("corrugated metl")
    with pytest.raises(ValueError, match=r"'ferns' is not known .there are: metal sheet"):
        material_named("ferns")


def test_the_least_first_flush_is_ten_gallons_for_a_thousand_square_feet():
    """Texas Manual on Rainwater Harvesting, 3rd ed. (2005), chapter 2."""
    printed = next(row for row in rows("first_flush_and_treatment.csv")
                   if row["item"].startswith("first flush diverted"))
    gallon, foot = 231 * 0.0254**3, 0.3048
    depth = float(printed["value"]) * gallon / (1000 * foot**2) * 1000
    assert RULES["first flush least"].value == pytest.approx(depth, abs=0.005)
    halves = next(row for row in rows("first_flush_and_treatment.csv") if "halves" in row["item"])
    assert 0.5 ** (1 / RULES["first flush halves"].value) == float(halves["value"])


def test_the_mean_day_weighs_months_by_their_days():
    amounts = np.arange(12.0)
    use = Use("garden", "garden", amounts)
    assert use.mean_day == pytest.approx(float((amounts * MONTH_DAYS).sum()) / 365.2425)
    assert plain_use(0.3).mean_day == pytest.approx(0.3)
