"""Where the bench's server listens, how it ends, and what a browser makes of it."""

from __future__ import annotations

import functools
import http.server
import json
import socket
import sys
import threading
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote

import pytest
from wire import MADE, PNG, ask, page_token, picture, spoken

from terrain.bench import server
from terrain.bench.gate import HERE
from terrain.bench.server import Bench
from terrain.errors import InputError

pytestmark = pytest.mark.long


def test_long_headers_are_not_read(bench):
    answer = spoken(bench, f"GET /{bench.token}/ HTTP/1.1\r\nHost: {HERE}:{bench.port}\r\n"
                           f"Connection: close\r\nX: {'x' * 100_000}\r\n\r\n".encode())
    assert b" 200 " not in answer[:20]
    assert ask(bench, f"/{bench.token}/").code == 200


def test_whoever_says_nothing_is_cut_off(site_folder, two_things, serving, monkeypatch):
    monkeypatch.setattr(server, "PATIENCE", 0.5)
    bench = Bench(two_things, pictures=picture, folder=site_folder)
    with serving(bench):
        assert spoken(bench, b"GET / HT", 5) == b""
        assert spoken(bench, b"", 5) == b""


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
