"""The house stands straight: imports run downhill, nothing strays, the docs tell the truth."""

from __future__ import annotations

import importlib.metadata
import re
import subprocess
import sys
from fnmatch import fnmatch
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parents[1]
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "terrain", "cli", "tests", "demo_dem",
       "docs"}


def tool(name: str, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([Path(sys.executable).parent / name, *words], cwd=HOUSE,
                          capture_output=True, text=True, check=False)


@pytest.mark.parametrize(("name", "words"), [
    ("lint-imports", []), ("ruff", ["check", "."]), ("mypy", [])])
def test_imports_run_downhill_and_the_code_is_clean(name, words):
    done = tool(name, *words)
    assert done.returncode == 0, done.stdout + done.stderr


def test_terrain_and_cli_are_this_projects():
    """Both names are generic: make sure that they load from levelsill's own installation."""
    import cli
    import terrain

    owners = importlib.metadata.packages_distributions()
    places = {Path(module.__file__).parent.parent for module in (cli, terrain)}
    assert len(places) == 1
    if places != {HOUSE}:  # an editable installation names no packages
        assert owners["terrain"] == owners["cli"] == ["levelsill"]
    assert importlib.metadata.version("levelsill") == terrain.__version__


def test_nothing_else_at_the_top_level():
    ignored = [line.strip("/") for line in (HOUSE / ".gitignore").read_text().split()]
    found = {path.name for path in HOUSE.iterdir() if not path.name.startswith(".")
             and not any(fnmatch(path.name, pattern) for pattern in ignored)}
    assert found == TOP


def test_demo_folder_is_small():
    size = sum(f.stat().st_size for f in (HOUSE / "demo_dem").iterdir() if f.is_file())
    assert size < 6_000_000


def test_every_field_of_the_site_file_is_documented():
    from terrain.inputs.described import parts_of
    from terrain.inputs.district import District
    from terrain.inputs.site import Site

    page = (HOUSE / "docs" / "site-file.md").read_text()
    for kind, pages in ((Site, page), (District, page + (HOUSE / District.PAGE).read_text())):
        parts = parts_of(kind)
        assert len(parts) > 20
        for part in parts:
            for field in part.model_fields:
                assert f"`{field.replace('_', ' ')}" in pages, f"{part.__name__}.{field}"


def test_every_class_of_cover_is_documented():
    from terrain.runoff.cover import published_classes

    page = (HOUSE / "docs" / "site-file.md").read_text()
    for name in published_classes():
        assert f"| `{name}` |" in page


def test_every_command_is_in_the_readme():
    from cli.main import COMMANDS

    page = (HOUSE / "README.md").read_text()
    for name in COMMANDS:
        assert f"levelsill {name} " in page


def test_links_and_pictures_in_the_pages_exist():
    for page in [*HOUSE.glob("*.md"), *(HOUSE / "docs").glob("*.md"),
                 *(HOUSE / "demo_dem").glob("*.md")]:
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text()):
            assert (page.parent / target).exists(), f"{page.name} points to {target}"


def test_modules_the_methods_page_names_exist():
    page = (HOUSE / "docs" / "methods.md").read_text()
    named = re.findall(r"`(\w+/\w+\.py)`", page)
    assert len(named) > 8
    for module in named:
        assert (HOUSE / "terrain" / module).is_file(), module


@pytest.mark.parametrize(("command", "words"), [
    ("survey", []), ("rain", []), ("soak", ["--texture", "loam", "--depth", "0.3m"]),
    ("shed", ["--at", "512399.5,6430314.5", "--storm", "30mm", "--cn", "80"]),
    ("swale", ["--through", "512431,6430136", "--storm", "30mm", "--cn", "80"]),
    ("basin", ["--wall", "512590.5,6430147", "512569.5,6430142", "--crest", "1193.13m"])])
def test_every_key_of_an_answer_is_documented(levelsill, command, words):
    page = (HOUSE / "docs" / "plan-json.md").read_text()
    file = "rain_daily.csv" if command == "rain" else "ground.tif"
    given = [] if command == "soak" else [HOUSE / "demo_dem" / file]
    answer = levelsill(command, *given, *words, "--json").json()
    for key in answer:
        assert f"`{key}" in page, key
