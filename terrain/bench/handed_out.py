"""What the bench's server hands out: the page, its socket and program, pictures, made files.

Every answer carries the headers, and no error says more than it must.

References
----------
.. [1] W3C, Content Security Policy Level 3: nonces for scripts, the sandbox of a made page.
"""

from __future__ import annotations

import asyncio
import secrets
import stat
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, cast
from urllib.parse import quote

from bokeh.embed.server import server_html_page_for_session
from bokeh.resources import Resources
from bokeh.server.session import ServerSession
from bokeh.server.views.doc_handler import DocHandler
from bokeh.server.views.static_handler import StaticHandler
from bokeh.server.views.ws import WSHandler
from tornado.web import HTTPError, RequestHandler, StaticFileHandler, stream_request_body

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
TOO_MANY = "Too many pages of the bench are open. Close some of them and load this one again."


class Behind(Protocol):
    """What an answer asks of the gate that it stands behind.

    Attributes
    ----------
    folder : Path
        The site file's.
    made : frozenset of Path
        Folders that are handed out, from there.
    pages : set of Socket
        Sockets of open pages.
    pool : ThreadPoolExecutor
        Where pictures are made.
    """

    folder: Path
    made: frozenset[Path]
    origins: set[str]
    pages: set[Socket]
    pictures: Callable[[str], tuple[bytes, str]]
    pool: ThreadPoolExecutor

    @property
    def most_pages(self) -> int: ...

    def get_sessions(self, app_path: str) -> list[ServerSession]: ...

    def resources(self) -> Resources: ...


class Answer(RequestHandler):
    """Every answer carries the headers, and no error says more than it must."""

    _told = False

    @property
    def gate(self) -> Behind:
        """The gate that it stands behind."""
        return cast(Behind, self.application)

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
class Nothing(Answer):
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


class Page(Answer, DocHandler):
    """The page itself."""

    _nonce = ""

    async def get(self, *given: Any, **named: Any) -> None:
        gate = self.gate
        sessions = gate.get_sessions("/")
        if len(sessions) >= gate.most_pages:
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


class Socket(Answer, WSHandler):
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


class Program(Answer, StaticHandler):
    """Bokeh's program and nothing else of its folder."""

    def send_error(self, status_code: int = 500, **named: Any) -> None:
        """What is refused is not there."""
        super().send_error(404 if status_code == 403 else status_code, **named)

    def headers_of_ours(self) -> dict[str, str]:
        return HEADERS | ({"Cache-Control": KEPT} if self.get_status() in (200, 206, 304) else {})


class Picture(Answer):
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


class Made(Answer, StaticFileHandler):
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
