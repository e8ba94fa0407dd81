"""A file in YAML read into a checked object, so that every fault is told by line and field."""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, ClassVar, TypeVar, get_args

from pydantic import BaseModel, PrivateAttr, ValidationError

from terrain.errors import InputError, refuse
from terrain.files import check_name
from terrain.inputs.csv_table import in_words
from terrain.inputs.fields import UNPRINTABLE, Part, UnitSystem
from terrain.inputs.whole_bytes import bytes_of
from terrain.units import Unreadable

#: No file has more bytes, more entries with its aliases written out, or more brackets open at once.
MOST_BYTES, MOST_ENTRIES, DEEPEST = 4_000_000, 100_000, 100
#: Kinds of work.
KINDS = ("swale", "basin", "tree basin", "tank", "hollow", "drain")


class Described(Part):
    """What a file describes, with the file's place and lines.

    Attributes
    ----------
    CALLED, PAGE, BEGUN_BY : str
        What such a file is called, the page that says what it may hold, and how one is begun.
    """

    CALLED: ClassVar[str] = "file"
    PAGE: ClassVar[str] = "docs/"
    BEGUN_BY: ClassVar[str] = ""

    units: UnitSystem = "metric"
    """What bare numbers mean and what is printed. Bare numbers: m, mm of rain, m², m³, mm/h, h,
    L/day; or ft, in, ft², gal, in/h, h, gal/day. With `us` the rules of the trade are round figures
    in feet and inches (0.6 m is 2 ft then), where their source has such, its own. A foot is the one
    of the elevation (that of its heights, else of its coordinate system), for levels read and
    printed alike."""

    _path: Path = PrivateAttr(default=Path("site.yaml"))
    _document: Any = PrivateAttr(default=None)
    _bare: list[tuple[str, str, str]] = PrivateAttr(default_factory=list)

    @property
    def path(self) -> Path:
        """The file itself."""
        return self._path

    @property
    def folder(self) -> Path:
        """The folder that the file's relative paths start from."""
        return self._path.parent

    @property
    def bare_numbers(self) -> list[str]:
        """What numbers without a unit were taken for, field by field."""
        fields: dict[tuple[str, str], list[str]] = {}
        for field, given, unit in self._bare:
            fields.setdefault((field, unit), []).append(given)
        return [f"{field} {', '.join(given)} taken as {unit.replace('**', '')}"
                for (field, unit), given in fields.items()]

    def where(self, *place: str | int) -> str:
        """Say where in the file a field stands, e.g. ``site.yaml line 14``."""
        return f"{self._path} line {self.line(*place)}"

    def line(self, *place: str | int) -> int:
        """The line of the file that a field stands on."""
        return _line(self._document, place)


Kind = TypeVar("Kind", bound=Described)


def read_described(path: Path, kind: type[Kind], text: str | None = None) -> Kind:
    """Read and check a file.

    Parameters
    ----------
    text : str, optional
        What is to be read as if it stood in the file.

    Raises
    ------
    InputError
        Naming the line and field of each thing that is wrong.
    """
    document = _document(path, _text_of(path, kind) if text is None else text, kind)
    context: dict[str, Any] = {"units": document.get("units", "metric"), "bare": []}
    try:
        found = kind.model_validate(document, context=context)
    except ValidationError as error:
        refuse(_faults(error, path, document, kind))
    found._path, found._document, found._bare = path, document, context["bare"]
    return found


def _text_of(path: Path, kind: type[Described]) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputError(str(path), f"it has {path.stat().st_size:,} bytes, more than a "
                             f"{kind.CALLED} ever needs", "Check that it is the right file")
        return bytes_of(path, MOST_BYTES).decode("utf-8")
    except FileNotFoundError:
        raise InputError(str(path), f"there is no such {kind.CALLED}",
                         check_name(path, "Check the name" + (
                             kind.BEGUN_BY and f", or make one with: {kind.BEGUN_BY}"))) from None
    except UnicodeDecodeError:
        raise InputError(str(path), "it is no text in UTF-8",
                         f"Give a {kind.CALLED} written in YAML, saved in UTF-8") from None
    except OSError as error:
        raise InputError(str(path), f"it cannot be read ({in_words(error)})",
                         f"Give a {kind.CALLED} written in YAML") from None


def _document(path: Path, text: str, kind: type[Described]) -> Any:
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    endless = InputError(str(path), "its lists and fields are nested without end, or nearly",
                         "Look for brackets that are never closed")
    if _depth(text) > DEEPEST:
        raise endless
    try:
        document = YAML(typ="rt").load(text)
    except RecursionError:
        raise endless from None
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = f" line {mark.line + 1}" if mark else ""
        problem = (error.problem or "not YAML").strip().rstrip(".")
        raise InputError(f"{path}{line}", f"this is not valid YAML ({problem})",
                         "Use blanks instead of tabs" if "\\t" in problem else
                         "Look for a missing colon, quote or blank there") from None
    except ValueError as error:  # a day that is none, such as 2026-02-30
        raise InputError(_line_of_no_day(path, text), f"a date in it cannot be ({error})",
                         "Write a day such as 2026-03-14") from None
    except TypeError:  # a name that is itself a part or a list, behind "? "
        raise InputError(str(path), "the name of one of its fields is itself a list or fields",
                         "Look for a '?' or a ': ' that is too many") from None
    except YAMLError as error:
        problem = str(error).splitlines()[0].rstrip(".")
        raise InputError(str(path), f"this is not valid YAML ({problem})",
                         "Look for a missing colon, quote or blank") from None
    if not isinstance(document, dict):
        raise InputError(str(path), "it is not a list of fields such as 'name: My place'",
                         f"Make a fresh one with: {kind.BEGUN_BY}" if kind.BEGUN_BY else
                         f"{kind.PAGE} says what it holds") from None
    if not _size(document, {}) <= MOST_ENTRIES:
        raise InputError(str(path), "its aliases (*name) repeat each other without end, or nearly",
                         "Write out what they stand for")
    for place, word in _words(document, ()):
        if UNPRINTABLE.search(word):
            raise InputError(f"{path} line {_line(document, place)}", f"'{word[:60]}' holds a sign "
                             "that cannot be printed", "Leave it out")
    return document


def _words(node: Any, place: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """All words of a document, each with its place; names of fields are words too."""
    if isinstance(node, str):
        yield place, node
    elif isinstance(node, dict):
        for key, part in node.items():
            yield from _words(key, place)
            yield from _words(part, (*place, key))
    elif isinstance(node, list):
        for number, part in enumerate(node):
            yield from _words(part, (*place, number))


def _depth(text: str) -> int:
    """How many brackets are open at once at most."""
    deepest = depth = 0
    for sign in re.findall(r"[\[\]{}]", text):
        depth = max(depth + (1 if sign in "[{" else -1), 0)
        deepest = max(deepest, depth)
    return deepest


def _size(node: Any, known: dict[int, float]) -> float:
    """Entries of a document with all aliases written out; infinite where one holds itself."""
    if not isinstance(node, dict | list):
        return 1.0
    if id(node) not in known:
        known[id(node)] = float("inf")  # met again within itself
        known[id(node)] = 1 + sum(_size(part, known) for part in
                                  (node.values() if isinstance(node, dict) else node))
    return known[id(node)]


def _line_of_no_day(path: Path, text: str) -> str:
    """Where a file states a day that is none."""
    for number, line in enumerate(text.splitlines(), 1):
        for year, month, day in re.findall(r"\b(\d{4})-(\d\d?)-(\d\d?)\b", line):
            try:
                dt.date(int(year), int(month), int(day))
            except ValueError:
                return f"{path} line {number}"
    return str(path)


def _line(document: Any, place: tuple[str | int, ...]) -> int:
    """Find the line of a field; stop at the deepest part that exists."""
    node: Any = document
    line = 1
    for key in place:
        try:
            find = node.lc.item if isinstance(key, int) else node.lc.key
            line = find(key)[0] + 1
            node = node[key]
        except (AttributeError, KeyError, IndexError, TypeError):
            break
    return line


def _faults(error: ValidationError, path: Path, document: Any, kind: type[Described]
            ) -> list[InputError]:
    """All that is wrong with a document in the order of its lines, and of each place one thing."""
    found = sorted(error.errors(), key=lambda e: e["type"] != "extra_forbidden")
    misspelt = [e["loc"] for e in found if e["type"] == "extra_forbidden"]
    told: dict[tuple[Any, ...], tuple[int, InputError]] = {}
    for one in found:
        loc = one["loc"]
        # A misspelt field also leaves the right one missing: the misspelling is the news.
        if one["type"] == "missing" and any(loc[:-1] == other[:-1] and difflib.get_close_matches(
                str(other[-1]), [str(loc[-1])], 1, 0.6) for other in misspelt):
            continue
        place = _stands(document, loc)
        told.setdefault(place, (_line(document, place), _fault(one, path, document, kind)))
    return [fault for _, fault in sorted(told.values(), key=lambda both: both[0])]


def _stands(document: Any, loc: tuple[Any, ...]) -> tuple[Any, ...]:
    """The place of a fault as far as the document has it: of one value only one thing is told."""
    node, place = document, list[Any]()
    for key in loc:
        try:
            node = node[key]
        except (KeyError, IndexError, TypeError):
            if isinstance(node, dict) and key in KINDS:
                continue
            return (*place, *([key] if isinstance(node, dict) else []))
        place.append(key)
    return tuple(place)


def _fault(found: Any, path: Path, document: Any, kind: type[Described]) -> InputError:
    place = list(found["loc"])
    if len(place) > 2 and place[0] == "works" and place[2] in KINDS:
        del place[2]
    where = f"{path} line {_line(document, tuple(place))}"
    words: list[str] = []
    if place and place[0] == "works" and len(place) > 1:
        name = _name(document, place)
        words.append(f'works "{name}"' if name else f"works item {int(place[1]) + 1}")
        place = place[2:]
    words += [str(part) if isinstance(part, str) else f"item {part + 1}" for part in place]
    return InputError(", ".join([where, *words]), *_plainly(found, kind))


def _name(document: Any, place: list[Any]) -> str | None:
    try:
        return str(document["works"][place[1]]["name"])
    except (KeyError, IndexError, TypeError):
        return None


def _plainly(found: Any, kind: type[Described]) -> tuple[str, str]:
    fault, given, page = found["type"], found.get("input"), kind.PAGE
    say: dict[str, Callable[[], tuple[str, str]]] = {
        "extra_forbidden": lambda: ("this field is not known",
                                    _nearest(found["loc"], kind)),
        "missing": lambda: ("this field is missing", f"Add it; {page} says how"),
        "value_error": lambda: _of_a_value(found, page),
        "union_tag_invalid": lambda: (
            f"the kind '{given.get('kind')}' is not known",
            "Use swale, basin, tree basin, tank, hollow or drain"),
        "union_tag_not_found": lambda: (
            "it has no kind", "Add kind: swale, basin, tree basin, tank, hollow or drain"),
        "too_short": lambda: _count(found),
        "too_long": lambda: _count(found),
        "tuple_type": lambda: (f"'{given}' is not a pair such as [1, 2]", "Write both in brackets"),
        "list_type": lambda: (f"'{given}' is not a list", "Write it in brackets or with dashes"),
        "float_parsing": lambda: (f"'{given}' is not a number", "Write a plain number here"),
        "float_type": lambda: (f"'{given}' is not a number", "Write a plain number here"),
        "string_type": lambda: (f"'{given}' is not text", "Put it in quotes"),
        "path_type": lambda: ("no file is named" if given is None else
                              f"'{given}' is not a file's name", "Name a file, in quotes"),
        "finite_number": lambda: (f"'{given}' is not a number", "Write a plain number here"),
        "bool_parsing": lambda: (f"'{given}' is neither true nor false", "Use one of those"),
        "bool_type": lambda: (f"'{given}' is neither true nor false", "Use one of those"),
        "dict_type": lambda: (f"'{given}' is no list of fields", "Write its fields under it, each "
                              "with a colon"),
        "model_type": lambda: (f"'{given}' is no list of fields", "Write its fields under it, each "
                               "with a colon"),
        "greater_than": lambda: (f"{given} is not above {found['ctx']['gt']:g}",
                                 f"Give more than {found['ctx']['gt']:g}"),
        "greater_than_equal": lambda: (f"{given} is below {found['ctx']['ge']:g}",
                                       f"Give {found['ctx']['ge']:g} or more"),
        "less_than_equal": lambda: (f"{given} is above {found['ctx']['le']:g}",
                                    f"Give {found['ctx']['le']:g} or less"),
        "literal_error": lambda: (
            f"'{given}' is not one of {found['ctx']['expected']}", "Use one of those"),
    }
    if fault in say:
        return say[fault]()
    message = found["msg"][0].lower() + found["msg"][1:]
    short = str(given)
    return f"{message}, but here stands '{short[:60]}'", _as_the_docs_say(found, page)


def _of_a_value(found: Any, page: str) -> tuple[str, str]:
    """What is wrong with a value, and what its error says to do, or else where to look it up."""
    error = found["ctx"]["error"]
    if isinstance(error, Unreadable):
        return error.what, error.remedy
    return str(error), _as_the_docs_say(found, page)


def _as_the_docs_say(found: Any, page: str) -> str:
    """Advice where the error itself says what is wrong with a value."""
    fields = [part for part in found["loc"] if isinstance(part, str)]
    return (f"Correct it as {page} says of '{fields[-1]}'" if fields else
            f"Correct it as {page} says")


def _count(found: Any) -> tuple[str, str]:
    limits = found["ctx"]
    least, most = limits.get("min_length"), limits.get("max_length")
    wanted = f"at least {least}" if least is not None else f"at most {most}"
    return (f"it has {limits['actual_length']} entries, and {wanted} are needed",
            "Add or take out entries")


def _nearest(loc: tuple[Any, ...], kind: type[Described]) -> str:
    """Advice on a field that is not known where it stands."""
    page, word = kind.PAGE, str(loc[-1])

    def near(parts: list[type[BaseModel]], alike: float) -> list[str]:
        names = {name.replace("_", " ").strip() for part in parts for name in part.model_fields}
        return difflib.get_close_matches(word, sorted(names), 1, alike)
    everywhere = parts_of(kind)
    meant = near(_parts_at(kind, loc[:-1]), 0.7)
    if not meant and near(everywhere, 1.0):
        return f"It belongs elsewhere; {page} says where"
    meant = meant or near(everywhere, 0.6)
    return (f"Perhaps '{meant[0]}' was meant; {page} lists them" if meant else
            f"Look it up in {page}")


def _parts_at(kind: type[BaseModel], loc: tuple[Any, ...]) -> list[type[BaseModel]]:
    """The kinds of part that stand at a place of a file."""
    parts = [kind]
    for key in loc:
        if isinstance(key, int):
            continue
        if key in KINDS:
            parts = [part for part in parts
                     if key in get_args(getattr(part.model_fields.get("kind"), "annotation", None))]
            continue
        waiting: list[Any] = [field.annotation for part in parts
                              for name, field in part.model_fields.items()
                              if (field.alias or name) == key]
        parts = []
        while waiting:
            one = waiting.pop()
            if isinstance(one, type) and issubclass(one, BaseModel):
                parts.append(one)
            else:
                waiting += get_args(one)
    return parts


def parts_of(kind: type[BaseModel]) -> list[type[BaseModel]]:
    """A kind of file, and every kind of part that it may have, each once."""
    found: dict[type[BaseModel], None] = {}
    waiting: list[Any] = [kind]
    while waiting:
        one = waiting.pop(0)
        if isinstance(one, type) and issubclass(one, BaseModel) and one not in found:
            found[one] = None
            waiting += [field.annotation for field in one.model_fields.values()]
        waiting += get_args(one)
    return list(found)
