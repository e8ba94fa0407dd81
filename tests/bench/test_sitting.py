"""A sitting: what is saved is the desk, a plan made of it says the same, nothing is lost."""

from __future__ import annotations

import difflib

import pytest

from terrain.bench import answer
from terrain.bench.keeping import Changed
from terrain.bench.sitting import Sitting
from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.plan.plan import make_plan


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


def test_all_who_look_on_are_told(sitting):
    heard: list[str] = []
    sitting.lookers.append(heard.append)
    one_of_each(sitting)
    sitting.save()
    assert len(heard) == 7
    assert heard[0] == "add top swale"
