"""The reference pages say what the schema and the programs' outputs hold, and nothing else."""

from __future__ import annotations

import ast
import importlib.util
import re
import sys
from collections import Counter
from pathlib import Path

import pytest
from pydantic import BaseModel

from terrain.inputs.fields import Length, Part
from terrain.inputs.site import Runoff

DOCS = Path(__file__).resolve().parents[1] / "docs"


def loaded(name: str):
    """A program that stands among the pages."""
    spec = importlib.util.spec_from_file_location(f"docs_{name}", DOCS / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look themselves up there
    spec.loader.exec_module(module)
    return module


generate = loaded("generate")


def read(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", generate.PAGES)
def test_tables_of_fields_are_as_the_schema_has_them(name):
    assert read(name) == generate.written(read(name), generate.PAGES[name]), (
        "run python docs/generate.py")


def test_a_table_that_tells_something_else_is_written_anew():
    page = read("site-file.md")
    told = "| `peak factor` | number, from 100, up to 600 | 484 |"
    assert told in page
    assert generate.written(page.replace(told, "| `peak factor` | number | 500 |"),
                            generate.PAGES["site-file.md"]) == page


def test_every_part_of_a_file_is_told_once():
    site, district = (list(generate.kinds_told(read(name))) for name in generate.PAGES)
    wanted = {name: set(generate.kinds_of(file)) for name, file in generate.PAGES.items()}
    assert set(site) == wanted["site-file.md"]
    assert set(site) | set(district) == wanted["site-file.md"] | wanted["district.md"]
    assert max(Counter(site + district).values()) == 1
    assert len(site) > 25


@pytest.mark.parametrize("kind", dict.fromkeys(
    kind for file in generate.PAGES.values() for kind in generate.kinds_of(file).values()),
    ids=lambda kind: kind.__name__)
def test_every_field_says_what_it_is(kind: type[BaseModel]):
    told = generate.described(kind)
    assert list(told) == generate.declared(kind)
    for name, words in told.items():
        first = words.partition("\nLeft out: ")[0]
        assert len(first) > 4, name
        assert first.endswith((".", ".)")), name
        assert first[0].isupper() or first[0] == "`", name


class Trough(Part):
    """A part that no page tells of."""

    depth: Length
    """Of its water."""
    lip: Length = 0.2
    """Above it.
    Left out: it has none."""
    name: str | None = None


def test_a_field_that_nothing_describes_is_refused():
    with pytest.raises(KeyError, match="name"):
        generate.row(Trough, "name", generate.described(Trough)["name"])


def test_what_counts_when_a_field_is_left_out_is_said_once():
    told = generate.described(Trough)
    assert generate.row(Trough, "depth", told["depth"]) == (
        "| `depth` | length (m; ft), above 0 | **needed** | Of its water. |\n")
    with pytest.raises(ValueError, match=r"the schema says 0\.2, and the docstring: it has none"):
        generate.row(Trough, "lip", told["lip"])
    assert "| 20,000 m² |" in generate.row(Runoff, "channel_from", "Of it.")


def test_the_performance_page_names_every_benchmark_and_no_other():
    named = set(re.findall(r"(\w+)\.py", read("performance.md")))
    assert named == {path.stem for path in (DOCS.parent / "tests" / "benchmarks").glob("*.py")}


@pytest.mark.parametrize(("module", "page"), [
    ("asbuilt/asbuilt_json", "asbuilt.md"), ("proof/proof_json", "prove.md"),
    ("district/district_json", "district.md"), ("district/site_plans", "district.md")])
def test_every_key_that_a_program_reads_is_told(module: str, page: str):
    """plan.json has a test of its own, answers of the quick commands too."""
    source = (DOCS.parent / "terrain" / "outputs" / f"{module}.py").read_text(encoding="utf-8")
    keys = {key.value for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Dict)
            for key in node.keys if isinstance(key, ast.Constant) and key.value.isascii()}
    prose = re.sub(r"^```.*?^```", "", read(page), flags=re.MULTILINE | re.DOTALL)
    told = set(re.findall(r"\w+", " ".join(re.findall(r"`([^`\n]+)`", prose))))
    assert len(keys) > 15
    assert not keys - told
