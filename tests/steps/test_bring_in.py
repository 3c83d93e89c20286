"""Lists from a spreadsheet: tried first, then taken in, every line with its answer."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, everything, refused
from tracker.steps.bring_in import bring_in, try_in
from tracker.steps.register_lots import LineAnswer
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal
from tracker.storage.people import producer_named

PRODUCERS = (
    b"Name,Place,Phone,E-Mail\r\n"
    b"Nils Vane,Lower Mill,000 0188,nils@vane.example\r\n"
    b"Oda Meadow,Upper Mill,,\r\n"
    b",Nowhere,,\r\n"
    b"Siv Fen,,,siv at fen\r\n"
).replace(b"E-Mail", b"email")
LOTS = (
    b"producer,field,cutting,forage,harvested,bale_shape,bale_count\n"
    b"Oda Meadow,Hill,1,alfalfa,2026-06-01,round,40\n"
    b"Oda Meadow,Hill,1,alfalfa,2026-06-01,round,forty\n"
)


def taken(season: Database, kind: str, content: bytes, *, only_try: bool = False) -> tuple[LineAnswer, ...]:
    step = try_in if only_try else bring_in

    def do(session: Session) -> tuple[LineAnswer, ...]:
        return step(session, kind, "list.csv", content, act(session, "tove", 10))

    answers: tuple[LineAnswer, ...] = done(season, do)
    return answers


def told(answers: tuple[LineAnswer, ...]) -> list[tuple[int, str]]:
    return [
        (one.line, "known" if one.known else one.complaint.code if one.complaint else "new")
        for one in answers
    ]


def test_producers_come_in_line_by_line(season: Database) -> None:
    found = told(taken(season, "producers", PRODUCERS))
    assert found == [(2, "new"), (3, "known"), (4, "cell-empty"), (5, "not-an-address")]
    with season.read() as session:
        nils = producer_named(session, "Nils Vane")
        assert (nils.place, nils.phone, nils.email) == ("Lower Mill", "000 0188", "nils@vane.example")
        kept = session.query(KeptRefusal).order_by(KeptRefusal.id).all()
    assert [(row.code, row.line) for row in kept] == [("cell-empty", 4), ("not-an-address", 5)]
    assert kept[1].given["email"] == "siv at fen"


def test_taken_in_again_nothing_changes(season: Database) -> None:
    taken(season, "producers", PRODUCERS)
    before = everything(season)
    assert [what for _, what in told(taken(season, "producers", PRODUCERS))][:2] == ["known", "known"]
    assert everything(season) == before


def test_a_producer_with_other_values_is_a_contradiction_and_stays_as_he_is(season: Database) -> None:
    ((_, what),) = told(taken(season, "producers", b"name,place\nOda Meadow,Elsewhere\n"))
    assert what == "producer-known"
    with season.read() as session:
        assert producer_named(session, "Oda Meadow").place == "Upper Mill"


@pytest.mark.parametrize(("kind", "content"), [("producers", PRODUCERS), ("lots", LOTS)])
def test_a_trial_answers_the_same_and_keeps_nothing(season: Database, kind: str, content: bytes) -> None:
    before = everything(season)
    tried = told(taken(season, kind, content, only_try=True))
    assert everything(season) == before
    with season.read() as session:
        assert session.query(KeptRefusal).count() == 0
    assert told(taken(season, kind, content)) == tried
    assert "new" in [what for _, what in tried]


def test_a_list_that_keeps_others_waiting_is_not_tried(season: Database) -> None:
    long = b"name\n" + b"".join(b"Producer %d\n" % number for number in range(3001))
    found = refused(
        season, lambda session: try_in(session, "producers", "l.csv", long, act(session, "tove", 1))
    )
    assert found.code == "too-long-to-look-at"


def test_a_list_of_nothing_we_know_is_refused(season: Database) -> None:
    found = refused(
        season, lambda session: bring_in(session, "cows", "l.csv", b"a\n1\n", act(session, "tove", 1))
    )
    assert (found.code, "producers, fields, lots" in found.remedy) == ("unknown-list", True)


def test_a_file_that_is_another_list_says_which_columns_are_wanted(season: Database) -> None:
    found = refused(
        season, lambda session: bring_in(session, "producers", "l.csv", LOTS, act(session, "tove", 1))
    )
    assert found.code == "columns-missing" and "name" in found.message
