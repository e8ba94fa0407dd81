"""Errands: plan, prove and suggest as commands of their own beside the server, one at a time.

An errand runs in a process of its own, so that the page answers meanwhile, and can be stopped as
Ctrl-C stops it in a terminal.  It never outlives the server: it holds one end of a pipe, and when
the other end goes, however that came, it stops itself.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Literal

from terrain.errors import InputError

#: An errand that is asked to stop is asked again after this long, unless it says otherwise. [s]
STOPS_WITHIN = 20.0
#: After the second time of asking it is ended from outside. [s]
ENDS_WITHIN = 10.0
#: At the server's end there is less time, each of the two times. [s]
AT_END = 3.0
#: Lines of the answer that are kept.
LINES = 500

State = Literal["waits", "runs", "done", "failed", "stopped"]

#: The command of the same installation, on a leash: when whoever started it is gone, it stops.
PROGRAM = """\
import os, signal, sys, threading, time
held = os.dup(0)
empty = os.open(os.devnull, os.O_RDONLY)
os.dup2(empty, 0)
os.close(empty)
def stop():
    if os.name == "posix":
        os.killpg(0, signal.SIGINT)
    else:
        signal.raise_signal(signal.SIGINT)
def leash():
    while os.read(held, 64):
        pass
    for _ in range(2):
        stop()
        time.sleep(5)
    if os.name == "posix":
        os.killpg(0, signal.SIGKILL)
    os._exit(130)
if hasattr(signal, "SIGBREAK"):
    signal.signal(signal.SIGBREAK, lambda *_: signal.raise_signal(signal.SIGINT))
threading.Thread(target=leash, daemon=True).start()
sys.argv[0] = "levelsill"
from cli.main import run
run()
"""


@dataclass(frozen=True)
class Errand:
    """A command, the folder that it writes, and what of that a person opens.

    Attributes
    ----------
    doors : dict
        File within the folder by what it is; one that this run does not make is left out later.
    stops_within : float
        Time from being asked to stop until it is asked again: some write first what they have. [s]
    """

    kind: str
    command: tuple[str, ...]
    folder: Path
    doors: Mapping[str, str]
    stops_within: float = STOPS_WITHIN


def plan(site: Path) -> Errand:
    """The whole plan of a site file: report, plan set, setting out, layers."""
    return _errand("plan", site, [], {
        "report": "report.html", "plan set": "plan_set.pdf", "setting out": "setting_out.csv",
        "stakes": "field/stakes.pdf", "field book": "field/field_book.pdf",
        "quantities": "quantities.xlsx", "map": "map.png", "layers": "plan.gpkg"})


def prove(site: Path, storm: str | None = None, cell: str | None = None,
          patient: bool = False) -> Errand:
    """A storm run over the designed ground.

    Parameters
    ----------
    storm : str, optional
        A storm's name; the design storm if left out.
    cell : str, optional
        Side of a cell with its unit, as "2 m".
    patient : bool
        Begin a run that takes half an hour or more.
    """
    given = [*_option("--storm", storm), *_option("--cell", cell),
             *(["--patient"] if patient else [])]
    return _errand("prove", site, given, {
        "proof": "proof.html", "storm": "storm.html"})


def suggest(site: Path, aim: str | None = None, budget: float | None = None,
            places: int | None = None) -> Errand:
    """Where works should go; asked to stop, it writes the best so far."""
    given = [*_option("--aim", aim), *_option("--budget", budget), *_option("--places", places)]
    return _errand("suggest", site, given, {
        "suggestion": "suggest.html", "front": "front.png", "cheap": "cheap.yaml",
        "balanced": "balanced.yaml", "most": "most.yaml"}, 180.0)


def _option(name: str, given: object) -> list[str]:
    # With "=", so that a name that begins with a dash is no option of its own.
    return [] if given is None else [f"{name}={given}"]


def _errand(kind: str, site: Path, given: list[str], doors: Mapping[str, str],
            stops_within: float = STOPS_WITHIN) -> Errand:
    site = Path(site).resolve()
    folder = site.parent / f"bench {kind} of {site.stem}"
    # -P: what lies in the site's folder is never taken for a part of the program.
    return Errand(kind, (sys.executable, "-P", "-c", PROGRAM, kind, *given, f"--out={folder}", "--",
                         str(site)), folder, doors, stops_within)


@dataclass
class Running:
    """One run of an errand; read by the page, written by the threads that follow it.

    Attributes
    ----------
    said : str
        What it is at now.
    error : str
        One sentence, if it failed.
    answer : list of str
        What it printed, the last lines of it.
    remarks : list of str
        What it said beside its progress and its answer.
    code : int or None
        Its exit code, once it has ended.
    """

    errand: Errand
    state: State = "waits"
    said: str = "Starting"
    error: str = ""
    answer: deque[str] = field(default_factory=lambda: deque(maxlen=LINES))
    remarks: list[str] = field(default_factory=list)
    written: list[Path] = field(default_factory=list)
    code: int | None = None
    _begun: float = 0.0
    _took: float | None = None
    _process: subprocess.Popen[str] | None = None
    _asked: int = 0
    _over: threading.Event = field(default_factory=threading.Event)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def seconds(self) -> float:
        """How long it runs, or ran. [s]"""
        if self._took is not None:
            return self._took
        return time.monotonic() - self._begun if self._begun else 0.0

    @property
    def over(self) -> bool:
        """Whether it has ended, well or not."""
        return self._over.is_set()

    @property
    def stopping(self) -> bool:
        """Whether it was asked to stop and has not yet."""
        return self._asked > 0 and not self.over

    def doors(self) -> dict[str, Path]:
        """What a person opens of what it made, by what it is; nothing before it is done."""
        if self.state != "done":
            return {}
        return {name: self.errand.folder / file for name, file in self.errand.doors.items()
                if (self.errand.folder / file).is_file()}

    def cancel(self) -> None:
        """Ask it to stop, as Ctrl-C does; a second time: to stop at once.  Returns at once."""
        self._ask(self.errand.stops_within, ENDS_WITHIN)

    def end(self) -> None:
        """Stop it now and wait until it is gone, which takes a few seconds at most."""
        self._ask(AT_END, AT_END)
        self.wait(2 * AT_END)
        self._kill()
        self.wait(AT_END)

    def wait(self, seconds: float | None = None) -> bool:
        """Wait until it has ended; False if it has not by then."""
        return self._over.wait(seconds)

    def _ask(self, again: float, kill: float) -> None:
        """Interrupt it; later once more, then harder."""
        with self._lock:
            if self.over or self._process is None:
                return
            self._asked += 1
            _interrupt(self._process)
            first = self._asked == 1
        if first:
            _later(again, lambda: self._ask(0.0, kill))
        else:
            _later(kill, self._kill)

    def _kill(self) -> None:
        with self._lock:
            if not self.over and self._process is not None:
                _kill(self._process)


class Errands:
    """Runs one errand at a time.

    Parameters
    ----------
    call : callable
        Calls a function where the page lives, as `Bench.add_callback` does.
    made : callable
        Told each folder that an errand has made, before anybody is told that it is done.
    """

    def __init__(self, call: Callable[..., Any] | None = None,
                 made: Callable[[Path], None] | None = None) -> None:
        self._call = call or _at_once
        self._made = made
        self._lock = threading.Lock()
        self._running: Running | None = None
        self._closed = False

    @property
    def running(self) -> Running | None:
        """What runs now."""
        running = self._running
        return running if running is not None and not running.over else None

    def start(self, errand: Errand, told: Callable[[Running], None],
              cwd: Path | None = None) -> Running:
        """Begin an errand.

        Parameters
        ----------
        told : callable
            Called with the run whenever it has something new to say, and when it has ended.
        cwd : Path, optional
            Where it runs; beside the folder that it writes if left out.

        Raises
        ------
        InputError
            If another one runs, or it cannot be started.
        """
        with self._lock:
            if self._closed or self.running is not None:
                raise InputError(errand.kind, "another errand is still running",
                                 "Wait until it has ended, or stop it")
            running = Running(errand)
            environment = os.environ | {"PYTHONUNBUFFERED": "1", "PYTHONIOENCODING": "utf-8"}
            apart: dict[str, Any] = (
                {"start_new_session": True} if os.name == "posix" else
                {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)})
            try:
                process = subprocess.Popen(
                    errand.command, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                    stderr=subprocess.PIPE, cwd=cwd or errand.folder.parent, env=environment,
                    encoding="utf-8", errors="replace", **apart)
            except OSError as error:
                raise InputError(errand.kind, f"it cannot be started ({error.strerror or error})",
                                 "See that the site's folder is still there") from None
            running._process, running._begun, running.state = process, time.monotonic(), "runs"
            self._running = running
        threading.Thread(target=self._follow, args=(running, process, told), daemon=True,
                         name=f"errand {errand.kind}").start()
        return running

    def end(self) -> None:
        """Stop what runs and begin nothing more."""
        with self._lock:
            self._closed = True
        if self.running is not None:
            self.running.end()

    def _follow(self, running: Running, process: subprocess.Popen[str],
                told: Callable[[Running], None]) -> None:
        """Read what it says until it has ended."""
        def tell() -> None:
            self._call(told, running)

        assert process.stdout is not None
        assert process.stderr is not None
        last: list[str] = []
        readers = [
            threading.Thread(target=_read_answer, args=(process.stdout, running), daemon=True),
            threading.Thread(target=_read_progress, args=(process.stderr, running, last, tell),
                             daemon=True)]
        tell()
        for reader in readers:
            reader.start()
        _wait_and_clear(process)
        for reader in readers:
            reader.join(AT_END)
        with running._lock:
            running.code = code = process.returncode
            running._took = time.monotonic() - running._begun
            if code == 0:
                running.state = self._handed_out(running)
            elif running._asked:
                running.state = "stopped"
            else:
                running.state = "failed"
                running.error = (last[-1] if last else
                                 f"The command ended with code {code} and said nothing.")
            if process.stdin is not None:
                with suppress(OSError):
                    process.stdin.close()
        running._over.set()
        tell()

    def _handed_out(self, running: Running) -> State:
        """Let what was made be opened; a folder that leads elsewhere is not."""
        try:
            if self._made is not None:
                self._made(running.errand.folder)
        except (OSError, ValueError):
            running.error = (f"It was made in {running.errand.folder.name}, which leads out of the "
                             "site's folder, so it cannot be opened from here.")
            return "failed"
        return "done"


def _at_once(function: Callable[..., Any], *given: Any) -> None:
    function(*given)


def _read_answer(stream: IO[str], running: Running) -> None:
    """What is printed, and the files under the heading that it ends with."""
    listing = False
    with suppress(ValueError, OSError):
        for line in stream:
            line = line.rstrip("\r\n")
            running.answer.append(line)
            if listing and line.startswith("  "):
                running.written.append(Path(line[2:]))
            listing = line == "Written" or (listing and line.startswith("  "))


def _read_progress(stream: IO[str], running: Running, last: list[str],
                   tell: Callable[[], None]) -> None:
    """What it is at, what it has written, what went wrong."""
    with suppress(ValueError, OSError):
        for line in stream:
            line = line.strip()
            if line.startswith("Written: "):
                running.written.append(Path(line.removeprefix("Written: ")))
            elif line.startswith("levelsill: "):
                last.append(line.removeprefix("levelsill: "))
            elif line.endswith(" ..."):
                running.said = line.removesuffix(" ...")
                tell()
            elif line:
                running.remarks.append(line)
                last.append(line)


def _interrupt(process: subprocess.Popen[str]) -> None:
    """As Ctrl-C in a terminal, which reaches all that the command has started."""
    with suppress(OSError, ValueError):
        if os.name == "posix":
            os.killpg(process.pid, signal.SIGINT)
        else:
            process.send_signal(signal.CTRL_BREAK_EVENT)  # type: ignore[attr-defined]


def _kill(process: subprocess.Popen[str]) -> None:
    with suppress(OSError):
        if os.name == "posix":
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()


def _wait_and_clear(process: subprocess.Popen[str]) -> None:
    """Wait until it has ended, and end what it has left behind."""
    if hasattr(os, "waitid"):
        # Not yet taken from the system's list, its number cannot be another's.
        with suppress(ChildProcessError):
            os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOWAIT)
        _kill(process)
    process.wait()


def _later(seconds: float, function: Callable[[], None]) -> None:
    timer = threading.Timer(seconds, function)
    timer.daemon = True
    timer.start()
