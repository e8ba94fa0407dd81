"""The report in a real browser: headless Chromium driven by playwright."""

from __future__ import annotations

import io
import re
from itertools import combinations

import pytest
from PIL import Image

from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.page.report import report_page

pytestmark = pytest.mark.long

WIDE, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}


class Opened:
    """A page with what it said and asked for while it loaded and after."""

    def __init__(self, browser, path, size=WIDE, **more):
        self.context = browser.new_context(viewport=size, **more)
        self.page = self.context.new_page()
        self.said, self.asked = [], []
        self.page.on("console", lambda m: self.said.append(m.text))
        self.page.on("pageerror", lambda e: self.said.append(str(e)))
        self.page.on("request", lambda r: self.asked.append(r.url))
        self.page.goto(path.as_uri())

    def ask(self, script, *given):
        return self.page.evaluate(script, *given)

    def slide_to(self, place):
        self.page.locator("#depth").fill(str(place))

    def table(self):
        return self.ask("""() => [...document.querySelectorAll('#live-table tbody tr')].map(
            row => [...row.children].map(cell => cell.textContent.trim()))""")


@pytest.fixture(scope="module")
def opened(browser):
    """Open a page; all are closed at the end."""
    every = []

    def new(*given, **more):
        every.append(Opened(browser, *given, **more))
        return every[-1]

    yield new
    for one in every:
        one.context.close()


@pytest.fixture(scope="module")
def demo(opened, demo_page):
    return opened(demo_page)


@pytest.fixture(scope="module")
def demo_phone(opened, demo_page):
    return opened(demo_page, PHONE, has_touch=True)


@pytest.fixture(scope="module")
def small(opened, harmful_page):
    return opened(harmful_page)


@pytest.fixture(scope="module")
def harmful_phone(opened, harmful_page):
    return opened(harmful_page, PHONE, has_touch=True)


def shown(volume: float) -> str:
    """As the tables print m3: a decimal below 1,000."""
    said = f"{volume:,.{0 if abs(volume) >= 1000 else 1}f}"
    return "0.0" if said == "-0.0" else said


#: UAX 9, the right-to-left override.
TURNING = "\u202e"


def named(storms: dict, name: str):
    """A storm as the page names it: without the sign that turns round what stands after it."""
    return {said.replace(TURNING, ""): storm for said, storm in storms.items()}[name]


def number(said: str) -> float:
    return float(said.replace(",", ""))


@pytest.mark.parametrize("which", ["small", "harmful_phone", "demo", "demo_phone"])
def test_page_loads_without_a_word_and_asks_for_nothing(which, request):
    one = request.getfixturevalue(which)
    assert one.ask("document.getElementById('live').hidden") is False
    assert one.said == []
    assert len(one.asked) >= 1
    assert [url for url in one.asked if not url.startswith(("file:", "data:"))] == []
    assert len([url for url in one.asked if url.startswith("file:")]) == 1


def test_policy_forbids_the_network(small):
    met = small.ask("""() => new Promise(done => {
        document.addEventListener('securitypolicyviolation', e => done(e.effectiveDirective));
        fetch('http://127.0.0.1:9/').catch(() => 0);
        setTimeout(() => done('nothing'), 2000);
    })""")
    assert met == "connect-src"
    small.said.clear()  # the browser tells of the refusal


def test_harmful_names_do_no_harm(small, harmful_plan):
    assert small.ask("window.harmed === undefined")
    assert small.page.title() == f"{harmful_plan.site.name}: water plan"
    assert [row[0] for row in small.table()] == [p.store.name for p in harmful_plan.stores]
    names = small.ask("JSON.parse(document.getElementById('live-data').textContent)"
                      ".stores.map(s => s.name)")
    assert names == [p.store.name for p in harmful_plan.stores]
    for mark in small.page.locator(".mark.store").all():
        mark.focus()
    assert small.ask("window.harmed === undefined")
    assert small.ask("document.querySelectorAll('[onfocus], [onerror], img[src=x]').length") == 0


@pytest.mark.parametrize("which", ["demo", "small"])
def test_the_plan_s_storms_show_the_figures_of_plan_json(which, request, demo_plan, harmful_plan):
    one = request.getfixturevalue(which)
    said = plan_object(demo_plan if which == "demo" else harmful_plan)
    stops = one.ask("JSON.parse(document.getElementById('live-data').textContent).stops")
    seen = 0
    for stop in stops:
        if stop["storm"] is None:
            continue
        one.slide_to(stop["place"])
        rows = one.table()
        assert len(rows) == len(said["stores"])
        for row, store in zip(rows, said["stores"], strict=True):
            storm = named(store["storms"], stop["storm"])
            assert row[:4] == [store["name"], shown(storm["inflow_m3"]),
                               shown(storm["caught_m3"]), shown(storm["spilled_m3"])]
        totals = named(said["totals"]["storms"], stop["storm"])
        site = one.ask("""Object.fromEntries([...document.querySelectorAll('[data-site]')].map(
            cell => [cell.dataset.site, cell.textContent]))""")
        assert site["passive"] == shown(totals["passive_m3"]) + " m³"
        assert site["roof"] == shown(totals["roof_m3"]) + " m³"
        assert site["left"] == shown(totals["left_site_m3"]) + " m³"
        assert stop["storm"] in one.ask("document.getElementById('depth').ariaValueText")
        seen += 1
    assert seen == len(said["totals"]["storms"])


def test_between_two_depths_of_the_sweep_figures_lie_between_theirs(demo, demo_plan):
    said = plan_object(demo_plan)
    stops = demo.ask("JSON.parse(document.getElementById('live-data').textContent).stops")
    known = [point["rain_mm"] for point in said["site_capture"]["curve"]]
    tried = 0
    for stop in stops[2::17]:
        if stop["storm"] is not None:
            continue
        depth = float(stop["depth"].split()[0])
        above = next(i for i, rain in enumerate(known) if rain >= depth - 1e-9)
        demo.slide_to(stop["place"])
        for row, store in zip(demo.table(), said["stores"], strict=True):
            for cell, key in zip(row[1:4], ("came_m3", "caught_m3", "spilled_m3"), strict=True):
                ends = [store["capture_curve"][i][key] for i in (above - 1, above)]
                half = 0.5 if "." not in cell else 0.05  # what printing may round away
                assert min(ends) - half <= number(cell) <= max(ends) + half
        tried += 1
    assert tried >= 4


def test_arrow_keys_move_the_slider_and_it_tells_so(demo):
    demo.page.locator("#depth").focus()
    before = demo.ask("document.getElementById('depth').ariaValueText")
    demo.page.keyboard.press("ArrowRight")
    after = demo.ask("document.getElementById('depth').ariaValueText")
    assert before != after
    assert re.match(r"[\d.]+ mm over \d+ h", after)
    told = demo.page.locator("#told")
    assert told.get_attribute("aria-live") == "polite"
    demo.page.wait_for_function("""() => document.getElementById('told').textContent.startsWith(
        document.getElementById('storm-said').textContent)""", timeout=5000)
    passive = demo.page.locator("[data-site=passive]").text_content()
    assert f"Kept by the ground works {passive}," in told.text_content()


def test_every_place_answers_to_focus(demo):
    places = demo.page.locator(".place").all()
    kinds = {place.get_attribute("data-kind") for place in places}
    assert kinds == {"store", "catchment", "shed", "point"}
    answers = demo.ask("""() => [...document.querySelectorAll('.place')].map(place => {
        place.focus();
        return [place.getAttribute('aria-label'), document.getElementById('answer-name')
            .textContent, document.getElementById('answer-figures').textContent];
    })""")
    for label, name, figures in answers:
        assert label.startswith(name + ",")
        assert re.search(r"[\d.]+ m³", figures)
        assert re.search(r"[\d.]+ m³", label)
    assert len({name for _, name, _ in answers}) > 0.8 * len(answers)


def test_a_store_answers_to_the_mouse_and_to_a_tap(demo, demo_phone, demo_plan):
    row = [p.store.name for p in demo_plan.stores].index("east pan")
    for one, touch in ((demo, False), (demo_phone, True)):
        one.ask("document.getElementById('live').scrollIntoView()")
        one.slide_to(62)
        mark = one.page.locator(f".mark.store[data-i='{row}'] .rim")
        box = mark.bounding_box()
        at = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        if touch:
            one.page.touchscreen.tap(*at)
        else:
            one.page.mouse.move(*at)
        assert one.page.locator("#answer-name").text_content() == "east pan"
        cells = one.table()[row]
        answer = one.page.locator("#answer-figures").text_content()
        assert f"came{cells[1]} m³caught{cells[2]} m³spilled{cells[3]} m³" in answer


def view(one):
    said = one.ask("document.getElementById('world').getAttribute('transform')")
    return [float(part) for part in re.findall(r"-?[\d.]+(?:e-?\d+)?", said)]


def test_keys_zoom_and_move_the_map(demo):
    demo.page.locator("#viewport").focus()
    demo.page.keyboard.press("0")
    whole = view(demo)
    demo.page.keyboard.press("+")
    demo.page.keyboard.press("+")
    near = view(demo)
    assert near[2] > 2 * whole[2]
    demo.page.keyboard.press("ArrowRight")
    demo.page.keyboard.press("ArrowDown")
    moved = view(demo)
    assert moved[0] < near[0]
    assert moved[1] < near[1]
    assert moved[2] == near[2]
    demo.page.keyboard.press("-")
    assert view(demo)[2] < near[2]
    demo.page.keyboard.press("0")
    assert view(demo) == whole


def test_wheel_drag_and_buttons_zoom_and_move_the_map(demo):
    demo.page.locator("#viewport").scroll_into_view_if_needed()
    demo.page.locator("#whole").click()
    whole = view(demo)
    box = demo.page.locator("#viewport").bounding_box()
    x, y = box["x"] + 0.6 * box["width"], box["y"] + 0.3 * box["height"]
    demo.page.mouse.move(x, y)
    demo.page.wait_for_timeout(400)  # after that a wheel is no longer the page's own scroll
    demo.page.mouse.wheel(0, -300)
    for _ in range(30):  # the browser hands it on in its own time
        if view(demo) != whole:
            break
        demo.page.wait_for_timeout(50)
    near = view(demo)
    assert near[2] > whole[2]
    # What lay under the pointer still does.
    for axis, at in ((0, x - box["x"]), (1, y - box["y"])):
        assert (at - near[axis]) / near[2] == pytest.approx((at - whole[axis]) / whole[2], abs=3)
    demo.page.mouse.down()
    demo.page.mouse.move(x - 40, y - 25, steps=4)
    demo.page.mouse.up()
    moved = view(demo)
    assert [moved[0] - near[0], moved[1] - near[1]] == pytest.approx([-40, -25], abs=1)
    demo.page.locator("#nearer").click()
    assert view(demo)[2] > moved[2]
    demo.page.locator("#whole").click()
    assert view(demo) == whole


def test_two_fingers_zoom_the_map(demo_phone):
    demo_phone.page.locator("#viewport").scroll_into_view_if_needed()
    box = demo_phone.page.locator("#viewport").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    whole = view(demo_phone)
    touch = demo_phone.context.new_cdp_session(demo_phone.page)

    def fingers(kind, apart):
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [] if kind ==
                   "touchEnd" else [{"x": x - apart, "y": y, "id": 0},
                                    {"x": x + apart, "y": y, "id": 1}]})

    fingers("touchStart", 20)
    for apart in (30, 40, 60):
        fingers("touchMove", apart)
    fingers("touchEnd", 0)
    assert view(demo_phone)[2] > 1.5 * whole[2]
    demo_phone.page.locator("#whole").click()


@pytest.mark.parametrize("which", ["harmful_phone", "demo_phone"])
def test_nothing_reaches_beyond_a_phone_s_screen(which, request):
    one = request.getfixturevalue(which)
    assert one.ask("document.documentElement.scrollWidth") <= PHONE["width"]
    beyond = one.ask("""() => [...document.body.querySelectorAll('*')].filter(node => {
        if (node.closest('svg, .unseen, .skip, .skip-page')) return false;
        const inner = node.closest('.scroll, .charts, details');
        if (inner && inner !== node) return false;
        const box = node.getBoundingClientRect();
        return box.width && (box.right > innerWidth + 0.5 || box.left < -0.5);
    }).map(node => node.outerHTML.slice(0, 80))""")
    assert beyond == []


LETTERS = """() => {
    const frame = document.getElementById('viewport').getBoundingClientRect();
    return [...document.querySelectorAll('#letters text, .mark text, .scale, .north, .tools')]
        .filter(node => getComputedStyle(node).display !== 'none' && node.textContent)
        .map(node => {
            const box = node.getBoundingClientRect();
            return [node.textContent, box.left, box.top, box.right, box.bottom];
        }).filter(([, l, t, r, b]) => r > frame.left && l < frame.right && b > frame.top &&
            t < frame.bottom).map(found => [...found, frame.left, frame.top, frame.right,
            frame.bottom]);
}"""


@pytest.mark.parametrize("which", ["demo", "demo_phone", "small"])
def test_no_lettering_of_the_map_overlaps_or_is_clipped(which, request):
    one = request.getfixturevalue(which)
    for zoomed in (0, 1, 3):
        one.page.locator("#whole").click()
        for _ in range(zoomed):
            one.page.locator("#nearer").click()
        letters = one.ask(LETTERS)
        assert len(letters) > 3
        for a, b in combinations(letters, 2):
            across = min(a[3], b[3]) - max(a[1], b[1])
            down = min(a[4], b[4]) - max(a[2], b[2])
            assert across <= 1 or down <= 1, (a[0], b[0], zoomed)
        for words, left, top, right, bottom, *frame in letters:
            if words.isdigit() and len(words) < 3:
                continue  # a number moves with its disc
            assert frame[0] - 1 <= left < right <= frame[2] + 1, words
            assert frame[1] - 1 <= top < bottom <= frame[3] + 1, words
    one.page.locator("#whole").click()


ACROSS = """() => {
    const path = document.querySelector('#world path.boundary');
    const matrix = path.getScreenCTM(), length = path.getTotalLength(), spots = [];
    for (let at = 0; at < length; at += 1) {
        const spot = path.getPointAtLength(at).matrixTransform(matrix);
        spots.push([spot.x, spot.y]);
    }
    const seen = [...document.querySelectorAll('#letters text')].filter(node =>
        getComputedStyle(node).display !== 'none' && node.textContent);
    return [seen.length, spots.length, seen.filter(node => {
        const box = node.getBoundingClientRect();
        return spots.some(([x, y]) => x > box.left && x < box.right && y > box.top &&
            y < box.bottom);
    }).map(node => node.textContent)];
}"""


def test_no_name_of_the_map_lies_across_the_boundary(demo):
    demo.page.locator("#whole").click()
    letters, spots, across = demo.ask(ACROSS)
    assert letters > 8
    assert spots > 1000
    assert across == []


CONTRAST = """() => {
    const read = said => {
        const parts = said.match(/[\\d.]+/g).map(Number);
        return parts.length > 3 ? parts : [...parts, 1];
    };
    // Relative luminance and contrast ratio: W3C, WCAG 2.1, definitions.
    const light = rgb => {
        const [r, g, b] = rgb.slice(0, 3).map(v => {
            v /= 255;
            return v <= 0.03928 ? v / 12.92 : Math.pow((v + 0.055) / 1.055, 2.4);
        });
        return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const under = node => {
        let seen = [0, 0, 0, 0];
        for (; node && seen[3] < 1; node = node.parentElement) {
            const back = read(getComputedStyle(node).backgroundColor);
            const share = (1 - seen[3]) * back[3];
            seen = [0, 1, 2].map(i => seen[i] + share * back[i]).concat(seen[3] + share);
        }
        return [0, 1, 2].map(i => seen[i] + (1 - seen[3]) * 255);
    };
    const found = new Map();
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
        const node = walk.currentNode.parentElement;
        if (!walk.currentNode.textContent.trim() || !node.getClientRects().length ||
            node.closest('script, style, noscript, svg, .unseen')) continue;
        const style = getComputedStyle(node), size = parseFloat(style.fontSize);
        const a = light(read(style.color)), b = light(under(node));
        const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
        const key = style.color + node.tagName + node.className + large;
        if (!found.has(key) || found.get(key)[0] > ratio)
            found.set(key, [ratio, large ? 3 : 4.5, node.textContent.slice(0, 40)]);
    }
    return [...found.values()];
}"""


def test_text_stands_out_as_wcag_asks(small):
    """Success criterion 1.4.3: 4.5 to 1, large text 3 to 1 (W3C, WCAG 2.1)."""
    found = small.ask(CONTRAST)
    assert len(found) > 15
    assert [one for one in found if one[0] < one[1]] == []


def test_everything_that_can_be_reached_has_a_name(demo, small):
    for one in (demo, small):
        session = one.context.new_cdp_session(one.page)
        nodes = session.send("Accessibility.getFullAXTree")["nodes"]
        controls = [node for node in nodes if not node["ignored"] and any(
            p["name"] == "focusable" and p["value"].get("value") for p in
            node.get("properties", [])) and node["role"]["value"] not in (
                "RootWebArea", "main", "region", "generic")]
        roles = {node["role"]["value"] for node in controls}
        assert {"slider", "button", "link"} <= roles
        assert [node["role"]["value"] for node in controls
                if not node.get("name", {}).get("value", "").strip()] == []
        slider = next(node for node in controls if node["role"]["value"] == "slider")
        assert slider["name"]["value"] == "How deep does it rain?"
        images = [node for node in nodes if not node["ignored"]
                  and node["role"]["value"] in ("image", "img")]
        assert all(node["name"]["value"].strip() for node in images)


def test_tab_goes_from_the_skip_link_through_slider_storms_and_map(small):
    small.ask("() => { document.activeElement.blur(); window.scrollTo(0, 0); }")
    small.page.reload()
    met = []
    for _ in range(70):
        small.page.keyboard.press("Tab")
        found = small.ask("""() => {
            const node = document.activeElement, style = getComputedStyle(node);
            const ring = node.querySelector && node.querySelector('.ring');
            return [node.id || node.dataset.kind || node.className || node.tagName,
                style.outlineStyle !== 'none' || parseFloat(style.strokeWidth) >= 3 ||
                (ring !== null && getComputedStyle(ring).stroke !== 'none')];
        }""")
        met.append(found)
    names = [name for name, _ in met]
    assert names[0] == "skip-page"
    order = [names.index(name) for name in ("depth", "nearer", "skip", "viewport", "catchment",
                                            "store")]
    assert order == sorted(order)
    assert [name for name, seen in met if not seen and name != "BODY"] == []


def test_without_a_program_the_accounts_and_the_sheet_still_stand(opened, harmful_page):
    one = opened(harmful_page, java_script_enabled=False)
    assert not one.page.locator("#live").is_visible()
    assert one.page.locator("noscript p").is_visible()
    assert one.page.locator("img.map").is_visible()
    assert one.page.locator("#accounts").is_visible()
    assert one.page.locator("table:visible").count() > 5


def test_paper_shows_the_sheet_and_no_live_map(small):
    small.page.emulate_media(media="print")
    assert not small.page.locator("#live").is_visible()
    assert small.page.locator("img.map").is_visible()
    small.page.emulate_media(media="screen")


def test_who_wants_no_motion_sees_none(demo):
    def lasts():
        return demo.ask("getComputedStyle(document.querySelector('#bar i')).transitionDuration")

    demo.page.emulate_media(reduced_motion="no-preference")
    assert lasts() == "0.15s"
    demo.page.emulate_media(reduced_motion="reduce")
    assert lasts() == "0s"
    demo.page.emulate_media(reduced_motion="no-preference")


@pytest.fixture(scope="module")
def demo_report(opened, demo_plan, tmp_path_factory):
    """The whole report of the demo, without its pictures."""
    blank = io.BytesIO()
    Image.new("RGB", (8, 8)).save(blank, "png")
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(report_page(demo_plan, blank.getvalue(), {}), encoding="utf-8")
    return opened(path, {"width": 1200, "height": 900})


@pytest.mark.parametrize("table", ["furrows", "trees"])
def test_words_of_wide_tables_stay_whole(demo_report, table):
    """No word of a cell or head is broken over two lines, and heads take a few lines, not one a
    word."""
    broken = demo_report.ask("""id => {
        const found = [];
        for (const cell of document.querySelectorAll(`#${id} + .scroll :is(th, td)`)) {
            const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
            for (let node = walk.nextNode(); node; node = walk.nextNode())
                for (const word of node.data.matchAll(/[^\\s-]+/g)) {
                    const range = document.createRange();
                    range.setStart(node, word.index);
                    range.setEnd(node, word.index + word[0].length);
                    if (range.getClientRects().length > 1) found.push(word[0]);
                }
        }
        return found;
    }""", table)
    assert broken == []
    lines = demo_report.ask("""id => Math.max(...[...document.querySelectorAll(
        `#${id} + .scroll thead th`)].map(head => {
            const range = document.createRange();
            range.selectNodeContents(head);
            return range.getClientRects().length;
        }))""", table)
    assert 1 <= lines <= 5
