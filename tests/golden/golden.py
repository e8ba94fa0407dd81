"""Headline numbers of the demo, and how a change of any is acknowledged.

    python tests/golden/golden.py --because "walls are counted to their toe"

`demo.csv` holds each number, where it stands in plan.json, and what it is.  The last word of
docs/CHANGELOG.md on them names the file's digest, so neither can change without the other; this
command plans the demo, writes both, and wants a reason.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import json
import re
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

HOUSE = Path(__file__).resolve().parents[2]
TABLE, CHANGES = Path(__file__).with_name("demo.csv"), HOUSE / "docs" / "CHANGELOG.md"
HEADS = ("name", "where", "value", "what it is")
#: How the change log speaks of them.
STATED = re.compile(r"Headline numbers of the demo \(`([0-9a-f]{12})`\)")
#: A reason has at least so many words, and a line of the change log at most so many letters.
LEAST_WORDS, WIDTH = 3, 110


@dataclass(frozen=True)
class Golden:
    """A headline number.

    Attributes
    ----------
    name, what : str
        What to call it, with its unit, and what it is.
    where : str
        Keys and names of plan.json that lead to it, `/` between.
    value : str
        To seven figures, beyond which it is nobody's business.
    """

    name: str
    where: str
    value: str
    what: str

    def found(self, plan: dict[str, Any]) -> str:
        """What a plan gives for it, "none" where it has no such number."""
        here: Any = plan
        for part in self.where.split("/"):
            if isinstance(here, list):
                here = (here[int(part)] if part.isdigit() and int(part) < len(here) else next(
                    (one for one in here if one["name"] == part), None))
            else:
                here = here.get(part) if isinstance(here, dict) else None
        if isinstance(here, list):
            return str(len(here))
        return "none" if here is None else f"{here:.7g}"


def read(table: Path = TABLE) -> list[Golden]:
    with open(table, encoding="utf-8", newline="") as stream:
        return [Golden(*(row[head] for head in HEADS)) for row in csv.DictReader(stream)]


def write(numbers: Sequence[Golden], table: Path = TABLE) -> None:
    with open(table, "w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(HEADS)
        writer.writerows((one.name, one.where, one.value, one.what) for one in numbers)


def digest(numbers: Sequence[Golden]) -> str:
    """Twelve letters that stand for all numbers."""
    told = "".join(f"{one.where} {one.value}\n" for one in numbers)
    return hashlib.sha256(told.encode()).hexdigest()[:12]


def stated(text: str) -> str | None:
    """The digest that a change log names last: sections stand newest first, lines oldest first."""
    for section in re.split(r"^## ", text, flags=re.MULTILINE)[1:]:
        found = STATED.findall(" ".join(section.split()))
        if found:
            return str(found[-1])
    return None


def changes(plan: dict[str, Any], numbers: Sequence[Golden]) -> list[str]:
    """Each number that a plan gives otherwise."""
    return [f"{one.name} from {one.value} to {one.found(plan)}" for one in numbers
            if one.found(plan) != one.value]


def renew(plan: dict[str, Any], because: str, table: Path = TABLE, log: Path = CHANGES) -> str:
    """Write a plan's numbers down, and the line that acknowledges them; give that line.

    Raises
    ------
    ValueError
        Without a reason, or where nothing is to be acknowledged.
    """
    if len(because.split()) < LEAST_WORDS:
        raise ValueError("say in a few words why the numbers changed (--because)")
    numbers, text = read(table), log.read_text(encoding="utf-8")
    changed = changes(plan, numbers)
    new = [replace(one, value=one.found(plan)) for one in numbers]
    if stated(text) == digest(new):
        raise ValueError("no headline number has changed")
    line = (f"- Headline numbers of the demo (`{digest(new)}`): "
            f"{'; '.join(changed) or 'other numbers are kept'}, because {because.rstrip('.')}.")
    told = textwrap.fill(line, WIDTH, subsequent_indent="  ", break_long_words=False,
                         break_on_hyphens=False)
    head, newest, *older = re.split(r"^(?=## )", text, flags=re.MULTILINE)
    log.write_text("".join([head, newest.rstrip("\n"), "\n", told, "\n",
                            *(["\n"] if older else []), *older]), encoding="utf-8")
    write(new, table)
    return told


def main(words: Sequence[str]) -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--because", required=True, metavar="REASON")
    asked.add_argument("--plan", type=Path, metavar="PLAN.JSON",
                       help="the demo's, if it is made already")
    given = asked.parse_args(words)
    if given.plan is None:
        from terrain.outputs.data.plan_json import plan_object
        from terrain.plan.plan import make_plan

        plan = plan_object(make_plan(HOUSE / "demo_dem" / "site.yaml"))
    else:
        plan = json.loads(given.plan.read_text(encoding="utf-8"))
    try:
        print(renew(plan, given.because))
    except ValueError as error:
        print(f"Nothing was written: {error}.", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
