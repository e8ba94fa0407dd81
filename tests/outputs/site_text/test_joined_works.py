"""Works that two changed at once, put together: what each did is to stand, and clashes told."""

from __future__ import annotations

import pytest

from terrain.inputs.site_works import Hollow
from terrain.outputs.site_text.joined_works import joined
from terrain.outputs.site_text.works_text import Entry


def hollow(name: str) -> Hollow:
    return Hollow(kind="hollow", name=name, at=[1, 2])


A, B, C = map(hollow, "abc")


def at(old, x):
    return old.model_copy(update={"at": (float(x), 0.0)})


def test_changes_of_two_people_are_put_together():
    mine = [Entry("a", at(A, 5)), Entry("b", B), Entry(None, at(C, 7))]
    theirs = [A, at(B, 6), hollow("d")]
    found = joined([A, B], mine, theirs)
    assert found.clashes == ()
    assert found.entries == (Entry("a", at(A, 5)), Entry("b", at(B, 6)), Entry("d", theirs[2]),
                             Entry(None, at(C, 7)))


def called(old, name):
    return old.model_copy(update={"name": name})


@pytest.mark.parametrize(("mine", "theirs", "entries", "clashes"), [
    ([Entry("a", at(A, 5))], [at(A, 5)], [Entry("a", at(A, 5))], ()),
    ([Entry("a", at(A, 5))], [at(A, 6)], [Entry("a", at(A, 6))], ("a",)),
    ([Entry("a", at(A, 5))], [], [Entry(None, at(A, 5))], ("a",)),
    ([Entry("a", A)], [], [], ()),
    ([], [A], [], ()),
    ([], [at(A, 6)], [Entry("a", at(A, 6))], ("a",)),
    ([Entry("a", A), Entry(None, B)], [A, B], [Entry("a", A), Entry("b", B)], ()),
    # Both gave a new work the same name: mine gets another, and what names it follows.
    ([Entry("a", A.model_copy(update={"spills_to": "b"})), Entry(None, B)], [A, at(B, 1)],
     [Entry("a", A.model_copy(update={"spills_to": "b 2"})), Entry("b", at(B, 1)),
      Entry(None, called(B, "b 2"))], ("b",)),
    ([Entry("a", called(A, "b"))], [A, at(B, 1)],
     [Entry("a", called(A, "b 2")), Entry("b", at(B, 1))], ("b",)),
    # I called it z and they moved it: it is a again, for those that name it too.
    ([Entry("a", called(A, "z")), Entry(None, C.model_copy(update={"spills_to": "z"}))],
     [at(A, 6)], [Entry("a", at(A, 6)), Entry(None, C.model_copy(update={"spills_to": "a"}))],
     ("a",))])
def test_what_both_changed_is_told(mine, theirs, entries, clashes):
    found = joined([A], mine, theirs)
    assert (list(found.entries), found.clashes) == (entries, clashes)
