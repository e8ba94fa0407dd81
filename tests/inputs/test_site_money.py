"""Prices of the site file: what they are for where the file does not say."""

import pytest

from terrain.inputs.site_money import Money, bare_prices

GIVEN = {"currency": "crown", "machine hour": [400, 500], "pipe": [9, 16], "tank": 1200,
         "tree": [40, 90], "stone": {"per": "1 m3", "price": [60, 95]},
         "water otherwise": {"hauled": {"per": "5 m3", "price": 330}, "well": [2.5, 4]}}


def money(system, given=GIVEN):
    return Money.model_validate(given, context={"units": system})


@pytest.mark.parametrize(("system", "other", "length", "volume", "lengths", "volumes"), [
    ("metric", "us", "m", "m³", "ft", "gal"), ("us", "metric", "ft", "gal", "m", "m³")])
def test_bare_prices_are_told_as_they_were_read(system, other, length, volume, lengths, volumes):
    read, changed = bare_prices(money(system), system)
    assert read == (f"Read in crown, as the file says units: {system}: pipe 9 to 16 per {length}; "
                    f"tank 1,200 per {volume}; water otherwise, well 2.5 to 4 per {volume}.")
    assert changed == (f"With units: {other} the same figures would be prices per {lengths}, "
                       f"{volumes}. A price that names its unit stays what it is, such as pipe: "
                       "{per: 1 m, price: [9, 16]}.")


def test_the_price_that_is_advised_is_read_and_stays_what_it_is():
    """A foot is 0.3048 m: 9 a metre are 2.7432 a foot."""
    asked = {**GIVEN, "pipe": {"per": "1 m", "price": [9, 16]}}
    for system in ("metric", "us"):
        found = money(system, asked)
        assert found.pipe.range == (9.0, 16.0)
        assert "pipe" not in "".join(bare_prices(found, system))
    assert money("us").pipe.low * 0.3048 == pytest.approx(9)


def test_one_figure_stands_for_low_and_high():
    assert money("metric", {"currency": "crown", "machine hour": 400}).machine_hour == (400, 400)


@pytest.mark.parametrize(("name", "unit"), [("tank", "m3"), ("stone", "tonne"), ("seed", "m2")])
def test_what_is_advised_of_any_other_price_is_read_too(name, unit):
    alone = {"currency": "crown", "machine hour": 400, name: 3}
    said = bare_prices(money("us", alone), "us")[1]
    assert said.endswith(f"{name}: {{per: 1 {unit}, price: 3}}.")
    kept = money("us", {**alone, name: {"per": f"1 {unit}", "price": 3}})
    assert getattr(kept, name) == getattr(money("metric", alone), name)
    assert bare_prices(kept, "us") == []
