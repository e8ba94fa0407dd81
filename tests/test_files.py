"""Outputs appear whole or not at all, and never over somebody else's file."""

import pytest

from terrain.errors import InputError
from terrain.files import RECORD, whole_file, whole_folder


def test_a_file_appears_only_when_it_is_whole(tmp_path):
    target = tmp_path / "map.png"
    with pytest.raises(ZeroDivisionError), whole_file(target) as draft:
        draft.write_text(f"half{1 / 0}")
    assert list(tmp_path.iterdir()) == []
    with whole_file(target) as draft:
        draft.write_text("whole")
        assert not target.exists()
    assert target.read_text() == "whole"


def test_a_file_is_never_overwritten(tmp_path):
    (tmp_path / "map.png").write_text("mine")
    with pytest.raises(InputError, match="already"), whole_file(tmp_path / "map.png"):
        pass
    assert (tmp_path / "map.png").read_text() == "mine"


def write(folder, **files):
    with whole_folder(folder) as draft:
        for name, text in files.items():
            (draft / name).write_text(text)


def test_a_folder_of_ours_is_replaced(tmp_path):
    write(tmp_path / "plan", a="1", b="2")
    write(tmp_path / "plan", a="3")
    assert sorted(f.name for f in (tmp_path / "plan").iterdir()) == [RECORD, "a"]
    assert (tmp_path / "plan" / "a").read_text() == "3"
    assert [f.name for f in tmp_path.iterdir()] == ["plan"]


def test_a_run_that_fails_leaves_the_last_plan_alone(tmp_path):
    write(tmp_path / "plan", a="1")
    with pytest.raises(ZeroDivisionError), whole_folder(tmp_path / "plan") as draft:
        (draft / "a").write_text(f"2{1 / 0}")
    assert (tmp_path / "plan" / "a").read_text() == "1"
    assert [f.name for f in tmp_path.iterdir()] == ["plan"]


@pytest.mark.parametrize("change", ["edited", "added"])
def test_a_folder_somebody_changed_is_left_alone(tmp_path, change):
    write(tmp_path / "plan", a="1")
    touched = tmp_path / "plan" / ("a" if change == "edited" else "notes.txt")
    touched.write_text("mine")
    with pytest.raises(InputError, match="added or changed"):
        write(tmp_path / "plan", a="2")
    assert touched.read_text() == "mine"


def test_a_folder_of_somebody_else_is_left_alone(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine")
    with pytest.raises(InputError, match="did not write"):
        write(tmp_path, a="1")
    assert [f.name for f in tmp_path.iterdir()] == ["thesis.txt"]
