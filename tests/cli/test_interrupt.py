"""Ctrl-C leaves nothing half-written, and what a plan's reader does not read is no fault."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.long

COMMAND = Path(sys.executable).parent / "levelsill"


# The empty moment is the first line of progress, whichever that is.  Steps within the first second
# print no line, so the demo is planned, which takes longer.
@pytest.mark.parametrize("moment", ["Drawing the map", *(pytest.param(
    moment, marks=pytest.mark.slow) for moment in ("", "Writing the report"))])
def test_ctrl_c_leaves_nothing_behind(demo_site, tmp_path, moment):
    out = tmp_path / "out" / "plan"
    out.parent.mkdir()
    running = subprocess.Popen([COMMAND, "plan", demo_site, "--out", out], text=True,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    guard = threading.Timer(120, running.kill)
    guard.start()
    lines = []
    for line in running.stderr:
        lines.append(line)
        if line.startswith(moment):
            time.sleep(0.05)
            running.send_signal(signal.SIGINT)
            break
    lines += running.stderr.readlines()
    running.wait()
    guard.cancel()
    assert running.returncode == 130, lines
    assert lines[-1].startswith("levelsill: Stopped")
    assert list(out.parent.iterdir()) == []


def test_a_reader_that_stops_reading(small_site):
    ran = subprocess.run(f"'{COMMAND}' survey '{small_site.parent / 'ground.tif'}' | head -1",
                         shell=True, capture_output=True, text=True, check=False)
    assert "Traceback" not in ran.stderr
    assert "fault" not in ran.stderr
    assert ran.stdout.startswith("ground.tif")
