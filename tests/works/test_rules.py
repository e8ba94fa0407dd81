"""The rulebook: every figure named, sourced, and to be overruled by its owner."""

import pytest

from terrain.works.rules import RULES, Rulebook


def test_every_rule_is_above_0_and_names_its_source():
    for name, rule in RULES.items():
        assert rule.value > 0, name
        assert len(rule.source) > 5, name
        assert Rulebook()[name] == rule.value


def test_an_owners_figure_is_read_with_its_unit_and_named_as_theirs():
    rules = Rulebook({"swale depth": "1 ft", "wall wet slope": 4})
    assert rules["swale depth"] == pytest.approx(0.3048)
    assert rules["wall wet slope"] == 4.0
    assert rules.source("swale depth") == "the site file"
    assert rules.source("swale width") == RULES["swale width"].source


def test_a_bare_figure_is_taken_in_the_sites_own_units():
    assert Rulebook({"swale depth": 1}, "us")["swale depth"] == pytest.approx(0.3048)
    assert Rulebook({"swale depth": 1})["swale depth"] == 1.0


@pytest.mark.parametrize(("overruled", "said"), [
    ({"swail depth": "1 ft"}, "no rule 'swail depth'; the nearest is 'swale depth'"),
    ({"swale depth": "deep"}, "the rule 'swale depth' cannot be 'deep'"),
    ({"wall wet slope": "steep"}, "the rule 'wall wet slope' cannot be 'steep'"),
    ({"swale depth": "0 m"}, "the rule 'swale depth' must be above 0, not 0 m")])
def test_a_rule_that_cannot_hold_is_refused(overruled, said):
    with pytest.raises(ValueError, match=said):
        Rulebook(overruled)
