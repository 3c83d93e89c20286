"""Supplements from what a person types, and back into what he typed."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from tracker.domain.feed import KINDS, SUBSTITUTION, checked_feed, texts_of
from tracker.errors import Refused

VALID = {
    "key": "pea-screenings",
    "name": "pea screenings",
    "kind": "by-product",
    "dm": "90",
    "cp": "20.0",
    "tdn": "78",
    "fat": "2.0",
    "sulfur": "0.20",
    "degradable": "70",
    "most_bw": "0.5",
    "source": "the mill's analysis",
    "year": "2026",
}
MORE = {
    "ndf": "40",
    "calcium": "0.1",
    "phosphorus": "0.4",
    "most_of_diet": "20",
    "substitution": "0.2",
    "price_ton": "210",
    "marks": "urea;cottonseed",
    "from_memory": "fat;sulfur",
    "note": "Dusty.",
    "offered": "no",
}


def test_a_feed_keeps_its_digits_and_can_be_written_back() -> None:
    found = checked_feed({**VALID, **MORE})
    assert found.cp == D("20.0") and str(found.cp) == "20.0" and not found.offered
    assert texts_of(found) == {**VALID, **MORE}
    assert checked_feed(texts_of(found)) == found


def test_what_is_not_given_is_usual_for_its_kind() -> None:
    for kind in KINDS:
        assert checked_feed({**VALID, "kind": kind}).substitution == SUBSTITUTION[kind]
    assert checked_feed(VALID).price_ton is None and checked_feed(VALID).cost_lb_dm is None


def test_cost_and_amount_go_by_dry_matter() -> None:
    # By hand: $210 / 2000 lb = $0.105 as fed; / 0.90 = $0.11667 a lb of dry matter; 4.5 lb dry are 5.0 as fed.
    found = checked_feed({**VALID, "price_ton": "210"})
    assert found.cost_lb_dm is not None and float(found.cost_lb_dm) == pytest.approx(0.116667, abs=1e-6)
    assert found.as_fed(D("4.5")) == 5


# Mullenix, Progressive Cattle 2022: 1,100 lb x 2 % = 22 lb, 24.7 lb as fed at 89 %. Radunz, Univ. of Wisconsin: 24 lb
# are 34 lb as fed at 70 %.
@pytest.mark.parametrize(("dry", "dm", "fed"), [("22", "89", 24.7), ("24", "70", 34.3)])
def test_pounds_as_fed_are_what_is_printed(dry: str, dm: str, fed: float) -> None:
    assert float(checked_feed({**VALID, "dm": dm}).as_fed(D(dry))) == pytest.approx(fed, abs=0.05)


@pytest.mark.parametrize(
    ("field", "text", "code"),
    [
        ("key", "Pea screenings", "not-a-feed-key"),
        ("kind", "magic", "unknown-feed-kind"),
        ("dm", "9", "feed-implausible"),
        ("cp", "2o", "not-a-number"),
        ("tdn", "", "feed-incomplete"),
        ("fat", "-1", "feed-implausible"),
        ("most_bw", "5", "feed-implausible"),
        ("price_ton", "0.2", "feed-implausible"),
        ("marks", "poison", "unknown-feed-mark"),
        ("offered", "maybe", "not-yes-or-no"),
        ("year", "soon", "not-a-count"),
        ("colour", "red", "unknown-feed-value"),
    ],
)
def test_one_value_spoiled_is_refused_by_its_name(field: str, text: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        checked_feed({**VALID, field: text})
    assert (caught.value.code, caught.value.field) == (code, field) and caught.value.remedy
