"""docs/plan-json.md describes every key of the plans at hand, with its unit, and no other."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from terrain.outputs.data.plan_json import plan_object

HOUSE = Path(__file__).resolve().parents[3]
PAGE = (HOUSE / "docs" / "plan-json.md").read_text(encoding="utf-8").partition(
    "\n# Answers of the quick commands")[0]
#: Objects whose keys are names of storms, years, uses or files, or those of GeoJSON (RFC 7946).
BY_NAME = {"storms", "storm_levels", "over_m3", "caught_range", "inputs", "years",
           "share_met_by_use", "share_met_by_month"}
GEOJSON = {"type", "coordinates", "geometry", "properties"}
#: Ends of keys that say what a figure is in.
UNIT = re.compile(r"_(m3|m2|m|mm|h|m3_s|m_s|mm_h|m3_year|m3_day|days?|share|years|money)(_|$)")


def told(page: str) -> set[str]:
    """Words that the page gives as code: keys, alone or within a path."""
    return {word for code in re.findall(r"`([^`]+)`", page)
            for word in re.findall(r"\w+", code.replace(".NAME", "").replace(".KIND", ""))}


def figures(node, within="", by_name=False):
    """Every key of an object that is no name, and whether it holds a figure."""
    if isinstance(node, dict):
        for key, value in node.items():
            if not by_name and key not in GEOJSON:
                yield key, isinstance(value, int | float) and not isinstance(value, bool)
            inner = within if by_name else key
            yield from figures(value, inner, key in BY_NAME and isinstance(value, dict)
                               and not by_name)
    elif isinstance(node, list):
        for value in node:
            yield from figures(value, within)


def literal_keys() -> set[str]:
    """Keys that `terrain/outputs/data/` writes, and names of what is doubted, which are keys."""
    found: set[str] = set()
    for folder in ("outputs/data", "plan/doubt"):
        for path in (HOUSE / "terrain" / folder).glob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Constant) and isinstance(node.value, str):
                    found.add(node.value)
                elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                    found.add(node.target.id)
    return found


@pytest.fixture(scope="module")
def keys(small_plan, demo_plan):
    return [pair for plan in (small_plan, demo_plan) for pair in figures(plan_object(plan))]


def test_every_key_is_told(keys):
    page = told(PAGE)
    assert len({key for key, _ in keys}) > 250
    assert not sorted({key for key, _ in keys} - page)


def test_every_figure_has_a_unit_in_its_key_or_in_the_table(keys):
    table = told(PAGE.partition("## Figures without a unit")[2].partition("## Top")[0])
    assert not sorted({key for key, figure in keys if figure and not UNIT.search(key)} - table)


def test_every_key_that_is_told_exists(keys):
    """In the plans at hand, or, of works that neither has, in what writes them."""
    written = {key for key, _ in keys} | literal_keys()
    heads = re.findall(r"^\| ((?:`[^`]+`(?:, )?)+) \|", PAGE, re.MULTILINE)
    first = {word for head in heads for word in told(head)}
    with_unit = {word for word in told(PAGE) if "_" in word}
    assert len(first | with_unit) > 250
    made = re.compile(r"_(m2|m3)$")  # ranges of doubt have their unit put to them
    assert not sorted(word for word in (first | with_unit) - written
                      if not {made.sub("", word), word.replace("_", " ")} & written)
