"""The bench's server: a page, its pictures and what was made, for the person at this machine alone.

It listens on loopback and answers nobody but who knows the address, whose first part is drawn anew
at each start.  Whoever does not know it, or comes by another name of this machine, from another
page or with anything but a wish to read, learns nothing: the answer is an empty one.

References
----------
.. [1] RFC 6455, The WebSocket Protocol, 10.2: a page of any origin may open a socket to loopback,
   so the server has to look at the origin itself.
.. [2] W3C, Content Security Policy Level 3: nonces for scripts, the sandbox of a made page.
"""

from __future__ import annotations

import asyncio
import logging
import os
import secrets
import signal
import socket
import stat
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, cast
from urllib.parse import quote

from bokeh.application import Application
from bokeh.application.handlers.function import FunctionHandler
from bokeh.document import Document
from bokeh.embed.server import server_html_page_for_session
from bokeh.events import ConnectionLost
from bokeh.models import CustomJS
from bokeh.resources import Resources
from bokeh.server.session import ServerSession
from bokeh.server.tornado import BokehTornado
from bokeh.server.views.doc_handler import DocHandler
from bokeh.server.views.static_handler import StaticHandler
from bokeh.server.views.ws import WSHandler
from tornado import httputil, iostream
from tornado.httpserver import HTTPServer
from tornado.ioloop import IOLoop
from tornado.netutil import bind_sockets
from tornado.web import HTTPError, RequestHandler, StaticFileHandler, stream_request_body

from terrain.errors import InputError

#: The one address that it listens on.
HERE = "127.0.0.1"
#: A click or a drag is a few kilobytes; nothing that comes from a page is longer. [bytes]
LONGEST_MESSAGE = 1 << 20
#: A request's line and headers. [bytes]
LONGEST_HEADERS = 16 << 10
#: Whoever takes longer to say what is wanted is cut off. [s]
PATIENCE = 15.0
#: A page that nobody looks at any more is forgotten after this long, and looked for so often. [ms]
UNUSED_MS, LOOKS_MS = 60_000, 5_000
#: Most pages open at a time, and most callers that have not said the address yet.
MOST_PAGES, MOST_STRANGERS = 40, 120
#: A page may come back by its session for as long as this. [s]
COMES_BACK = 30 * 24 * 3600
#: How long an address that lets in once is good for. [s]
TICKET_LASTS = 120.0

#: What every answer says.
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Cache-Control": "no-store",
}
#: Pictures and programs stay what they are until the next start, which has another address.
KEPT = "private, max-age=86400, immutable"
#: A made page keeps the policy of its own, and can neither read nor call anything of the bench: it
#: is a stranger to this server.
SANDBOX = ("sandbox allow-scripts allow-popups allow-popups-to-escape-sandbox allow-downloads "
           "allow-modals; connect-src 'none'; form-action 'none'; base-uri 'none'; "
           "frame-ancestors 'none'")
#: Kinds of made files that a browser shows; every other is one to keep.
SHOWN = {
    ".html": "text/html; charset=utf-8", ".png": "image/png", ".svg": "image/svg+xml",
    ".jpg": "image/jpeg", ".webp": "image/webp", ".pdf": "application/pdf",
    ".txt": "text/plain; charset=utf-8", ".json": "application/json",
    ".yaml": "text/plain; charset=utf-8", ".mp4": "video/mp4", ".webm": "video/webm",
    ".gif": "image/gif",
}
#: And of those to keep, the kinds with a name of their own.
TO_KEEP = {
    ".csv": "text/csv; charset=utf-8", ".geojson": "application/geo+json",
    ".gpx": "application/gpx+xml", ".kml": "application/vnd.google-earth.kml+xml",
    ".tif": "image/tiff", ".gpkg": "application/geopackage+sqlite3",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
#: The parts of bokeh's program that the page uses.
PARTS = ["bokeh", "bokeh-gl", "bokeh-widgets"]


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
        self._gate = _Gate(make_document, self.token, self.port, pictures, self.folder,
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
        door = _Door(self._gate, max_header_size=LONGEST_HEADERS, max_body_size=1,
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


class _Door(HTTPServer):
    """Takes callers; those who keep silent cannot keep others out."""

    def initialize(self, *given: Any, **named: Any) -> None:
        super().initialize(*given, **named)
        self._strangers: dict[iostream.IOStream, None] = {}

    def handle_stream(self, stream: iostream.IOStream, address: tuple[Any, ...]) -> None:
        """Take a caller; with too many who have not said the address, let the oldest go."""
        for one in [one for one in self._strangers if one.closed()]:
            del self._strangers[one]
        while len(self._strangers) >= MOST_STRANGERS:
            oldest = next(iter(self._strangers))
            del self._strangers[oldest]
            oldest.close()
        self._strangers[stream] = None
        super().handle_stream(stream, address)

    def known(self, stream: Any) -> None:
        """This caller knows the address."""
        self._strangers.pop(stream, None)


class _Gate(BokehTornado):
    """Bokeh's server, behind a gate that every request comes through before anything reads it."""

    def __init__(self, make_document: Callable[[Document], None], token: str, port: int,
                 pictures: Callable[[str], tuple[bytes, str]], folder: Path,
                 parts: list[str]) -> None:
        self.token, self.folder, self.pictures, self.parts = token, folder, pictures, parts
        self.hosts = {f"{name}:{port}" for name in (HERE, "localhost")}
        if port == 80:
            self.hosts |= {HERE, "localhost"}
        self.origins = {f"http://{host}" for host in self.hosts}
        self.made: frozenset[Path] = frozenset()
        self.pages: set[_Socket] = set()
        self.pool = ThreadPoolExecutor(2, "picture")
        self.door: _Door | None = None
        self._tickets: set[str] = set()
        self._lock = threading.Lock()
        super().__init__(
            Application(FunctionHandler(lambda doc: make_document(doc)),
                        FunctionHandler(_comes_back)), prefix=token,
            extra_websocket_origins=sorted(self.hosts),
            extra_patterns=[(r"/picture/(.*)", _Picture), (r"/made/(.*)", _Made)],
            secret_key=secrets.token_bytes(32), sign_sessions=True, use_index=False,
            ico_path="none", include_headers=[], include_cookies=[],
            unused_session_lifetime_milliseconds=UNUSED_MS,
            check_unused_sessions_milliseconds=LOOKS_MS,
            session_token_expiration=COMES_BACK,
            websocket_max_message_size_bytes=LONGEST_MESSAGE,
            log_function=lambda handler: None)

    def resources(self, absolute_url: str | bool | None = None) -> Resources:
        """Bokeh's program from this server, whatever the environment says."""
        return Resources(mode="server", root_url=f"/{self.token}/",
                         components=cast(Any, self.parts),
                         path_versioner=StaticHandler.append_version)

    def ticket(self) -> str:
        """A word that lets in once."""
        word = secrets.token_urlsafe(32)
        with self._lock:
            self._tickets.add(word)
        lapse = threading.Timer(TICKET_LASTS, self._used, [word])
        lapse.daemon = True
        lapse.start()
        return word

    def _used(self, word: str) -> bool:
        """Whether a ticket was good; it is so no more."""
        with self._lock:
            good = [one for one in self._tickets if _same(one, word)]
            self._tickets.difference_update(good)
        return bool(good)

    def find_handler(self, request: httputil.HTTPServerRequest, **named: Any) -> Any:
        """What answers a request, of which no more than the headers was read."""
        turned_away = self._turned_away(request)
        if turned_away is not None:
            return self.get_handler_delegate(request, _Nothing, turned_away)
        return super().find_handler(request, **named)

    def _turned_away(self, request: httputil.HTTPServerRequest) -> dict[str, Any] | None:
        """How a request is turned away; None if it may come in."""
        headers, origin = request.headers, request.headers.get("Origin")
        if headers.get("Host", "").lower() not in self.hosts:
            return {"code": 404}
        if origin is not None and origin.lower() not in self.origins:
            return {"code": 404}
        first, slash, rest = request.path.removeprefix("/").partition("/")
        if not _same(first, self.token):
            if not slash and request.method == "GET" and self._used(first):
                return {"code": 303, "to": f"/{self.token}/"}
            return {"code": 404}
        if self.door is not None:
            self.door.known(getattr(request.connection, "stream", None))
        if not slash:
            return {"code": 303, "to": f"/{self.token}/"}
        if request.method not in ("GET", "HEAD"):
            return {"code": 405}
        if rest == "ws":
            # Only a browser's page may come this way, and a browser's page says whose it is.
            if origin is None or request.method != "GET":
                return {"code": 404}
            if len(self.pages) >= 2 * MOST_PAGES:
                return {"code": 503, "words": TOO_MANY}
        return None

    def get_handler_delegate(
            self, request: httputil.HTTPServerRequest, target_class: type[RequestHandler],
            target_kwargs: dict[str, Any] | None = None, path_args: list[bytes] | None = None,
            path_kwargs: dict[str, bytes] | None = None) -> Any:
        """What answers: ours, or ours in bokeh's place; bokeh's other doors stay shut."""
        ours = {DocHandler: _Page, WSHandler: _Socket, StaticHandler: _Program}
        target = ours.get(target_class, target_class)
        if not issubclass(target, _Ours):
            target, target_kwargs, path_args, path_kwargs = _Nothing, {"code": 404}, None, None
        return super().get_handler_delegate(request, target, target_kwargs, path_args,
                                            path_kwargs)


def _comes_back(doc: Document) -> None:
    """Let a page that has lost its socket load itself anew as soon as the server answers.

    The site's state lives here, so that nothing is lost by it; bokeh's own way of coming back
    leaves the page as it was, and fails where a document holds arrays.  Until then the page's root
    element says `data-bench="gone"`.
    """
    doc.config.reconnect_session = False
    doc.config.notify_connection_status = False
    doc.js_on_event(ConnectionLost, CustomJS(code=COME_BACK))


COME_BACK = """
if (window.benchGone) return;
window.benchGone = true;
document.documentElement.dataset.bench = "gone";
const look = () => fetch(location.pathname, {method: "HEAD", cache: "no-store"}).then(
    (answer) => answer.ok ? location.reload() : setTimeout(look, 2000),
    () => setTimeout(look, 2000));
setTimeout(look, 100);
"""
TOO_MANY = "Too many pages of the bench are open. Close some of them and load this one again."


def _same(one: str, other: str) -> bool:
    """Whether two words are the same, in a time that does not tell how far they agree."""
    return secrets.compare_digest(one.encode("utf-8", "surrogateescape"),
                                  other.encode("utf-8", "surrogateescape"))


class _Ours(RequestHandler):
    """Every answer carries the headers, and no error says more than it must."""

    _told = False

    @property
    def gate(self) -> _Gate:
        """The gate that it stands behind."""
        return cast(_Gate, self.application)

    def flush(self, include_footers: bool = False) -> Any:
        """Write the headers, ours among them."""
        if not self._told:
            self._told = True
            self.clear_header("Server")
            for name, value in self.headers_of_ours().items():
                self.set_header(name, value)
        return super().flush(include_footers)

    def headers_of_ours(self) -> dict[str, str]:
        """What this answer says beside what it is."""
        return HEADERS

    def write_error(self, status_code: int, **named: Any) -> None:
        """One sentence for a fault, nothing for anything else."""
        if status_code >= 500:
            self.set_header("Content-Type", "text/plain; charset=utf-8")
            self.finish("The bench has met a fault of its own here. Nothing is lost: load the page "
                        "again. If it stays, start levelsill bench again.")
        else:
            self.clear_header("Content-Type")
            self.finish()

    def log_exception(self, *error: Any) -> None:
        """Say only what is a fault; a wrong address is none."""
        if error[1] is not None and not isinstance(error[1], HTTPError):
            super().log_exception(*error)

    def head(self, *given: str) -> Any:
        """As `get`, and tornado leaves the body out."""
        return self.get(*given)


@stream_request_body
class _Nothing(_Ours):
    """Turns a request away as soon as its headers are read."""

    def initialize(self, code: int, words: str = "", to: str = "") -> None:
        self.code, self.words, self.to = code, words, to

    def prepare(self) -> None:
        self.set_status(self.code)
        self.clear_header("Content-Type")
        if self.to:
            self.set_header("Location", self.to)
        if self.words:
            self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(self.words)

    def data_received(self, chunk: bytes) -> None:
        """Nobody reads it."""


@dataclass(frozen=True)
class _Marked:
    """A page's template that lets the scripts run that bokeh wrote, and no other."""

    template: Any
    nonce: str

    def render(self, given: dict[str, Any]) -> str:
        """The page."""
        marked = {name: str(given[name]).replace("<script>", f'<script nonce="{self.nonce}">')
                  for name in ("bokeh_js", "plot_script")}
        page: str = self.template.render({**given, **marked})
        return page


class _Page(_Ours, DocHandler):
    """The page itself."""

    _nonce = ""

    async def get(self, *given: Any, **named: Any) -> None:
        gate = self.gate
        sessions = gate.get_sessions("/")
        if len(sessions) >= MOST_PAGES:
            for one in sessions:
                if one.connection_count == 0:
                    one.request_expiration()
            self.set_status(503)
            self.set_header("Content-Type", "text/plain; charset=utf-8")
            self.set_header("Retry-After", "6")
            self.finish(TOO_MANY)
            return
        session: ServerSession = await cast(Any, self.get_session())
        document, self._nonce = session.document, secrets.token_urlsafe(16)
        page = server_html_page_for_session(
            session, resources=gate.resources(), title=document.title,
            template=cast(Any, _Marked(document.template, self._nonce)),
            template_variables={**document.template_variables, "nonce": self._nonce})
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.write(page)

    def head(self, *given: str) -> None:
        """No page is made only to say that there is one."""
        self.set_header("Content-Type", "text/html; charset=utf-8")

    def headers_of_ours(self) -> dict[str, str]:
        """Scripts from here or with this answer's nonce; styles that the program writes; pictures
        from here; nothing from anywhere else."""
        if not self._nonce:
            return HEADERS
        sockets = " ".join(origin.replace("http:", "ws:")
                           for origin in sorted(self.gate.origins))
        # The program makes functions of the page's own callbacks, hence 'unsafe-eval'; markup that
        # came in through a name runs nothing either way.
        return HEADERS | {"Content-Security-Policy": (
            "default-src 'none'; "
            f"script-src 'self' 'nonce-{self._nonce}' 'unsafe-eval'; "
            "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
            f"connect-src 'self' {sockets}; "
            "base-uri 'none'; form-action 'none'; frame-ancestors 'none'")}


class _Socket(_Ours, WSHandler):
    """The page's socket."""

    def check_origin(self, origin: str) -> bool:
        """Whether the page that calls is this server's own."""
        return origin.lower() in self.gate.origins

    def open(self, *given: str, **named: str) -> Any:
        self.gate.pages.add(self)
        return super().open()

    def on_close(self) -> None:
        self.gate.pages.discard(self)
        super().on_close()


class _Program(_Ours, StaticHandler):
    """Bokeh's program and nothing else of its folder."""

    def send_error(self, status_code: int = 500, **named: Any) -> None:
        """What is refused is not there."""
        super().send_error(404 if status_code == 403 else status_code, **named)

    def headers_of_ours(self) -> dict[str, str]:
        return HEADERS | ({"Cache-Control": KEPT} if self.get_status() in (200, 206, 304) else {})


class _Picture(_Ours):
    """A picture of the ground, made when it is first asked for."""

    async def get(self, name: str) -> None:
        gate = self.gate
        if not name or len(name) > 100 or not name.isprintable():
            raise HTTPError(404)
        try:
            data, kind = await asyncio.get_running_loop().run_in_executor(
                gate.pool, gate.pictures, name)
        except KeyError:
            raise HTTPError(404) from None
        self.set_header("Content-Type", kind)
        self.write(data)

    def headers_of_ours(self) -> dict[str, str]:
        return HEADERS | ({"Cache-Control": KEPT} if self.get_status() in (200, 304) else {})


class _Made(_Ours, StaticFileHandler):
    """A file that the bench's errands made."""

    def initialize(self) -> None:  # type: ignore[override]
        super().initialize(str(self.gate.folder))

    @classmethod
    def get_absolute_path(cls, root: str, path: str) -> str:
        """The file that an address names, nothing followed yet; 404 for a name that is no plain
        one."""
        parts = path.split("/")
        if len(path) > 1000 or any(
                not part or part.startswith(".") or part.endswith((".", " "))
                or not part.isprintable() or set(part) & set('\\:*?"<>|') for part in parts):
            raise HTTPError(404)
        return str(Path(root, *parts))

    def validate_absolute_path(self, root: str, absolute_path: str) -> str | None:
        """The file itself, all links followed, if it lies in a folder that the bench made."""
        try:
            found = Path(absolute_path).resolve(strict=True)
            plain = stat.S_ISREG(found.stat().st_mode)
            within = found.relative_to(self.gate.folder)
        except (OSError, ValueError, RuntimeError):
            raise HTTPError(404) from None
        if not plain or not any(folder in within.parents for folder in self.gate.made) \
                or any(part.startswith(".") for part in within.parts):
            raise HTTPError(404)
        return str(found)

    def get_content_type(self) -> str:
        kind = Path(str(self.absolute_path)).suffix.lower()
        return SHOWN.get(kind) or TO_KEEP.get(kind) or "application/octet-stream"

    def set_extra_headers(self, path: str) -> None:
        name = Path(str(self.absolute_path))
        if name.suffix.lower() not in SHOWN:
            self.set_header("Content-Disposition",
                            f"attachment; filename*=UTF-8''{quote(name.name, safe='')}")

    def compute_etag(self) -> str | None:
        """None: the same address may lead to what was made anew."""
        return None

    def headers_of_ours(self) -> dict[str, str]:
        """A made page is shut into a sandbox, which a printed one needs not, and is shown in none;
        a page in a sandbox may not ask to be alone among its like."""
        kind = Path(str(getattr(self, "absolute_path", "") or "")).suffix.lower()
        if self.get_status() not in (200, 206) or kind not in SHOWN:
            return HEADERS
        if kind == ".pdf":
            return HEADERS | {"Content-Security-Policy": "frame-ancestors 'none'"}
        return {name: value for name, value in HEADERS.items()
                if name != "Cross-Origin-Opener-Policy"} | {"Content-Security-Policy": SANDBOX}
