"""What CI finds in the README; every command it shows a newcomer is run in `test_demo.py`."""

from __future__ import annotations

from pathlib import Path

HOUSE = Path(__file__).resolve().parents[1]


def test_the_two_commands_are_marked_for_ci():
    page = (HOUSE / "README.md").read_text()
    for mark in ("command: plan the demo", "command: run the tests"):
        assert f"<!-- {mark} -->\n```sh\n" in page
