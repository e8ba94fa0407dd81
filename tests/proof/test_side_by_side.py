"""Runs beside one another: order, failure, stop.  What must be so needs no source."""

from __future__ import annotations

import threading
import time

import pytest

from terrain.proof.side_by_side import side_by_side


def _job(answer, seconds=0.0):
    def run(threads, reached):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            reached(1800.0, 7200.0)
            time.sleep(0.01)
        return answer, threads
    return run


def test_answers_come_in_order_and_cores_are_shared_out():
    found = side_by_side({"slow": _job(1, 0.3), "quick": _job(2)}, 4, lambda what: None)
    assert found == [(1, 2), (2, 2)]
    assert side_by_side({"alone": _job(3)}, 4, lambda what: None) == [(3, 4)]
    assert side_by_side({"a": _job(1), "b": _job(2)}, 1, lambda what: None) == [(1, 1), (2, 1)]


def test_it_is_told_how_far_each_is():
    said = []
    side_by_side({"with the works": _job(1, 0.6), "without them": _job(2, 0.6)}, 2, said.append)
    assert "Flooding the ground with the works 0.5, without them 0.5 of 2.0 hours" in said


def test_a_run_that_fails_stops_the_others():
    def fails(threads, reached):
        raise ValueError("no ground")
    begun = time.monotonic()
    with pytest.raises(ValueError, match="no ground"):
        side_by_side({"long": _job(1, 30.0), "fails": fails}, 2, lambda what: None)
    assert time.monotonic() - begun < 5


def test_what_progress_raises_stops_all_runs():
    def stop(what):
        raise KeyboardInterrupt
    begun, before = time.monotonic(), threading.active_count()
    with pytest.raises(KeyboardInterrupt):
        side_by_side({"a": _job(1, 30.0), "b": _job(2, 30.0)}, 2, stop)
    assert time.monotonic() - begun < 5
    assert threading.active_count() == before
