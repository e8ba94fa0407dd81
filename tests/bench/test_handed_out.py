"""What the bench's server hands out, and what it keeps: seen from bare sockets.

How HTTP is to be spoken: RFC 9110, RFC 9112.
"""

from __future__ import annotations

import threading
from pathlib import Path
from urllib.parse import quote

import pytest
from wire import MADE, PNG, ask, picture

from terrain.bench.server import Bench


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
