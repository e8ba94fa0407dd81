"""Cautions stand the gravest first, general advice last."""

import itertools

import pytest

from terrain.plan.safety.gravity import by_gravity, gravity, is_grave

#: As the works write them; in this order they are to be read.
ORDER = [
    "It crosses the buried water line \"a\" at 1.0, 2.0: have the line marked before anybody digs, "
    "and dig by hand within 0.60 m of the marks.",
    "It lies 10.5 m from the septic field \"b\", measured from its berm; keep 10.7 m.",
    "It lies 1.1 m from the roof \"shed\", measured from its trench; keep 3.0 m.",
    "If its bank is overtopped or fails at 1.0, 2.0, up to 9 m³ run down, and the road \"c\" lies "
    "in its way.",
    "1.70 m of water against the bank: this is a dam.",
    "Water 0.80 m deep can drown a child: fence it.",
    "At the design peak 0.03 m stands on the spillway and 0.27 m of bank is left above it; 0.30 m "
    "is asked for.",
    "At 1.0, 2.0 its floor stands 0.02 m above the rock, said to lie 1.50 m below the ground.",
    "Ground by which water would get round the wall, at 1.0, 2.0, stands at 1,404.13 m.",
    "It lies across the road \"top track\": move it.",
    "It holds 6.7 m³ of the 7.2 m³ that come to it in the design storm; what does not soak in "
    "meanwhile spills.",
    "Full, it stands about 8 days at 1.3 mm/h; water that stands longer breeds mosquitoes.",
    "Its catchment reaches the edge of ground.tif, and water from beyond would cross 0.25 ha.",
    "Set the trunk on a mound above the water.",
    "Keep mulch a hand's width off the bark.",
    "Have buried pipes and cables located before digging; the locating service marks no private "
    "lines."]


def test_what_may_kill_comes_first_and_general_advice_last():
    assert by_gravity(reversed(ORDER)) == tuple(ORDER)
    assert all(gravity(a) < gravity(b) for a, b in itertools.pairwise(ORDER))


@pytest.mark.parametrize("said", [
    "At the design peak 0.03 m stands on the spillway and 0.27 m of bank is left above it; 0.30 m "
    "is asked for.",
    "At the design peak the water leaves 0.10 m of berm above it; 0.15 m is asked for.",
    "At the design peak the water stands 0.02 m over the berm's settled crest; 0.15 m is asked "
    "for."])
def test_too_little_bank_above_the_design_peak_is_dangerous(said):
    assert is_grave(said)
    assert is_grave("It is 1.60 m deep: have its sides sloped or shored while people are in it.")
    assert not is_grave("The design peak stands 0.30 m deep in it, and only 0.05 m of its side is "
                        "left above it; 0.09 m is asked for: make it deeper or wider.")  # a drain


def test_cautions_of_one_gravity_stay_as_they_came():
    pair = ["Nobody thought of this.", "Nor of that."]
    assert by_gravity([ORDER[-1], *pair, ORDER[0]]) == (ORDER[0], *pair, ORDER[-1])
