"""Works of the site file that stand in every layout, and those that are weighed anew."""

from __future__ import annotations

import pytest
import yaml

from terrain.errors import InputError
from terrain.inputs.site_suggest import Suggest
from terrain.plan.plan import laid_out
from terrain.plan.siting.reading import read_inputs
from terrain.suggest.look import look_at
from terrain.suggest.standing import breaks_rules, own_candidate, parted
from terrain.suggest.suggest import NOTHING


@pytest.fixture
def parts(small_site):
    """What stands and what is weighed on the small site, its works changed."""
    def made(already="none", more=(), **changed):
        path = small_site
        site = yaml.safe_load(path.read_text())
        for work in site["works"]:
            work |= changed.get(work["name"].replace(" ", "_"), {})
        site["works"] += list(more)
        path.write_text(yaml.safe_dump(site, sort_keys=False))
        inputs = read_inputs(path)
        found = parted(inputs.site, Suggest.model_validate({"already dug": already}),
                       laid_out(inputs))
        return inputs, found
    return made


def names(places):
    return list(dict.fromkeys(place.work.name for place in places))


def groups(found):
    return [names(group) for group in found.weighed]


def test_tanks_stand_and_what_is_not_dug_is_weighed_each_by_itself(parts):
    _, found = parts()
    assert names(found.stands) == ["barn tank"]
    assert groups(found) == [["east swale"], ["pond"], ["trees"]]


def test_what_is_dug_stands(parts):
    _, found = parts(["pond", "trees"])
    assert names(found.stands) == ["pond", "trees", "barn tank"]
    assert groups(found) == [["east swale"]]


def test_all_and_none(parts):
    _, found = parts("all")
    assert names(found.stands) == ["east swale", "pond", "trees", "barn tank"]
    assert found.weighed == ()


def test_works_that_lean_on_each_other_are_weighed_together(parts):
    _, found = parts(east_swale={"spills to": "pond"})
    assert groups(found) == [["east swale", "pond"], ["trees"]]


def test_what_a_standing_work_leans_on_stands_too(parts):
    _, found = parts(["east swale"], east_swale={"spills to": "pond"})
    assert names(found.stands) == ["east swale", "pond", "barn tank"]
    assert groups(found) == [["trees"]]


def test_but_not_what_leans_on_it(parts):
    _, found = parts(["pond"], east_swale={"spills to": "pond"})
    assert names(found.stands) == ["pond", "barn tank"]
    assert groups(found) == [["east swale"], ["trees"]]


def test_a_tank_brings_where_it_spills_to(parts):
    _, found = parts(barn_tank={"spills to": "trees"})
    assert names(found.stands) == ["trees", "barn tank"]


def test_a_row_of_trees_along_a_swale_goes_with_it(parts):
    row = {"kind": "tree basin", "name": "row", "along": "east swale", "crown": 3.0,
           "spacing": 6.0}
    _, found = parts(more=[row])
    assert ["east swale", "row"] in groups(found)


def test_a_drain_stands_and_what_it_leads_to(parts):
    drain = {"kind": "drain", "name": "lead", "from": [500100, 6399945], "to": "east swale",
             "grade": "6.71 %"}
    _, found = parts(more=[drain])
    assert names(found.stands) == ["east swale", "barn tank", "lead"]


@pytest.mark.parametrize("already", [["no such pond"], ["pond", "no such pond"]])
def test_a_work_that_is_not_there_is_refused_in_one_sentence(parts, already):
    with pytest.raises(InputError) as caught:
        parts(already)
    assert 'no work is called "no such pond"' in caught.value.what
    assert "already dug" in caught.value.where
    assert "\n" not in str(caught.value)
    assert all(name in caught.value.remedy for name in ("east swale", "pond", "trees"))


def test_own_works_as_candidates_hold_what_they_hold(parts):
    """Sums over the works by themselves; cells without the one that its spill runs on from."""
    inputs, found = parts(east_swale={"spills to": "pond"})
    with inputs.told():
        look = look_at(inputs, Suggest(), found.stands)
    for group in found.weighed:
        own = own_candidate(look, group, NOTHING)
        assert own.storage == pytest.approx(sum(p.curve.capacity for p in group))
        assert [work.name for work in own.works] == names(group)
        cells = {tuple(cell) for cell in own.cells.tolist()}
        assert cells == {tuple(cell) for p in group for cell in p.cells.tolist()}
        assert tuple(own.spill) not in cells
        assert all(own.footprint.contains(p.outline) for p in group)


def test_own_works_on_ground_kept_clear_are_told(parts):
    """Trees 2 m from the boundary, where 3 m are to be kept: 10 ft to property lines, Minnesota
    Stormwater Manual, 2022."""
    inputs, found = parts(trees={"at": [[500012, 6399900], [500035, 6399905]]})
    with inputs.told():
        look = look_at(inputs, Suggest(), found.stands)
    told = {own.name: breaks_rules(look, own) for own in (
        own_candidate(look, group, NOTHING) for group in found.weighed)}
    assert told["trees"]
    assert not told["pond"]
