"""Every levelsill command that the README shows a newcomer, in order, word for word."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[1]


def test_the_tour(levelsill, tmp_path):
    shutil.copytree(HOUSE / "demo_dem", tmp_path / "demo_dem",
                    ignore=shutil.ignore_patterns("plan"))
    blocks = re.findall(r"```sh\n(.*?)```", (HOUSE / "README.md").read_text(), re.DOTALL)
    commands = [line for block in blocks for line in block.splitlines()
                if line.startswith("levelsill ")]
    assert len(commands) >= 8
    for command in commands:
        ran = levelsill(*shlex.split(command)[1:], folder=tmp_path)
        assert ran.code == 0, f"{command}: {ran.err}"
        assert ran.out
    assert (tmp_path / "ground.png").is_file()
    assert (tmp_path / "quailstone" / "plan" / "report.html").is_file()


def test_the_two_commands_are_marked_for_ci():
    page = (HOUSE / "README.md").read_text()
    for mark in ("command: plan the demo", "command: run the tests"):
        assert f"<!-- {mark} -->\n```sh\n" in page
