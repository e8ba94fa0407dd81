"""Headline numbers change only with a word in the change log."""

from __future__ import annotations

import json
import shutil

import pytest
from golden import CHANGES, TABLE, changes, digest, main, read, renew, stated


def test_the_change_log_names_the_golden_numbers():
    assert stated(CHANGES.read_text(encoding="utf-8")) == digest(read()), (
        "tests/golden/demo.csv and docs/CHANGELOG.md do not agree: acknowledge new numbers with "
        "python tests/golden/golden.py --because REASON")


def test_every_number_is_explained_in_a_line():
    numbers = read()
    assert len(numbers) >= 15
    for one in numbers:
        assert len(one.what.split()) >= 5, one.name
        assert one.what.endswith("."), one.name
    assert TABLE.stat().st_size < 5000


@pytest.fixture
def copies(tmp_path):
    """The table, a change log of two sections, and a plan in which one number is another."""
    table, log = tmp_path / "demo.csv", tmp_path / "CHANGELOG.md"
    shutil.copy(TABLE, table)
    numbers = read()
    log.write_text(f"# Changes\n\n## Not yet released\n\n- Headline numbers of the demo\n"
                   f"  (`{digest(numbers)}`): first.\n\n## 0.1\n\n- Headline numbers of the demo "
                   "(`000000000000`): old.\n")
    plan: dict = {}
    for one in numbers:
        *way, last = one.where.split("/")
        here = plan
        for part in way:
            here = here.setdefault(part, {})
        here[last] = float(one.value)
    return table, log, plan


def test_a_change_is_written_with_its_reason(copies):
    table, log, plan = copies
    assert changes(plan, read(table)) == []
    plan["boundary_m2"] *= 1.001
    [change] = changes(plan, read(table))
    renew(plan, "the boundary was surveyed anew", table, log)
    assert changes(plan, read(table)) == []
    newest, older = log.read_text().split("\n## 0.1\n")
    told = " ".join(newest.split())
    assert f"{change}, because the boundary was surveyed anew." in told
    assert stated(log.read_text()) == digest(read(table)) != digest(read())
    assert older.endswith("old.\n")
    assert max(map(len, newest.split("\n"))) <= 110


@pytest.mark.parametrize("reason", ["", "rounding", "no reason"])
def test_without_a_reason_nothing_is_written(copies, reason):
    table, log, plan = copies
    before = table.read_bytes(), log.read_bytes()
    plan["boundary_m2"] = 1.0
    with pytest.raises(ValueError, match="say in a few words why"):
        renew(plan, reason, table, log)
    with pytest.raises(ValueError, match="no headline number"):
        renew({**plan, "boundary_m2": float(read()[0].value)}, "there is a good reason", table, log)
    assert (table.read_bytes(), log.read_bytes()) == before


def test_the_command_wants_a_reason(tmp_path, capsys):
    (tmp_path / "plan.json").write_text(json.dumps({}))
    with pytest.raises(SystemExit):
        main([])
    assert main(["--because", "none", "--plan", str(tmp_path / "plan.json")]) == 2
    assert "Nothing was written" in capsys.readouterr().err
