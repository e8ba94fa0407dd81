"""A site file with other works: read back by the tool's own reader, and by another YAML reader.

What the owner wrote is to stand there still, to the letter, and what is read is to be what was
laid out: no source needed.
"""

from __future__ import annotations

import difflib
import json
from pathlib import Path

import pytest
import yaml as other_yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.inputs.site_works import Work
from terrain.outputs.site_text.works_text import Entry, as_read, works_changed
from terrain.outputs.site_text.written_work import as_yaml, stated
from terrain.units import told_first

DEMO = Path(__file__).parents[3] / "demo_dem" / "site.yaml"
WORK = TypeAdapter(Work)
#: Names that YAML takes for something else, or that need care in it.
NAMES = ["yes", "No", "1e3", "- x", "a: b", "#n", "x #n", "n", "~", "null", "true", "12", "0x1f",
         "2026-03-14", "1:30", "=", "<<", "*a", "&a", "!t", "%d", "@h", "`b", "[1]", "{a}", "a,b",
         "'q'", '"q"', "it's", 'say "x"', "back\\slash", "Wadi Höf", "沟渠", "🌊 upper", " led ",
         "two  blanks", "tab\there", "new\nline", "a\u2028b", "\u00a0x", "?", "? x", "-", ":",
         "a:", "|", ">", "...", "---", "off site ", "e\u0301", "1_000", ".5", "-3", "x: y # z"]
HEAD = """\
name: s
elevation: {file: a.tif}
boundary: {file: b.gpkg}
cover: {file: c.gpkg}
soils: {file: d.gpkg}
rain:
  storms: [{name: s, depth: 20 mm}]
"""


def read(text, tmp_path):
    """Works that the tool reads from a text."""
    path = tmp_path / "site.yaml"
    path.write_bytes(text.encode())
    return read_site(path).works


def work(**fields):
    return WORK.validate_python({key.replace("_", " ").strip(): value
                                 for key, value in fields.items()})


def entries_of(works, **changes):
    """All of the works, with changes by name."""
    return [Entry(old.name, changes.get(old.name, old)) for old in works]


def with_(old, system="metric", **fields):
    return as_read(old.model_copy(update=fields), system, old)


def lines_changed(before, after):
    """Lines that are gone, and lines that came."""
    found = [line for line in difflib.ndiff(before.split("\n"), after.split("\n"))
             if line[:2] in ("- ", "+ ")]
    return ([line[2:] for line in found if line[0] == "-"],
            [line[2:] for line in found if line[0] == "+"])


HOLLOW = work(kind="hollow", name="h", at=[1, 2])
POINT = st.tuples(*[st.floats(-1e7, 1e7, allow_nan=False)] * 2)
NAME = st.one_of(st.sampled_from(NAMES), st.text(
    st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\ufeff\ufffe\uffff"),
    min_size=1, max_size=12))
LENGTH = st.floats(0.001, 500)
#: For each kind, fields that the bench changes, and values they may have.
FIELDS = {
    "swale": {"length": LENGTH, "depth": LENGTH, "width": LENGTH, "side_slope": LENGTH,
              "infiltration": st.floats(0, 300), "spills_to": NAME, "through": POINT,
              "sill_at": POINT, "rock_at": LENGTH, "checks": st.floats(0, 90),
              "soil": st.sampled_from(["clay", "loam"]), "crest": st.floats(-400, 9000),
              "shape": st.sampled_from(["trapezoid", "parabola"]), "texture": NAME,
              "pipe": st.lists(POINT, min_size=2, max_size=5)},
    "basin": {"wall": st.lists(POINT, min_size=2, max_size=4), "crest": st.floats(-400, 9000),
              "sill": st.floats(-400, 9000), "dug": st.lists(POINT, min_size=3, max_size=9),
              "depth": LENGTH, "batter": st.floats(0, 9), "holds_water": st.booleans(),
              "demand": st.floats(0, 9), "seepage": st.floats(0, 9)},
    "tree basin": {"at": st.lists(POINT, min_size=1, max_size=7), "crown": LENGTH,
                   "depth": LENGTH, "tree": NAME, "plant_factor": st.floats(0.01, 1.5)},
    "tank": {"at": POINT, "volume": st.floats(0.01, 2000), "height": LENGTH, "demand":
             st.floats(0, 9), "roofs": st.lists(NAME, max_size=3), "first_flush": st.floats(0, 9),
             "spills_to": NAME, "pipe": st.lists(POINT, min_size=2, max_size=5),
             "made_of": st.sampled_from(["plastic", "steel"]), "pipe_diameter": LENGTH},
    "hollow": {"at": POINT, "infiltration": st.floats(0, 99), "demand": st.floats(0, 9)},
    "drain": {"to": st.one_of(NAME, POINT), "from_": POINT, "grade": st.floats(1e-5, 0.5),
              "width": st.floats(0, 9), "lining": st.sampled_from(["bare", "grass"])}}
BARE = {"swale": {"through": [1, 2]}, "basin": {"dug": [[1, 1], [2, 1], [2, 2]], "depth": "1 m"},
        "tree basin": {"at": [[1, 2]], "crown": "3 m"}, "tank": {"at": [1, 2], "volume": "9 m3"},
        "hollow": {"at": [3, 4]}, "drain": {"from": [1, 2], "to": "x"}}


@st.composite
def laid_out(draw, works, system):
    """Entries that a person may have made of a site's works."""
    entries = []
    for old in works:
        what = draw(st.sampled_from(["stays", "stays", "changes", "changes", "goes"]))
        if what == "stays":
            entries.append(Entry(old.name, old))
        elif what == "changes":
            entries.append(Entry(old.name, draw(changed(old, system))))
    for kind in draw(st.lists(st.sampled_from(sorted(BARE)), max_size=3)):
        bare = WORK.validate_python({"kind": kind, "name": draw(NAME), **BARE[kind]})
        entries.insert(draw(st.integers(0, len(entries))),
                       Entry(None, draw(changed(bare, system, new=True))))
    seen, apart = set(), []
    for entry in entries:
        if entry.work.name not in seen:
            apart.append(entry)
        seen.add(entry.work.name)
    return apart


@st.composite
def changed(draw, old, system, new=False):
    """A work with other values in some of its fields, or none; as it was if that cannot be."""
    fields = FIELDS[old.kind]
    update = {}
    if draw(st.booleans()):
        update["name"] = draw(NAME)
    for name in draw(st.lists(st.sampled_from(sorted(fields)), max_size=4, unique=True)):
        usual = type(old).model_fields[name]
        absent = st.nothing() if usual.is_required() else st.just(
            usual.get_default(call_default_factory=True))
        update[name] = draw(st.one_of(fields[name], absent))
    try:
        return as_read(old.model_copy(update=update), system, None if new else old)
    except InputError:
        return as_read(old, system) if new else old


def held(text, works, entries, system, tmp_path):
    """What must hold of any change; returns the text."""
    after = works_changed(text, works, entries, system)
    assert read(after, tmp_path) == [entry.work for entry in entries]
    if text.endswith("\r\n"):
        assert "\n" not in after.replace("\r\n", "")
    return after


SLOW = settings(max_examples=10, deadline=None,
                suppress_health_check=list(HealthCheck))


@SLOW
@given(data=st.data())
def test_any_change_of_the_demo_is_read_back(data, tmp_path_factory):
    tmp_path = tmp_path_factory.getbasetemp()
    for name in ("rain_depths.csv",):
        (tmp_path / name).write_bytes((DEMO.parent / name).read_bytes())
    text, works = DEMO.read_text(), read_site(DEMO).works
    entries = data.draw(laid_out(works, "metric"))
    after = held(text, works, entries, "metric", tmp_path)
    start = text.index("works:\n")
    assert after.startswith(text[:start])
    # Lines of works that stay are all there, one after the other.
    stays = {entry.work.name for entry in entries if entry.work in works}
    for name, body in bodies(text).items():
        assert name not in stays or body in after


def bodies(text):
    """The lines of each of the demo's works."""
    found = {}
    for piece in text[text.index("works:\n"):].split("  - name: ")[1:]:
        lines = piece.split("\n")
        while not lines[-1].strip() or lines[-1].startswith("  #"):
            lines.pop()
        found[lines[0]] = "  - name: " + "\n".join(lines)
    return found


NASTY = {
    "block": """works:   # all of it
  # The first.
  - kind: drain        # a drain
    name: one
    # a comment\twith a tab
    from: [1, 2]       # its head\t
    to: "two: 'x'"

    grade: 0.4 %
    # depth: 0.3 m

  # ---- a group of its own ----

  # The second.
  -
    name: "two: 'x'"
    kind: basin
    dug: [[1, 1], [2, 1],   # first
          [2, 2]]
    depth: 1 m
    spills to: =three
  - {kind: hollow, name: =three, at: [1, 2]}   # in braces
  - &h
    "name": 'h'
    kind: hollow
    at:
      - 1      # east
      - 2.50
    infiltration:     # nothing yet
  # Nothing below.
money:     # after
  currency: "€"
  machine hour: [1, 2]
""",
    "margin": "works:\n- kind: tank\n  name: t\n  at: [1, 2]\n  volume: 2 m3\n  roofs:\n  - a"
              "   # big\n  - b\n- kind: swale\n  name: s\n  along:\n  - [1, 2]\n  - [3, 4]",
    "flow": "works: [{kind: hollow, name: h, at: [1, 2]},   # first\n  {kind: hollow, name: i, "
            "at: [1, 3], spills to: h}   # last\n  ]   # all\n",
    "anchors": """works:
  - &a
    kind: swale
    name: a
    through: &p [1, 2]
    depth: &d 0.4 m      # of all
    trees: &t
      crown: 3 m
      spacing: 6 m
  - <<: *a
    name: b
    through: [5, 6]
  - {kind: swale, name: c, through: *p, depth: *d, trees: *t}
  - kind: basin
    name: d
    dug: [[1, 1], [2, 1], [2, 2]]
    depth: *d     # as deep
    <<: {batter: 2}
""",
    "multi-line": "works:\n  - kind: swale\n    name: >-\n      a long\n      name\n\n    through: "
                  "[1,\n      2]\n    texture: 'sandy\n      loam'\n    spills to: |-\n      x\n\n"
                  "  # next\n  - name: y\n    kind: hollow\n    at: [0, 0]\n...\n",
    "odd": """works: &all   # named


  # To begin with.
  - # behind the dash
    length: 3 m    # first of its fields
    # between
    name: s
    kind: swale
    through:
      [1, 2]
    depth:
      0.4 m #	tabs
    ? width
    : 1 m
    pipe:

    - [1, 2]   # from
    # half way

    - [3, 4]   # to
  - {name: "t # no comment", kind: tank, at: [1, 2,], volume: 9 m3,   # ends with a comma
       roofs: [a,   # the first
               "b, c"],
      }
  -   name:   wide
      kind:   basin
      dug:   [ [1,1] , [2,1] , [2,2] ]
      depth:   1 m
      trees:
          count:    3
          # how wide they grow
          crown:    4 m

      # at its end


# far off
keep clear: []
""",
    "lines": "works:\n  - {kind: drain, name: d, from: [1, 2], to: [3, 4]}\n\n\n"
             "  - {kind: tree basin,\n     name: e,\n     at: [[1, 2], [3, 4]],\n     "
             "crown: 3 m}\n\n\nkeep clear: []",
    "none": "", "empty": "works:\n  # - kind: swale\n", "null": "works: ~   # none yet\n",
    "brackets": "works: []", "no line's end": "works:", "open": "works: [  # none\n  ]\n"}


def stays_of(entries):
    """Works that are as the text has them, if they are there."""
    return [entry.work for entry in entries if entry.origin == entry.work.name]


def pieces(text):
    """The text of each entry of the list of works, as another reader of YAML finds it."""
    root = other_yaml.compose(text, other_yaml.SafeLoader)
    listed = [value for key, value in root.value if key.value == "works"]
    items = listed[0].value if listed and isinstance(listed[0].value, list) else []
    found = []
    for item in items:
        lines = text[item.start_mark.index:item.end_mark.index].split("\n")
        while not lines[-1].strip() or lines[-1].lstrip().startswith("#"):
            lines.pop()
        found.append("\n".join(lines).rstrip())
    return found


def styles(text):
    return {"": text, "CRLF": text.replace("\n", "\r\n"), "no end": text.rstrip("\n"),
            "BOM": "\ufeff" + text}


@pytest.mark.parametrize("name", NASTY)
@SLOW
@given(data=st.data(), style=st.sampled_from(["", "CRLF", "no end", "BOM"]))
def test_any_change_of_nasty_texts_is_read_back(name, style, data, tmp_path_factory):
    tmp_path = tmp_path_factory.getbasetemp()
    text = styles(HEAD + NASTY[name])[style]
    works = read(text, tmp_path)
    entries = data.draw(laid_out(works, "metric"))
    after = held(text, works, entries, "metric", tmp_path)
    head = styles(HEAD.rstrip("\n"))[style]
    assert after.startswith(head)
    at = 0
    for old, piece in zip(works, pieces(text), strict=True):
        if old in stays_of(entries) and "*" not in piece:
            at = after.index(piece, at) + len(piece)
    if name == "block":
        for comment in ("# ---- a group of its own ----", "# all of it", "# after",
                        "# Nothing below."):
            assert comment in after
        tail = text[text.index("money:"):]
        assert after.endswith(tail)


@SLOW
@given(data=st.data())
@pytest.mark.parametrize("indent", [None, 1])
def test_json_stays_json(indent, data, tmp_path_factory):
    tmp_path = tmp_path_factory.getbasetemp()
    works = [{"name": "h", "kind": "hollow", "at": [1, 2]}, {
        "name": "s", "kind": "swale", "through": [1, 2.5], "length": 30, "trees": {
            "crown": "3 m", "count": 4}}]
    given_ = data.draw(st.sampled_from([{}, {"works": []}, {"works": works}]))
    text = json.dumps({**other_yaml.safe_load(HEAD), **given_}, indent=indent)
    read_ = read(text, tmp_path)
    after = held(text, read_, data.draw(laid_out(read_, "metric")), "metric", tmp_path)
    json.loads(after)


@pytest.mark.parametrize("foot", ["ft", "us-ft"])
@SLOW
@given(data=st.data())
def test_feet_are_read_back(foot, data, tmp_path_factory):
    tmp_path = tmp_path_factory.getbasetemp()
    text = "units: us\n" + HEAD + NASTY["anchors"]
    with told_first("us", foot):
        works = read(text, tmp_path)
        held(text, works, data.draw(laid_out(works, "us")), "us", tmp_path)


@pytest.mark.parametrize("system", ["metric", "us"])
@SLOW
@given(data=st.data())
def test_what_is_read_once_is_read_the_same_again(system, data):
    kind = data.draw(st.sampled_from(sorted(BARE)))
    bare = WORK.validate_python({"kind": kind, "name": "a", **BARE[kind]})
    fields = FIELDS[kind]
    names = data.draw(st.lists(st.sampled_from(sorted(fields)), max_size=6, unique=True))
    laid = bare.model_copy(update={name: data.draw(fields[name]) for name in names})
    try:
        once = as_read(laid, system)
    except InputError:
        return
    assert as_read(once, system) == once
    # Another reader of YAML finds the same.
    found = other_yaml.safe_load("\n".join(as_yaml(stated(once, system))))
    assert WORK.validate_python(found, context={"units": system}) == once


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("list_", ["block", "flow"])
def test_any_name_is_read_back_by_any_reader(name, list_, tmp_path):
    text = HEAD + NASTY[list_]
    works = read(text, tmp_path)
    named = with_(works[-1], name=name)
    new = work(kind="hollow", name=f"{name}2", at=[1, 2], spills_to=name)
    after = held(text, works, [*entries_of(works[:-1]), Entry(works[-1].name, named),
                               Entry(None, new)], "metric", tmp_path)
    there = other_yaml.safe_load(after.replace("=three", "three"))["works"]
    assert [entry["name"] for entry in there[-2:]] == [name, f"{name}2"]
    assert there[-1]["spills to"] == name


def test_only_the_field_that_changed_is_written(tmp_path):
    text = HEAD + NASTY["block"]
    works = read(text, tmp_path)
    one = with_(works[0], from_=(1.0, 7.25))
    after = held(text, works, entries_of(works, one=one), "metric", tmp_path)
    assert lines_changed(text, after) == (["    from: [1, 2]       # its head\t"],
                                          ["    from: [1, 7.25]       # its head\t"])


def test_a_new_field_stands_behind_the_last_and_one_that_is_gone_takes_its_line(tmp_path):
    text = HEAD + NASTY["block"]
    works = read(text, tmp_path)
    one = with_(works[0], grade=None, depth=0.3049)
    after = held(text, works, entries_of(works, one=one), "metric", tmp_path)
    assert lines_changed(text, after) == (["    grade: 0.4 %"], ["    depth: 0.3 m"])
    braces = with_(works[2], infiltration=6.0)
    after = held(text, works, entries_of(works, **{"=three": braces}), "metric", tmp_path)
    assert "{kind: hollow, name: =three, at: [1, 2], infiltration: 6 mm/h}   # in braces" in after


def test_points_in_brackets_over_lines_keep_their_lines(tmp_path):
    text = HEAD + NASTY["block"]
    works = read(text, tmp_path)
    two = with_(works[1], dug=[(1.0, 1.0), (2.0, 1.0), (2.0, 2.125)])
    after = held(text, works, entries_of(works, **{works[1].name: two}), "metric", tmp_path)
    assert lines_changed(text, after) == (["          [2, 2]]"], ["          [2, 2.125]]"])
    assert "[2, 1],   # first" in after


def test_degrees_are_not_rounded(tmp_path):
    text = HEAD + "points: lonlat\nworks:\n  - {kind: hollow, name: h, at: [-104.1, 31.2]}\n"
    works = read(text, tmp_path)
    at = (-104.123456789012, 31.000000012345)
    after = held(text, works, entries_of(works, h=with_(works[0], at=at)), "metric", tmp_path)
    assert "at: [-104.123456789012, 31.000000012345]}" in after


def test_works_that_take_from_one_that_changes_keep_what_they_had(tmp_path):
    text = HEAD + NASTY["anchors"]
    works = read(text, tmp_path)
    moved = with_(works[0], through=(9.0, 9.0))
    after = held(text, works, entries_of(works, a=moved), "metric", tmp_path)
    gone, came = lines_changed(text, after)
    # Depth and trees did not change: their aliases stay.
    assert "depth: *d, trees: *t}" in after
    assert "    through: &p [9, 9]" in after
    assert "name: c, through: [1, 2], depth: *d" in after
    assert "    depth: &d 0.4 m      # of all" in after
    assert len(gone) == len(came) == 3
    held(text, works, entries_of(works)[1:], "metric", tmp_path)


def test_a_figure_that_no_decimal_gives_stays_where_it_is_not_touched(tmp_path):
    text = HEAD + ("works:\n  - {kind: swale, name: s, through: [1, 2], length: 33.3333 m, "
                   "depth: 1}\n")
    works = read(text, tmp_path)
    deeper = with_(works[0], depth=0.456)
    assert (deeper.length, deeper.depth) == (33.3333, 0.46)
    after = held(text, works, entries_of(works, s=deeper), "metric", tmp_path)
    assert "length: 33.3333 m, depth: 0.46 m}" in after


def test_what_was_taken_out_and_saved_comes_back_as_it_was(tmp_path):
    """Undone after saving: uses, a top-up and a price are nothing that the bench lays out."""
    for name in ("rain_depths.csv",):
        (tmp_path / name).write_bytes((DEMO.parent / name).read_bytes())
    text, works = DEMO.read_text(), read_site(DEMO).works
    less = works_changed(text, works, entries_of(works[1:7]), "metric")
    back = held(less, works[1:7], [Entry(None, works[0]), *entries_of(works[1:7]), *(
        Entry(None, one) for one in works[7:])], "metric", tmp_path)
    held(works_changed(text, works, [], "metric"), [], [Entry(None, one) for one in works],
         "metric", tmp_path)
    assert read(works_changed(back, works, entries_of(works[2:6]), "metric"), tmp_path) == (
        works[2:6])


def test_a_text_with_other_works_is_refused(tmp_path):
    text = HEAD + NASTY["flow"]
    works = read(text, tmp_path)
    with pytest.raises(InputError, match="other works"):
        works_changed(text, works[:1], [], "metric")
    with pytest.raises(InputError, match="two works have this name"):
        works_changed(text, works, [*entries_of(works), Entry(None, works[0])], "metric")


def test_nothing_changed_is_the_same_text(tmp_path):
    for text in NASTY.values():
        works = read(HEAD + text, tmp_path)
        assert works_changed(HEAD + text, works, entries_of(works), "metric") == HEAD + text


def test_a_work_that_no_site_file_may_hold_is_refused_in_a_sentence():
    with pytest.raises(InputError, match=r'works "h", infiltration: .* is below 0') as told:
        as_read(HOLLOW.model_copy(update={"infiltration": -1.0}), "metric")
    assert "\n" not in str(told.value)
    with pytest.raises(InputError, match='works "s": a swale goes through a point'):
        as_read(work(kind="swale", name="s", through=[1, 2]).model_copy(
            update={"through": None}), "metric")
