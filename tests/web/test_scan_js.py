"""The page hears a scan as the server would read it, wherever the focus is, and a scan presses nothing."""

from __future__ import annotations

import json
import random
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.scans import BASE, CODE, NINE, START, TABLE, TOKEN, arriving, codes
from tracker.domain.keyboard_layouts import KEYS, LAYOUTS, tables
from tracker.domain.scan_text import resolve
from tracker.errors import Refused

SCRIPT = Path(__file__).parents[2] / "tracker" / "web" / "static" / "scan.js"
OTHER = "E0F14CSE"

PAGE = f"""<!doctype html><meta charset="utf-8"><title>bench</title><link rel="icon" href="data:,">
<script type="application/json" id="layouts" data-prefix="{START}">{json.dumps(tables())}</script>
<form id="form"><input id="weight" data-weight inputmode="decimal"><input id="scan" data-scan>
<textarea id="note"></textarea><select id="choice"><option>none</option><option>high</option></select>
<button id="button">Discard</button></form>
<script type="module">
import * as scan from "/scan.js";
window.scan = scan;
window.heard = [];
const note = (what) => (said) => window.heard.push({{what, ...said}});
document.getElementById("form").addEventListener("submit", (event) => {{
  event.preventDefault(); window.heard.push({{what: "submitted"}});
}});
document.getElementById("button").addEventListener("click", note("pressed"));
window.afresh = (others) => {{
  window.catcher?.stop();
  document.getElementById("form").reset();
  document.activeElement.blur();
  window.heard = [];
  window.catcher = scan.ScanCatcher.onPage({{
    onScan: note("scan"), onHeard: note("heard"), onRefused: note("refused"), onListening: note("listening"),
    ...others
  }});
}};
</script>"""


class Bench(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        script = self.path == "/scan.js"
        body = SCRIPT.read_bytes() if script else PAGE.encode()
        self.send_response(200)
        self.send_header("Content-Type", "text/javascript" if script else "text/html")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), Bench)
    thread = threading.Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture(scope="module")
def opened(browser: Browser, address: str) -> Iterator[Page]:
    page = browser.new_page()
    page.goto(address)
    page.wait_for_function("window.afresh !== undefined")
    yield page
    page.close()


@pytest.fixture
def page(opened: Page) -> Page:
    # A shorter wait for a second tag than the page's 300 ms; the tests of two tags take the page's own.
    opened.evaluate("afresh({together: 40})")
    return opened


def said(page: Page, *kinds: str) -> list[dict[str, Any]]:
    """What the page was told, after the wait in which a second tag could have spoiled it."""
    page.wait_for_timeout(page.evaluate("catcher.together") + 50)
    everything: list[dict[str, Any]] = page.evaluate("window.heard")
    return [
        one for one in everything if one["what"] in (kinds or ("scan", "refused", "submitted", "pressed"))
    ]


def scan(page: Page, text: str = START + CODE, *, gap: int = 5, end: str = "Enter") -> None:
    """Keys at an even gap, timed in the page so that a slow computer does not stretch them."""
    page.evaluate(
        """async ([text, gap, end]) => {
          for (const key of [...Array.from(text), end]) {
            const at = document.activeElement;
            const down = new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true});
            const typed = at.dispatchEvent(down) && key.length === 1 && "selectionStart" in at;
            if (typed) document.execCommand("insertText", false, key);
            await new Promise((done) => setTimeout(done, gap));
          }
        }""",
        [text, gap, end],
    )


def in_page(page: Page, texts: list[str]) -> list[str]:
    answers: list[str] = page.evaluate(
        """(texts) => {
          const embedded = document.getElementById("layouts");
          const table = JSON.parse(embedded.textContent);
          return texts.map((text) => {
            const found = scan.resolve(text, embedded.dataset.prefix, table);
            return found.refused ?? [found.kind, found.value, found.how, found.layout].join("|");
          });
        }""",
        texts,
    )
    return answers


def on_server(text: str) -> str:
    try:
        found = resolve(text, BASE)
    except Refused as refused:
        return refused.code
    return "|".join((found.kind, found.value, found.how, found.layout or ""))


def test_the_page_reads_every_code_on_every_layout(page: Page) -> None:
    # 9 layouts x Caps Lock on and off x 3,000 codes, as for the server: 54,000 right.
    drawn = codes(3000)
    for layout in NINE:
        for caps in (False, True):
            answers = in_page(page, [arriving(START + code, layout, caps=caps) for code in drawn])
            assert [answer.split("|")[1:2] for answer in answers] == [[code] for code in drawn]


def test_page_and_server_give_the_same_answer(page: Page) -> None:
    rng = random.Random(5)
    texts = [text for text, _ in TABLE] + [
        START + TOKEN,
        "",
        "😀" * 8,
        "ß" * 8,
        "İ",
        "\u2028",
        "７Ｋ２Ｍ９ＱＸＱ",
    ]
    for code in codes(3000):
        layout, caps = rng.choice(list(LAYOUTS)), rng.random() < 0.5
        texts += [arriving(start + code, layout, caps=caps) for start in (START, "")]
    marks = KEYS + "".join(LAYOUTS.values()) + " \t\r\n\"'“”\u00ad\u200bſK"
    for text in rng.sample(texts, 3000):
        place = rng.randrange(len(text) + 1)
        texts.append(text[:place] + rng.choice(marks) + text[place + rng.randrange(2) :])
    different = [
        (text, here, there)
        for text, here in zip(texts, in_page(page, texts), strict=True)
        if here != (there := on_server(text))
    ]
    assert different == []


@pytest.mark.parametrize(("gap", "end"), [(5, "Enter"), (40, "Tab")])
@pytest.mark.parametrize("where", ["body", "#button", "#weight", "#note", "#choice", "#scan"])
def test_a_scan_is_caught_wherever_the_focus_is_and_presses_nothing(
    page: Page, where: str, gap: int, end: str
) -> None:
    if where != "body":
        page.focus(where)
    scan(page, START + CODE if gap == 5 else CODE, gap=gap, end=end)
    (only,) = said(page)
    assert (only["what"], only["value"], only["source"]) == ("scan", CODE, "scan")
    assert gap * 0.8 < only["gap"] < 80
    assert page.evaluate("document.activeElement.id") == where.removeprefix("body").removeprefix("#")
    assert page.input_value("#weight") == page.input_value("#note") == page.input_value("#scan") == ""


@pytest.mark.parametrize("end", ["Enter", "Tab"])
@pytest.mark.parametrize("where", ["#button", "#weight"])
def test_real_keys_of_a_scan_press_nothing_and_move_nothing(page: Page, where: str, end: str) -> None:
    page.focus(where)
    page.keyboard.type(START + CODE, delay=5)
    page.keyboard.press(end)
    (only,) = said(page)
    assert (only["what"], only["value"]) == ("scan", CODE)
    assert page.evaluate("document.activeElement.id") == where.removeprefix("#")


def test_a_person_s_enter_still_presses_and_tab_still_moves(page: Page) -> None:
    page.focus("#weight")
    page.keyboard.type("12.5")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "scan"
    page.focus("#button")
    page.keyboard.press("Enter")
    assert [one["what"] for one in said(page)] == ["pressed", "submitted"]
    assert page.input_value("#weight") == "12.5"


@pytest.mark.parametrize(("where", "held"), [("#weight", "412.6"), ("#note", "wet, ")])
def test_a_tag_is_lifted_out_of_a_box_and_the_box_is_as_before(page: Page, where: str, held: str) -> None:
    page.focus(where)
    page.keyboard.type(held, delay=30)
    page.wait_for_timeout(250)
    scan(page, arriving(START + CODE, "German", caps=True))
    (only,) = said(page)
    assert (only["value"], only["layout"]) == (CODE, "German")
    assert page.input_value(where) == held


def test_a_note_keeps_the_number_of_a_seal_and_an_ordinary_word(page: Page) -> None:
    page.focus("#note")
    scan(page, "SEAL-0048213")
    assert said(page) == []
    assert page.input_value("#note") == "SEAL-0048213"


def test_a_balance_that_plays_a_keyboard_types_into_the_weight_box(page: Page) -> None:
    page.focus("#weight")
    scan(page, "  412.60 g")
    assert said(page) == []
    assert page.input_value("#weight") == "  412.60 g"


@pytest.mark.parametrize(
    "line", ["236.40", "1236.40", "-12.31", "ST,GS,+   49.90 g", "   49.90 g ?", "------"]
)
def test_what_a_balance_types_is_sent_off_by_its_enter(page: Page, line: str) -> None:
    page.focus("#weight")
    for character in line:
        page.keyboard.press(character)
    page.keyboard.press("Enter")
    assert [one["what"] for one in said(page)] == ["pressed", "submitted"]
    assert page.input_value("#weight") == line


@pytest.mark.parametrize("other", ["SEAL-0048213", "HALLO-WELT", "4912-AB77-3"])
def test_another_bar_code_does_not_stay_in_a_weight_box(page: Page, other: str) -> None:
    page.fill("#weight", "88.1")
    scan(page, other)
    assert [one["what"] for one in said(page)] == ["refused"]
    assert page.input_value("#weight") == "88.1"


@pytest.mark.parametrize("digits", ["12345678", "4006381333931"])
def test_a_weight_box_takes_no_number_that_is_no_weight(page: Page, digits: str) -> None:
    page.fill("#weight", "88.1")
    page.evaluate("document.getElementById('weight').select()")
    scan(page, digits)
    (only,) = said(page)
    assert only["code"] == "digits-in-weight"
    assert page.input_value("#weight") == "88.1"


def test_a_weight_box_takes_no_long_number_by_pasting(page: Page) -> None:
    page.fill("#weight", "1234567")
    page.fill("#weight", "12345678")
    assert [one["code"] for one in said(page)] == ["digits-in-weight"]
    assert page.input_value("#weight") == "1234567"


def test_a_typed_code_is_told_from_a_scanned_one(page: Page) -> None:
    page.focus("#scan")
    page.keyboard.type("7k2m-9qxq", delay=110)
    page.keyboard.press("Enter")
    (only,) = said(page)
    assert (only["value"], only["source"]) == (CODE, "typed")
    assert only["gap"] > 80
    assert page.input_value("#scan") == ""


def test_a_scan_that_cannot_be_read_is_refused_and_presses_nothing(page: Page) -> None:
    page.focus("#button")
    scan(page, "HTTPS+&&HAY.EXAMPLE.EDU&T&7K2M9QXQ")
    (only,) = said(page)
    assert (only["what"], only["code"]) == ("refused", "wrong-keyboard-layout")
    assert "country" in only["words"]


def test_the_same_tag_again_within_2_seconds_does_nothing_twice(page: Page) -> None:
    scan(page)
    said(page)
    scan(page)
    assert [one.get("code") or one["value"] for one in said(page)] == [CODE, "already-scanned"]
    page.evaluate("performance.now = () => Performance.prototype.now.call(performance) + 2000")
    scan(page)
    assert [one["what"] for one in said(page)] == ["scan", "refused", "scan"]
    page.evaluate("delete performance.now")


def test_of_two_tags_at_once_neither_is_taken(page: Page) -> None:
    page.evaluate("afresh()")
    assert page.evaluate("catcher.together") == 300
    page.evaluate("([a, b]) => { for (const text of [a, b, a, b]) catcher.offer(text); }", [CODE, OTHER])
    (only,) = said(page)
    assert only["code"] == "two-tags-at-once"
    scan(page)
    assert [one["what"] for one in said(page)] == ["refused", "scan"]


def test_two_tags_one_after_the_other_are_both_taken(page: Page) -> None:
    page.evaluate("afresh()")
    scan(page)
    said(page)
    scan(page, START + OTHER)
    assert [one["value"] for one in said(page)] == [CODE, OTHER]


def test_a_camera_that_keeps_seeing_a_tag_takes_it_once_and_silently(page: Page) -> None:
    page.evaluate("(text) => { for (let i = 0; i < 9; i++) catcher.offer(text); }", START + CODE)
    (only,) = said(page)
    assert (only["what"], only["source"], only["gap"]) == ("scan", "camera", None)


def test_the_page_says_when_it_is_not_listening(page: Page) -> None:
    page.evaluate("document.hasFocus = () => false; window.dispatchEvent(new Event('blur'))")
    page.evaluate("document.hasFocus = () => true; window.dispatchEvent(new Event('focus'))")
    words = [one["words"] for one in said(page, "listening")]
    assert words[-2:] == ["NOT LISTENING – click here", "READY TO SCAN"]
    assert page.evaluate("catcher.listening") is True
    page.evaluate("delete document.hasFocus")


def test_a_page_that_stops_listening_hears_nothing(page: Page) -> None:
    page.evaluate("catcher.stop()")
    scan(page)
    assert said(page) == []
