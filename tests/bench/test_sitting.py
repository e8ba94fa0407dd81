"""A sitting: what is saved is the desk, a plan made of it says the same, nothing is lost."""

from __future__ import annotations

import difflib

import pytest
from shapely import box

from terrain.bench import answer
from terrain.bench import sitting as sittings
from terrain.bench.errands import plan
from terrain.bench.keeping import Changed
from terrain.bench.opening import open_bench
from terrain.bench.page.storm import Storm
from terrain.bench.sitting import Sitting
from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.plan.plan import make_plan

pytestmark = pytest.mark.long


@pytest.fixture
def sitting(small_site):
    made = Sitting.of(small_site)
    yield made
    made.file.close()


def one_of_each(sitting) -> None:
    sketch = sitting.sketch
    sitting.do(lambda d: d.add(sketch.swales("top swale", 500082, 6399900)[1]))
    sitting.do(lambda d: d.add(sketch.wall("high wall", 500060, 6399925)))
    sitting.do(lambda d: d.add(sketch.dug("pit", 500030, 6399955)))
    sitting.do(lambda d: d.add(sketch.trees("orchard", [(500040, 6399940), (500044, 6399941)])))
    sitting.do(lambda d: d.add(sketch.drain("lead", (500070, 6399895), "pond")))
    sitting.do(lambda d: d.change("trees", d.work("trees").model_copy(
        update={"spills_to": "pond", "infiltration": 11.0})))


def test_a_plan_of_what_was_saved_says_what_the_bench_says_to_the_last_bit(sitting):
    one_of_each(sitting)
    sitting.save()
    laid, plan = sitting.desk.laid, make_plan(sitting.file.path)
    assert [p.name for p in laid.placed] == [s.store.name for s in plan.stores]
    for index, (store, node) in enumerate(zip(plan.stores, plan.cascade.nodes, strict=True)):
        mine = laid.cascade.nodes[index]
        assert mine.store.capacity == node.store.capacity
        assert mine.catchment.area == node.catchment.area
        assert mine.store.sill == node.store.sill
        for name, run in plan.runs.items():
            assert laid.runs[name].stores[index] == run.stores[index]
        assert laid.built[index].quantities == store.quantities
    assert {w.name: w.cut for w in laid.earth.works} == {w.name: w.cut for w in plan.earth.works}
    assert laid.earth.bills == plan.earth.bills
    assert laid.year.passive == plan.year.passive
    kept = {e.name: e.captured for e in plan.year.entries}
    for name in ("top swale", "high wall", "pit"):
        assert answer.year_kept(laid, name) == kept[name]


def test_what_is_saved_is_read_back_and_all_else_stays_to_the_letter(sitting):
    path = sitting.file.path
    text = path.read_text().replace("    crest: 195.9 m\n", "    crest: 195.9 m   # rock here\n")
    sitting.file.close()
    path.write_text("# our land\n" + text)
    other = Sitting.of(path)
    before = path.read_text()
    other.do(lambda d: d.change("pond", other.sketch.with_crest(d.work("pond"), 196.0)))
    saved = other.save()
    after = path.read_text()
    changed = [line for line in difflib.ndiff(before.splitlines(), after.splitlines())
               if line[0] in "+-"]
    assert [line for line in changed if "crest" in line] == [
        "-     crest: 195.9 m   # rock here", "+     crest: 196.00 m   # rock here"]
    assert all("crest" in line or "wall" in line for line in changed)
    assert saved.backup.read_text() == before
    assert list(read_site(path).works) == other.desk.works
    other.file.close()


def test_what_another_program_saved_is_never_written_over(sitting):
    path = sitting.file.path
    theirs = path.read_text().replace("volume: 5 m3", "volume: 7 m3")
    sitting.do(lambda d: d.change("pond", sitting.sketch.with_crest(d.work("pond"), 196.0)))
    path.write_text(theirs)
    with pytest.raises(Changed):
        sitting.save()
    assert path.read_text() == theirs
    both = sitting.join()
    assert not both.clashes
    sitting.save()
    works = {work.name: work for work in read_site(path).works}
    assert works["barn tank"].volume == 7.0
    assert works["pond"].crest == 196.0


def test_of_a_work_changed_on_both_sides_the_files_own_is_taken_and_named(sitting):
    path = sitting.file.path
    sitting.do(lambda d: d.change("pond", sitting.sketch.with_crest(d.work("pond"), 196.0)))
    path.write_text(path.read_text().replace("crest: 195.9 m", "crest: 195.8 m"))
    assert sitting.join().clashes == ("pond",)
    assert sitting.desk.work("pond").crest == 195.8


def test_a_file_that_cannot_be_joined_leaves_the_desk_as_it_was(sitting):
    sitting.do(lambda d: d.change("pond", sitting.sketch.with_crest(d.work("pond"), 196.0)))
    sitting.file.path.write_text("name: broken\nworks: [")
    before = sitting.desk.now
    with pytest.raises(InputError):
        sitting.join()
    assert sitting.desk.now is before


def test_taking_the_files_begins_anew(sitting):
    path = sitting.file.path
    sitting.do(lambda d: d.take("pond"))
    path.write_text(path.read_text().replace("volume: 5 m3", "volume: 7 m3"))
    sitting.take_theirs()
    assert not sitting.desk.unsaved
    assert [w.name for w in sitting.desk.works] == ["east swale", "pond", "trees", "barn tank"]
    assert sitting.desk.work("barn tank").volume == 7.0


def test_what_was_not_saved_is_offered_and_taken_up(sitting):
    one_of_each(sitting)
    sitting.keep_aside()
    works = sitting.desk.works
    sitting.file.close()  # as if it had been killed
    again = Sitting.of(sitting.file.path)
    assert again.left is not None
    assert again.left.same
    again.keep_aside()  # nothing is changed yet: it stays
    again.take_up()
    assert again.desk.works == works
    assert again.desk.unsaved
    again.save()
    again.file.close()
    assert Sitting.of(sitting.file.path).left is None


def test_leaving_it_out_throws_it_away(sitting):
    one_of_each(sitting)
    sitting.keep_aside()
    sitting.file.close()
    again = Sitting.of(sitting.file.path)
    again.leave()
    again.file.close()
    assert Sitting.of(sitting.file.path).left is None


@pytest.fixture
def offered(sitting):
    """A sitting that has been offered what an earlier one left, and was told nothing yet."""
    one_of_each(sitting)
    sitting.keep_aside()
    sitting.file.close()
    made = Sitting.of(sitting.file.path)
    yield made
    made.file.close()


def still_there(sitting) -> bool:
    """Whether what the earlier sitting left is offered again, or among the backups."""
    sitting.file.close()
    again = Sitting.of(sitting.file.path)
    again.file.close()
    backups = sitting.file.path.parent / "site backups"
    texts = [again.left.text] if again.left else []
    texts += [file.read_text() for file in backups.glob("*not saved*")]
    return any("top swale" in text for text in texts)


def test_what_was_offered_outlives_saving_before_it_is_answered(offered):
    offered.do(lambda d: d.take("pond"))
    offered.save()
    offered.keep_aside()
    assert still_there(offered)


def test_saving_again_and_again_pushes_no_backup_out(sitting):
    sitting.do(lambda d: d.take("pond"))
    first = sitting.save().backup
    for _ in range(3):
        assert sitting.save().backup is None
    assert list(first.parent.iterdir()) == [first]


def test_what_was_offered_outlives_joining_and_changing(offered):
    path = offered.file.path
    path.write_text(path.read_text() + "# seen\n")
    offered.join()
    offered.do(lambda d: d.take("pond"))
    offered.keep_aside()
    offered.save()
    assert still_there(offered)


def test_leaving_it_out_keeps_what_was_changed_meanwhile(offered):
    offered.do(lambda d: d.take("pond"))
    offered.keep_aside()
    offered.leave()
    offered.leave()  # as another page may
    offered.file.close()
    again = Sitting.of(offered.file.path)
    assert again.left is not None
    assert "pond" not in {work.name for work in read_site(again.file.path, again.left.text).works}
    again.file.close()


def test_a_join_that_fails_holds_no_lock_of_its_own(sitting):
    sitting.file.path.write_text("name: broken\nworks: [")
    with pytest.raises(InputError):
        sitting.join()
    assert sitting.file._lock.times == 1


def test_storms_of_a_file_that_was_joined_are_those_that_are_run(sitting):
    storm = Storm(sitting.desk.laid, "us", lambda: None)
    path = sitting.file.path
    path.write_text(path.read_text().replace("name: big day", "name: flood")
                    .replace("depth: 60 mm", "depth: 90 mm"))
    sitting.join()
    run = storm.run(sitting.desk.laid)
    assert storm.chosen == storm.name == "flood"
    assert storm.depth == run.depth == 90.0
    assert storm.slider.value == pytest.approx(90 / 25.4)  # an inch is 25.4 mm
    assert [words for _, words in storm.choice.options] == ["any depth", "shower", "flood"]


@pytest.mark.parametrize("name", ["any depth", "any", "storm shower"])
def test_a_storm_called_as_the_page_calls_its_own_choice_is_a_storm(small_site, name):
    small_site.write_text(small_site.read_text().replace("name: shower", f"name: {name}"))
    sitting = Sitting.of(small_site)
    try:
        laid = sitting.desk.laid
        storm = Storm(laid, "metric", lambda: None)
        values = [value for value, _ in storm.choice.options]
        assert len(set(values)) == len({words for _, words in storm.choice.options}) == 3
        storm.choice.value = values[1]  # the first of the site file
        assert storm.name == name
        assert storm.depth == 20.0
        assert storm.run(laid) is laid.runs[name]
        storm.slider.value = 35.0
        assert storm.choice.value == values[0]
        assert storm.name == "big day"  # what it falls as
        assert storm.run(laid).depth == 35.0
    finally:
        sitting.file.close()


def test_what_changed_under_the_works_is_told_until_it_is_read_anew(
        sitting, write_layer, small_site):
    assert sitting.underneath() == ""
    sitting.save()
    assert sitting.underneath() == ""  # of the site file itself it is told elsewhere
    small_site.with_name("ground.tif.aux.xml").write_text("<PAMDataset/>")  # as viewers do
    assert sitting.underneath() == ""
    with small_site.with_name("rain.csv").open("a") as rain:
        rain.write("2013-01-01,3\n")
    assert sitting.underneath().startswith("rain.csv changed on the disk since it was read")
    sitting.take_theirs()
    assert sitting.underneath() == ""  # no map shows it
    write_layer(small_site.with_name("roofs.geojson"), [
        {"name": "barn", "geometry": box(500094, 6399890, 500105, 6399898)}])
    assert sitting.underneath().startswith("roofs.geojson changed on the disk")
    sitting.take_theirs()
    assert "the map still shows that of before" in sitting.underneath()
    small_site.with_name("ground.tif").unlink()
    assert sitting.underneath().startswith("ground.tif changed on the disk")


def test_a_layer_that_changes_while_it_is_read_is_told(small_site, monkeypatch):
    read = sittings.read_inputs

    def meanwhile(path, *given):
        made = read(path, *given)
        with small_site.with_name("rain.csv").open("a") as rain:
            rain.write("2013-01-01,3\n")
        return made
    monkeypatch.setattr(sittings, "read_inputs", meanwhile)
    sitting = Sitting.of(small_site)
    assert sitting.underneath().startswith("rain.csv changed")
    sitting.file.close()


def test_a_site_file_behind_a_link_is_served_from_its_own_folder(small_site, tmp_path):
    """There the errands write, whatever way led to it."""
    home = tmp_path / "linked"
    home.mkdir()
    for file in small_site.parent.iterdir():
        (home / file.name).symlink_to(file)
    opened = open_bench(home / small_site.name)
    try:
        opened.server.allow(plan(opened.sitting.file.path).folder)
        assert opened.server.folder == small_site.parent
    finally:
        opened.sitting.file.close()
        for one in opened.server._sockets:
            one.close()


def test_all_who_look_on_are_told(sitting):
    heard: list[str] = []
    sitting.lookers.append(heard.append)
    one_of_each(sitting)
    sitting.save()
    assert len(heard) == 7
    assert heard[0] == "add top swale"
