"""Who gets in at the bench's door, seen from bare sockets.

How HTTP and websockets are to be spoken: RFC 9110, RFC 9112, RFC 6455.
"""

from __future__ import annotations

import asyncio
import base64
import re
import socket
import threading
import time
from contextlib import suppress
from urllib.parse import quote

import pytest
from wire import MADE, Answer, ask, first_word, own, page_token, picture, run, spoken

from terrain.bench import gate
from terrain.bench.gate import HERE
from terrain.bench.server import Bench

pytestmark = pytest.mark.long


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
