"""Scratch of dead runs goes; what may belong to a run that lives, or to a person, stays."""

import json
import os
import signal
import subprocess
import sys

import pytest

from terrain import scratch as module
from terrain.files import RECORD, whole_folder
from terrain.scratch import LOCK, PREFIX, scratch, sweep

#: Makes scratch with a file in it, and is killed.
KILLED = """
import os, pathlib, signal, sys
from terrain.scratch import scratch
with scratch(pathlib.Path(sys.argv[1]), sys.argv[2]) as folder:
    (folder / "new").mkdir()
    (folder / "new" / "a").write_text("1")
    os.kill(os.getpid(), signal.SIGKILL)
"""


def left(folder):
    return sorted(path for path in folder.glob(f"{PREFIX}*"))


@pytest.fixture
def dead(tmp_path):
    """Scratch that a killed run left."""
    done = subprocess.run([sys.executable, "-c", KILLED, tmp_path, "plan"], check=False)
    assert done.returncode == -signal.SIGKILL if os.name == "posix" else done.returncode
    [folder] = left(tmp_path)
    assert (folder / "new" / "a").exists()
    return folder


def test_scratch_is_gone_at_the_end(tmp_path):
    with pytest.raises(ZeroDivisionError), scratch(tmp_path, "plan") as folder:
        (folder / "a").write_text(f"{1 / 0}")
    assert left(tmp_path) == []


def test_what_a_dead_run_left_goes_with_the_next_of_the_same_output(tmp_path, dead):
    sweep(tmp_path, "another plan")
    assert left(tmp_path) == [dead]
    with whole_folder(tmp_path / "plan") as draft:
        (draft / "a").write_text("2")
    assert left(tmp_path) == []


@pytest.mark.parametrize("name", ["machine", "start"])
def test_scratch_of_another_machine_stays(tmp_path, dead, name):
    """Its lock may not be seen here, so it is not known to be dead."""
    told = json.loads((dead / LOCK).read_text())
    (dead / LOCK).write_text(json.dumps({**told, name: "other"}))
    sweep(tmp_path, "plan")
    assert left(tmp_path) == [dead]


@pytest.mark.parametrize("words", ["", "{", "[]", "no lock"])
def test_scratch_that_does_not_say_whose_it_is_stays(tmp_path, dead, words):
    (dead / LOCK).unlink()
    if words != "no lock":
        (dead / LOCK).write_text(words)
    sweep(tmp_path, "plan")
    assert (dead / "new" / "a").read_text() == "1"


def test_scratch_that_a_living_run_holds_stays(tmp_path):
    with scratch(tmp_path, "plan") as folder:
        (folder / "a").write_text("1")
        sweep(tmp_path, "plan")
        assert (folder / "a").read_text() == "1"
        sweep_elsewhere = "import pathlib, sys; from terrain.scratch import sweep; " \
                          "sweep(pathlib.Path(sys.argv[1]), 'plan')"
        subprocess.run([sys.executable, "-c", sweep_elsewhere, tmp_path], check=True)
        assert (folder / "a").read_text() == "1"


def test_a_run_killed_before_it_had_its_lock_leaves_nothing_for_long(tmp_path):
    (tmp_path / f"{PREFIX}empty").mkdir()
    (tmp_path / f"{PREFIX}silent").mkdir()
    (tmp_path / f"{PREFIX}silent" / LOCK).touch()
    sweep(tmp_path, "plan")
    assert left(tmp_path) == []


def test_scratch_swept_as_it_is_made_is_made_anew(tmp_path, monkeypatch):
    """Another run takes the new folder for one that was left, before its lock is taken."""
    make, made = module.tempfile.mkdtemp, []

    def swept(**given):
        name = make(**given)
        if not made:
            os.rmdir(name)
        made.append(name)
        return name
    monkeypatch.setattr(module.tempfile, "mkdtemp", swept)
    with scratch(tmp_path, "plan") as folder:
        assert str(folder) == made[1]
        assert folder.is_dir()


def test_what_a_person_put_into_the_last_folder_stays(tmp_path, dead):
    """It changed places with the new one, and the run was killed before it saw that."""
    last = dead / "made"
    with whole_folder(tmp_path / "elsewhere") as draft:
        (draft / "a").write_text("old")
    (tmp_path / "elsewhere").rename(last)
    (last / "note.txt").write_text("mine")
    with whole_folder(tmp_path / "plan") as draft:
        (draft / "a").write_text("2")
    assert (last / "note.txt").read_text() == "mine"
    (last / "note.txt").unlink()
    with whole_folder(tmp_path / "plan") as draft:
        (draft / "a").write_text("3")
    assert left(tmp_path) == []


def test_the_last_folder_comes_back_where_a_kill_left_none(tmp_path, dead):
    """Where folders cannot change places in one step: killed between two."""
    with whole_folder(tmp_path / "elsewhere") as draft:
        (draft / "a").write_text("old")
    (tmp_path / "elsewhere").rename(dead / "old")
    with pytest.raises(ZeroDivisionError), whole_folder(tmp_path / "plan") as draft:
        (draft / "a").write_text(f"{1 / 0}")
    assert (tmp_path / "plan" / "a").read_text() == "old"
    assert (tmp_path / "plan" / RECORD).is_file()
    assert left(tmp_path) == []
