"""Talking to a bench's server over bare sockets: requests to the letter, answers as they came."""

from __future__ import annotations

import asyncio
import base64
import json
import re
import socket
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

from tornado.httpclient import HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect

from terrain.bench.gate import HERE
from terrain.bench.server import Bench

MADE = "bench plan of site"
PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJg"
    "gg==")


def run(what):
    """Run it on a thread of its own: the driver of the browser has a loop on this one."""
    with ThreadPoolExecutor(1) as aside:
        return aside.submit(asyncio.run, what).result()


def picture(name: str) -> tuple[bytes, str]:
    if name == "faulty":
        raise ValueError("a picture that cannot be made")
    return {"hillshade": (PNG, "image/png")}[name]


class Answer:
    """What came back, as it came."""

    def __init__(self, raw: bytes) -> None:
        head, _, self.body = raw.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        self.code = int(first.split()[1]) if first else 0
        self.headers = dict(line.split(": ", 1) for line in lines)

    @property
    def bare(self) -> tuple:
        """All of it but the time."""
        return self.code, self.body, {name: value for name, value in self.headers.items()
                                      if name != "Date"}


def spoken(bench: Bench, words: bytes, patience: float = 60) -> bytes:
    """Say some bytes to the server and hear all that it says until it hangs up."""
    with socket.create_connection((HERE, bench.port), patience) as line:
        line.sendall(words)
        heard = b""
        with suppress(ConnectionResetError):
            while more := line.recv(65536):
                heard += more
    return heard


def ask(bench: Bench, target: str, method: str = "GET", host: str | None = None,
        body: bytes = b"", **headers: str) -> Answer:
    """One request, its target to the letter."""
    said = {"Host": f"{HERE}:{bench.port}" if host is None else host, "Connection": "close",
            **{name.replace("_", "-"): value for name, value in headers.items()}}
    lines = "".join(f"{name}: {value}\r\n" for name, value in said.items())
    return Answer(spoken(bench, f"{method} {target} HTTP/1.1\r\n{lines}\r\n".encode() + body))


def page_token(bench: Bench) -> str:
    """The signed word that a page comes with for its socket."""
    page = ask(bench, f"/{bench.token}/").body.decode()
    return re.search(r'"token":"([^"]+)"', page)[1]


async def first_word(bench: Bench, word: str | None, origin: str | None, then=None) -> object:
    """What the socket says first: a dict, None if it hangs up, or how it refuses."""
    headers = {} if origin is None else {"Origin": origin}
    try:
        line = await websocket_connect(
            HTTPRequest(bench.url.replace("http:", "ws:") + "ws", headers=headers),
            subprotocols=None if word is None else ["bokeh", word])
    except HTTPClientError as error:
        return error.code
    said = await asyncio.wait_for(line.read_message(), 10)
    if said is None:
        return None
    header = json.loads(said)
    if then is not None:
        return await then(line)
    return header


def own(bench: Bench) -> str:
    return f"http://{HERE}:{bench.port}"
