"""What has been kept long enough goes by an act of its own; what has not, goes by nothing."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import IntegrityError

from tests.makers import act, at, done, life, made, make_bag, make_received, refused
from tests.result_files import Bench, release, row, taken_in, written
from tracker.lookups.log_check import check_log
from tracker.lookups.retention import Kept, kept
from tracker.steps.add_people import add_party
from tracker.steps.dispose_data import dispose_data
from tracker.steps.end_sample import dispose
from tracker.steps.hold import hold
from tracker.steps.keep_photo import keep_photo
from tracker.steps.note_access import note_access
from tracker.steps.set_practice import set_practice
from tracker.storage.access import AccessEntry
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.intake import Photo
from tracker.storage.kept import KeptRefusal

DAY = 24 * 60
PNG = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(8) + b"IEND\xaeB`\x82"


def count(season: Database, what: Any) -> int:
    with season.read() as session:
        return session.scalar(select(func.count()).select_from(what)) or 0


def listed(season: Database, day: float) -> dict[str, Kept]:
    with season.read() as session:
        return {one.name: one for one in kept(session, at(day * DAY))}


def gone(season: Database, what: str, day: float) -> EventRow:
    event: EventRow = done(
        season, lambda s: dispose_data(s, what, act(s, "lena", day * DAY), reason="their time is over")
    )
    return event


def photographed(season: Database) -> None:
    sample = made(season, make_received)
    seq = life(season, sample)[-1].seq
    done(season, lambda s: keep_photo(s, s.get_one(EventRow, seq), PNG))


def test_photos_go_after_their_time_and_their_entry_stays(season: Database) -> None:
    photographed(season)
    assert listed(season, 1095)["photos"].due == 0
    found = refused(season, lambda s: dispose_data(s, "photos", act(s, "lena", 1095 * DAY), reason="x"))
    assert found.code == "nothing-due"
    assert listed(season, 1097)["photos"].due == 1
    event = gone(season, "photos", 1097)
    assert event.kind == "data disposed" and event.data["rows"] == {"photo": "1"}
    assert event.data["reason"] == "their time is over" and event.by == "lena"
    assert count(season, Photo) == 0
    with season.read() as session:
        assert check_log(session).whole


def test_the_tables_let_go_only_what_a_disposal_names(season: Database) -> None:
    photographed(season)
    with pytest.raises(IntegrityError, match="photo only grows"):
        done(season, lambda s: s.execute(text("delete from photo")))
    # A disposal of other things frees no photo.
    done(season, lambda s: note_access(s, at(0), "signed in", "carl", "127.0.0.1"))
    gone(season, "sign-ins", 400)
    with pytest.raises(IntegrityError, match="photo only grows"):
        done(season, lambda s: s.execute(text("delete from photo")))


def test_a_photo_of_yesterday_stays_when_an_old_one_goes(season: Database) -> None:
    photographed(season)
    sample = made(season, make_bag, field="Hill")

    def later(session: Any) -> None:
        event = hold(session, sample, act(session, "carl", 1100 * DAY), reason="torn")
        keep_photo(session, event, PNG)

    done(season, later)
    gone(season, "photos", 1101)
    assert count(season, Photo) == 1
    with pytest.raises(IntegrityError, match="photo only grows"):
        done(season, lambda s: s.execute(text("delete from photo")))


def test_refusals_and_comings_go_after_theirs(season: Database) -> None:
    refused(season, lambda s: add_party(s, key="No Key", name="Eva", role="clerk", now=at(0)))
    done(season, lambda s: note_access(s, at(0), "signed in", "carl", "127.0.0.1"))
    done(season, lambda s: note_access(s, at(390 * DAY), "signed in", "carl", "127.0.0.1"))
    assert gone(season, "sign-ins", 400).data["rows"]["access_entry"] == "1"
    assert count(season, AccessEntry) == 1
    assert gone(season, "refusals", 1200).data["rows"] == {"kept_refusal": "1"}
    assert count(season, KeptRefusal) == 0


@pytest.mark.parametrize(
    ("by", "what", "reason", "code"),
    [
        ("carl", "photos", "over", "not-allowed"),
        ("lena", "log", "over", "not-a-choice"),
        ("lena", "rests", "over", "not-a-choice"),
        ("lena", "photos", " ", "reason-missing"),
    ],
)
def test_a_disposal_is_a_leads_act_with_a_reason_and_never_of_the_log(
    season: Database, by: str, what: str, reason: str, code: str
) -> None:
    photographed(season)
    found = refused(season, lambda s: dispose_data(s, what, act(s, by, 2000 * DAY), reason=reason), by=by)
    assert found.code == code


def test_the_log_is_never_due(season: Database) -> None:
    made(season, make_received)
    found = listed(season, 40_000)["log"]
    assert (found.days, found.before, found.due) == (None, None, 0)


def test_hay_that_was_reported_long_ago_is_to_be_thrown_away_and_said_by_its_tag(bench: Bench) -> None:
    taken_in(bench, written([row(bench.codes[0])]))
    done(bench.season, lambda s: release(s, bench.samples[0]))
    assert listed(bench.season, 180)["rests"].samples == ()
    due = listed(bench.season, 183)["rests"]
    assert due.samples == (bench.codes[0],) and due.due == 1 and "tracker dispose" in due.act
    done(
        bench.season,
        lambda s: dispose(s, bench.samples[0], act(s, "ana", 183 * DAY), method="compost"),
    )
    assert listed(bench.season, 400)["rests"].samples == ()


def test_a_changed_span_counts_from_then_on(season: Database) -> None:
    photographed(season)
    done(
        season,
        lambda s: set_practice(s, "keep_photos_days", "10", act(s, "lena", 1), source="we", reason="less"),
    )
    assert listed(season, 12)["photos"].due == 1
    assert listed(season, 12)["photos"].before == (at(12 * DAY) - timedelta(days=10)).date()
