"""Write the tables of docs/accuracy.md anew, each figure computed now.

Run:  .venv/bin/python tests/accuracy/page.py [group ...]

All groups if none is named; it takes about a minute.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "published"))

from accuracy import check, floods, ground, rain, works

PAGE = Path(__file__).resolve().parents[2] / "docs" / "accuracy.md"
BLOCK = re.compile(r"(<!-- checks: ([\w, ]+) -->\n).*?(<!-- end of checks -->)", re.DOTALL)
HEAD = ("| what | from | figures | theirs | ours | off by | may be off by |\n"
        "| --- | --- | --- | --- | --- | --- | --- |\n")
GROUPS: dict[str, Callable[[], list[check.Check]]] = {
    "Runoff": rain.runoff, "Travel time and peaks": rain.peaks, "Terrain": ground.terrain,
    "Flow over the ground": ground.flow, "Channels and pipes": works.channels,
    "Basins and spillways": works.basins, "Earth": works.earth, "Soaking": works.soaking,
    "Roofs, tanks and trees": works.tanks, "Evapotranspiration": rain.evapotranspiration,
    "Statistics of rain": rain.statistics, "Flood": floods.flood}


def _figure(value: float | None) -> str:
    return "–" if value is None else f"{value:,.6g}"


def _off(value: float, one: check.Check) -> str:
    if value < check.LEAST_TOLD and one.unit != check.CELLS:
        return "under 0.001 %" if one.relative else "under 0.00001"
    size = value * (100 if one.relative else 1)
    number = f"{size:,.0f}" if size >= 100 else f"{size:.2g}"
    return f"{number} %" if one.relative else number


def row(one: check.Check) -> str:
    """A row of a table."""
    what = one.quantity + (f" [{one.unit}]" if one.unit else "")
    cells = [what + (f". {one.note[0].upper()}{one.note[1:]}" if one.note else ""), one.source,
             f"{one.count:,}" if one.count else "mean", _figure(one.published),
             _figure(one.ours), _off(one.error, one), _off(one.within, one)]
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"


def table(group: str) -> str:
    """A group's table, computed now."""
    return HEAD + "".join(map(row, GROUPS[group]()))


def told(page: str, group: str) -> str:
    """A group's table as the page has it."""
    return next(found.group() for found in BLOCK.finditer(page) if found.group(2) == group)


def written(page: str, groups: list[str]) -> str:
    """The page with the tables of these groups computed now."""
    return BLOCK.sub(lambda found: found.group() if found.group(2) not in groups else (
        f"{found.group(1)}\n{table(found.group(2))}\n{found.group(3)}"), page)


def main() -> None:
    groups = sys.argv[1:] or list(GROUPS)
    if strange := [group for group in groups if group not in GROUPS]:
        sys.exit(f"There is no group {strange[0]!r}; there are {', '.join(GROUPS)}.")
    PAGE.write_text(written(PAGE.read_text(encoding="utf-8"), groups), encoding="utf-8")


if __name__ == "__main__":
    main()
