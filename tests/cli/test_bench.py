"""The command that opens the bench: what it prints, what it refuses, how it ends."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

pytestmark = pytest.mark.long

COMMAND = Path(sys.executable).parent / "levelsill"


def test_a_file_that_is_not_there(levelsill, tmp_path):
    for name in ("none.yaml", "none.tif"):
        ran = levelsill("bench", tmp_path / name, "--no-browser")
        assert ran.code == 2
        assert ran.err.startswith("levelsill: ")
        assert name in ran.err
        assert ran.err.count("\n") == 1
        assert ran.out == ""
    assert list(tmp_path.iterdir()) == []


def test_a_port_that_is_none_or_taken(levelsill, small_site):
    ran = levelsill("bench", small_site, "--port", "70000")
    assert ran.code == 2
    assert "70000" in ran.err
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        ran = levelsill("bench", small_site, "--port", port, "--no-browser")
    assert ran.code == 2
    assert f"port {port} cannot be had" in ran.err


def test_a_site_file_that_is_wrong_is_told_as_by_check(levelsill, small_site):
    small_site.write_text(small_site.read_text().replace("kind: swale", "kind: swail"))
    told = levelsill("check", small_site).err
    assert told
    assert levelsill("bench", small_site, "--no-browser").err == told


def test_a_picture_that_is_none(levelsill, small_site, tmp_path):
    picture = tmp_path / "air.png"
    picture.write_bytes(b"no picture")
    ran = levelsill("bench", small_site, "--picture", picture, "--no-browser")
    assert ran.code == 2
    assert "air.png" in ran.err


#: Stands for a browser: says what it was told to open, goes there, and says where it came to.
BROWSER = """\
import sys, urllib.request
with urllib.request.urlopen(sys.argv[1], timeout=60) as answer:
    open(sys.argv[2], "w").write(f"{sys.argv[1]}\\n{answer.status} {answer.url}")
sys.exit(int(sys.argv[3]))
"""


def opened(small_site, tmp_path, code: int) -> tuple[str, str, list[str]]:
    """What the command prints with such a browser, and what that browser says."""
    program, told = tmp_path / "browser.py", tmp_path / "told"
    program.write_text(BROWSER)
    running = subprocess.Popen(
        [COMMAND, "bench", small_site], text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env=os.environ | {"BROWSER": f"{sys.executable} {program} %s {told} {code}"})
    guard = threading.Timer(120, running.kill)
    guard.start()
    said = [running.stdout.readline() for _ in range(3)]
    deadline = time.monotonic() + 60
    while not told.exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(1)
    running.send_signal(signal.SIGTERM)
    out, err = running.communicate(timeout=60)
    guard.cancel()
    assert running.returncode == 0
    return "".join(said) + out, err, told.read_text().split("\n")


@pytest.mark.skipif(os.name != "posix", reason="the test sends POSIX signals")
def test_the_browser_is_shown_a_ticket_and_not_the_address(small_site, tmp_path):
    """Every user of a machine can read the command lines of its programs."""
    out, err, (shown, came) = opened(small_site, tmp_path, 0)
    [address] = re.findall(r"http://\S+", out)
    assert came == f"200 {address}"
    assert address.rstrip("/").rsplit("/", 1)[1] not in shown
    assert "No browser" not in err


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="the test sends POSIX signals")
def test_a_browser_that_does_not_open_is_told(small_site, tmp_path):
    _, err, _ = opened(small_site, tmp_path, 1)
    assert "No browser could be opened from here; open the address yourself.\n" in err


@pytest.mark.skipif(os.name != "posix", reason="the test sends POSIX signals")
@pytest.mark.parametrize("ends", [signal.SIGINT, *(pytest.param(
    ends, marks=pytest.mark.slow) for ends in (signal.SIGTERM, getattr(signal, "SIGHUP", 1)))])
def test_it_serves_the_page_until_it_is_told_to_end(small_site, ends):
    before = small_site.read_bytes()
    names = sorted(one.name for one in small_site.parent.iterdir())
    running = subprocess.Popen([COMMAND, "bench", small_site, "--no-browser"], text=True,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    guard = threading.Timer(120, running.kill)
    guard.start()
    said = [running.stdout.readline(), running.stdout.readline()]
    try:
        address = said[1].strip()
        assert address, running.stderr.read()
        with urllib.request.urlopen(address, timeout=60) as answer:
            assert answer.status == 200
            assert b"bokeh" in answer.read()
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(address[:-2] + "/", timeout=20)
        assert refused.value.code == 404
        with pytest.raises(urllib.error.HTTPError):
            urllib.request.urlopen(address + "picture/none", timeout=20)
    finally:
        running.send_signal(ends)
        out, err = running.communicate(timeout=60)
        guard.cancel()
    assert running.returncode == 0
    assert "Small valley is on the bench" in said[0]
    assert "The bench is closed. Nothing was left unsaved." in out
    assert "Traceback" not in err
    assert address.rsplit("/", 2)[1] not in out + err  # beside the line that tells it
    assert small_site.read_bytes() == before
    assert sorted(one.name for one in small_site.parent.iterdir()) == names
