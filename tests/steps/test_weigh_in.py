"""Weighing the sack: empty, with fresh hay, with dry hay, and again blind."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import select, text
from sqlalchemy.orm import Session

from tests.makers import (
    act,
    done,
    kinds,
    life,
    made,
    make_dried,
    make_out_of_oven,
    make_received,
    make_weighed,
    refused,
    remarks,
    standing,
    weighed,
)
from tracker.domain.practice import COMMON
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.engine import Database
from tracker.storage.intake import Weighing, partial_dm_of, weighings_in_force


def put_on(
    session: Session,
    sample: Sample,
    what: str,
    grams: str,
    who: str = "carl",
    minute: float = 1300,
    **more: Any,
) -> EventRow:
    return weigh(session, sample, what, grams, act(session, who, minute), **{"balance": "B1", **more})


def test_a_reading_keeps_its_last_digit_in_the_table_and_in_the_log(season: Database) -> None:
    sample = made(season, make_received)
    done(season, lambda s: put_on(s, sample, "tare", "20.0", minute=250))
    done(season, lambda s: put_on(s, sample, "fresh", "250.0", minute=251))
    assert [str(grams) for _, grams in weighed(season, sample)] == ["20.0", "250.0"]
    assert life(season, sample)[-1].data["grams"] == "250.0"
    with season.read() as session:
        assert session.scalar(text("select grams from weighing where what = 'fresh'")) == "250.0"


def test_who_looked_at_the_standing_before_sees_what_came_after(season: Database) -> None:
    with season.act("make", "carl", {}) as session:
        sample = make_received(session)
        looked_at = session.get_one(StandingRow, sample.id)
        before = looked_at.last_at
        event = put_on(session, sample, "tare", "18.60")
        # Both were written past the session, which must give them as they are in the tables.
        assert before < looked_at.last_at == event.occurred_at
        assert session.get_one(EventRow, event.seq).event_id == event.event_id and event not in session
        assert (
            session.execute(text("select count(*) from event where seq = :seq"), {"seq": event.seq}).scalar()
            == 1
        )


def test_the_way_of_a_sack_over_the_balance(season: Database) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: put_on(s, sample, "dry again", "251.0"))
    assert kinds(season, sample)[-7:] == [
        "received",
        "tare weighed",
        "fresh weighed",
        "oven in",
        "oven out",
        "dry weighed",
        "dry weighed again",
    ]
    assert remarks(life(season, sample)[-1]) == []
    with season.read() as session:
        partial = partial_dm_of(weighings_in_force(session, sample.id), COMMON)
    # By hand: (251.1 - 18.6) / (268.6 - 18.6) = 232.5 / 250.0 = 93.0 %.
    assert partial is not None and partial.value == Decimal("93.0")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"grams": "-3"}, "not-a-weight"),
        ({"grams": "0"}, "not-a-weight"),
        ({"grams": "100000"}, "not-a-weight"),
        ({"grams": "250,0"}, "not-a-number"),
        ({"grams": ""}, "not-a-number"),
        ({"grams": "18.6"}, "gross-not-above-tare"),
        ({"what": "moist"}, "unknown-weighing"),
        ({"what": "composite"}, "unknown-weighing"),
        ({"what": "dry"}, "wrong-state"),
        ({"step": "0"}, "not-a-weight"),
        ({"who": "ulf"}, "not-the-holder"),
    ],
)
def test_a_fresh_weight_spoiled_in_one_field_is_not_kept(
    season: Database, changes: dict[str, Any], code: str
) -> None:
    sample = made(season, make_received)
    done(season, lambda s: put_on(s, sample, "tare", "18.6", minute=250))
    given = {"what": "fresh", "grams": "268.6", "who": "carl", "minute": 251, **changes}
    assert refused(season, lambda s: put_on(s, sample, **given), **changes).code == code


def test_sack_and_hay_together_want_a_tare(season: Database) -> None:
    sample = made(season, make_received)
    assert refused(season, lambda s: put_on(s, sample, "fresh", "268.6", minute=250)).code == "tare-missing"


def test_a_balance_zeroed_on_the_sack_wants_none(season: Database) -> None:
    sample = made(season, make_received)
    row = done(season, lambda s: put_on(s, sample, "fresh", "250.0", minute=250, zeroed=True))
    assert (row.data["zeroed"], standing(season, sample).state) == (True, "weighed")


def test_a_tare_does_not_change_under_a_fresh_weight(season: Database) -> None:
    sample = made(season, make_weighed)
    assert refused(season, lambda s: put_on(s, sample, "tare", "19.0", minute=255)).code == "tare-after-fresh"


def test_a_sample_on_hold_is_not_weighed_fresh(season: Database) -> None:
    sample = made(season, make_received, condition=["wet"])
    done(season, lambda s: put_on(s, sample, "tare", "18.6", minute=250))
    assert refused(season, lambda s: put_on(s, sample, "fresh", "268.6", minute=251)).code == "on-hold"


def test_a_colleague_of_the_laboratory_weighs_what_another_has(season: Database) -> None:
    sample = made(season, make_received)
    row = done(season, lambda s: put_on(s, sample, "tare", "18.6", "ana", 250))
    assert (row.by, row.role) == ("ana", "analyst")


def test_more_dry_than_fresh_goes_on_hold_and_both_weights_stay(season: Database) -> None:
    sample = made(season, make_dried, dry="271.0")
    assert weighed(season, sample)[1:] == [("fresh", Decimal("268.6")), ("dry", Decimal("271.0"))]
    assert "dry-above-fresh" in remarks(life(season, sample)[-1])
    assert standing(season, sample).on_hold
    with season.read() as session:
        assert partial_dm_of(weighings_in_force(session, sample.id), COMMON) is None


def test_dry_matter_that_hay_does_not_have_is_remarked_on(season: Database) -> None:
    # By hand: (118.6 - 18.6) / 250.0 = 40 %; under 60 % is implausible for hay (common practice).
    sample = made(season, make_dried, dry="118.6")
    found = life(season, sample)[-1]
    assert remarks(found) != [] and "implausible" in found.data["findings"][0]["words"]
    assert not standing(season, sample).on_hold


def test_a_second_dry_weight_that_differs_is_remarked_on(season: Database) -> None:
    sample = made(season, make_dried)
    # 2.1 g of 250.0 g is 0.84 %; 0.5 % is allowed (1 g on 200 g, extension microwave drying pages).
    done(season, lambda s: put_on(s, sample, "dry again", "249.0"))
    assert remarks(life(season, sample)[-1]) == ["dry-weighings-differ"]


def test_the_same_reading_for_the_next_sack_is_remarked_on(season: Database) -> None:
    made(season, make_weighed)
    sample = made(season, make_received, field="Hill")
    done(season, lambda s: put_on(s, sample, "tare", "18.7", minute=252))
    done(season, lambda s: put_on(s, sample, "fresh", "268.6", minute=253))
    assert remarks(life(season, sample)[-1]) == []
    third = made(season, make_received, field="Dale")
    done(season, lambda s: put_on(s, third, "tare", "18.8", minute=254))
    done(season, lambda s: put_on(s, third, "fresh", "268.6", minute=255))
    assert "same-as-before" not in remarks(life(season, third)[-1])
    fourth = made(season, make_received, field="Moor")
    done(season, lambda s: put_on(s, fourth, "tare", "18.8", minute=256, balance="B2"))
    fifth = made(season, make_received, field="Fen")
    done(season, lambda s: put_on(s, fifth, "tare", "18.8", minute=257, balance="B2"))
    assert remarks(life(season, fifth)[-1]) == ["same-as-before"]


@pytest.mark.parametrize(
    ("fresh", "code"),
    [
        ("20.0", "hardly-any-hay"),
        ("118.6", "composite-short"),
        ("668.6", "composite-large"),
        # 100 g is more than 40 % from the 276 g of the plan (our choice).
        ("118.6", "composite-far"),
    ],
)
def test_a_composite_sample_of_odd_mass_is_remarked_on(season: Database, fresh: str, code: str) -> None:
    sample = made(season, make_weighed, fresh=fresh)
    assert code in remarks(life(season, sample)[-1])
    assert standing(season, sample).on_hold is (code == "hardly-any-hay")


BATCH = [Decimal(f"18.{digit}") for digit in range(10)]


def test_a_tare_from_a_batch_of_sacks_is_their_mean(season: Database) -> None:
    sample = made(season, make_received)
    done(season, lambda s: put_on(s, sample, "tare", "18.6", minute=250, batch=BATCH))
    with season.read() as session:
        row = session.scalars(select(Weighing)).one()
    # By hand: mean of 18.0 to 18.9 is 18.45; SD (n - 1) is 0.1 x sqrt(82.5 / 9) = 0.3028.
    assert (row.grams, row.batch_n, str(row.batch_sd)[:6]) == (Decimal("18.45"), 10, "0.3027")


def test_a_tare_from_too_few_sacks_is_refused(season: Database) -> None:
    sample = made(season, make_received)
    answer = refused(season, lambda s: put_on(s, sample, "tare", "18.6", minute=250, batch=BATCH[:9]))
    assert answer.code == "too-few-tares"


def test_only_a_tare_is_taken_from_a_batch(season: Database) -> None:
    sample = made(season, make_received)
    done(season, lambda s: put_on(s, sample, "tare", "18.6", minute=250))
    answer = refused(season, lambda s: put_on(s, sample, "fresh", "268.6", minute=251, batch=BATCH))
    assert (answer.code, answer.field) == ("unknown-weighing", "batch")


def test_dry_hay_is_weighed_after_the_oven(season: Database) -> None:
    sample = made(season, make_out_of_oven)
    assert refused(season, lambda s: put_on(s, sample, "dry again", "251.0")).code == "wrong-state"
    done(season, lambda s: put_on(s, sample, "dry", "251.1"))
    assert standing(season, sample).state == "dried"


def test_a_weighing_is_never_changed(season: Database) -> None:
    sample = made(season, make_weighed)
    with season.engine.connect() as connection, pytest.raises(Exception, match="weighing only grows"):
        connection.execute(text(f"update weighing set grams = '1' where sample_id = {sample.id}"))
