"""The rulebook: every figure named, sourced, and to be overruled by its owner."""

import pytest

from terrain.works.rules import RULES, Rulebook
from terrain.works.us_figures import US_FIGURES, US_NAMES


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


def test_figures_in_us_units_are_those_of_the_metric_ones_made_round():
    rules = Rulebook(system="us")
    assert set(US_FIGURES) <= set(RULES)
    assert set(US_NAMES) <= set(RULES)
    for name in RULES:
        assert rules[name] == pytest.approx(RULES[name].value, rel=0.1), name
        assert not rules.overruled(name)
        assert rules.source(name) == RULES[name].source


@pytest.mark.parametrize(("name", "feet"), [
    # 33 USC 467 and NRCS practice standard 378, as their texts have it; the last from memory.
    ("federal dam height", 25.0), ("wall top width", 6.0), ("wall top width from 3 m", 8.0),
    ("basin freeboard", 1.0), ("septic setback", 35.0), ("trench deepest", 5.0)])
def test_what_a_source_states_in_feet_is_that_to_the_inch(name, feet):
    assert Rulebook(system="us")[name] == pytest.approx(feet * 0.3048, rel=1e-9)


def test_a_rule_that_names_a_size_has_a_name_in_feet_too():
    rules = Rulebook({"wall top width from 10 ft": "9 ft"}, "us")
    assert rules["wall top width from 3 m"] == pytest.approx(9 * 0.3048)
    assert rules.cited("wall top width from 3 m").startswith("wall top width from 10 ft, ")
