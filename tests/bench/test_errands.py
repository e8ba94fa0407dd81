"""Errands beside the server: what they say, how they end, and that none outlives the server."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

from terrain.bench import errands
from terrain.bench.errands import Errand, Errands
from terrain.bench.page.errand_bar import PROVED, cell_to_prove
from terrain.errors import InputError
from terrain.proof.flood_ground import COARSEST, FINEST

pytestmark = pytest.mark.skipif(os.name != "posix", reason="the tests send POSIX signals")


@pytest.fixture
def folder(tmp_path) -> Path:
    made = tmp_path / "bench thing of site"
    made.mkdir()
    return made


@pytest.fixture
def run(folder):
    """Start a program as an errand; give the run and what was told of it."""
    every = Errands(made=lambda path: told.append(("made", path)))
    told: list[tuple] = []

    def start(program: str, stops_within: float = 20.0, **doors: str):
        errand = Errand("thing", (sys.executable, "-c", textwrap.dedent(program)), folder, doors,
                        stops_within)
        running = every.start(errand, lambda one: told.append((one.state, one.said)))
        running.told, running.every = told, every
        return running

    yield start
    every.end()


def alive(pid: int) -> bool:
    """Whether a process runs; one that has ended and waits to be counted does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def until(true, seconds: float = 20.0) -> bool:
    end = time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        time.sleep(0.02)
    return bool(true())


def test_what_it_says_and_writes(run, folder):
    (folder / "page.html").write_text("x")
    running = run(f"""
        import sys, time
        print("Laying out the works ...", file=sys.stderr)
        time.sleep(0.3)
        print("Running the storms ...", file=sys.stderr)
        print("One thing to know.", file=sys.stderr)
        print("the answer"); print("Written"); print("  {folder}/a b.html"); print("over")
        print("Written: {folder}/page.html", file=sys.stderr)
        """, page="page.html", other="not made.html")
    assert running.wait(20)
    assert (running.state, running.code, running.error) == ("done", 0, "")
    assert ("runs", "Laying out the works") in running.told
    assert running.said == "Running the storms"
    assert running.remarks == ["One thing to know."]
    assert set(running.written) == {folder / "a b.html", folder / "page.html"}
    assert next(iter(running.answer)) == "the answer"
    assert running.doors() == {"page": folder / "page.html"}
    assert until(lambda: running.told[-2:] == [("made", folder), ("done", "Running the storms")])
    took = running.seconds
    assert 0.3 < took < 20
    time.sleep(0.05)
    assert running.seconds == took


def test_one_at_a_time(run):
    first = run("import time; time.sleep(60)")
    assert first.every.running is first
    with pytest.raises(InputError, match="another errand is still running"):
        run("pass")
    first.cancel()
    assert first.wait(20)
    assert first.every.running is None
    assert run("pass").wait(20)


def test_a_failure_is_one_sentence(run):
    running = run("""
        import sys
        print("Reading ...", file=sys.stderr)
        sys.exit("levelsill: site.yaml line 3: that is wrong. Put it right.")
        """)
    assert running.wait(20)
    assert (running.state, running.code) == ("failed", 1)
    assert running.error == "site.yaml line 3: that is wrong. Put it right."
    assert running.doors() == {}
    assert not any(one[0] == "made" for one in running.told)


def test_an_end_without_a_word_is_told_too(run):
    running = run("import os; os._exit(7)")
    assert running.wait(20)
    assert "code 7" in running.error


@pytest.mark.parametrize(("cell", "side"), [(1.0, 4000), (30.0, 100), (0.5, 200), (1.0, 1000)])
def test_a_storm_is_proved_on_cells_that_the_proof_takes(cell, side):
    given, unit = cell_to_prove(cell, side**2).split(" ")
    assert unit == "m"
    assert FINEST <= float(given) <= COARSEST
    assert float(given) >= min(cell, COARSEST)
    assert float(given) == COARSEST or (side * cell / float(given))**2 <= PROVED


def test_a_folder_that_leads_elsewhere_ends_the_errand_too(folder):
    def made(_: Path) -> None:
        raise ValueError("it lies elsewhere")
    every = Errands(made=made)
    running = every.start(Errand("thing", (sys.executable, "-c", "pass"), folder, {}),
                          lambda one: None)
    assert running.wait(20)
    assert every.running is None
    assert running.state == "failed"
    assert folder.name in running.error


def test_what_is_not_text_does_no_harm(run):
    running = run(r"import os; os.write(2, b'\xff\xfe ...\n' + b'x' * 300000 + b'\n')")
    assert running.wait(20)
    assert running.state == "done"


def test_nobody_types_anything_in(run):
    """The pipe is a leash, and what the command reads is empty."""
    leash, _, command = errands.PROGRAM.partition("from cli.main")
    assert command
    running = run(leash + "print(repr(sys.stdin.read()))")
    assert running.wait(20)
    assert list(running.answer) == ["''"]


WAITS = """
    import signal, sys, time
    {trap}
    print("Waiting ...", file=sys.stderr, flush=True)
    try:
        time.sleep(60)
    except KeyboardInterrupt:
        print("Stopped early.", file=sys.stderr)
        sys.exit({code})
    time.sleep(60)
    """


def waiting(run, code: int = 130, trap: str = "", **more):
    running = run(WAITS.format(code=code, trap=trap), **more)
    assert until(lambda: running.said == "Waiting")
    return running


def test_cancel_is_ctrl_c(run):
    running = waiting(run)
    running.cancel()
    assert running.stopping
    assert running.wait(10)
    assert (running.state, running.code, running.error) == ("stopped", 130, "")
    assert not running.stopping
    running.cancel()  # does nothing any more


def test_what_is_cancelled_may_still_give_what_it_has(run):
    running = waiting(run, code=0)
    running.cancel()
    assert running.wait(10)
    assert running.state == "done"
    assert running.remarks == ["Stopped early."]


def test_a_second_cancel_is_a_second_ctrl_c(run):
    running = waiting(run, trap="seen = []; signal.signal(signal.SIGINT, lambda *_: "
                                "seen.append(1) or len(seen) > 1 and sys.exit(131))")
    running.cancel()
    time.sleep(0.2)
    assert not running.over
    running.cancel()
    assert running.wait(10)
    assert running.code == 131


def test_what_does_not_listen_is_ended(run, monkeypatch):
    monkeypatch.setattr(errands, "ENDS_WITHIN", 0.3)
    running = waiting(run, trap="signal.signal(signal.SIGINT, signal.SIG_IGN)", stops_within=0.3)
    begun = time.monotonic()
    running.cancel()
    assert running.wait(10)
    assert 0.5 < time.monotonic() - begun < 8
    assert (running.state, running.code) == ("stopped", -signal.SIGKILL)


def test_nothing_is_left_of_it(run):
    """A program that it started and left behind would hold its pipes open for ever."""
    running = run("""
        import subprocess, sys
        left = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
        print(left.pid)
        """)
    assert running.wait(20)
    left = int(running.answer[0])
    assert until(lambda: not alive(left), 5)


def test_the_servers_end_is_its_end(run, monkeypatch):
    monkeypatch.setattr(errands, "AT_END", 0.5)
    running = waiting(run, trap="signal.signal(signal.SIGINT, signal.SIG_IGN)")
    begun = time.monotonic()
    running.every.end()
    assert time.monotonic() - begun < 8
    assert running.over
    assert not alive(running._process.pid)
    with pytest.raises(InputError):
        run("pass")


def test_a_folder_that_is_gone_is_told(tmp_path):
    errand = Errand("plan", (sys.executable, "-c", "pass"), tmp_path / "gone" / "out", {})
    with pytest.raises(InputError, match="cannot be started"):
        Errands().start(errand, lambda one: None)


# The real commands.

def test_commands_are_words_and_name_folders_of_their_own(tmp_path):
    site = tmp_path / "my site.yaml"
    for errand in (errands.plan(site), errands.prove(site, "--help; rm -rf", "2 m", True),
                   errands.suggest(site, "erosion", 500.0, 50)):
        assert errand.command[0] == sys.executable
        assert errand.command[-2:] == ("--", str(site))
        assert f"--out={errand.folder}" in errand.command
        assert errand.folder.parent == tmp_path
        assert errand.folder.name == f"bench {errand.kind} of my site"
    assert "--storm=--help; rm -rf" in errands.prove(site, "--help; rm -rf").command


@pytest.mark.slow
def test_a_plan_is_made(small_site):
    made: list[Path] = []
    running = Errands(made=made.append).start(errands.plan(small_site), lambda one: None)
    assert running.wait(240)
    assert (running.state, running.error) == ("done", "")
    assert made == [small_site.parent / "bench plan of site"]
    doors = running.doors()
    assert {"report", "plan set", "setting out", "stakes", "quantities"} <= set(doors)
    assert doors["report"].read_text(encoding="utf-8").startswith("<!")
    assert small_site.parent / "bench plan of site" / "report.html" in running.written


def test_a_real_failure_is_one_sentence_and_what_lies_beside_the_site_is_not_run(small_site):
    """Modules of the site's folder must not come before those of the installation."""
    for name in ("cli", "terrain", "numpy", "random"):
        (small_site.parent / f"{name}.py").write_text("raise SystemExit('taken in')")
    running = Errands().start(errands.prove(small_site, storm="-no such"), lambda one: None)
    assert running.wait(120)
    assert running.state == "failed"
    assert "no such" in running.error
    assert not running.error.startswith("levelsill")
    assert "Traceback" not in running.error


HOLDER = """
import sys, time
from pathlib import Path
from terrain.bench import errands
running = errands.Errands().start(errands.plan(Path(sys.argv[1])), lambda one: None)
print(running._process.pid, flush=True)
time.sleep(300)
"""


@pytest.mark.parametrize("how", [
    signal.SIGKILL, pytest.param(signal.SIGTERM, marks=pytest.mark.slow)])
def test_no_errand_outlives_a_server_that_is_killed(small_site, how):
    holder = subprocess.Popen([sys.executable, "-c", HOLDER, small_site], text=True,
                              stdout=subprocess.PIPE)
    pid = int(holder.stdout.readline())
    try:
        # Its threads show that it holds its leash, and that the program has been read.
        assert until(lambda: "numpy" in Path(f"/proc/{pid}/maps").read_text(), 60)
        holder.send_signal(how)
        holder.wait(10)
        assert until(lambda: not alive(pid), 15)
        assert not (small_site.parent / "bench plan of site").exists()
        assert not list(small_site.parent.glob(".levelsill-*"))
    finally:
        holder.kill()
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


def test_told_where_the_page_lives(folder):
    """What is told comes through the call that it was given."""
    calls: list[tuple] = []
    ended = threading.Event()
    every = Errands(call=lambda function, *given: (calls.append((function, *given)),
                                                   given[0].over and ended.set()))
    running = every.start(Errand("thing", (sys.executable, "-c", "pass"), folder, {}), print)
    assert ended.wait(20)
    assert calls[-1] == (print, running)
