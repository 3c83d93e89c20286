"""Weighing at the desk: one box after the other, and what never goes into it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.makers import (
    SEAL,
    act,
    done,
    kinds,
    life,
    made,
    make_out_of_oven,
    make_received,
    make_signed_away,
    make_weighed,
    remarks,
    weighed,
)
from tests.web.intake.conftest import Desk
from tracker.steps.hold import hold
from tracker.steps.receive import break_seal
from tracker.storage.coring import Sample
from tracker.storage.engine import Database


def opened(season: Database, **changes: object) -> Sample:
    """Received, and its seal opened at 245."""
    sample = made(season, make_received, **changes)
    done(season, lambda session: break_seal(session, sample, SEAL, act(session, "carl", 245)))
    return sample


def test_a_scan_on_the_weighing_page_leads_to_the_sack(season: Database, desk: Desk) -> None:
    sample = opened(season)
    answer = desk.client.get(
        "/desk/weigh", query_string={"scan": f"https://hay.example/T/{desk.code(sample)}"}
    )
    assert (answer.status_code, answer.location) == (303, f"/desk/weigh/{desk.code(sample)}")


def test_the_sack_goes_from_its_seal_to_the_oven_box_by_box(season: Database, desk: Desk) -> None:
    sample = made(season, make_received)
    address = f"/desk/weigh/{desk.code(sample)}"
    desk.post("/desk/balance", balance="B1")
    assert "Open the seal" in desk.get(address)
    told = desk.post(address, what="break seal", seal_read=SEAL, seen=desk.seen(sample))
    assert "Weigh the empty sack" in told
    assert "Weigh the sack with fresh hay" in desk.weigh(sample, "tare", "18.60")
    told = desk.weigh(sample, "fresh", "268.60")
    assert "Ready for the next sack" in told and "ready for the oven" in told
    assert kinds(season, sample)[-3:] == ["seal broken", "tare weighed", "fresh weighed"]
    assert [(what, str(grams)) for what, grams in weighed(season, sample)] == [
        ("tare", "18.60"),
        ("fresh", "268.60"),
    ]


def test_the_box_is_focused_and_the_scan_stays_in_the_loop(season: Database, desk: Desk) -> None:
    sample = opened(season)
    desk.post("/desk/balance", balance="B1")
    page = desk.client.get(f"/desk/weigh/{desk.code(sample)}").text
    assert page.count("autofocus") == 1 and page.count("data-weight") == 1
    assert '"to": "/desk/weigh?scan="' in page


def test_a_sack_of_another_station_says_where_it_belongs(season: Database, desk: Desk) -> None:
    sample = made(season, make_signed_away)
    assert "not been received yet" in desk.get(f"/desk/weigh/{desk.code(sample)}")
    ready = made(season, make_weighed, field="Far field")
    assert "ready for the oven" in desk.get(f"/desk/weigh/{desk.code(ready)}")


def test_a_sack_on_hold_shows_why_and_no_box(season: Database, desk: Desk) -> None:
    sample = opened(season)
    done(season, lambda session: hold(session, sample, act(session, "lena", 246), reason="Which field?"))
    desk.post("/desk/balance", balance="B1")
    page = desk.client.get(f"/desk/weigh/{desk.code(sample)}").text
    assert "Which field?" in page and "data-weight" not in page


NO_WEIGHTS = (
    ("12345678", "code-in-weight"),
    ("https://hay.example/T/E0F14CSE", "code-in-weight"),
    ("ST,GS,+ 49.90 pcs", "balance-unit"),
    ("US,GS,+   49.87 g", "balance-unsteady"),
    ("   49.90 g ?", "balance-unsteady"),
    ("OL,GS,+ 9999.99 g", "balance-overload"),
    ("------", "balance-overload"),
    ("Err 4", "balance-error"),
    ("-12.31", "balance-negative"),
    ("0.00", "balance-zero"),
    ("1,049", "thousands-doubt"),
    ("", "not-a-balance-line"),
    ("forty", "not-a-balance-line"),
)


@pytest.mark.parametrize(("text", "code"), NO_WEIGHTS)
def test_what_is_no_weight_is_refused_in_words(season: Database, desk: Desk, text: str, code: str) -> None:
    sample = opened(season)
    assert desk.weigh_refused(sample, "tare", text) == code
    assert weighed(season, sample) == []


def test_the_code_of_the_sack_itself_is_no_weight(season: Database, desk: Desk) -> None:
    sample = opened(season)
    assert desk.weigh_refused(sample, "tare", desk.code(sample)) == "code-in-weight"


def test_a_steady_line_is_kept_as_it_came(season: Database, desk: Desk) -> None:
    sample = opened(season)
    desk.weigh(sample, "tare", "18.60", balance="S1", raw="ST,GS,+   18.60 g")
    event = life(season, sample)[-1]
    assert (event.data["grams"], event.data["raw"]) == ("18.60", "ST,GS,+   18.60 g")


def test_an_unsteady_line_is_refused_even_if_the_box_shows_a_number(season: Database, desk: Desk) -> None:
    sample = opened(season)
    refused = desk.weigh_refused(sample, "tare", "18.60", balance="S1", raw="US,GS,+   18.60 g")
    assert refused == "balance-unsteady"


@pytest.mark.parametrize("again", ["", "18.06", "18.6"])
def test_a_typed_weight_that_differs_the_second_time_is_refused(
    season: Database, desk: Desk, again: str
) -> None:
    sample = opened(season)
    assert desk.weigh_refused(sample, "tare", "18.60", balance="T1", again=again) == "entries-differ"


def test_a_typed_weight_is_kept_when_both_entries_agree(season: Database, desk: Desk) -> None:
    sample = opened(season)
    desk.weigh(sample, "tare", "18.60", balance="T1", again="18.60")
    assert life(season, sample)[-1].data["balance"] == "T1"


def test_the_balance_is_asked_for_once_and_remembered_on_the_device(season: Database, desk: Desk) -> None:
    sample = opened(season)
    assert "Which balance stands here?" in desk.get(f"/desk/weigh/{desk.code(sample)}")
    desk.post("/desk/balance", balance="T1")
    assert "The same again" in desk.get(f"/desk/weigh/{desk.code(sample)}")
    assert desk.weigh_refused(sample, "tare", "18.60", balance="") == "balance-not-chosen"
    assert desk.weigh_refused(sample, "tare", "18.60", balance="B9") == "unknown-balance"


def test_two_clerks_on_one_sack_do_not_both_weigh_it(
    season: Database, desk: Desk, somebody: Callable[[str], Desk]
) -> None:
    sample = opened(season)
    seen = desk.seen(sample)
    somebody("ana").weigh(sample, "tare", "18.60")
    assert desk.weigh_refused(sample, "tare", "18.61", seen=seen) == "moved-on"
    assert len(weighed(season, sample)) == 1


@pytest.mark.parametrize("what", ["fresh", "dry", "dry again", "composite", ""])
def test_only_what_is_next_is_weighed(season: Database, desk: Desk, what: str) -> None:
    sample = opened(season)
    assert desk.weigh_refused(sample, what, "18.60") == "not-next"


def test_the_same_weight_as_the_sack_before_is_said_at_once(season: Database, desk: Desk) -> None:
    first, second = opened(season), opened(season, field="Far field")
    desk.weigh(first, "tare", "18.60")
    told = desk.weigh(second, "tare", "18.60")
    assert "to the last digit what the sack before weighed" in told
    assert remarks(life(season, second)[-1]) == ["same-as-before"]


def test_a_zeroed_balance_is_ticked_and_remembered_and_the_tare_is_an_entry_still(
    season: Database, desk: Desk
) -> None:
    first, second = opened(season), opened(season, field="Far field")
    assert desk.weigh_refused(first, "fresh", "250.00", zeroed="yes") == "not-next"
    desk.weigh(first, "tare", "18.60")
    desk.weigh(first, "fresh", "250.00", zeroed="yes")
    assert life(season, first)[-1].data["zeroed"] is True
    desk.weigh(second, "tare", "18.70")
    assert 'value="yes" checked' in desk.client.get(f"/desk/weigh/{desk.code(second)}").text


def test_what_was_entered_is_taken_back_within_ten_seconds(season: Database, desk: Desk) -> None:
    sample = opened(season)
    desk.weigh(sample, "tare", "18.60")
    told = desk.post("/undo", entry=desk.seen(sample), back=f"/desk/weigh/{desk.code(sample)}")
    assert "Taken back: tare weighed" in told and "Weigh the empty sack" in told
    desk.weigh(sample, "tare", "18.62")


def test_what_was_entered_earlier_is_not_taken_back(season: Database, desk: Desk) -> None:
    sample = opened(season)
    desk.weigh(sample, "tare", "18.60")
    desk.clock(301)
    assert desk.refused("/undo", entry=desk.seen(sample)) == "too-late-to-undo"
    assert desk.refused("/undo", entry="none") == "not-a-number"


def test_a_batch_of_empty_sacks_gives_the_tare_of_those_that_follow(season: Database, desk: Desk) -> None:
    page = ""
    read: list[str] = []
    for grams in ("18.60", "18.70", "18.65", "18.62", "18.68", "18.61", "18.66", "18.64", "18.63", "18.67"):
        page = desk.post("/desk/tare-batch", balance="B1", grams=grams, g=read)
        read.append(grams)
    assert "10 weighed so far" in page
    assert "mean of 10 empty sacks" in desk.post("/desk/tare-batch", balance="B1", g=read, do="keep")
    sample = opened(season)
    page = desk.get(f"/desk/weigh/{desk.code(sample)}")
    assert "Weigh the sack with fresh hay" in page and "mean of 10 sacks, 18.65 g" in page
    batch = (
        desk.client.get(f"/desk/weigh/{desk.code(sample)}")
        .text.split('name="batch" value="')[1]
        .split('"')[0]
    )
    desk.weigh(sample, "fresh", "268.60", batch=batch)
    assert kinds(season, sample)[-2:] == ["tare weighed", "fresh weighed"]
    assert life(season, sample)[-2].data["batch_n"] == "10"


def test_a_batch_of_one_sack_is_refused(desk: Desk) -> None:
    assert desk.refused("/desk/tare-batch", balance="B1", g=["18.60"], do="keep") == "too-few-tares"


def test_a_batch_can_be_laid_aside_and_one_that_is_unknown_is_refused(season: Database, desk: Desk) -> None:
    sample = opened(season)
    desk.post("/desk/tare-batch", do="each")
    assert desk.weigh_refused(sample, "fresh", "268.60", batch="7") == "unknown-tare-batch"


LINES = (
    ("ST,GS,+   49.90 g", None, {"grams": "49.90", "stable": True, "storable": True}),
    ("US,GS,+   49.90 g", None, {"grams": "49.90", "stable": False, "storable": False}),
    ("49.90", None, {"grams": "49.90", "stable": None, "storable": False}),
    ("49.90", {"raw": "49.90", "seconds": "1.2"}, {"grams": "49.90", "stable": None, "storable": True}),
    ("49.90", {"raw": "49.91", "seconds": "1.2"}, {"grams": "49.90", "stable": None, "storable": False}),
    ("49.90", {"raw": "Err 4", "seconds": "1.2"}, {"grams": "49.90", "stable": None, "storable": False}),
)


@pytest.mark.parametrize(("raw", "before", "answer"), LINES)
def test_a_line_is_read_for_the_page(
    desk: Desk, raw: str, before: dict[str, str] | None, answer: dict[str, object]
) -> None:
    got = desk.client.post("/desk/line", json={"balance": "S1", "raw": raw, "before": before})
    assert got.status_code == 200
    assert {name: got.json[name] for name in answer} == answer


ODD_LINES = (
    ({"balance": "S1", "raw": "OL"}, "balance-overload"),
    ({"balance": "S1", "raw": "12345678"}, "code-in-weight"),
    ({"balance": "S1", "raw": None}, "not-a-balance-line"),
    ({"balance": "S9", "raw": "49.90"}, "unknown-balance"),
    ({"balance": "S1", "raw": "49.90", "before": {"raw": "49.90", "seconds": "x"}}, "not-a-number"),
    (["49.90"], "unknown-balance"),
)


@pytest.mark.parametrize(("asked", "code"), ODD_LINES)
def test_a_line_that_says_no_weight_is_answered_with_words(desk: Desk, asked: object, code: str) -> None:
    got = desk.client.post("/desk/line", json=asked)
    assert (got.status_code, got.json["refused"]) == (422, code)
    assert got.json["words"]


def test_a_sack_out_of_the_oven_is_weighed_dry_and_once_more_without_the_first_weight(
    season: Database, desk: Desk
) -> None:
    sample = made(season, make_out_of_oven)
    desk.clock(1230)
    # A load of one sack: the one in ten is this one.
    desk.weigh(sample, "dry", "251.10")
    page = desk.get(f"/desk/weigh/{desk.code(sample)}")
    assert "once more" in page and "251.1" not in page
    desk.weigh(sample, "dry again", "251.12")
    assert "251.10" in desk.get(f"/desk/weigh/{desk.code(sample)}")
