"""The documentation: its commands run, its answers are those printed now, its links lead on.

A page is plain Markdown.  What is run of it stands in blocks marked `sh`.  A block marked `text`
straight after one is held against what the command printed, line for line; a line of `...` stands
for lines left out.  Comments that nobody sees on the page say the rest, before a block:

`<!-- file: NAME -->`
    the block is the text of that file, which is written here as a reader would;
`<!-- from: NAME -->`
    the lines of the block, or of a table, stand in that file, which a command made, in this order,
    `...` for what is left out;
`<!-- refused -->`
    the command is refused, and the answer is its message;
`<!-- change: NAME: OLD -> NEW -->`
    without a block: the reader makes that change in a file.

Quick commands run with all tests.  Commands that take long (HEAVY) run with `pytest -m slow`.
"""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from itertools import chain
from pathlib import Path

import click
import pypdfium2
import pytest

from cli.main import levelsill as tool

HOUSE = Path(__file__).resolve().parents[1]
DOCS = sorted(page for page in (HOUSE / "docs").rglob("*.md") if "_build" not in page.parts)
PAGES = [HOUSE / "README.md", HOUSE / "DEVELOPERS.md", *DOCS]
NAMES = [page.relative_to(HOUSE).as_posix() for page in PAGES]

#: Commands of levelsill that take seconds to minutes.
HEAVY = {"plan", "prove", "suggest", "asbuilt", "district"}

#: Commands that no test runs, by how they begin, and why.
NOT_RUN = {
    "python3 -m venv ": "makes an environment: CI runs README's two commands word for word",
    ".venv/bin/pip install ": "installs: as the line above",
    "pipx install ": "installs for a person, outside any test's folder",
    "levelsill bench ": "serves a page until it is stopped; test_demo.py starts and stops it",
    "sphinx-build ": "the test of the build below runs it, into another folder",
}

#: Links that leave this folder.  None is fetched here, as the tests need no network.
ELSEWHERE: set[str] = set()


@dataclass
class Step:
    """What a page asks for: `kind` is run, refused, printed, file, from or change."""

    kind: str
    text: str
    line: int
    about: str = ""


@dataclass
class Desk:
    """A folder with the demo in it, and what commands did there."""

    folder: Path
    levelsill: object
    ran: dict[tuple[str, ...], object] = field(default_factory=dict)

    def run(self, command: str, changes: list[str]) -> object:
        """Run a command once, however many pages show it; again once a file was changed."""
        key = (command, *changes)
        if key not in self.ran:
            self.ran[key] = self.levelsill(*shlex.split(command)[1:], folder=self.folder)
        return self.ran[key]


def steps_of(page: Path) -> list[Step]:
    """What a page asks for, in its order."""
    found: list[Step] = []
    said, about, after_run = "", "", False
    lines = iter(enumerate(page.read_text(encoding="utf-8").splitlines(), 1))
    for number, line in lines:
        comment = re.fullmatch(r"<!-- (file|from|refused|change)(?:: (.*))? -->", line)
        fence = re.fullmatch(r"```([\w{}-]*)", line)
        if comment and comment[1] == "change":
            found.append(Step("change", "", number, comment[2]))
        elif comment:
            said, about = comment[1], comment[2] or ""
        elif fence:
            text = "\n".join(_until_fence(lines))
            if fence[1] == "sh":
                found.append(Step(said or "run", text, number))
            elif said:
                found.append(Step(said, text, number, about))
            elif fence[1] == "text" and after_run:
                found.append(Step("printed", text, number))
            after_run = fence[1] == "sh"
            said = about = ""
        elif said == "from" and line.startswith("|"):
            found.append(Step(said, "\n".join(_rows(line, lines)), number, about))
            said = about = ""
            after_run = False
        elif line.strip():
            assert not said, f"{page.name} line {number}: a comment '{said}' without a block"
            after_run = False
    return found


def _until_fence(lines: Iterator[tuple[int, str]]) -> Iterator[str]:
    for _, line in lines:
        if line == "```":
            return
        yield line


def _rows(head: str, lines: Iterator[tuple[int, str]]) -> Iterator[str]:
    """The rows of a table, without the upright strokes between their cells."""
    for row in chain([head], (line for _, line in lines)):
        if not row.startswith("|"):
            return
        if not set(row) <= set("|-: "):
            yield row.replace("|", " ")


def commands_of(block: str) -> list[str]:
    """The commands of a block marked `sh`: its lines, those joined that end in a backslash."""
    return [line for line in re.sub(r"\\\n\s*", "", block).splitlines() if line.strip()]


def why_not_run(command: str) -> str | None:
    return next((why for start, why in NOT_RUN.items() if command.startswith(start)), None)


def is_heavy(command: str) -> bool:
    return shlex.split(command)[1] in HEAVY


STEPS = {name: steps_of(page) for name, page in zip(NAMES, PAGES, strict=True)}
COMMANDS = {name: [command for step in steps if step.kind in ("run", "refused")
                   for command in commands_of(step.text)] for name, steps in STEPS.items()}
#: README's commands are run by test_demo.py.
OWN = [name for name in NAMES if name != "README.md"
       and any(why_not_run(command) is None for command in COMMANDS[name])]


def test_every_command_is_run_or_is_known_to_be_none_for_a_test():
    for name, commands in COMMANDS.items():
        for command in commands:
            assert command.startswith("levelsill ") or why_not_run(command), f"{name}: {command}"


@pytest.fixture(scope="module")
def desks(levelsill, tmp_path_factory):
    """A folder for quick commands and one for all."""
    made = {}
    for pace in ("quick", "all"):
        folder = tmp_path_factory.mktemp(pace)
        shutil.copytree(HOUSE / "demo_dem", folder / "demo_dem", ignore=shutil.ignore_patterns(
            "plan", "suggest", "district", "district tiles"))
        made[pace] = Desk(folder, levelsill)
    return made


@pytest.mark.parametrize("name", [name for name in OWN if any(
    not is_heavy(command) for command in COMMANDS[name] if why_not_run(command) is None)])
def test_quick_commands_print_what_the_page_shows(desks, name):
    follow(desks["quick"], name, quick=True)


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("name", [name for name in OWN if any(
    is_heavy(command) for command in COMMANDS[name] if why_not_run(command) is None)])
def test_all_commands_print_what_the_page_shows(desks, name):
    follow(desks["all"], name, quick=False)


def follow(desk: Desk, name: str, quick: bool) -> None:
    """Do what a page says, as a reader would."""
    changes: list[str] = []
    printed: str | None = None
    for step in STEPS[name]:
        where = f"{name} line {step.line}"
        if step.kind == "file":
            target = desk.folder / step.about
            text = step.text + "\n"
            assert not target.exists() or target.read_text(encoding="utf-8") == text, (
                f"{where}: another page writes another {step.about}")
            target.write_text(text, encoding="utf-8")
        elif step.kind == "change":
            change(desk.folder, step.about, where)
            changes.append(step.about)
        elif step.kind in ("run", "refused"):
            commands = [command for command in commands_of(step.text)
                        if why_not_run(command) is None
                        and not (quick and is_heavy(command))]
            answers = [desk.run(command, changes) for command in commands]
            for command, ran in zip(commands, answers, strict=True):
                wanted = 2 if step.kind == "refused" else 0
                assert ran.code == wanted, f"{where}: {command}\n{ran.err}"
            printed = None if not answers else "".join(
                message_of(ran.err) if step.kind == "refused" else ran.out for ran in answers)
        elif step.kind == "printed" and printed is not None:
            wrong = misquoted(step.text.splitlines(), printed.splitlines())
            assert wrong is None, f"{where}: {wrong}\n\nprinted was\n{printed}"
        elif step.kind == "from" and not quick:
            wrong = not_in(step.text, words_of(desk.folder / step.about))
            assert wrong is None, f"{where}: '{wrong}' does not stand in {step.about}"


def change(folder: Path, told: str, where: str) -> None:
    name, _, what = told.partition(": ")
    old, _, new = what.partition(" -> ")
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{where}: '{old}' stands {text.count(old)} times in {name}"
    path.write_text(text.replace(old, new), encoding="utf-8")


def message_of(err: str) -> str:
    """The sentence in which a command refuses, without the progress before it."""
    return "".join(line + "\n" for line in err.splitlines() if line.startswith("levelsill: "))


def misquoted(shown: list[str], printed: list[str]) -> str | None:
    """What is wrong with lines quoted of what was printed; None if nothing is."""
    place, left_out = 0, False
    for line in shown:
        if line.strip() == "...":
            left_out = True
            continue
        rest = [text.rstrip() for text in printed[place:]]
        if left_out and line.rstrip() in rest:
            place += rest.index(line.rstrip())
        elif left_out or not rest or rest[0] != line.rstrip():
            return f"'{line}' is not printed there"
        place, left_out = place + 1, False
    if not left_out and place < len(printed):
        return f"'{printed[place]}' is printed too"
    return None


def test_a_wrong_quotation_is_found():
    printed = ["a  1", "b  2", "c  3"]
    assert misquoted(["a  1", "b  2", "c  3"], printed) is None
    assert misquoted(["...", "b  2", "..."], printed) is None
    for wrong in (["a  1"], ["b  2", "..."], ["a  1", "c  3"], ["...", "b  9", "..."],
                  ["...", "c  3", "b  2", "..."]):
        assert misquoted(wrong, printed) is not None
    assert not_in("a 1 ... 3", "a 1 b 2 c 3") is None
    assert not_in("c 3\na 1", "a 1 b 2 c 3") == "a 1"


def not_in(shown: str, words: str) -> str | None:
    """The first part of lines that does not stand in a text, in their order; None if all do."""
    place = 0
    for line in shown.splitlines():
        for part in line.split("..."):
            part = " ".join(part.split())
            found = words.find(part, place)
            if found < 0:
                return part
            place = found + len(part)
    return None


class Words(HTMLParser):
    """What is read on a page."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self.hidden = ""

    def handle_starttag(self, tag, attrs):
        if tag in ("style", "script", "svg"):
            self.hidden = self.hidden or tag
        if tag not in ("b", "i", "em", "strong", "span", "sup", "sub", "a"):
            self.said.append(" ")

    def handle_endtag(self, tag):
        if tag == self.hidden:
            self.hidden = ""
        if tag not in ("b", "i", "em", "strong", "span", "sup", "sub", "a"):
            self.said.append(" ")

    def handle_data(self, data):
        if not self.hidden:
            self.said.append(data)


def words_of(path: Path) -> str:
    """What a file says, its words parted by single spaces."""
    if path.suffix == ".html":
        reader = Words()
        reader.feed(path.read_text(encoding="utf-8"))
        said = "".join(reader.said)
    elif path.suffix == ".pdf":
        with pypdfium2.PdfDocument(path) as document:
            said = " ".join(page.get_textpage().get_text_range() for page in document)
    else:
        said = path.read_text(encoding="utf-8")
    return " ".join(said.split())


#: Figures of an answer, as they stand in a sentence.
FIGURE = re.compile(r"(?<![\w.,-])\d[\d,]*(?:\.\d+)? (?:m³|L/s|crown|gal|cfs|loads)(?!\w)")


@pytest.mark.parametrize("name", [name for name in OWN if "/how-to/" in name or "tutorial" in name])
def test_figures_in_sentences_stand_in_an_answer_on_the_page(name):
    page = (HOUSE / name).read_text(encoding="utf-8")
    blocks = " ".join(" ".join(block.split()) for block in re.findall(
        r"```\w*\n.*?```|^<!-- from: [^\n]*\n(?:\|[^\n]*\n)+", page, re.DOTALL | re.MULTILINE))
    said = re.sub(r"```\w*\n.*?```|`[^`\n]*`|^\|[^\n]*$", "", page,
                  flags=re.DOTALL | re.MULTILINE)
    for figure in FIGURE.findall(said):
        number, unit = figure.split(" ")
        assert re.search(rf"(?<![\d.,]){re.escape(number)}(?![\d,]|\.\d)", blocks), (
            f"{name}: {number} {unit} stands in no answer")


def synopses() -> Iterator[tuple[str, str]]:
    for name, page in zip(NAMES, PAGES, strict=True):
        text = re.sub(r"```\w*\n.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
        found = re.findall(r"^    (levelsill .*)$|`(levelsill [^`]+)`", text, re.MULTILINE)
        yield from ((name, line or code) for line, code in found)


def test_options_named_in_passing_exist():
    """Commands with names of the reader's own, such as `levelsill plan site.yaml --paper A3`."""
    seen = 0
    for name, command in synopses():
        words = [word for word in shlex.split(command)[1:] if word not in ("…", "...")]
        if not words or words[0].startswith("-"):
            continue
        chosen = tool.get_command(click.Context(tool), words[0])
        assert chosen is not None, f"{name}: {command}"
        try:
            chosen.make_parser(click.Context(chosen)).parse_args(words[1:])
        except click.UsageError as wrong:
            pytest.fail(f"{name}: {command}: {wrong.format_message()}")
        seen += 1
    assert seen > 20


def anchors_of(page: Path) -> set[str]:
    """The anchors of a page's headings, as code forges and MyST make them."""
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    made: list[str] = []
    for heading in re.findall(r"^#+ (.*)$", text, re.MULTILINE):
        slug = re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")
        made.append(slug if slug not in made else f"{slug}-{made.count(slug)}")
    return set(made)


def links_of(page: Path) -> list[str]:
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    return re.findall(r"\]\(([^)\s]+)\)", re.sub(r"`[^`\n]*`", "code", text))


@pytest.mark.parametrize("name", NAMES)
def test_links_lead_somewhere(name):
    page = HOUSE / name
    for link in links_of(page):
        if "://" in link:
            continue
        path, _, anchor = link.partition("#")
        target = (page.parent / path).resolve() if path else page
        assert target.exists(), f"{name}: {link}"
        assert HOUSE in target.parents, f"{name}: {link} leaves the project"
        if anchor:
            assert anchor in anchors_of(target), f"{name}: {link}"


def test_links_elsewhere_are_those_listed():
    found = {link for page in PAGES for link in links_of(page) if "://" in link}
    assert found == ELSEWHERE


def test_every_page_is_listed_once():
    index = (HOUSE / "docs" / "index.md").read_text(encoding="utf-8")
    listed = re.findall(r"^- \[[^\]]+\]\(([^)]+\.md)\)", index, re.MULTILINE)
    pages = {page.relative_to(HOUSE / "docs").as_posix() for page in DOCS}
    assert sorted(listed) == sorted(pages - {"index.md"})


def test_the_pages_build_without_a_warning(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "-n", "-q", "-b", "html", "-d",
         tmp_path / "read", HOUSE / "docs", tmp_path / "built"],
        capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    for page in DOCS:
        built = (tmp_path / "built" / page.relative_to(HOUSE / "docs")).with_suffix(".html")
        assert built.is_file(), built
        # Nothing is fetched from elsewhere when a page is opened.
        fetched = re.findall(r'(?:src|href)="(https?:[^"]*)"[^>]*(?:rel="stylesheet")?',
                             "".join(re.findall(r"<(?:script|link|img)[^>]*>",
                                                built.read_text(encoding="utf-8"))))
        assert not fetched, f"{built.name}: {fetched}"
