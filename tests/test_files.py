"""Outputs appear whole or not at all, and never over somebody else's file."""

import errno
import os
import subprocess
import sys
import tempfile

import pytest

from terrain import files
from terrain.errors import InputError
from terrain.files import RECORD, check_name, whole_file, whole_folder


def test_a_name_that_is_not_there_is_told_the_one_most_like_it(tmp_path):
    for name in ("Ground.tif", "ground.tfw", "rain.csv"):
        (tmp_path / name).touch()
    assert check_name(tmp_path / "grund.tif") == "Perhaps 'Ground.tif' was meant, which lies there"
    assert check_name(tmp_path / "slope.tif", "Look") == "Look"
    assert check_name(tmp_path / "none" / "ground.tif") == "Check its name and folder"


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


def refused(folder, words):
    """A run into the folder is refused, in one sentence; the folder stays as it was."""
    before = {path: path.read_bytes() if path.is_file() else None for path in folder.rglob("*")}
    with pytest.raises(InputError, match=words) as told:
        write(folder, a="2")
    assert "\n" not in str(told.value)
    assert before == {path: path.read_bytes() if path.is_file() else None
                      for path in folder.rglob("*")}
    assert not list(folder.parent.glob(".levelsill-*"))


@pytest.mark.parametrize("added", ["folder", "folder with a folder", "link to a file",
                                   "link to a folder", "link that leads nowhere", "pipe"])
def test_what_a_person_put_into_the_folder_stays(tmp_path, added):
    """Not only files: an empty folder and a link are somebody's too."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "mine.txt").write_text("mine")
    folder = tmp_path / "plan"
    write(folder, a="1")
    place = folder / "photos"
    if added.startswith("folder"):
        (place / "sub" if "with" in added else place).mkdir(parents=True)
    elif added == "pipe":
        os.mkfifo(place)
    else:
        place.symlink_to({"link to a file": elsewhere / "mine.txt", "link to a folder": elsewhere}
                         .get(added, tmp_path / "nothing"))
    with pytest.raises(InputError, match="added or changed"):
        write(folder, a="2")
    assert place.is_symlink() or place.exists()
    assert (folder / "a").read_text() == "1"
    assert (elsewhere / "mine.txt").read_text() == "mine"


def test_a_pipe_in_the_place_of_the_list_of_what_was_written_keeps_nobody_waiting(tmp_path):
    folder = tmp_path / "plan"
    write(folder, a="1")
    (folder / files.RECORD).unlink()
    os.mkfifo(folder / files.RECORD)
    refused(folder, "did not write")


def test_an_output_that_became_a_link_is_left_alone(tmp_path):
    """Moved away and linked back: the same bytes, and yet somebody's doing."""
    folder = tmp_path / "plan"
    write(folder, a="1")
    (folder / "a").rename(tmp_path / "kept")
    (folder / "a").symlink_to(tmp_path / "kept")
    refused(folder, "added or changed")
    assert (tmp_path / "kept").read_text() == "1"


def test_a_link_in_the_folders_place_is_refused(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "mine.txt").write_text("mine")
    (tmp_path / "plan").symlink_to(tmp_path / "real")
    with pytest.raises(InputError, match="link to another place"):
        write(tmp_path / "plan", a="1")
    assert (tmp_path / "plan").is_symlink()
    assert (tmp_path / "real" / "mine.txt").read_text() == "mine"


def test_a_file_in_the_folders_place_is_refused(tmp_path):
    (tmp_path / "plan").write_text("mine")
    with pytest.raises(InputError, match="this is a file"):
        write(tmp_path / "plan", a="1")
    assert (tmp_path / "plan").read_text() == "mine"


@pytest.mark.parametrize("record", ["", "[]", "not json", '{"a": 5}'])
def test_a_spoilt_record_is_no_leave_to_replace(tmp_path, record):
    folder = tmp_path / "plan"
    write(folder, a="1")
    (folder / RECORD).write_text(record)
    refused(folder, "did not write|added or changed")


def test_outputs_in_folders_within_are_replaced_too(tmp_path):
    for text in ("1", "2"):
        with whole_folder(tmp_path / "plan") as draft:
            (draft / "sheets").mkdir()
            (draft / "sheets" / "a").write_text(text)
    assert (tmp_path / "plan" / "sheets" / "a").read_text() == "2"


@pytest.mark.parametrize(("number", "words"), [
    (errno.EACCES, "nothing may be written in this folder"),
    (errno.EROFS, "nothing may be written in this folder"),
    (errno.ENOSPC, "the disk is full, so nothing was written"),
    (errno.EDQUOT, "the disk is full, so nothing was written")])
def test_why_nothing_could_be_written_is_one_sentence(tmp_path, number, words):
    write(tmp_path / "plan", a="1")
    with pytest.raises(InputError, match=words), whole_folder(tmp_path / "plan"):
        raise OSError(number, os.strerror(number))
    assert (tmp_path / "plan" / "a").read_text() == "1"
    assert [f.name for f in tmp_path.iterdir()] == ["plan"]


def test_a_full_disk_is_told_of_libraries_that_do_not_say_so(tmp_path, monkeypatch):
    """A database says "database or disk is full", and GDAL something of its own."""
    import shutil
    import sqlite3
    from types import SimpleNamespace

    monkeypatch.setattr(shutil, "disk_usage", lambda path: SimpleNamespace(free=0))
    with (pytest.raises(InputError, match="the disk is full or nearly so"),
          whole_folder(tmp_path / "plan")):
        raise sqlite3.OperationalError("database or disk is full")
    with pytest.raises(KeyError), whole_folder(tmp_path / "plan"):  # no disk makes this
        raise KeyError("a slip")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_may_not_be_written_in(tmp_path, monkeypatch):
    def no(*_, **__):
        raise PermissionError(errno.EACCES, "Permission denied")
    monkeypatch.setattr(tempfile, "mkdtemp", no)
    with pytest.raises(InputError, match="nothing may be written in this folder"):
        write(tmp_path / "plan", a="1")


def test_a_run_that_is_killed_leaves_the_last_plan_whole(tmp_path):
    """What it had begun stays beside the folder under a name of its own, and hinders no run."""
    write(tmp_path / "plan", a="1")
    script = ("import os, pathlib, signal, sys\n"
              "from terrain.files import whole_folder\n"
              "with whole_folder(pathlib.Path(sys.argv[1])) as draft:\n"
              "    (draft / 'a').write_text('2')\n"
              "    os.kill(os.getpid(), signal.SIGKILL)\n")
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path / "plan")], check=False)
    assert done.returncode == -9
    assert (tmp_path / "plan" / "a").read_text() == "1"
    assert len(list(tmp_path.glob(".levelsill-*"))) == 1
    write(tmp_path / "plan", a="3")
    assert (tmp_path / "plan" / "a").read_text() == "3"


def test_of_two_runs_at_once_one_is_there_whole(tmp_path):
    with whole_folder(tmp_path / "plan") as first:
        (first / "a").write_text("first")
        write(tmp_path / "plan", a="second", b="second")
        assert (tmp_path / "plan" / "a").read_text() == "second"
    assert (tmp_path / "plan" / "a").read_text() == "first"
    assert not (tmp_path / "plan" / "b").exists()
    assert [f.name for f in tmp_path.iterdir()] == ["plan"]


def test_a_run_that_meets_another_in_the_swap_says_so(tmp_path, monkeypatch):
    """Another run puts its folder there between this one's two moves."""
    write(tmp_path / "plan", a="1")
    move, moves = os.replace, []

    def meeting(source, target):
        moves.append(target)
        move(source, target)
        if len(moves) == 1:
            (tmp_path / "plan").mkdir()
            (tmp_path / "plan" / "a").write_text("theirs")
    monkeypatch.setattr(files, "_exchange", lambda *_: False)
    monkeypatch.setattr(os, "replace", meeting)
    with pytest.raises(InputError, match="another run wrote this folder at the same time"):
        write(tmp_path / "plan", a="2")
    assert (tmp_path / "plan" / "a").read_text() == "theirs"


def test_a_file_that_comes_while_it_writes_is_kept(tmp_path, monkeypatch):
    """Put there after the last look and before the move: found then, and all stays."""
    write(tmp_path / "plan", a="1")
    move, moves = os.replace, []

    def late(source, target):
        if not moves:
            (tmp_path / "plan" / "mine.txt").write_text("mine")
        moves.append(target)
        move(source, target)
    monkeypatch.setattr(files, "_exchange", lambda *_: False)
    monkeypatch.setattr(os, "replace", late)
    with pytest.raises(InputError, match="added or changed"):
        write(tmp_path / "plan", a="2")
    assert (tmp_path / "plan" / "mine.txt").read_text() == "mine"
    assert (tmp_path / "plan" / "a").read_text() == "1"


def test_a_swap_that_fails_puts_the_last_plan_back(tmp_path, monkeypatch):
    write(tmp_path / "plan", a="1")
    move, moves = os.replace, []

    def failing(source, target):
        moves.append(target)
        if len(moves) == 2:
            raise OSError(errno.EIO, "Input/output error")
        move(source, target)
    monkeypatch.setattr(files, "_exchange", lambda *_: False)
    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(InputError, match=r"writing failed .*Input/output error"):
        write(tmp_path / "plan", a="2")
    assert (tmp_path / "plan" / "a").read_text() == "1"
    assert [f.name for f in tmp_path.iterdir()] == ["plan"]


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux exchanges two folders in one step")
def test_a_run_that_is_killed_in_the_swap_leaves_a_plan_in_its_place(tmp_path):
    """Killed at any rename but the first: the old or the new plan is there, whole."""
    write(tmp_path / "plan", a="1")
    script = ("import os, pathlib, signal, sys\n"
              "move, moves = os.replace, []\n"
              "def killed(source, target):\n"
              "    moves.append(target)\n"
              "    if len(moves) == 2:\n"
              "        os.kill(os.getpid(), signal.SIGKILL)\n"
              "    move(source, target)\n"
              "os.replace = killed\n"
              "from terrain.files import whole_folder\n"
              "with whole_folder(pathlib.Path(sys.argv[1])) as draft:\n"
              "    (draft / 'a').write_text('2')\n")
    subprocess.run([sys.executable, "-c", script, str(tmp_path / "plan")], check=False)
    assert (tmp_path / "plan" / "a").read_text() in ("1", "2")
    assert (tmp_path / "plan" / RECORD).is_file()


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux exchanges two folders in one step")
def test_a_file_that_comes_at_the_exchange_is_kept(tmp_path, monkeypatch):
    write(tmp_path / "plan", a="1")
    exchange, done = files._exchange, []

    def late(one, other):
        if not done:
            (tmp_path / "plan" / "mine.txt").write_text("mine")
        done.append(other)
        return exchange(one, other)
    monkeypatch.setattr(files, "_exchange", late)
    with pytest.raises(InputError, match="added or changed"):
        write(tmp_path / "plan", a="2")
    assert (tmp_path / "plan" / "mine.txt").read_text() == "mine"
    assert (tmp_path / "plan" / "a").read_text() == "1"


def test_a_file_that_comes_while_another_is_written_is_kept(tmp_path):
    target = tmp_path / "map.png"
    with pytest.raises(InputError, match="already"), whole_file(target) as draft:
        target.write_text(draft.write_text("whole") and "mine")
    assert target.read_text() == "mine"
    assert [f.name for f in tmp_path.iterdir()] == ["map.png"]


def test_a_link_that_leads_nowhere_is_kept(tmp_path):
    (tmp_path / "map.png").symlink_to(tmp_path / "not there yet")
    with pytest.raises(InputError, match="already"), whole_file(tmp_path / "map.png") as draft:
        draft.write_text("whole")
    assert (tmp_path / "map.png").is_symlink()


def test_libraries_that_could_not_write_are_told_in_a_sentence(tmp_path):
    """With room on the disk: a limit of file sizes, a broken disk."""
    import sqlite3

    from xlsxwriter.exceptions import FileCreateError

    with pytest.raises(InputError, match="lets no file grow"), whole_folder(tmp_path / "plan"):
        raise FileCreateError(OSError(errno.EFBIG, "File too large"))
    with (pytest.raises(InputError, match=r"writing failed .*disk I/O error"),
          whole_folder(tmp_path / "plan")):
        raise sqlite3.OperationalError("disk I/O error")
    assert list(tmp_path.iterdir()) == []
