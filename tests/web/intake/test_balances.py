"""Balances: taken into use by the lead, checked each morning, and in doubt when a check fails."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.makers import kinds, made, make_bag, make_weighed
from tests.web.intake.conftest import Desk
from tests.web.intake.test_weigh import opened
from tracker.storage.engine import Database

CHECK = "/desk/balances/B1/check"
NEW = {"name": "B7", "route": "keyboard", "profile": "any", "check_weight": "100", "limit": "0.02"}


def test_the_lead_takes_a_balance_into_use(somebody: Callable[[str], Desk]) -> None:
    told = somebody("lena").post("/desk/balances", **NEW)
    assert "Balance B7 is in use" in told and "Not checked today" in told


def test_a_balance_that_is_called_so_is_called_so_once(somebody: Callable[[str], Desk]) -> None:
    told = somebody("lena").post("/desk/balances", **{**NEW, "name": "balance 3"})
    assert "Balance 3 is in use" in told and "alance balance" not in told


def test_an_own_profile_is_kept_and_reads_the_line(somebody: Callable[[str], Desk]) -> None:
    lead = somebody("lena")
    own = '{"name": "ours", "pattern": "W=(?P<number>[0-9.]{1,9})", "unmarked": "stable"}'
    lead.post("/desk/balances", **{**NEW, "own_profile": own})
    got = lead.client.post("/desk/line", json={"balance": "B7", "raw": "W=49.90"})
    assert (got.json["grams"], got.json["storable"]) == ("49.90", True)


def test_a_balance_that_changes_says_why_and_the_settings_tell_it(somebody: Callable[[str], Desk]) -> None:
    lead = somebody("lena")
    lead.post("/desk/balances", **NEW)
    assert lead.refused("/desk/balances", **{**NEW, "limit": "0.05"}) == "reason-missing"
    lead.post("/desk/balances", **{**NEW, "limit": "0.05", "reason": "serviced, wider limit"})
    page = lead.get("/settings/balance/B7")
    assert "serviced, wider limit" in page and "within 0.05 g" in page and "within 0.02 g" in page


SPOILED = (
    ("name", "", "balance-name"),
    ("name", "a/b", "balance-name"),
    ("route", "radio", "unknown-route"),
    ("profile", "none", "balance-profile"),
    ("own_profile", "[1]", "balance-profile"),
    ("own_profile", '{"name": "x", "pattern": "(a+)+"}', "balance-profile"),
    ("check_weight", "0", "not-a-weight"),
    ("limit", "0", "not-positive"),
    ("limit", "little", "not-a-number"),
)


@pytest.mark.parametrize(("field", "value", "code"), SPOILED)
def test_a_spoiled_balance_is_refused(
    somebody: Callable[[str], Desk], field: str, value: str, code: str
) -> None:
    assert somebody("lena").refused("/desk/balances", **{**NEW, field: value}) == code


def test_a_clerk_takes_no_balance_into_use(desk: Desk) -> None:
    assert desk.refused("/desk/balances", **NEW) == "not-allowed"


def test_a_balance_not_checked_today_warns_and_still_weighs(season: Database, desk: Desk) -> None:
    sample = opened(season)
    desk.post("/desk/balance", balance="B1")
    assert "has not been checked today" in desk.get(f"/desk/weigh/{desk.code(sample)}")
    desk.weigh(sample, "tare", "18.60")


def test_a_check_that_passes_silences_the_warning_until_tomorrow(season: Database, desk: Desk) -> None:
    sample = opened(season)
    assert "Passed: 200 g showed 200.02 g" in desk.post(CHECK, zero="0.00", grams="200.02")
    desk.post("/desk/balance", balance="B1")
    assert "has not been checked" not in desk.get(f"/desk/weigh/{desk.code(sample)}")
    desk.clock(300 + 24 * 60)
    desk.post("/desk/balance", balance="B1")
    assert "has not been checked" in desk.get(f"/desk/weigh/{desk.code(sample)}")


def test_a_failed_check_refuses_new_weighings(season: Database, desk: Desk) -> None:
    sample = opened(season)
    assert "Failed: 200 g showed 200.31 g" in desk.post(CHECK, zero="0.00", grams="200.31")
    assert desk.weigh_refused(sample, "tare", "18.60") == "balance-check-failed"
    desk.post("/desk/balance", balance="B1")
    assert "failed its last check" in desk.get(f"/desk/weigh/{desk.code(sample)}")
    desk.weigh(sample, "tare", "18.60", balance="T1", again="18.60")


def test_a_failed_check_holds_what_was_weighed_since_the_last_good_one(season: Database, desk: Desk) -> None:
    before = made(season, make_weighed)
    desk.post(CHECK, zero="0.00", grams="200.00")
    desk.clock(310)
    since = opened(season, field="Far field")
    desk.weigh(since, "tare", "18.60")
    elsewhere = opened(season, field="Third field")
    desk.weigh(elsewhere, "tare", "18.70", balance="T1", again="18.70")
    untouched = made(season, make_bag, field="Fourth field")
    desk.clock(320)
    assert "1 samples" in desk.post(CHECK, zero="0.30", grams="200.00")
    held = {sample: desk.standing(sample).on_hold for sample in (before, since, elsewhere, untouched)}
    assert held == {before: False, since: True, elsewhere: False, untouched: False}
    desk.clock(330)
    assert "samples" not in desk.post(CHECK, zero="0.30", grams="200.00")
    assert kinds(season, since).count("held") == 1


def test_a_balance_weighs_again_after_a_check_that_passes(season: Database, desk: Desk) -> None:
    sample = opened(season)
    desk.post(CHECK, zero="0.00", grams="200.31")
    desk.post(CHECK, zero="0.00", grams="200.01")
    desk.weigh(sample, "tare", "18.60")


ODD_CHECKS = (
    ({"zero": "", "grams": "200.00"}, "not-a-balance-line"),
    ({"zero": "0.00", "grams": ""}, "not-a-balance-line"),
    ({"zero": "0.00", "grams": "US,GS,+ 200.00 g"}, "balance-unsteady"),
)


@pytest.mark.parametrize(("form", "code"), ODD_CHECKS)
def test_a_spoiled_check_is_refused(desk: Desk, form: dict[str, str], code: str) -> None:
    assert desk.refused(CHECK, **form) == code


def test_a_typed_check_is_typed_twice(desk: Desk) -> None:
    address = "/desk/balances/T1/check"
    assert desk.refused(address, zero="0.00", grams="200.00", again="200.01") == "entries-differ"
    assert "Passed" in desk.post(address, zero="-0.01", grams="200.00", again="200.00")


def test_a_balance_nobody_knows_is_not_checked(desk: Desk) -> None:
    assert desk.refused("/desk/balances/B9/check", zero="0.00", grams="200.00") == "unknown-balance"
