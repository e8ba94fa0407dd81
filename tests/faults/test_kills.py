"""Kills at random moments lose nothing; the command does them, and tells what it met."""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from scenes import contents, is_whole, left_over, make_district

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="only POSIX splits processes off")
FAULTS = Path(__file__).with_name("faults.py")


def killed(*words: object) -> str:
    """What the command said."""
    # With more threads OpenMP's wait for each other by spinning, at twice the processor's time.
    done = subprocess.run([sys.executable, FAULTS, *map(str, words)], capture_output=True,
                          text=True, check=False, env={**os.environ, "OMP_NUM_THREADS": "1"})
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


def test_200_kills_lose_nothing():
    """The command in a process of its own, as it splits others off."""
    said = killed("--kills", 200)
    counts = {name: int(count) for name, count in re.findall(r"(.+): killed (\d+) times", said)}
    assert set(counts) == {"save", "folder", "plan", "district"}
    assert sum(counts.values()) >= 200
    for step in ("writing", "putting in place", "clearing away"):
        assert step in said


@pytest.mark.slow
def test_many_more_kills_lose_nothing():
    said = killed("--kills", 1000, "--whole", 12, "--seed", int(time.time()))
    print(said)
    assert "whole plan: killed 12 times" in said


def running(*words: object) -> subprocess.Popen:
    """The installed command as a person starts it."""
    command = Path(sys.executable).parent / "levelsill"
    return subprocess.Popen([command, *map(str, words)], stdout=subprocess.DEVNULL,
                            stderr=subprocess.DEVNULL, start_new_session=True)


def processes(name: Path) -> list[str]:
    """Processes, but zombies, whose command line or folder of work names a path."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        try:
            words = (place / "cmdline").read_bytes().replace(b"\0", b" ").decode()
            if str(name) in words or str(name) in (place / "environ").read_text():
                found.append(words)
        except (OSError, UnicodeDecodeError):
            continue
    return [words for words in found if words]


def alone(name: Path) -> list[str]:
    """The same once they had time to end."""
    for _ in range(100):
        found = processes(name)
        if not found:
            break
        time.sleep(0.1)
    return found


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="processes are counted in /proc")
@pytest.mark.parametrize("command", ["plan", "plan --doubt 400", "district"])
def test_a_real_command_is_killed_again_and_again(tmp_path, small_site, levelsill_process, command):
    """Nothing runs on after it, and the run after that needs no word of it."""
    home = small_site.parent
    if command == "district":
        make_district(home)
        words = ("district", home, "--workers", 2, "--side", 64)
    else:
        words = (*command.split()[:1], small_site, *command.split()[1:])
    out = home / command.split()[0]
    began = time.monotonic()
    ran = levelsill_process(*words)
    took = time.monotonic() - began
    assert ran.code == 0, ran.err
    right = contents(out)
    chance = random.Random(7)
    for number in range(4):
        if number % 2:
            shutil.rmtree(out, ignore_errors=True)  # the run before may have made none
        shutil.rmtree(home / "district tiles", ignore_errors=True)
        process = running(*words)
        time.sleep(took * chance.uniform(0.4, 1.0))
        process.send_signal(signal.SIGKILL)
        process.wait()
        assert alone(home) == []
        if is_whole(out):
            assert contents(out) == right
    ran = levelsill_process(*words)
    assert ran.code == 0, ran.err
    assert contents(out) == right
    assert left_over(home) == []
    if command != "district":
        assert json.loads((out / "plan.json").read_text())


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux exchanges two folders in one step")
def test_a_note_put_there_as_the_plan_is_replaced_outlives_a_kill(tmp_path):
    """It comes at the last moment before the exchange, and the kill at the first after it."""
    out = tmp_path / "plan"
    script = ("import os, pathlib, signal, sys\n"
              "from terrain import files\n"
              "exchange = files._exchange\n"
              "def late(draft, path):\n"
              "    (path / 'note.txt').write_text('mine')\n"
              "    exchange(draft, path)\n"
              "    os.kill(os.getpid(), signal.SIGKILL)\n"
              "if len(sys.argv) > 2:\n"
              "    files._exchange = late\n"
              "with files.whole_folder(pathlib.Path(sys.argv[1])) as draft:\n"
              "    (draft / 'a').write_text('1')\n")
    for more, code in ((), 0), (("late",), -9), ((), 0):
        done = subprocess.run([sys.executable, "-c", script, out, *more], check=False)
        assert done.returncode == code
    assert is_whole(out)
    [note] = tmp_path.rglob("note.txt")
    assert note.read_text() == "mine"
