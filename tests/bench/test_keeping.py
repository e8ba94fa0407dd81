"""The site file on the disk: what a person or a fault may do to it while it is on the bench.

What must hold is that a file is as it was or as it is to be; no source needed.
"""

from __future__ import annotations

import datetime as dt
import errno
import json
import os
import re
import signal
import stat
import subprocess
import sys
import time

import pytest

from terrain import files
from terrain.bench import keeping, site_lock
from terrain.bench.keeping import BACKUPS, MOST_BACKUPS, Changed, SiteFile
from terrain.errors import InputError

OLD = "\ufeffname: Höf   # mine\r\nworks: []"
NEW = "\ufeffname: Höf   # mine\r\nworks:\r\n"


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "site.yaml"
    path.write_bytes(OLD.encode())
    return path


def names(folder):
    return sorted(entry.name for entry in folder.iterdir() if not entry.name.startswith("."))


def told(error, *words):
    """One plain sentence and what to do, with these words."""
    said = str(error.value)
    assert "\n" not in said
    assert said.endswith(".")
    for word in words:
        assert word in said


def test_every_byte_is_kept_and_what_stood_there_is_in_the_backup(path):
    path.chmod(0o640)
    file = SiteFile(path)
    assert file.text == OLD
    backup = file.save(NEW)
    assert path.read_bytes() == NEW.encode()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert backup.read_bytes() == OLD.encode()
    assert re.fullmatch(r"site \d{4}-\d\d-\d\d \d{6}\.yaml", backup.name)
    assert backup.parent == path.parent / "site backups"
    assert (file.text, file.changed()) == (NEW, False)


def test_a_folder_stands_for_its_site_file(path):
    assert SiteFile(path.parent).path == path


def test_a_backup_is_never_written_over_and_only_old_ones_go(path, monkeypatch):
    monkeypatch.setattr(keeping, "_now", lambda: dt.datetime(2026, 11, 26, 10, 40, 12))
    folder = path.parent / BACKUPS
    folder.mkdir()
    mine = ["site 2020.yaml", "other 2026-11-26 104012.yaml", "site 2026-11-26 104012.yaml.txt",
            "notes.txt"]
    for name in mine:
        (folder / name).write_text("mine")
    (folder / "site 2026-11-26 104012.yaml").write_text("of another day")
    file = SiteFile(path)
    made = [file.save(f"works: []  # {number}\n") for number in range(MOST_BACKUPS + 5)]
    assert made[0].name == "site 2026-11-26 104012 2.yaml"
    assert len(set(made)) == len(made)
    kept = [backup for backup in made if backup.exists()]
    assert kept == made[-MOST_BACKUPS:]
    assert kept[-1].read_text() == f"works: []  # {MOST_BACKUPS + 3}\n"
    assert all((folder / name).read_text() == "mine" for name in mine)


def test_a_clock_that_was_set_back_costs_no_backup_just_made(path, monkeypatch):
    file = SiteFile(path)
    for number in range(MOST_BACKUPS):
        file.save(f"works: []  # {number}\n")
    monkeypatch.setattr(keeping, "_now", lambda: dt.datetime(1999, 1, 1))
    assert file.save(NEW).read_text() == f"works: []  # {MOST_BACKUPS - 1}\n"


@pytest.mark.parametrize("gone", [False, True])
def test_what_another_program_did_to_it_is_not_written_over(path, gone):
    file = SiteFile(path)
    path.unlink() if gone else path.write_text("theirs")
    assert file.changed()
    with pytest.raises(Changed) as error:
        file.save(NEW)
    told(error, "not there any more" if gone else "another program changed it")
    assert names(path.parent) == ([] if gone else ["site.yaml"])
    assert file.text == OLD
    beside = file.save_beside(NEW)
    assert beside.read_bytes() == NEW.encode()
    assert beside != file.save_beside(OLD)
    if not gone:
        assert path.read_text() == "theirs"
        file.close()
        again = SiteFile(path)
        assert again.text == "theirs"
        again.save(NEW)
        assert path.read_bytes() == NEW.encode()


def test_written_again_with_the_same_words_it_has_not_changed(path):
    file = SiteFile(path)
    path.unlink()
    path.write_bytes(OLD.encode())
    assert not file.changed()
    file.save(NEW)


def test_a_change_while_the_backup_is_made_is_seen(path, monkeypatch):
    file = SiteFile(path)
    real = SiteFile._back_up

    def slow(self, *args, **kwargs):
        path.write_text("theirs")
        return real(self, *args, **kwargs)
    monkeypatch.setattr(SiteFile, "_back_up", slow)
    with pytest.raises(Changed):
        file.save(NEW)
    assert path.read_text() == "theirs"
    assert names(path.parent / BACKUPS) == []


def test_a_link_stays_and_its_file_is_written(path, tmp_path):
    far = tmp_path / "far"
    far.mkdir()
    path.rename(far / "real.yaml")
    path.symlink_to(far / "real.yaml")
    backup = SiteFile(path).save(NEW)
    assert path.is_symlink()
    assert (far / "real.yaml").read_bytes() == NEW.encode()
    assert (backup.parent.parent, backup.suffix) == (far, ".yaml")


def test_a_protected_file_is_not_written(path):
    path.chmod(0o444)
    with pytest.raises(InputError) as error:
        SiteFile(path).save(NEW)
    told(error, "protected against writing")
    assert path.read_bytes() == OLD.encode()
    assert names(path.parent) == ["site.yaml"]


FAULTS = {errno.EACCES: "nothing may be written", errno.EROFS: "nothing may be written",
          errno.ENOSPC: "the disk is full", errno.EDQUOT: "the disk is full",
          errno.EIO: "writing failed"}


@pytest.mark.parametrize("number", FAULTS)
@pytest.mark.parametrize("step", ["mkstemp", "fsync", "replace", "link"])
def test_a_fault_of_the_disk_loses_nothing(path, monkeypatch, number, step):
    file = SiteFile(path)
    file.keep_aside(OLD)

    def fail(*args, **kwargs):
        raise OSError(number, os.strerror(number))
    place = files.tempfile if step == "mkstemp" else files.os
    if step == "link":  # then a second name is given in another way, which fails too
        monkeypatch.setattr(os, "replace", fail)
    monkeypatch.setattr(place, step, fail)
    with pytest.raises(InputError) as error:
        file.save(NEW)
    told(error, FAULTS[number], "so nothing was saved")
    with pytest.raises(InputError) as error:
        file.keep_aside(NEW)
    told(error, FAULTS[number], "on the bench alone")
    monkeypatch.undo()
    assert path.read_bytes() == OLD.encode()
    assert (file.text, file.changed()) == (OLD, False)
    assert file.set_aside().text == OLD
    assert not [entry for entry in path.parent.rglob("*") if "draft" in entry.name]
    assert all(entry.read_bytes() == OLD.encode() for entry in path.parent.rglob("site 2*"))
    file.save(NEW)


def test_a_file_in_the_place_of_the_backups_is_told(path):
    (path.parent / BACKUPS).write_text("mine")
    with pytest.raises(InputError) as error:
        SiteFile(path).save(NEW)
    told(error, "to be the folder of backups")
    assert path.read_bytes() == OLD.encode()


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="no limit of file sizes here")
def test_a_limit_of_file_sizes_loses_nothing(path):
    """A real fault of the system in the midst of writing, not one that is made up."""
    done = run(path, """
        import resource
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
        try:
            file.save("x" * 100_000)
        except InputError as error:
            print(error)
        """)
    assert "no file grow as large" in done
    assert path.read_bytes() == OLD.encode()


BEGIN = """
import sys
from pathlib import Path
from terrain.bench.keeping import SiteFile
from terrain.errors import InputError
file = SiteFile(Path(sys.argv[1]))
"""


def start(path, program):
    import textwrap

    return subprocess.Popen([sys.executable, "-c", BEGIN + textwrap.dedent(program), str(path)],
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def run(path, program):
    out, err = start(path, program).communicate(timeout=60)
    assert not err, err
    return out


def test_killed_at_any_time_it_is_whole(tmp_path):
    """A writer is killed again and again: site file, backups and journal are each of one piece."""
    path = tmp_path / "site.yaml"
    texts = {f"works: []  # {letter * 300_000}" for letter in "abc"}
    path.write_text(sorted(texts)[0])
    writer = """
        print("on", flush=True)
        texts = [f"works: []  # {letter * 300_000}" for letter in "abc"]
        for number in range(100_000):
            file.keep_aside(texts[(number + 1) % 3])
            file.save(texts[number % 3])
        """
    seen = set()
    for number in range(20):
        process = start(path, writer)
        assert process.stdout.readline() == "on\n", process.stderr.read()
        time.sleep(0.01 + 0.008 * number)
        process.kill()
        process.wait()
        now = path.read_text()
        assert now in texts
        seen.add(now)
        file = SiteFile(path)  # the lock of the dead is nobody's
        assert file.text == now
        aside = file.set_aside()
        assert aside is None or aside.text in texts
        assert file.notes == []
        assert not [entry for entry in tmp_path.rglob("*") if "draft" in entry.name]
        file.close()
        assert all(backup.read_text() in texts for backup in (tmp_path / BACKUPS).glob("site*"))
    assert len(seen) > 1  # it was killed while it wrote


def test_what_was_not_saved_is_found_again(path):
    file = SiteFile(path)
    assert file.set_aside() is None
    before = dt.datetime.now() - dt.timedelta(seconds=1)
    file.keep_aside(NEW)
    aside = SiteFile(path).set_aside()
    assert (aside.text, aside.same) == (NEW, True)
    assert before <= aside.when <= dt.datetime.now()
    path.write_text("theirs")
    assert not SiteFile(path).set_aside().same
    file.forget_aside()
    file.forget_aside()
    assert SiteFile(path).set_aside() is None
    assert names(path.parent) == ["site.yaml"]


def test_what_an_earlier_bench_left_is_not_written_over(path):
    SiteFile(path).keep_aside(NEW)
    file = SiteFile(path)
    file.set_aside()
    file.keep_aside("later\n")
    file.keep_aside("later still\n")
    kept = list((path.parent / BACKUPS).iterdir())
    assert [entry.read_bytes() for entry in kept] == [NEW.encode()]
    assert "not saved" in kept[0].name
    assert file.set_aside().text == "later still\n"


@pytest.mark.parametrize("broken", ["", "{", "[]", "3", "null", '{"text": 3}', "half", "other"])
def test_a_journal_that_is_none_is_told_and_kept(path, broken):
    file = SiteFile(path)
    file.keep_aside(NEW)
    journal = path.with_name(".site.yaml.unsaved")
    whole = journal.read_text()
    data = whole[:-20] if broken == "half" else (
        json.dumps({**json.loads(whole), "text": "something else"}) if broken == "other" else
        broken)
    journal.write_text(data)
    assert file.set_aside() is None
    assert len(file.notes) == 1
    assert file.notes[0].endswith(".")
    assert not journal.exists()
    kept = next(path.parent.glob(".site.yaml.unsaved *"))
    assert kept.read_text() == data
    assert kept.name in file.notes[0]
    file.keep_aside(NEW)
    assert file.set_aside().text == NEW


@pytest.mark.parametrize("bad", ["gone", "folder", "no text"])
def test_what_is_no_site_file_is_told(path, bad):
    if bad == "no text":
        path.write_bytes(b"\xff\xfe\x00")
    else:
        path.unlink()
    if bad == "folder":
        path.mkdir()
        (path / "site.yaml").mkdir()
    with pytest.raises(InputError) as error:
        SiteFile(path)
    told(error, {"gone": "no such site file", "folder": "cannot be read",
                 "no text": "no text in UTF-8"}[bad])


def test_a_second_bench_is_refused_while_the_first_lives(path):
    first = start(path, """
        print("on", flush=True)
        sys.stdin.read()
        import time
        time.sleep(60)
        """)
    assert first.stdout.readline() == "on\n", first.stderr.read()
    with pytest.raises(InputError) as error:
        SiteFile(path)
    told(error, "another bench has it open", f"process {first.pid}",
         f"since {dt.datetime.now():%Y-%m-%d}")
    link = path.with_name("link.yaml")
    link.symlink_to(path)
    with pytest.raises(InputError, match="another bench"):
        SiteFile(link)
    first.kill()
    first.wait()
    assert path.with_name(".site.yaml.bench").exists()  # what the dead one left
    file = SiteFile(path)
    assert "another bench" in run_refused(path)
    file.close()
    assert not path.with_name(".site.yaml.bench").exists()
    assert run(path, "print(file.text == file.text)") == "True\n"
    assert not path.with_name(".site.yaml.bench").exists()  # it ended by itself


def run_refused(path):
    _, err = start(path, "").communicate(timeout=60)
    return err


def test_one_process_may_read_its_own_again(path):
    file = SiteFile(path)
    again = SiteFile.read(path)
    file.close()
    assert "another bench" in run_refused(path)
    again.close()
    again.close()
    assert run_refused(path) == ""


@pytest.mark.parametrize("content", ["", "{}", "\u2028", "[1]"])
def test_a_lock_that_says_nothing_is_no_fault(path, content):
    path.with_name(".site.yaml.bench").write_text(content)
    file = SiteFile(path)
    assert json.loads(path.with_name(".site.yaml.bench").read_text())["process"] == os.getpid()
    file.close()


def test_a_folder_that_takes_no_lock_can_be_looked_at(path, monkeypatch):
    real = os.open

    def fail(name, *args, **kwargs):
        if str(name).endswith(".bench"):
            raise PermissionError(errno.EACCES, "no")
        return real(name, *args, **kwargs)
    monkeypatch.setattr(site_lock.os, "open", fail)
    assert SiteFile(path).text == OLD


def test_a_pipe_in_the_place_of_what_was_not_saved_keeps_nobody_waiting(path):
    os.mkfifo(path.with_name(".site.yaml.unsaved"))
    assert SiteFile(path).set_aside() is None
    assert next(path.parent.glob(".site.yaml.unsaved *")).is_fifo()
