"""The page that checks a report in the browser: it proves, it refuses, and it asks the server for nothing."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.result_files import Bench, bench, bench_template, released, row, taken_in, written
from tests.web.axe import complaints
from tests.web.conftest import made_app
from tests.web.live import serving
from tracker import custody_check
from tracker.custody_check import check
from tracker.files.key_file import KeyFile
from tracker.lookups.issued_reports import Issued, issued_report
from tracker.papers.lot_report import lot_report

__all__ = ["bench", "bench_template"]


@pytest.fixture
def issued(bench: Bench, tmp_path: Path) -> Issued:
    """A report of a bench whose log is signed."""
    bench.season.key_file = KeyFile(tmp_path / "season.key")
    bench.season.key_file.make("hay.example")
    taken_in(bench, written([row(bench.codes[0])]))
    released(bench, bench.samples[0])
    with bench.season.read() as session:
        return issued_report(session, bench.samples[0].id)


@pytest.fixture
def pdf(issued: Issued) -> bytes:
    file = io.BytesIO()
    lot_report(file, issued.body, issued.proof)
    return file.getvalue()


@pytest.fixture
def page(bench: Bench, issued: Issued, browser: Browser) -> Iterator[Page]:
    """The page, open, and then cut off from everything."""
    with serving(bench.season) as address:
        context = browser.new_context(viewport={"width": 360, "height": 640})
        made = context.new_page()
        made.goto(f"{address}/custody/check")
        made.wait_for_load_state("networkidle")
        context.set_offline(True)
        yield made
        context.close()


def told(page: Page, content: bytes, name: str = "report.pdf") -> str:
    """What the page says of this file."""
    page.evaluate("document.getElementById('found').replaceChildren()")
    page.set_input_files("#file", {"name": name, "mimeType": "application/octet-stream", "buffer": content})
    page.wait_for_selector("#found p")
    return page.inner_text("#found")


def test_a_report_is_proven_without_a_word_to_the_server(page: Page, issued: Issued, pdf: bytes) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    said = told(page, pdf)
    assert said.startswith("Proven: the record is the one that was signed")
    assert issued.number in said and "CP 18.6 %" in said
    assert asked == []


def test_the_record_of_a_bundle_is_proven_alike(page: Page, issued: Issued) -> None:
    assert issued.proof is not None
    assert told(page, issued.proof.content, "custody.json").startswith("Proven")


def test_a_changed_record_is_not_proven_and_the_page_says_why(page: Page, issued: Issued, pdf: bytes) -> None:
    at = pdf.index(b'"grams":"268.6"')
    wrong = pdf[: at + 9] + b"9" + pdf[at + 10 :]
    said = told(page, wrong)
    assert said.startswith("Not proven.") and "does not follow" in said
    assert told(page, b"%PDF-1.4 no record").startswith("Not proven. 0 records")
    assert told(page, b"hello").startswith("Not proven. It is not a record at all.")


def test_a_record_signed_by_a_strangers_key_is_not_ours(page: Page, issued: Issued, tmp_path: Path) -> None:
    import json

    assert issued.proof is not None
    stranger = KeyFile(tmp_path / "stranger.key").make("hay.example")
    record = json.loads(issued.proof.content)
    record["head"] = str(stranger.signed(issued.proof.head.size, issued.proof.head.root))
    record["key"] = str(stranger.public)
    forged = custody_check.text_of(record) + b"\n"
    assert check(forged)["key"] == str(stranger.public)
    assert "signed by a key that is not ours" in told(page, forged, "custody.json")


def test_the_page_and_the_program_judge_alike(page: Page, issued: Issued) -> None:
    # The same spoilt records to both: every 211th byte changed, and the edges.
    assert issued.proof is not None
    record = issued.proof.content
    spoilt = [record, record[:-1], record + b"\n", b"\xef\xbb\xbf" + record]
    for at in range(0, len(record), 211):
        wrong = bytearray(record)
        wrong[at] ^= 0x20 if chr(wrong[at]).isalpha() else 0x01
        spoilt.append(bytes(wrong))
    verdicts = page.evaluate(
        """async (files) => {
            const { check } = await import("/static/custody.js");
            const answers = [];
            for (const file of files) {
                const bytes = Uint8Array.from(atob(file), (letter) => letter.charCodeAt(0));
                answers.push(await check(bytes).then((found) => found.signature === true, () => false));
            }
            return answers;
        }""",
        [base64.b64encode(one).decode() for one in spoilt],
    )
    assert verdicts == [holds(one) for one in spoilt]
    assert verdicts.count(True) == 1 and verdicts[0]


def holds(record: bytes) -> bool:
    try:
        return bool(check(record))
    except custody_check.NotProven:
        return False


def test_a_browser_without_ed25519_says_so(page: Page, pdf: bytes) -> None:
    page.evaluate(
        """() => {
            crypto.subtle.importKey = () => Promise.reject(new DOMException("no", "NotSupportedError"));
        }"""
    )
    said = told(page, pdf)
    assert "cannot check the signature" in said and not said.startswith("Proven")


def test_the_page_has_no_fault(page: Page, pdf: bytes) -> None:
    told(page, pdf)
    assert complaints(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_the_program_and_the_keys_are_given_to_anybody(bench: Bench, issued: Issued) -> None:
    client = made_app(bench.season).test_client()
    program = client.get("/custody/custody_check.py")
    assert program.data == Path(custody_check.__file__).read_bytes()
    assert program.headers["Content-Disposition"].startswith("attachment")
    keys: Any = client.get("/custody/keys.txt")
    assert issued.proof is not None
    assert keys.text == f"{issued.proof.key}\n"


def test_without_a_key_the_page_says_that_there_is_none(bench: Bench) -> None:
    client = made_app(bench.season).test_client()
    assert "The key is not at hand here" in client.get("/custody/check").text
    assert client.get("/custody/keys.txt").text == ""
