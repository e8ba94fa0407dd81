"""The bench's server: a page, its pictures and what was made, for the person at this machine alone.

It listens on loopback and answers nobody but who knows the address.
"""

from __future__ import annotations

import asyncio
import logging
import os
import secrets
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

from bokeh.document import Document
from tornado.ioloop import IOLoop
from tornado.netutil import bind_sockets

from terrain.bench.gate import HERE, PARTS, Door, Gate
from terrain.errors import InputError

#: A request's line and headers. [bytes]
LONGEST_HEADERS = 16 << 10
#: Whoever takes longer to say what is wanted is cut off. [s]
PATIENCE = 15.0


class Bench:
    """A server for one page and what belongs to it.

    Parameters
    ----------
    make_document : callable
        Fills a new document; called for each page that is opened, on the server's thread.
    pictures : callable
        Gives a picture's bytes and kind by its name; called in a thread; KeyError for a name that
        there is none of.
    folder : Path
        The site file's folder: nothing outside it is ever handed out.
    port : int
        0 takes a free one.

    Raises
    ------
    InputError
        If the port is taken.
    """

    def __init__(self, make_document: Callable[[Document], None], *,
                 pictures: Callable[[str], tuple[bytes, str]], folder: Path, port: int = 0,
                 parts: list[str] | None = None) -> None:
        self.folder = Path(folder).resolve()
        self.token = secrets.token_urlsafe(32)
        self._sockets = _bound(port)
        self.port: int = self._sockets[0].getsockname()[1]
        self._gate = Gate(make_document, self.token, self.port, pictures, self.folder,
                           parts if parts is not None else PARTS)
        self._lock = threading.RLock()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: list[Callable[[], Any]] = []
        self._over = threading.Event()
        self._ended: asyncio.Event | None = None
        self._at_end: list[Callable[[], None]] = []

    @property
    def url(self) -> str:
        """The page's address; whoever has it is let in."""
        return f"http://{HERE}:{self.port}/{self.token}/"

    def ticket(self) -> str:
        """An address that lets in once and soon, for a browser's command line, which every user of
        this machine can read."""
        return f"http://{HERE}:{self.port}/{self._gate.ticket()}"

    def picture_address(self, name: str) -> str:
        """Where the page finds a picture."""
        return f"/{self.token}/picture/{quote(name, safe='')}"

    def made_address(self, path: Path) -> str:
        """Where the page finds a file that was made for it."""
        return f"/{self.token}/made/{quote(_within(self.folder, path).as_posix())}"

    def allow(self, folder: Path) -> None:
        """Hand out what lies in a folder that the bench has made, below the site file's.

        Raises
        ------
        ValueError
            If it does not lie there.
        """
        made = _within(self.folder, folder)
        if not made.parts:
            raise ValueError(f"{folder} is the site's folder itself, which others fill too")
        self._gate.made |= {made}

    def before_end(self, end: Callable[[], None]) -> None:
        """Call a function when the server ends, in a thread, once its pages are closed."""
        self._at_end.append(end)

    def add_callback(self, function: Callable[..., Any], *given: Any) -> None:
        """Call a function on the server's thread soon; from any thread, also before it runs."""
        with self._lock:
            if self._loop is None:
                self._waiting.append(partial(function, *given))
                return
            with suppress(RuntimeError):  # it has ended
                self._loop.call_soon_threadsafe(partial(function, *given))

    def stop(self) -> None:
        """End the server; from any thread, also before it runs."""
        self._over.set()
        with self._lock:
            if self._loop is not None and self._ended is not None:
                with suppress(RuntimeError):  # it has ended
                    self._loop.call_soon_threadsafe(self._ended.set)

    def run(self) -> None:
        """Serve until `stop`, Ctrl-C, a closed terminal or a polite kill."""
        with _signals(self.stop), _hushed():
            try:
                asyncio.run(self._serve())
            finally:
                for one in self._sockets:
                    one.close()

    async def _serve(self) -> None:
        with self._lock:
            self._loop, self._ended = asyncio.get_running_loop(), asyncio.Event()
            for call in self._waiting:
                self._loop.call_soon(call)
            self._waiting.clear()
        if self._over.is_set():
            self._ended.set()
        door = Door(self._gate, max_header_size=LONGEST_HEADERS, max_body_size=1,
                     idle_connection_timeout=PATIENCE, body_timeout=PATIENCE)
        self._gate.door = door
        self._gate.initialize(IOLoop.current())
        self._gate.start()
        door.add_sockets(self._sockets)
        try:
            await self._ended.wait()
        finally:
            door.stop()
            for page in list(self._gate.pages):
                page.close(1001, "ended")
            failed = [error for end in self._at_end if (error := await _ended(end)) is not None]
            await door.close_all_connections()
            self._gate.stop()
            self._gate.pool.shutdown(wait=False, cancel_futures=True)
            with self._lock:
                self._loop = None
        if failed:
            raise failed[0]


async def _ended(end: Callable[[], None]) -> Exception | None:
    """What went wrong in one thing that is done at the end, lest the others stay undone."""
    try:
        await asyncio.to_thread(end)
    except Exception as error:
        return error
    return None


def _bound(port: int) -> list[socket.socket]:
    try:
        return bind_sockets(port, HERE, family=socket.AF_INET)
    except OSError as error:
        raise InputError("--port", f"port {port} cannot be had ({error.strerror or error})",
                         "Name another one, or leave it out for a free one") from None


def _within(folder: Path, path: Path) -> Path:
    """A path below the site's folder, told from there, with all links followed."""
    return Path(path).resolve().relative_to(folder)


@contextmanager
def _signals(stop: Callable[[], None]) -> Iterator[None]:
    """Let what ends a command call `stop`; nothing outside the main thread."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    kinds = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
             if hasattr(signal, name)]
    before = {kind: signal.signal(kind, lambda *_: stop()) for kind in kinds}
    try:
        yield
    finally:
        for kind, handler in before.items():
            signal.signal(kind, handler)


@contextmanager
def _hushed() -> Iterator[None]:
    """Keep what the libraries log off the terminal: addresses stand in it, and tracebacks.

    With LEVELSILL_TRACE set, their errors are shown.
    """
    loggers = [logging.getLogger(name) for name in ("bokeh", "tornado", "asyncio")]
    before = [(one, one.handlers[:], one.propagate) for one in loggers]
    shown = os.environ.get("LEVELSILL_TRACE")
    handler: logging.Handler = logging.StreamHandler() if shown else logging.NullHandler()
    for one in loggers:
        one.handlers[:], one.propagate = [handler], False
    try:
        yield
    finally:
        for one, handlers, propagate in before:
            one.handlers[:], one.propagate = handlers, propagate
