"""What the page says of a lot: verdict, what to add, hay that is not ready, waits, or never will be; and papers."""

from __future__ import annotations

import csv
import html
import io
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pypdfium2
import pytest
from flask.testing import FlaskClient

from tests import makers
from tests.makers import act, at, done, made
from tests.readability import page_text
from tests.result_files import SETTINGS
from tests.web.conftest import made_app
from tests.web.producer.lots import Stub, give_token
from tracker.domain.turnaround import LEAST
from tracker.lookups.lot_report import report_body
from tracker.lookups.turnaround import turnarounds
from tracker.steps.append_event import standing_of
from tracker.steps.end_sample import lose
from tracker.steps.hand_over import refuse_transfer
from tracker.steps.hold import hold
from tracker.steps.keep_group import keep_group
from tracker.steps.release_results import release_results
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.engine import Database

VERDICTS = {
    "excellent": ("This hay alone is enough for cows with calves.", "Add nothing but salt"),
    "good": ("This hay alone is enough for cows with calves.", "Add nothing but salt"),
    "fair": ("This hay alone is not enough for cows with calves.", "as fed, a head each day."),
    "poor": ("This hay alone is not enough for cows with calves.", "as fed, a head each day."),
    "unfit": ("Do not feed this hay to cows with calves.", "Nitrate is high. Feed them other hay."),
}


def text(client: FlaskClient, token: str, rest: str = "") -> str:
    answer = client.get(f"/T/{token}{rest}", buffered=True)
    assert answer.status_code == 200, answer.text[-500:]
    return page_text(answer.text)


@pytest.mark.parametrize("name", VERDICTS)
def test_each_of_five_lots_has_its_verdict_and_what_to_add(
    name: str, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    said = text(anyone, stubs[name].token)
    verdict, add = VERDICTS[name]
    assert verdict in said and add in said


def test_unfit_hay_says_whom_to_ask_and_the_caution_stands_beside_its_number(
    stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    page = anyone.get(f"/T/{stubs['unfit'].token}", buffered=True).text
    assert "Ask your veterinarian or county extension office first." in page
    (row,) = [row for row in re.findall(r"<tr>.*?</tr>", page, re.DOTALL) if "Nitrate, as nitrogen" in row]
    assert "It can kill cattle." in row and "5222" in row and "mg/kg of dry matter" in row
    assert "Feeds that can close the gap" not in page, "what may not be fed gets no amounts"


def test_a_dry_cow_does_on_hay_that_a_milking_one_does_not(
    stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    # Rankins 2000 (Auburn): hay of 53 % TDN or better carries a dry cow; after calving she needs a supplement.
    dry = "?kind=cow&stage=mid-pregnancy&weight=1200&condition=5"
    assert "This hay alone is enough for dry cows" in text(anyone, stubs["fair"].token, dry)
    assert "not enough for cows with calves" in text(anyone, stubs["fair"].token)


def test_a_choice_that_makes_no_sense_is_left_out_of_account(
    stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    usual = text(anyone, stubs["fair"].token)
    for odd in (
        "?kind=goat&weight=1200",
        "?kind=cow&stage=x&weight=1200",
        "?kind=cow&stage=early-milk&weight=9",
        "?group=none",
    ):
        said = text(anyone, stubs["fair"].token, odd)
        assert "For 1,200-lb cows, calf 60 days old." in said
        assert said.splitlines()[:6] == usual.splitlines()[:6]


def test_a_producers_own_group_comes_first_and_follows_the_calendar(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    values = {"kind": "cow", "head": "40", "weight_lb": "1300", "calving": "2026-05-01"}
    done(
        lots,
        lambda s: keep_group(s, "Oda Meadow", "spring cows", values, act(s, "carl", 1550), reason="told us"),
    )
    bulls = {"kind": "bull", "head": "2", "weight_lb": "2000"}
    done(lots, lambda s: keep_group(s, "Oda Meadow", "bulls", bulls, act(s, "carl", 1551), reason="told us"))
    # Of two groups the page opens on the one that asks most, so that no hay looks too good.
    said = text(anyone, stubs["fair"].token)
    days = (at(1600).date() - date(2026, 5, 1)).days
    assert f"For your group spring cows: 1,300-lb cows, calf {days} days old." in said
    assert "spring cows" in text(anyone, stubs["fair"].token, "/animals").split("Cows\n")[0]


def test_numbers_have_unit_basis_and_margin(stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    page = anyone.get(f"/T/{stubs['good'].token}", buffered=True).text
    rows = re.findall(r'<td class="figure">(.*?)</td></tr>', page.split("What is in the hay")[1], re.DOTALL)
    plain = [html.unescape(re.sub(r"<[^>]+>", " ", row)) for row in rows]
    assert len(plain) >= 8
    bare = [row for row in plain if not re.search(r"\d.*(of|a rank)", row)]
    assert bare == [], "a number without a basis"
    assert any("±" in row for row in plain)


def test_no_advice_is_given_from_a_report_whose_interpretation_was_not_released(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    def again(session: Any) -> Any:
        sample = sample_with_lot(session, stubs["good"].sample)
        body = report_body(session, sample, SETTINGS)
        return release_results(
            session, sample, body, act(session, "lena", 1590), reason="results alone", interpretation=False
        )

    done(lots, again)
    said = text(anyone, stubs["good"].token)
    assert "This report holds no advice on feeding. Call us" in said
    assert "This hay alone" not in said and "Protein (CP)" in said


WAITING: dict[str, tuple[Callable[..., Sample], str]] = {
    "planned": (makers.make_plan, "This hay is not cored yet."),
    "bagged": (makers.make_bag, "The bag is on its way to us."),
    "received": (makers.make_received, "We have the bag. It is dried next."),
    "in the oven": (makers.make_in_oven, "Your sample is in the oven."),
    "dried": (makers.make_dried, "Your sample is dry. It is ground next."),
    "ground": (makers.make_ground, "It is tested next."),
}


def with_stub(season: Database, sample: Sample) -> str:
    """A token for the sample's lot: that of its tag, or of a tag printed for the lot."""
    with season.read() as session:
        code = standing_of(session, sample).code
    if code is None:
        code = done(season, lambda s: makers.make_tag(s, sample.lot_id))
    return give_token(season, code)


@pytest.mark.parametrize("stage", WAITING)
def test_hay_that_is_not_ready_says_where_it_is_and_whom_to_call(stage: str, season: Database) -> None:
    maker, words = WAITING[stage]
    token = with_stub(season, made(season, maker, field="Waiting field"))
    season.clock = lambda: at(1600)
    said = text(made_app(season).test_client(), token)
    assert "Waiting field, cutting 2" in said and words in said
    assert "We cannot name a day yet." in said, "no finished samples are on record"
    assert "555-0142" in said and "This hay alone" not in said


def test_a_pending_lot_is_dated_by_the_programmes_own_turnaround(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    # All five were received at 240, ground at 1270 and reported at 1500 minutes: 21 h from the desk.
    with lots.read() as session:
        known = turnarounds(session)
    assert known["desk"].records == len(stubs) == LEAST
    assert known["desk"].usual == known["desk"].slow == timedelta(minutes=1500 - 240)
    assert known["mill"].usual == timedelta(minutes=1500 - 1270)
    token = with_stub(lots, made(lots, makers.make_received, field="Waiting field"))
    lots.clock = lambda: at(300)
    said = text(anyone, token)
    due = at(240 + 1260).date()
    assert f"We expect your results by {due:%A, %B} {due.day}." in said
    assert "That is how our last 5 samples went from here." in said
    lots.clock = lambda: at(240 + 1260 + 1)
    assert "This takes longer than usual. Call us" in " ".join(text(anyone, token).split("\n"))


def test_hay_on_hold_says_so_and_not_why_the_staff_doubt(season: Database) -> None:
    sample = made(season, makers.make_received, field="Held field")
    done(season, lambda s: hold(s, sample, act(s, "carl", 250), reason="Tove forgot the seal again"))
    season.clock = lambda: at(1600)
    said = text(made_app(season).test_client(), with_stub(season, sample))
    assert "The work on this sample waits." in said and "If a week goes by, call us." in said
    assert "forgot" not in said


def test_hay_that_is_lost_or_turned_away_says_so_and_what_to_do(season: Database) -> None:
    lost = made(season, makers.make_bag, field="Lost field")
    done(season, lambda s: lose(s, lost, act(s, "carl", 300), circumstances="fell off the van"))
    away = made(season, makers.make_signed_away, field="Wet field")
    done(season, lambda s: refuse_transfer(s, away, act(s, "carl", 300), reason="the bag is soaked"))
    season.clock = lambda: at(1600)
    client = made_app(season).test_client()
    said = text(client, with_stub(season, lost))
    assert "The sample is lost." in said and "The hay must be cored again." in said
    said = text(client, with_stub(season, away))
    assert "Our desk did not take the bag." in said and "Call us." in said


def test_a_tag_on_no_bag_yet_says_to_keep_the_stub(season: Database) -> None:
    token = give_token(season, done(season, makers.make_tag))
    assert "This tag is on no bag yet" in text(made_app(season).test_client(), token)


def test_hay_cored_again_shows_the_result_at_the_old_stub_too(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    again = made(lots, makers.make_plan, lot=stubs["good"].lot)
    assert again.lot_id == stubs["good"].lot
    assert "This hay alone is enough" in text(anyone, stubs["good"].token)


def test_no_note_of_the_staff_and_no_whole_code_stands_on_the_page(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    sample = made(lots, makers.make_bag, field="Quiet field")
    with lots.read() as session:
        code = str(standing_of(session, sample).code)
    page = anyone.get(f"/T/{give_token(lots, code)}", buffered=True).text
    assert code not in page and f"{code[:4]}-{code[4:]}" not in page


@pytest.mark.parametrize("name", VERDICTS)
def test_the_sheet_is_one_page_and_says_what_the_page_says(
    name: str, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    answer = anyone.get(f"/T/{stubs[name].token}/hay.pdf", buffered=True)
    assert answer.mimetype == "application/pdf"
    paper = pypdfium2.PdfDocument(answer.data)
    try:
        assert len(paper) == 1
        words = " ".join(paper[0].get_textpage().get_text_range().split())
    finally:
        paper.close()
    assert VERDICTS[name][0] in words and "555-0142" in words
    assert stubs[name].code in words, "it names the report it rests on"


def test_the_sheet_is_black_and_gray_alone(stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    data = anyone.get(f"/T/{stubs['poor'].token}/hay.pdf", buffered=True).data
    paper = pypdfium2.PdfDocument(data)
    try:
        image = paper[0].render(scale=1).to_pil().convert("RGB")
    finally:
        paper.close()
    assert all(max(color) - min(color) <= 2 for _, color in image.getcolors(100_000))


def test_the_numbers_can_be_taken_away_as_a_table(stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    answer = anyone.get(f"/T/{stubs['unfit'].token}/hay.csv", buffered=True)
    assert answer.mimetype == "text/csv" and "attachment" in answer.headers["Content-Disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.data.decode("utf-8-sig"))))
    found = {row["code"]: row for row in rows}
    assert (
        found["CP"]["value"] == "10.8"
        and found["CP"]["unit"] == "%"
        and found["CP"]["basis"] == "of dry matter"
    )
    assert found["NO3-N"]["value"] == "5222" and "kill" in found["NO3-N"]["caution"]
    assert found["report"]["name"].startswith("R-")


def test_the_whole_report_is_the_one_that_was_issued(stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    data = anyone.get(f"/T/{stubs['good'].token}/report.pdf", buffered=True).data
    paper = pypdfium2.PdfDocument(data)
    try:
        words = " ".join(" ".join(page.get_textpage().get_text_range() for page in paper).split())
    finally:
        paper.close()
    assert "Interpretation released by Lena Roy, lead" in words
    assert words.index("Measured results") < words.index("Interpretation")


def test_hay_without_a_report_has_nothing_to_take_away(season: Database) -> None:
    token = with_stub(season, made(season, makers.make_bag))
    client = made_app(season).test_client()
    for rest in ("/hay.pdf", "/report.pdf", "/hay.csv"):
        assert client.get(f"/T/{token}{rest}", buffered=True).status_code == 404


def test_markup_in_a_name_is_text(lots: Database) -> None:
    sample = made(lots, makers.make_bag, field="<b>Big</b> & {{ 7*7 }}")
    page = made_app(lots).test_client().get(f"/T/{with_stub(lots, sample)}", buffered=True).text
    assert "&lt;b&gt;Big&lt;/b&gt; &amp; {{ 7*7 }}" in page
