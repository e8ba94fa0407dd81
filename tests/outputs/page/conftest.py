from __future__ import annotations

import io
from pathlib import Path

import pytest

#: Names that would do harm in a tag, in an attribute, in a script.
BAD_TAG = "<script>window.harmed = 1</script>"
BAD_END = "</script><img src=x onerror='window.harmed = 2'>"
BAD_QUOTE = "\"'> onfocus=\"window.harmed = 3\" & {{ 7 * 7 }}"
#: A sign that turns round all that stands after it (UAX 9: right-to-left override), and a name
#: without a place where a line may end.
TURNING, LONG = "\u202e", "W" * 90


@pytest.fixture(scope="session")
def harmful_plan(tmp_path_factory, small_site_folder):
    """The small site with harmful names of everything that can be named."""
    from terrain.plan.plan import make_plan

    path = small_site_folder(tmp_path_factory.mktemp("page"))
    said = path.read_text()
    for old, new in (("name: Small valley", f"name: {quoted(BAD_TAG)}"),
                     ("name: east swale", f"name: {quoted(BAD_END)}"),
                     ("name: pond", f"name: {quoted(BAD_QUOTE)}"),
                     ("name: shower", f"name: {quoted(BAD_END + TURNING + LONG)}")):
        assert said.count(old) == 1
        said = said.replace(old, new)
    path.write_text(said)
    return make_plan(path)


def quoted(words: str) -> str:
    return "'" + words.replace("'", "''") + "'"


@pytest.fixture(scope="session")
def harmful_page(harmful_plan, tmp_path_factory) -> Path:
    """Its whole report."""
    from PIL import Image

    from terrain.outputs.page.report import report_page

    blank = io.BytesIO()
    Image.new("RGB", (840, 594), "white").save(blank, "PNG")
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(report_page(harmful_plan, blank.getvalue(), {}), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def demo_page(demo_plan, tmp_path_factory) -> Path:
    """The demo's live map alone, in the report's styles and under its policy."""
    from terrain.outputs.page.live_map import live_script, live_section, live_style
    from terrain.outputs.page.policy import page_policy
    from terrain.outputs.page.shed_tables import point_facts
    from terrain.outputs.page.store_tables import store_facts

    style, program = live_style(), live_script()
    path = tmp_path_factory.mktemp("demo") / "live.html"
    path.write_text(
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><title>Live</title>'
        f'<meta http-equiv="Content-Security-Policy" content="{page_policy(style, program)}">'
        f"<style>{style}</style></head><body>"
        f"{live_section(demo_plan, store_facts(demo_plan), point_facts(demo_plan))}"
        f"<script>{program}</script></body></html>", encoding="utf-8")
    return path
