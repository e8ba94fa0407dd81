"""The house stands straight: imports run downhill, nothing strays, the docs tell the truth."""

from __future__ import annotations

import ast
import importlib.metadata
import re
import subprocess
import sys
import tomllib
from collections import Counter
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
    ("lint-imports", []), ("ruff", ["check", "."]),
    pytest.param("mypy", [], marks=pytest.mark.slow)])  # a minute; CI runs it by itself
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


#: Whole methods, with a published source each, that no command takes; checks stand on them.
FOR_CHECKS = {
    "infiltration_rate",  # Green and Ampt under a steady rain, beside what the flood soaks away
    "depth_under_rain",   # the same
    "infiltrate",         # the same, through a storm
    "channel_curve",      # a store of a plain shape
    "designed_dem",       # the ground as dug, as a raster
    "draw_sheet",         # one sheet by itself
    "FileValues",         # a raster in a file of NumPy's, for tiles
}


def test_nothing_stands_unused():
    """What is said once in all of the code, where it is made, does nothing."""
    said, made = Counter(), []
    for room in (HOUSE / "terrain", HOUSE / "cli"):
        for path in room.rglob("*"):
            if path.suffix in (".py", ".html", ".js"):
                text = path.read_text(encoding="utf-8")
                said.update(re.findall(r"\w+", text))
                if path.suffix == ".py":
                    made += re.findall(r"(?<!register)\n(?:async )?(?:def|class) (\w+)", text)
    assert len(made) > 2000
    assert {name for name in made if said[name] == 1} == FOR_CHECKS


def test_whatever_is_opened_as_text_says_in_which_letters():
    """Windows takes others than UTF-8 where none are named."""
    bare, seen = [], 0
    for room in (HOUSE / "terrain", HOUSE / "cli", HOUSE / "demo_dem"):
        for path in room.rglob("*.py"):
            for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if not isinstance(call, ast.Call):
                    continue
                name = getattr(call.func, "attr", getattr(call.func, "id", ""))
                named = {word.arg for word in call.keywords}
                kinds = [value.value for value in (
                    *call.args[:2], *(word.value for word in call.keywords if word.arg == "mode"))
                    if isinstance(value, ast.Constant) and isinstance(value.value, str)]
                text = ((name == "read_text" and not call.args)
                        or (name == "write_text" and len(call.args) == 1)
                        or (isinstance(call.func, ast.Name) and name == "open"
                        and not any("b" in kind for kind in kinds))
                        or (name in ("run", "Popen", "check_output") and "text" in named))
                seen += text
                if text and "encoding" not in named:
                    bare.append(f"{path.relative_to(HOUSE)}:{call.lineno}")
    assert seen > 30
    assert not bare


def requirements() -> set[str]:
    """What levelsill needs at run time, as its pyproject.toml names it."""
    project = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return {re.split(r"[^\w.-]", one)[0].lower() for one in project["dependencies"]}


def test_the_licence_of_every_requirement_is_told():
    page = (HOUSE / "docs" / "licences.md").read_text(encoding="utf-8").lower()
    assert len(requirements()) > 20
    for name in requirements():
        assert f"| {name} |" in page, name


def test_every_requirement_says_what_for():
    """One line each: what it is for, and why that bound where one is known."""
    text = (HOUSE / "pyproject.toml").read_text(encoding="utf-8")
    for name in requirements():
        assert re.search(rf'^    "{re.escape(name)}[><=~].*",\s+# \w', text,
                         re.MULTILINE | re.IGNORECASE), name


def test_nothing_else_at_the_top_level():
    ignored = [line.strip("/") for line in (HOUSE / ".gitignore").read_text("utf-8").split()]
    found = {path.name for path in HOUSE.iterdir() if not path.name.startswith(".")
             and not any(fnmatch(path.name, pattern) for pattern in ignored)}
    assert found == TOP


def test_demo_folder_is_small():
    size = sum(f.stat().st_size for f in (HOUSE / "demo_dem").iterdir() if f.is_file())
    assert size < 6_000_000


def test_every_class_of_cover_is_documented():
    from terrain.runoff.cover import published_classes

    page = (HOUSE / "docs" / "site-file.md").read_text(encoding="utf-8")
    for name in published_classes():
        assert f"| `{name}` |" in page


def test_every_command_is_in_the_readme():
    from cli.main import COMMANDS

    page = (HOUSE / "README.md").read_text(encoding="utf-8")
    for name in COMMANDS:
        assert f"levelsill {name} " in page


def test_links_and_pictures_in_the_pages_exist():
    for page in [*HOUSE.glob("*.md"), *(HOUSE / "docs").glob("*.md"),
                 *(HOUSE / "demo_dem").glob("*.md")]:
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.name} points to {target}"


def test_modules_the_methods_page_names_exist():
    page = (HOUSE / "docs" / "methods.md").read_text(encoding="utf-8")
    named = re.findall(r"`(\w+/\w+\.py)`", page)
    assert len(named) > 8
    for module in named:
        assert (HOUSE / "terrain" / module).is_file(), module


def keys_of(answer) -> set[str]:
    """The keys at every depth; those of GeoJSON and names of classes of slope are no keys."""
    if isinstance(answer, list):
        return set().union(*map(keys_of, answer))
    if not isinstance(answer, dict):
        return set()
    return set(answer).union(*(keys_of(value) for key, value in answer.items()
                               if key not in ("line", "spill_path", "slope_shares")))


@pytest.mark.parametrize(("command", "words"), [
    ("survey", []), ("rain", []), ("soak", ["--texture", "loam", "--depth", "0.3m"]),
    ("shed", ["--at", "512399.5,6430314.5", "--storm", "30mm", "--cn", "80"]),
    ("swale", ["--through", "512431,6430136", "--storm", "30mm", "--cn", "80"]),
    ("basin", ["--wall", "512590.5,6430147", "512569.5,6430142", "--crest", "1193.13m"])])
def test_every_key_of_an_answer_is_documented(levelsill, command, words):
    page = (HOUSE / "docs" / "plan-json.md").read_text(encoding="utf-8")
    file = "rain_daily.csv" if command == "rain" else "ground.tif"
    given = [] if command == "soak" else [HOUSE / "demo_dem" / file]
    answer = levelsill(command, *given, *words, "--json").json()
    for key in keys_of(answer):
        assert f"`{key}" in page, key
