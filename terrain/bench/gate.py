"""Who is let in to the bench's server.

Whoever does not know the address, whose first part is drawn anew at each start, or comes by another
name of this machine, from another page or with anything but a wish to read, learns nothing: the
answer is an empty one.

References
----------
.. [1] RFC 6455, The WebSocket Protocol, 10.2: a page of any origin may open a socket to loopback,
   so the server has to look at the origin itself.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, cast

from bokeh.application import Application
from bokeh.application.handlers.function import FunctionHandler
from bokeh.document import Document
from bokeh.events import ConnectionLost
from bokeh.models import CustomJS
from bokeh.resources import Resources
from bokeh.server.tornado import BokehTornado
from bokeh.server.views.doc_handler import DocHandler
from bokeh.server.views.static_handler import StaticHandler
from bokeh.server.views.ws import WSHandler
from tornado import httputil, iostream
from tornado.httpserver import HTTPServer
from tornado.web import RequestHandler

from terrain.bench.handed_out import TOO_MANY, Answer, Made, Nothing, Page, Picture, Program, Socket

#: The one address that it listens on.
HERE = "127.0.0.1"
#: A click or a drag is a few kilobytes; nothing that comes from a page is longer. [bytes]
LONGEST_MESSAGE = 1 << 20
#: A page that nobody looks at any more is forgotten after this long, and looked for so often. [ms]
UNUSED_MS, LOOKS_MS = 60_000, 5_000
#: Most pages open at a time, and most callers that have not said the address yet.
MOST_PAGES, MOST_STRANGERS = 40, 120
#: A page may come back by its session for as long as this. [s]
COMES_BACK = 30 * 24 * 3600
#: How long an address that lets in once is good for. [s]
TICKET_LASTS = 120.0
#: The parts of bokeh's program that the page uses.
PARTS = ["bokeh", "bokeh-gl", "bokeh-widgets"]
COME_BACK = """
if (window.benchGone) return;
window.benchGone = true;
document.documentElement.dataset.bench = "gone";
const look = () => fetch(location.pathname, {method: "HEAD", cache: "no-store"}).then(
    (answer) => answer.ok ? location.reload() : setTimeout(look, 2000),
    () => setTimeout(look, 2000));
setTimeout(look, 100);
"""


class Door(HTTPServer):
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


class Gate(BokehTornado):
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
        self.pages: set[Socket] = set()
        self.pool = ThreadPoolExecutor(2, "picture")
        self.door: Door | None = None
        self._tickets: set[str] = set()
        self._lock = threading.Lock()
        super().__init__(
            Application(FunctionHandler(lambda doc: make_document(doc)),
                        FunctionHandler(_comes_back)), prefix=token,
            extra_websocket_origins=sorted(self.hosts),
            extra_patterns=[(r"/picture/(.*)", Picture), (r"/made/(.*)", Made)],
            secret_key=secrets.token_bytes(32), sign_sessions=True, use_index=False,
            ico_path="none", include_headers=[], include_cookies=[],
            unused_session_lifetime_milliseconds=UNUSED_MS,
            check_unused_sessions_milliseconds=LOOKS_MS,
            session_token_expiration=COMES_BACK,
            websocket_max_message_size_bytes=LONGEST_MESSAGE,
            log_function=lambda handler: None)

    @property
    def most_pages(self) -> int:
        """Most pages open at a time."""
        return MOST_PAGES

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
            return self.get_handler_delegate(request, Nothing, turned_away)
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
        ours = {DocHandler: Page, WSHandler: Socket, StaticHandler: Program}
        target = ours.get(target_class, target_class)
        if not issubclass(target, Answer):
            target, target_kwargs, path_args, path_kwargs = Nothing, {"code": 404}, None, None
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


def _same(one: str, other: str) -> bool:
    """Whether two words are the same, in a time that does not tell how far they agree."""
    return secrets.compare_digest(one.encode("utf-8", "surrogateescape"),
                                  other.encode("utf-8", "surrogateescape"))
