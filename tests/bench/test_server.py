"""Who gets in at the bench's door, and what they get: seen from bare sockets and from a browser.

How HTTP and websockets are to be spoken: RFC 9110, RFC 9112, RFC 6455.
"""

from __future__ import annotations

import asyncio
import base64
import functools
import http.server
import json
import re
import socket
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote

import pytest
from tornado.httpclient import HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect

from terrain.bench import gate, server
from terrain.bench.gate import HERE
from terrain.bench.server import Bench
from terrain.errors import InputError

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


@pytest.fixture(scope="module")
def bench(site_folder, two_things, serving):
    made = Bench(two_things, pictures=picture, folder=site_folder)
    made.allow(site_folder / MADE)
    with serving(made):
        yield made


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


def spoken(bench: Bench, words: bytes, patience: float = 10) -> bytes:
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


def test_the_address_lets_in_and_every_answer_carries_the_headers(bench):
    page = ask(bench, f"/{bench.token}/")
    assert page.code == 200
    assert b"bokeh" in page.body
    for answer in (page, ask(bench, "/"), ask(bench, f"/{bench.token}/picture/hillshade"),
                   ask(bench, f"/{bench.token}/made/{quote(MADE)}/plan.json"),
                   ask(bench, f"/{bench.token}/", "POST"),
                   ask(bench, f"/{bench.token}/picture/faulty"),
                   ask(bench, f"/{bench.token}/static/js/bokeh.min.js")):
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
        assert "Server" not in answer.headers
        assert "Access-Control-Allow-Origin" not in answer.headers
    assert page.headers["Cache-Control"] == "no-store"
    policy = page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "'unsafe-inline'" not in policy.split("script-src")[1].split(";")[0]


def test_the_token_has_256_bits_and_is_another_each_time(site_folder, two_things):
    tokens = set()
    for _ in range(3):
        one = Bench(two_things, pictures=picture, folder=site_folder)
        tokens.add(one.token)
        one.stop()
        threading.Thread(target=one.run).start()
    assert len(tokens) == 3
    assert all(len(base64.urlsafe_b64decode(token + "=")) == 32 for token in tokens)


def test_without_the_token_there_is_nothing(bench):
    token = bench.token
    nothing = ask(bench, "/").bare
    assert nothing[:2] == (404, b"")
    for target in ("/x", "/favicon.ico", "/index.html", "/static/js/bokeh.min.js", "/ws",
                   "/autoload.js?bokeh-autoload-element=1", "/metadata", "/picture/hillshade",
                   f"/made/{quote(MADE)}/report.html", f"/{token[:-1]}/", f"/{token}x/",
                   f"/{token.swapcase()}/", f"//{token}/", f"/./{token}/", f"/x/../{token}/",
                   f"/%2f{token}/", f"/?{token}/", f"/{'A' * len(token)}/", f"/{token}%00/",
                   "/%C3%A9/", "/\u00e9/", "*", f"http://{HERE}:{bench.port}/x",
                   "/" + "a" * 5000):
        assert ask(bench, target).bare == nothing, target
        assert ask(bench, target, "POST").bare == nothing, target


def test_bokehs_other_doors_are_shut(bench):
    nothing = ask(bench, "/").bare
    for target in ("autoload.js?bokeh-autoload-element=1", "metadata", "static/extensions/x/y.js",
                   "static/../../server/server.py", "static/%2e%2e/%2e%2e/server/server.py",
                   "static/", "static/js", "picture", "made", "made/", "picture/", "x"):
        assert ask(bench, f"/{bench.token}/{target}").bare[:2] == nothing[:2], target


@pytest.mark.parametrize("host", [
    "evil.example", "evil.example:{port}", "127.0.0.1", "localhost", "127.0.0.1:1",
    "127.0.0.1.evil.example:{port}", "localhost.evil.example:{port}", "[::1]:{port}",
    "0.0.0.0:{port}", "127.0.0.2:{port}", "127.1:{port}", "2130706433:{port}",
    "127.0.0.1:{port}, evil.example", "127.0.0.1:{port}@evil.example", ""])
def test_another_name_of_this_machine_gets_nothing(bench, host):
    """A name that an attacker's name server points to loopback is not this server's."""
    answer = ask(bench, f"/{bench.token}/", host=host.format(port=bench.port))
    assert answer.code in (400, 404)
    assert answer.body == b""


def test_no_host_or_two_hosts_get_nothing(bench):
    host, start = f"Host: {HERE}:{bench.port}\r\n", f"GET /{bench.token}/ HTTP/1.1\r\n"
    other = "Host: evil.example\r\n"
    for lines in ("", host + host, host + other, other + host):
        answer = Answer(spoken(bench, f"{start}{lines}Connection: close\r\n\r\n".encode()))
        assert answer.code in (400, 404)
        assert answer.body == b""


def test_localhost_is_this_machine_too(bench):
    assert ask(bench, f"/{bench.token}/", host=f"LocalHost:{bench.port}").code == 200


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT",
                                    "PROPFIND", "get"])
def test_nothing_but_reading(bench, method):
    for target in ("", "ws", "picture/hillshade", f"made/{quote(MADE)}/report.html",
                   "static/js/bokeh.min.js"):
        answer = ask(bench, f"/{bench.token}/{target}", method)
        assert answer.code in (400, 405)
        assert answer.body == b""
    # RFC 9110, 15.5.6: a method that is known and not supported is answered so.
    assert method == "get" or ask(bench, f"/{bench.token}/", method).code == 405


def test_what_is_sent_along_is_not_read(bench):
    begun = time.monotonic()
    huge = ask(bench, f"/{bench.token}/", "POST", Content_Length="1000000000", body=b"x" * 1000)
    assert huge.code == 405
    assert time.monotonic() - begun < 5
    assert ask(bench, f"/{bench.token}/", Content_Length="1000", body=b"x" * 1000).code == 400
    assert ask(bench, f"/{bench.token}/", Transfer_Encoding="chunked",
               body=b"5\r\nhello\r\n0\r\n\r\n").code == 400


def test_a_page_of_another_origin_gets_nothing(bench):
    for origin in ("http://evil.example", "null", f"http://{HERE}", f"http://{HERE}:1",
                   f"https://{HERE}:{bench.port}", "http://localhost", "file://"):
        assert ask(bench, f"/{bench.token}/", Origin=origin).code == 404
    assert ask(bench, f"/{bench.token}/", Origin=f"http://{HERE}:{bench.port}").code == 200


# The socket.

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


def test_the_socket_answers_the_own_page(bench):
    said = run(first_word(bench, page_token(bench), own(bench)))
    assert said["msgtype"] == "ACK"


@pytest.mark.parametrize("origin", [
    None, "null", "", "http://evil.example", "http://127.0.0.1", "http://127.0.0.1:1",
    "https://127.0.0.1:{port}", "http://127.0.0.1:{port}.evil.example",
    "http://evil.example#127.0.0.1:{port}", "http://x@127.0.0.1:{port}"])
def test_the_socket_refuses_another_origin(bench, origin):
    given = origin if origin is None else origin.format(port=bench.port)
    assert run(first_word(bench, page_token(bench), given)) == 404


def test_the_environment_cannot_let_others_in(bench, monkeypatch):
    """Bokeh would take these instead of what it is told."""
    monkeypatch.setenv("BOKEH_ALLOW_WS_ORIGIN", "*")
    monkeypatch.setenv("BOKEH_RESOURCES", "cdn")
    word = page_token(bench)
    assert run(first_word(bench, word, "http://evil.example")) == 404
    assert run(first_word(bench, word, own(bench)))["msgtype"] == "ACK"
    page = ask(bench, f"/{bench.token}/").body.decode()
    assert set(re.findall(r'src="([^"]{1,60})', page)) != set()
    assert all(found.startswith(f"/{bench.token}/") for found in re.findall(r'src="([^"]+)', page))


def test_the_socket_wants_a_signed_word(bench):
    word = page_token(bench)
    body, _, signature = word.partition(".")
    other = ("A" if signature[0] != "A" else "B") + signature[1:]
    spent = base64.urlsafe_b64encode(b'{"session_id": "x", "session_expiry": 9999999999}').decode()
    for forged in (None, body, f"{body}.{other}", spent.rstrip("="),
                   f"{spent.rstrip('=')}.{signature}", "x" * 5000):
        assert run(first_word(bench, forged, own(bench))) is None, forged
    assert ask(bench, f"/{bench.token}/?bokeh-session-id=mine").code in (403, 500)
    assert ask(bench, f"/{bench.token}/?bokeh-token={body}.{other}").code in (403, 500)


def test_a_long_message_closes_the_socket_and_no_more(bench):
    async def shout(line) -> object:
        # RFC 6455, 5.2: a frame of text, masked, and how long it will be; nothing of it follows.
        await line.protocol.stream.write(
            b"\x81\xff" + (gate.LONGEST_MESSAGE + 1).to_bytes(8, "big"))
        while await asyncio.wait_for(line.read_message(), 10) is not None:
            """What it still says of the welcome."""
        return line.close_code

    # RFC 6455, 7.4.1: 1009 is "a message that is too big for it to process".
    assert run(first_word(bench, page_token(bench), own(bench), shout)) == 1009
    assert ask(bench, f"/{bench.token}/").code == 200


def test_too_many_sockets_are_refused(bench, monkeypatch):
    async def another(line) -> object:
        return await first_word(bench, word, own(bench))

    word = page_token(bench)
    assert run(first_word(bench, word, own(bench), another))["msgtype"] == "ACK"
    monkeypatch.setattr(gate, "MOST_PAGES", 0.5)
    until = time.monotonic() + 10
    while bench._gate.pages and time.monotonic() < until:
        time.sleep(0.05)
    assert run(first_word(bench, word, own(bench), another)) == 503


def test_nonsense_on_the_socket_closes_it_and_no_more(bench):
    async def babble(line) -> object:
        for said in ("not json", "[]", "{}", '{"msgtype": "PATCH-DOC", "msgid": "1"}', "null"):
            with suppress(Exception):
                await line.write_message(said)
        for _ in range(10):
            if await asyncio.wait_for(line.read_message(), 10) is None:
                return "closed"
        return "open"

    assert run(first_word(bench, page_token(bench), own(bench), babble)) == "closed"
    assert run(first_word(bench, page_token(bench), own(bench)))["msgtype"] == "ACK"


def test_long_headers_are_not_read(bench):
    answer = spoken(bench, f"GET /{bench.token}/ HTTP/1.1\r\nHost: {HERE}:{bench.port}\r\n"
                           f"Connection: close\r\nX: {'x' * 100_000}\r\n\r\n".encode())
    assert b" 200 " not in answer[:20]
    assert ask(bench, f"/{bench.token}/").code == 200


# What was made, and pictures.

@pytest.mark.parametrize(("name", "kind"), [
    ("report.html", "text/html; charset=utf-8"), ("plan.json", "application/json"),
    ("within.json", "application/json"), ("setting out.csv", "text/csv; charset=utf-8"),
    ("plan_set.pdf", "application/pdf"), ("drawing.dxf", "application/octet-stream"),
    ("sheets/höhe 1.svg", "image/svg+xml")])
def test_what_was_made_is_handed_out(bench, site_folder, name, kind):
    path = site_folder / MADE / name
    if not path.is_symlink():
        assert bench.made_address(path) == f"/{bench.token}/made/{quote(f'{MADE}/{name}')}"
    answer = ask(bench, f"/{bench.token}/made/{quote(f'{MADE}/{name}')}")
    assert answer.code == 200
    assert answer.body == path.read_bytes()
    assert answer.headers["Content-Type"] == kind
    assert answer.headers["Cache-Control"] == "no-store"
    policy = answer.headers["Content-Security-Policy"]
    assert "allow-same-origin" not in policy
    assert kind == "application/pdf" or "sandbox" in policy or "default-src 'none'" in policy
    kept = "attachment" in answer.headers.get("Content-Disposition", "")
    assert kept == (kind in ("text/csv; charset=utf-8", "application/octet-stream"))


def test_a_part_of_what_was_made(bench):
    """RFC 9110, 14.2: as films are asked for."""
    answer = ask(bench, f"/{bench.token}/made/{quote(MADE)}/report.html", Range="bytes=2-8")
    assert (answer.code, answer.body) == (206, b"doctype")


def test_what_was_made_anew_is_handed_out_anew(bench, site_folder):
    path = site_folder / MADE / "again.txt"
    for words in ("first", "second one"):
        path.write_text(words)
        assert ask(bench, f"/{bench.token}/made/{quote(MADE)}/again.txt").body == words.encode()


WAYS_OUT = [
    "../site.yaml", "../owner/report.html", "../../outside.txt", "..%2fsite.yaml",
    "%2e%2e/site.yaml", "%2e%2e%2fsite.yaml", "..%5csite.yaml", "..\\site.yaml",
    "%252e%252e/site.yaml", "x/../report.html", "./report.html", "sheets/../../site.yaml",
    "//report.html", "/etc/passwd", "%2fetc%2fpasswd", "report.html%00", "report.html%00.png",
    "%00", "report.html/", "report.html/x", "", ".", "..", "/", "sheets", "sheets/", "out.txt",
    "site.txt", "up/outside.txt", "up/site/site.yaml", "nowhere.txt", "pipe.txt", "shown.html",
    ".levelsill-wrote.json", "%2elevelsill-wrote.json", ".hidden/report.html", "report.html.",
    "report.html%20", "report.html::$DATA", "C:%5cwindows", "C:/windows", "~",
    "%c0%ae%c0%ae/site.yaml", "%ff", "\u202ereport.html", "a" * 300, "a/" * 2000, "a" * 12_000, "*",
    "report.htm?", "REPORT.HTML.bak", "%0d%0aX: y"]


@pytest.mark.parametrize("way", WAYS_OUT, ids=lambda way: way[:30])
def test_there_is_no_way_out_of_what_was_made(bench, way):
    target = f"/{bench.token}/made/{quote(MADE)}/{way}"
    for answer in (ask(bench, target), ask(bench, target, "HEAD")):
        assert answer.code in (400, 404)
        assert answer.body == b""
        assert "X" not in answer.headers


@pytest.mark.parametrize("way", [
    "site.yaml", "owner/report.html", f"{quote(MADE)}%202/report.html", "..", "../outside.txt", "",
    f"{quote(MADE)}", f"{quote(MADE)}/", "%2f", "/etc/passwd",
    "bench%20plan%20of%20site%2freport.htm", *WAYS_OUT])
def test_nothing_else_of_the_sites_folder_is_handed_out(bench, way):
    answer = ask(bench, f"/{bench.token}/made/{way}")
    assert answer.code in (400, 404)
    assert answer.body == b""


def test_only_folders_within_the_sites_are_handed_out(bench, site_folder, tmp_path):
    for folder in (site_folder.parent, tmp_path, Path("/"), site_folder / MADE / "up"):
        with pytest.raises(ValueError, match=r"is not in the subpath"):
            bench.allow(folder)
    with pytest.raises(ValueError, match="site's folder itself"):
        bench.allow(site_folder)


def test_a_picture_is_handed_out_and_kept_by_the_browser(bench):
    answer = ask(bench, bench.picture_address("hillshade"))
    assert (answer.code, answer.body) == (200, PNG)
    assert answer.headers["Content-Type"] == "image/png"
    assert "max-age" in answer.headers["Cache-Control"]
    assert ask(bench, bench.picture_address("hillshade"), "HEAD").body == b""


@pytest.mark.parametrize("name", ["", "x", "hillshade/", "hillshade/x", "../picture/hillshade",
                                  "%2e%2e/x", "hillshade%00", ".", "..", "a" * 5000, "%ff",
                                  "/etc/passwd", "HILLSHADE", "hillshade%20"])
def test_no_other_picture(bench, name):
    answer = ask(bench, f"/{bench.token}/picture/{name}")
    assert answer.code in (400, 404)
    assert answer.body == b""


def test_a_fault_says_no_more_than_that(bench, capfd):
    answer = ask(bench, f"/{bench.token}/picture/faulty")
    assert answer.code == 500
    assert b"Nothing is lost" in answer.body
    for told in (answer.body.decode(), *capfd.readouterr()):
        assert "Traceback" not in told
        assert "cannot be made" not in told
        assert bench.token not in told


def test_a_page_that_cannot_be_made_is_a_fault_and_the_next_one_is_made(site_folder, two_things,
                                                                        serving, capfd):
    made = []

    def first_fails(doc) -> None:
        made.append(doc)
        if len(made) == 1:
            raise ValueError("SECRET")
        two_things(doc)

    bench = Bench(first_fails, pictures=picture, folder=site_folder)
    with serving(bench):
        answer = ask(bench, f"/{bench.token}/")
        assert answer.code == 500
        assert b"SECRET" not in answer.body
        assert ask(bench, f"/{bench.token}/").code == 200
    said = "".join(capfd.readouterr())
    assert "SECRET" not in said
    assert bench.token not in said


# Many, slow, and from afar.

def test_a_slow_picture_keeps_nobody_waiting(site_folder, two_things, serving):
    go_on = threading.Event()

    def slow(name: str) -> tuple[bytes, str]:
        assert go_on.wait(20)
        return PNG, "image/png"

    bench = Bench(two_things, pictures=slow, folder=site_folder)
    with serving(bench):
        waiting = threading.Thread(target=ask, args=(bench, bench.picture_address("x")))
        waiting.start()
        assert ask(bench, f"/{bench.token}/").code == 200
        assert waiting.is_alive()
        go_on.set()
        waiting.join(10)


def test_those_who_say_nothing_keep_nobody_out(bench):
    held = []
    try:
        for _ in range(3 * gate.MOST_STRANGERS):
            line = socket.create_connection((HERE, bench.port), 10)
            line.sendall(b"GET / HTTP/1.1\r\nX: ")
            held.append(line)
        begun = time.monotonic()
        assert ask(bench, f"/{bench.token}/").code == 200
        assert time.monotonic() - begun < 5
        gone = 0
        for line in held:
            line.settimeout(0.01)
            try:
                gone += line.recv(1) == b""
            except ConnectionResetError:
                gone += 1
            except TimeoutError:
                """This one is still waited for."""
        assert gone >= len(held) - gate.MOST_STRANGERS
    finally:
        for line in held:
            line.close()


def test_whoever_says_nothing_is_cut_off(site_folder, two_things, serving, monkeypatch):
    monkeypatch.setattr(server, "PATIENCE", 0.5)
    bench = Bench(two_things, pictures=picture, folder=site_folder)
    with serving(bench):
        assert spoken(bench, b"GET / HT", 5) == b""
        assert spoken(bench, b"", 5) == b""


def test_too_many_pages_are_refused_until_some_are_closed(site_folder, two_things, serving,
                                                          monkeypatch):
    monkeypatch.setattr(gate, "MOST_PAGES", 5)
    monkeypatch.setattr(gate, "LOOKS_MS", 200)
    bench = Bench(two_things, pictures=picture, folder=site_folder)
    with serving(bench):
        answers = [ask(bench, f"/{bench.token}/") for _ in range(6)]
        assert [answer.code for answer in answers] == [200] * 5 + [503]
        assert b"Close some" in answers[-1].body
        until = time.monotonic() + 10
        while (last := ask(bench, f"/{bench.token}/").code) == 503 and time.monotonic() < until:
            time.sleep(0.1)
        assert last == 200


def test_a_page_that_nobody_looks_at_is_forgotten(site_folder, two_things, serving, monkeypatch):
    monkeypatch.setattr(gate, "UNUSED_MS", 200)
    monkeypatch.setattr(gate, "LOOKS_MS", 100)
    bench = Bench(two_things, pictures=picture, folder=site_folder)
    with serving(bench):
        assert ask(bench, f"/{bench.token}/").code == 200
        until = time.monotonic() + 10
        while bench._gate.get_sessions("/") and time.monotonic() < until:
            time.sleep(0.05)
        assert not bench._gate.get_sessions("/")


def own_addresses() -> list[str]:
    """The machine's addresses beside loopback."""
    found = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None)}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # a network of documentation (RFC 5737); nothing is sent
        found.add(probe.getsockname()[0])
    return [*sorted(one for one in found if not one.startswith("127.")), "::1", "127.0.0.2"]


def test_it_listens_on_loopback_alone(bench):
    for address in own_addresses():
        with pytest.raises(OSError, match=r"refused|unreachable|assign|not supported"):
            socket.create_connection((address, bench.port), 3).close()


@pytest.mark.skipif(sys.platform != "linux", reason="the list of sockets is Linux's")
def test_the_system_lists_one_socket_of_it(bench):
    """proc(5): /proc/net/tcp, local address and state in hexadecimal, 0A is listening."""
    listening = [line.split()[1] for name in ("tcp", "tcp6")
                 for line in Path(f"/proc/net/{name}").read_text().splitlines()[1:]
                 if line.split()[3] == "0A"]
    assert [one for one in listening if one.endswith(f":{bench.port:04X}")] == [
        f"0100007F:{bench.port:04X}"]


def test_a_port_that_is_taken_is_told(bench, site_folder, two_things):
    with pytest.raises(InputError, match=f"port {bench.port} cannot be had"):
        Bench(two_things, pictures=picture, folder=site_folder, port=bench.port)


def test_a_ticket_lets_in_once(bench):
    ticket = "/" + bench.ticket().rsplit("/", 1)[1]
    assert ask(bench, ticket, host="evil.example").code == 404
    assert ask(bench, ticket, "POST").code == 404
    first = ask(bench, ticket)
    assert (first.code, first.headers["Location"]) == (303, f"/{bench.token}/")
    assert ask(bench, ticket).bare == ask(bench, "/").bare


def test_a_ticket_lapses(bench, monkeypatch):
    monkeypatch.setattr(gate, "TICKET_LASTS", 0.05)
    ticket = bench.ticket().rsplit("/", 1)[1]
    time.sleep(0.5)
    assert ask(bench, f"/{ticket}").code == 404


def test_calls_come_on_the_servers_thread_and_the_end_is_told(site_folder, two_things, serving):
    bench = Bench(two_things, pictures=picture, folder=site_folder)
    seen: list[object] = []
    bench.before_end(lambda: seen.append("end"))
    bench.add_callback(seen.append, "early")
    with serving(bench):
        heard = threading.Event()
        bench.add_callback(lambda: (seen.append(threading.current_thread()), heard.set()))
        assert heard.wait(10)
    assert seen[0] == "early"
    assert seen[1] is not threading.current_thread()
    assert seen[2] == "end"
    bench.add_callback(seen.append, "late")
    bench.stop()
    assert len(seen) == 3


# In a browser.

class Tab:
    """A page with what it said and asked for."""

    def __init__(self, context, address: str) -> None:
        self.page = context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda m: m.type == "error" and self.said.append(m.text))
        self.page.on("pageerror", lambda e: self.said.append(str(e)))
        self.page.on("request", lambda r: self.asked.append(r.url))
        self.page.on("websocket", lambda w: self.asked.append(w.url))
        self.page.goto(address)

    def press(self) -> None:
        self.page.get_by_role("button").click()

    def wait_for(self, words: str) -> None:
        self.page.get_by_text(words).wait_for(timeout=15_000)


@pytest.fixture
def context(browser):
    made = browser.new_context()
    yield made
    made.close()


def test_the_page_works_and_asks_nobody_else(bench, context):
    tab = Tab(context, bench.url)
    tab.wait_for("nothing yet")
    assert tab.page.locator("canvas").count() > 0
    tab.press()
    tab.wait_for("asked 1")
    assert tab.page.title() == "</title><script>window.harmed = 2</script>"
    assert tab.page.evaluate("window.harmed") is None
    assert all(one.split("//")[1].startswith(f"{HERE}:{bench.port}/") for one in tab.asked
               if not one.startswith("data:")), tab.asked
    # A name with markup in it was the one thing that the policy had to stop, beside the icon that
    # browsers ask for by themselves.
    assert [said for said in tab.said if "inline event handler" not in said
            and "404" not in said] == []


def test_each_tab_and_each_load_is_a_page_of_its_own(bench, context):
    one, other = Tab(context, bench.url), Tab(context, bench.url)
    for tab in (one, other):
        tab.press()
        tab.wait_for("asked 1")
    one.page.reload()
    one.wait_for("nothing yet")
    one.press()
    one.wait_for("asked 1")
    other.press()
    other.wait_for("asked 2")


def test_a_page_that_lost_its_socket_comes_back(bench, context):
    tab = Tab(context, bench.url)
    tab.press()
    tab.wait_for("asked 1")
    bench.add_callback(lambda: [page.close(1001) for page in list(bench._gate.pages)])
    tab.wait_for("nothing yet")  # loaded anew
    tab.press()
    tab.wait_for("asked 1")


def test_a_page_says_that_the_bench_is_gone(site_folder, two_things, serving, context):
    bench = Bench(two_things, pictures=picture, folder=site_folder)
    with serving(bench):
        tab = Tab(context, bench.url)
        tab.wait_for("nothing yet")
    tab.page.locator("html[data-bench=gone]").wait_for(state="attached")


def test_a_ticket_opens_the_page(bench, context):
    tab = Tab(context, bench.ticket())
    tab.wait_for("nothing yet")
    assert tab.page.url == bench.url


FOREIGN = """<!doctype html><title>foreign</title><script>
const tried = {};
const bench = BENCH;
const socket = bench.replace('http:', 'ws:') + 'ws';
const settled = (name, promise) => promise.then(v => tried[name] = v, e => tried[name] = 'failed');
const loaded = (tag, attribute, address) => new Promise((done, fail) => {
    const one = document.createElement(tag);
    one.onload = () => done('loaded'); one.onerror = fail; one[attribute] = address;
    document.head.append(one);
});
const all = Promise.all([
    settled('read', fetch(bench).then(r => r.text())),
    settled('blind', fetch(bench, {mode: 'no-cors'}).then(r => r.type)),
    settled('post', fetch(bench, {method: 'POST', mode: 'no-cors', body: 'x'}).then(r => r.type)),
    settled('json', fetch(bench, {method: 'PUT', headers: {'X-Y': 'z'}}).then(r => r.text())),
    settled('script', loaded('script', 'src', bench + 'static/js/bokeh.min.js')),
    settled('picture', loaded('img', 'src', bench + 'picture/hillshade')),
    settled('socket', new Promise((done, fail) => {
        const one = new WebSocket(socket, ['bokeh', WORD]);
        one.onmessage = () => done('spoke'); one.onerror = fail; one.onclose = fail;
    })),
]);
</script>"""


@pytest.fixture
def elsewhere(tmp_path):
    """Another server on this machine, as a page from anywhere would be served by."""
    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *given: object) -> None:
            """Say nothing."""

    made = http.server.ThreadingHTTPServer((HERE, 0), functools.partial(
        Quiet, directory=str(tmp_path)))
    threading.Thread(target=made.serve_forever, daemon=True).start()
    yield tmp_path, f"http://{HERE}:{made.server_address[1]}/"
    made.shutdown()
    made.server_close()


def test_a_foreign_page_cannot_do_anything_even_if_it_knew_the_address(bench, context, elsewhere):
    folder, address = elsewhere
    (folder / "foreign.html").write_text(
        FOREIGN.replace("BENCH", json.dumps(bench.url)).replace("WORD", json.dumps(
            page_token(bench))))
    pages = len(bench._gate.pages)
    tab = Tab(context, address + "foreign.html")
    tab.page.evaluate("all.then(() => 0)")
    tried = tab.page.evaluate("tried")
    assert tried == dict.fromkeys(
        ("read", "blind", "post", "json", "script", "picture", "socket"), "failed")
    assert len(bench._gate.pages) == pages


def test_a_foreign_page_cannot_frame_it_or_hold_on_to_its_window(bench, context, elsewhere):
    folder, address = elsewhere
    (folder / "frame.html").write_text(
        f"<!doctype html><iframe src='{bench.url}'></iframe><button onclick=\""
        f"window.held = window.open('{bench.url}')\">open</button>")
    tab = Tab(context, address + "frame.html")
    tab.page.wait_for_timeout(500)
    frame = tab.page.frames[1]
    assert "Ask" not in frame.locator("body").inner_text()
    assert any("frame-ancestors" in said for said in tab.said)
    with context.expect_page() as opened:
        tab.page.get_by_text("open").click()
    opened.value.get_by_text("nothing yet").wait_for()
    # HTML standard, 7.1.3, cross-origin opener policies: to its opener such a window is closed.
    assert tab.page.evaluate("window.held.closed")
    assert opened.value.evaluate("window.opener") is None


def test_a_made_page_runs_but_is_a_stranger_to_the_bench(bench, context):
    tab = Tab(context, f"{bench.url}made/{quote(MADE)}/report.html")
    assert tab.page.locator("#p").inner_text() == "runs"
    assert tab.page.evaluate("self.origin") == "null"
    word = page_token(bench)
    for attempt in (f"fetch({bench.url!r}).then(r => r.text())",
                    f"fetch({bench.url!r}, {{mode: 'no-cors'}}).then(r => r.type)",
                    "new Promise((done, fail) => { const one = new WebSocket("
                    f"{bench.url.replace('http:', 'ws:') + 'ws'!r}, ['bokeh', {word!r}]);"
                    " one.onmessage = () => done('spoke'); one.onerror = fail; })"):
        assert tab.page.evaluate(f"{attempt}.then(v => 'done', e => 'failed')") == "failed"


def test_the_report_works_in_its_sandbox(bench, context, site_folder, small_plan):
    from terrain.outputs.page.report import report_page

    path = site_folder / MADE / "small.html"
    path.write_text(report_page(small_plan, PNG, {}), encoding="utf-8")
    tab = Tab(context, f"http://{HERE}:{bench.port}{bench.made_address(path)}")
    rows = "[...document.querySelectorAll('#live-table tbody tr')].map(r => r.textContent).join()"
    dry = tab.page.evaluate(rows)
    tab.page.locator("#depth").fill(tab.page.locator("#depth").get_attribute("max"))
    assert tab.page.evaluate(rows) != dry
    assert tab.page.locator("svg").count() > 0
    assert [said for said in tab.said if "404" not in said] == []
