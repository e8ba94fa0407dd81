"""A proposal's site file: read back by the tool's own reader and by another YAML reader.

What the owner wrote is to stand there still, to the letter: no source needed.
"""

from __future__ import annotations

import difflib
import json
import os
from dataclasses import replace
from pathlib import Path

import pytest
import yaml as other_yaml
from pydantic import TypeAdapter

from terrain.files import fingerprint
from terrain.inputs.site import read_site
from terrain.inputs.site_works import Basin, Drain, Swale, TreeBasin, Work
from terrain.outputs.site_text.written_work import as_yaml, levels_and_all, written
from terrain.outputs.suggest.site_file import site_file
from terrain.plan.siting.reading import read_inputs
from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.suggestion import Chosen

#: Entries that together set every field of the works that are sought, as a person would write them.
ENTRIES = [
    {"kind": "swale", "name": "a", "through": [1.25, 2], "radius": "8 m", "shape": "parabola",
     "length": "75 m", "depth": "0.35 m", "checks": "12.5 m", "solve": "width", "soil": "clay",
     "berm side slope": 2.5, "crest": "101.27 m", "sill at": [3, 4.5], "sill length": "2.4 m",
     "rock at": "1.1 m", "infiltration": "12.5 mm/h", "texture": None, "spills to": "b: 'c'",
     "trees": {"crown": "3 m", "spacing": "6 m", "tree": "olive", "plant factor": 0.5},
     "pipe": [[1, 2], [3, 4]], "pipe diameter": "0.11 m", "pump": "40 L/min"},
    {"kind": "swale", "name": "b", "level": "99.5 m", "near": [5, 6], "width": "0.6 m",
     "side slope": 1.5, "texture": "loam", "pump": True, "spills to": "a"},
    {"kind": "swale", "name": "c", "along": [[1, 2], [3, 4.5], [6, 7]]},
    {"kind": "basin", "name": "=SUM(1)", "wall": [[1, 2], [3, 4]], "crest": "1193.13 m",
     "sill": "1192.68 m", "dug": [[1, 1], [2, 1], [2, 2]], "depth": "0.8 m", "batter": 2,
     "sill length": "3 m", "rock at": "2 m", "holds water": True, "seepage": "3.25 mm/day"},
    {"kind": "basin", "name": "- dash", "dug": [[1, 1], [2, 1], [2, 2]], "depth": "0.8 m",
     "infiltration": "6 mm/h", "trees": {"crown": "4 m", "count": 3}},
    {"kind": "basin", "name": "e", "wall": [[1, 2], [3, 4]], "crest": 5, "texture": "clay"},
    {"kind": "tree basin", "name": "Bäume #1", "form": "crescent", "at": [[1, 2], [3, 4]],
     "crown": "3 m", "tree": "fig", "plant factor": 0.6, "radius": "1.5 m", "depth": "0.25 m",
     "rock at": "1 m", "infiltration": "9 mm/h"},
    {"kind": "tree basin", "name": "row", "along": "a", "spacing": "6 m", "first": "3 m",
     "last": "40 m", "crown": "2.5 m", "texture": "sand"},
    {"kind": "tree basin", "name": "row 2", "form": "trench", "along": [[1, 2], [3, 4]],
     "count": 4, "crown": "2.5 m", "length": "2 m", "width": "0.4 m", "gravel porosity": 0.35},
    {"kind": "drain", "name": "d", "from": [1, 2], "to": "b: 'c'", "grade": "0.437 %",
     "width": "0.3 m", "depth": "0.25 m", "side slope": 2, "lining": "grass", "soil": "sand",
     "rock at": "0.6 m"},
    {"kind": "drain", "name": "d2", "from": [1, 2], "to": [3.5, 4]},
]
WORK = TypeAdapter(Work)


def again(lines, system):
    """A work read back by another reader of YAML than the one that wrote it."""
    return WORK.validate_python(other_yaml.safe_load("\n".join(lines)), context={"units": system})


@pytest.mark.parametrize("flow", [False, True])
@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["name"])
def test_every_field_is_read_back(entry, system, flow):
    work = WORK.validate_python(entry)
    read = again(as_yaml(levels_and_all(written(work, system)), flow), system)
    for name in type(work).model_fields:
        given, found = getattr(work, name), getattr(read, name)
        if isinstance(given, float) and system == "us":
            # Half of the last place that is written: a hundredth of a foot, 0.001 in.
            assert found == pytest.approx(given, abs=0.0016, rel=1e-3), name
        elif name == "trees" and given is not None:
            assert found.crown == pytest.approx(given.crown, abs=0.0016)
            assert (found.count, found.tree) == (given.count, given.tree)
        elif isinstance(given, float):
            assert found == pytest.approx(given, rel=1e-4), name
        else:
            assert found == given, name


def test_the_entries_set_every_field():
    """What a new field of a work would break: nothing else would tell."""
    for kind in (Swale, Basin, TreeBasin, Drain):
        works = [WORK.validate_python(e) for e in ENTRIES if e["kind"] == kind.model_fields[
            "kind"].annotation.__args__[0]]
        unset = {name for name, field in kind.model_fields.items() if all(
            getattr(work, name) == field.get_default(call_default_factory=True)
            for work in works)}
        # A drain leads to its `to` alone; people, not trees, draw water; the rest a swale shows.
        assert unset <= {"demand", "uses", "spills_to", "pipe", "pipe_diameter", "pump"}


def test_a_use_of_water_is_no_proposals():
    with pytest.raises(ValueError, match=r"demand|uses"):
        written(WORK.validate_python({**ENTRIES[5], "uses": [
            {"name": "g", "kind": "garden", "amount": "40 L/day"}]}), "metric")


@pytest.mark.parametrize(("metres", "system", "words"), [
    (75.0, "metric", "75 m"), (0.35, "metric", "0.35 m"), (75.0, "us", "246.06 ft"),
    (0.0011, "metric", "0.001 m")])
def test_lengths_with_their_unit(metres, system, words):
    work = Swale.model_validate({"kind": "swale", "name": "a", "through": [1, 2],
                                 "length": metres})
    assert written(work, system)["length"] == words


def test_levels_have_two_decimals():
    work = WORK.validate_python({**ENTRIES[5], "crest": "1193.5 m"})
    assert levels_and_all(written(work, "metric"))["crest"] == "1193.50 m"
    # 1193.5 m / 0.3048
    assert levels_and_all(written(work, "us"))["crest"] == "3915.68 ft"


@pytest.fixture
def told(small_suggested, tmp_path):
    """The small site's balanced proposal, written somewhere else."""
    folder = tmp_path / "else" / "where"
    folder.mkdir(parents=True)
    return written_into(small_suggested, folder)


def written_into(suggestion, folder, number=1):
    path = folder / "balanced.yaml"
    path.write_text(site_file(suggestion, suggestion.proposals[number], folder))
    return path


def works_meant(suggestion, number=1):
    proposal = suggestion.proposals[number]
    kept = [w for w in suggestion.site.works if w.name not in proposal.leaves_out]
    return [*kept, *(w for c in proposal.works for w in c.candidate.works)]


def test_works_and_all_else_are_read_back(small_suggested, told):
    site, read = small_suggested.site, read_site(told)
    assert read.works == works_meant(small_suggested)
    own = site.model_dump(exclude={"works"})
    for key, value in read.model_dump(exclude={"works"}).items():
        assert moved(value, read.folder) == moved(own[key], site.folder), key


def moved(value, folder):
    """The same with each path as the place that it names."""
    if isinstance(value, dict):
        return {key: moved(part, folder) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [moved(part, folder) for part in value]
    return os.path.realpath(folder / value) if isinstance(value, Path) else value


def test_it_is_planned_from_where_it_stands(small_suggested, told, levelsill):
    inputs = read_inputs(told)
    assert inputs.dem.shape == small_suggested.inputs.dem.shape
    ran = levelsill("check", told)
    assert ran.code == 0, ran.err


def test_all_that_the_owner_wrote_stands_there_still(small_suggested, told):
    """Line by line: nothing goes but the work that is left out, and paths change."""
    own = small_suggested.site.path.read_text().split("\n")
    gone = [line[2:] for line in difflib.ndiff(own, told.read_text().split("\n"))
            if line.startswith("- ")]
    assert [line for line in gone if "file:" not in line] == [
        "  - kind: swale", "    name: east swale", "    through: [500085, 6399940]",
        "    length: 30 m"]


def test_its_head_and_its_reasons(small_suggested, told):
    text = told.read_text()
    head = " ".join(line.removeprefix("# ") for line in text.split("\n\n")[0].split("\n"))
    assert f"SHA-256 {fingerprint(small_suggested.site.path)}" in head
    assert "Made from site.yaml" in head
    assert "# The proposal \"balanced\" leaves out: east swale." in text
    above = text[:text.index("- name: swale 1\n")].rstrip().split("\n\n")[-1]
    assert "Costs 1.5 h of the machine, 11.0 m³ dug." in " ".join(
        line.strip().removeprefix("# ") for line in above.split("\n"))
    assert all(line.strip().startswith("#") for line in above.split("\n"))
    assert max(len(line) for line in text.split("\n")
               if line.lstrip().startswith("#")) <= 100


def test_the_same_bytes_each_time(small_suggested, tmp_path):
    one, two = (site_file(small_suggested, small_suggested.proposals[0], tmp_path)
                for _ in range(2))
    assert one == two


OWN = """\
# mine: "quoted" — ünïcode
name: "=1+1: \\"my\\" Höf"   # a name
elevation: {file: [a.tif, 'tiles/*.tif', /abs/b.tif]}
boundary: &here
  file: data/site map.gpkg     # all of it
  layer: edge
cover:
  <<: *here
  layer: cover
  table: "cn: 1.csv"
soils: *here

rain:
  storms: [{name: s, depth: 20 mm}]
  frequency: 'ddf.csv'
  daily:
    file: >-
      rain.csv
keep clear:
  - {what: public well, file: wells.gpkg, name field: id}
  - what: tree
    crown: 3 m
    at: [[1, 2]]
suggest:
  keep out:
    - file: no.gpkg
# before the works
works:
  # The first of all.
  # Two lines of it.
  - kind: drain        # a drain
    name: one
    from: [1, 2]
    to: "two: 'x'"
    # depth: 0.3 m

  # ---- a group of its own ----

  # The second.
  -
    name: "two: 'x'"
    kind: basin
    dug: [[1, 1], [2, 1],
          [2, 2]]
    depth: 1 m
    spills to: =three
  - {kind: hollow, name: =three, at: [1, 2]}
  # Nothing below.
money:     # after
  currency: "€"
  machine hour: [1, 2]
"""


def proposal_of(small_suggested, path, leaves_out, new):
    """A proposal of some other site file, with one work."""
    site = read_without_tables(path)
    candidate = Candidate(new.name, "swale", (new,), None, (0, 0), None, 1.0, 1.0, 1.0,
                          Cost(None, 1.0, 1.0))
    chosen = Chosen(candidate, (), candidate.cost, 1.0, 1.0, 0.0, ("A reason\nwith #\u2028 ends.",))
    base = small_suggested.proposals[0]
    proposal = replace(base, works=(chosen,), leaves_out=leaves_out)
    inputs = replace(small_suggested.inputs, site=site)
    return replace(small_suggested, inputs=inputs, proposals=(proposal,)), proposal


def read_without_tables(path):
    """Its files are not there, so none may be looked into."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("terrain.inputs.site.with_depths", lambda site: site)
        return read_site(path)


NEW = Swale.model_validate({"kind": "swale", "name": "swale: 'ä' #1", "through": [1, 2]})


def made(small_suggested, tmp_path, text, leaves_out=()):
    """Text of a proposal for a site file in a folder, written into another below it."""
    path = tmp_path / "site.yaml"
    path.write_text(text)
    suggestion, proposal = proposal_of(small_suggested, path, leaves_out, NEW)
    out = tmp_path / "out put" / "deep"
    out.mkdir(parents=True, exist_ok=True)
    said = site_file(suggestion, proposal, out)
    (out / "cheap.yaml").write_text(said)
    return said, suggestion.site, read_without_tables(out / "cheap.yaml")


def test_paths_of_every_kind_start_from_the_new_folder(small_suggested, tmp_path):
    said, site, read = made(small_suggested, tmp_path, OWN)
    assert "file: [../../a.tif, '../../tiles/*.tif', /abs/b.tif]" in said.replace('"', "'")
    assert "file: ../../data/site map.gpkg     # all of it" in said
    own = site.model_dump(exclude={"works"})
    for key, value in read.model_dump(exclude={"works"}).items():
        assert moved(value, read.folder) == moved(own[key], site.folder), key
    assert read.works == [*site.works, NEW]


@pytest.mark.parametrize("leaves_out", [("one",), ("two: 'x'",), ("=three",),
                                        ("one", "two: 'x'", "=three")])
def test_what_is_left_out_takes_its_own_comment_along(small_suggested, tmp_path, leaves_out):
    said, site, read = made(small_suggested, tmp_path, OWN, leaves_out)
    assert [w.name for w in read.works] == [
        *(w.name for w in site.works if w.name not in leaves_out), NEW.name]
    for name, comment in (("one", "# Two lines of it."), ("one", "# depth: 0.3 m"),
                          ("one", "# a drain"), ("two: 'x'", "# The second.")):
        assert (comment in said) == (name not in leaves_out), comment
    for comment in ("# mine: \"quoted\" — ünïcode", "# a name", "# before the works",
                    "# ---- a group of its own ----", "# Nothing below.", "# after"):
        assert comment in said
    assert "# ---- a group of its own ----\n\n" in said
    assert "\n\n\n" not in said
    assert f"leaves out: {', '.join(leaves_out)}." in said
    # A work that spilled to one that goes spills over the ground.
    stays = next((w for w in read.works if w.name == "two: 'x'"), None)
    if stays is not None:
        assert stays.spills_to == (None if "=three" in leaves_out else "=three")


LISTS = {
    "none": "", "empty": "works:\n  # - kind: swale\n", "null": "works: ~   # none yet\n",
    "brackets": "works: []\n", "no line's end": "works:",
    "at the margin": "works:\n- kind: hollow\n  name: h\n  at: [1, 2]\n",
    "in brackets": "works: [{kind: hollow, name: h, at: [1, 2]},\n  {kind: hollow, name: i, "
                   "at: [1, 3], spills to: h}]   # all\n",
    "no end": "works:\n    - kind: hollow\n      name: h\n      at: [1, 2]",
    "of an anchor": "works:\n  - &h {kind: hollow, name: h, at: [1, 2]}\n"
                    "  - <<: *h\n    name: i\n"}
REST = OWN[:OWN.index("suggest:")]


@pytest.mark.parametrize("name", LISTS)
def test_lists_of_works_however_they_are_written(small_suggested, tmp_path, name):
    said, site, read = made(small_suggested, tmp_path, REST + LISTS[name])
    assert read.works == [*site.works, NEW]
    for part in LISTS[name].split("#")[1:]:
        assert part.strip() in said


def test_one_of_a_list_in_brackets_is_left_out(small_suggested, tmp_path):
    _, _, read = made(small_suggested, tmp_path, REST + LISTS["in brackets"], ("h",))
    assert [w.name for w in read.works] == ["i", NEW.name]
    assert read.works[0].spills_to is None


@pytest.mark.parametrize("works", [{}, {"works": []}, {"works": [
    {"kind": "hollow", "name": "h", "at": [1, 2]}]}])
def test_a_site_file_that_is_json(small_suggested, tmp_path, works):
    document = {"name": "j", "elevation": {"file": "a.tif"}, "boundary": {"file": "b.gpkg"},
                "cover": {"file": "c.gpkg"}, "soils": {"file": "d.gpkg"},
                "rain": {"storms": [{"name": "s", "depth": "20 mm"}]}, **works}
    _, site, read = made(small_suggested, tmp_path, json.dumps(document, indent=1))
    assert read.works == [*site.works, NEW]
    assert read.elevation.file == [Path("../../a.tif")]


def test_a_folder_behind_a_link(small_suggested, tmp_path):
    """`..` leads from where a link goes to, not from where it stands."""
    far = tmp_path / "far" / "away"
    far.mkdir(parents=True)
    (tmp_path / "link").symlink_to(far)
    read = read_site(written_into(small_suggested, tmp_path / "link"))
    assert (read.folder / read.elevation.file[0]).exists()
