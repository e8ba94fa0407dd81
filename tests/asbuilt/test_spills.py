"""Where water first leaves, and how it flows over an uneven lip, in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from terrain.asbuilt.spills import Lip, first_spill, sill_as_built
from terrain.works.sill import Sill, head_for_flow


def lip(line, at, level):
    at, level = np.asarray(at, float), np.asarray(level, float)
    zero = np.zeros(len(at))
    return Lip((line,), zero.astype(int), at, at, zero, level, zero, np.gradient(at), (True,))


@pytest.fixture
def sill_line(surveys):
    return surveys.line("east swale", "sill")


def test_a_level_lip_with_one_low_point_spills_there_and_at_that_level(sill_line):
    at = np.linspace(0.0, 4.0, 41)
    found = first_spill(lip(sill_line, at, np.where(at == at[13], 9.98, 10.0)))
    assert found.level == 9.98
    assert found.station == at[13]


def test_a_level_lip_stays_the_sill_that_it_is(sill_line):
    designed = Sill(10.0, 4.0, head_for_flow(0.2, 4.0), 0.2, 1.7)
    at = np.linspace(0.0, 4.0, 401)
    level = lip(sill_line, at, np.full(401, 10.0))
    object.__setattr__(level, "width", level.width * 4.0 / level.width.sum())
    built = sill_as_built(designed, level)
    assert built.length == pytest.approx(4.0, rel=1e-6)
    assert built.head == pytest.approx(designed.head, rel=1e-6)


def test_flow_over_a_lip_that_rises_from_its_middle(sill_line):
    """z = s |x|: Q = C integral (H - s |x|)^1.5 dx = 2 C H^2.5 / (2.5 s)."""
    s, head, coefficient = 0.05, 0.08, 1.7
    at = np.linspace(-2.0, 2.0, 8001)
    found = lip(sill_line, at, 10 + s * np.abs(at))
    flow = 2 * coefficient * head**2.5 / (2.5 * s)
    assert found.head_for(flow, coefficient) == pytest.approx(head, rel=1e-4)


def test_a_sill_high_at_one_end_stands_deeper_at_the_other(sill_line):
    """The low end carries what the high end does not."""
    designed = Sill(10.0, 4.0, head_for_flow(0.1, 4.0), 0.1, 1.7)
    at = np.linspace(0.0, 4.0, 401)
    built = sill_as_built(designed, lip(sill_line, at, 10 + 0.005 * at))
    assert built.level == 10.0
    assert built.head > designed.head
    assert built.length < 4.0
