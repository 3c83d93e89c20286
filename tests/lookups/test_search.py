"""Lots, producers and tags by what people remember."""

from __future__ import annotations

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from tests.makers import START, act, done, make_bag, make_lot, standing
from tracker.lookups import search as searching
from tracker.lookups.search import Found, search
from tracker.steps.add_people import add_producer
from tracker.steps.print_tags import void_tag
from tracker.storage.engine import Database


@pytest.fixture
def hay(season: Database) -> Database:
    """Four lots of two producers."""
    with season.act("make", "tove", {}) as session:
        add_producer(session, name="Ivo Élan", place="Orchard Lane", phone="000 0177", now=START)
        make_lot(session, field="Orchard", cutting="1")
        make_lot(session, field="Orchard", cutting="2")
        make_lot(session, field="Hill", cutting="2", forage="orchardgrass")
        make_lot(session, producer="Ivo Élan", field="Long field", cutting="3", forage="timothy")
    return season


def asked(season: Database, text: str, most: int = 50) -> Found:
    with season.read() as session:
        return search(session, text, most)


def lots(season: Database, text: str) -> list[int]:
    return [one.lot for one in asked(season, text).lots]


def test_second_cutting_orchard_finds_the_field_first_and_the_forage_after(hay: Database) -> None:
    # Lot 4 grew at Orchard Lane, but is a third cutting.
    assert lots(hay, "second cutting orchard") == [2, 3]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("orch", [4, 2, 1, 3]),
        ("HILL", [3]),
        ("elan", [4]),
        ("élan third", [4]),
        ("meadow 2nd", [3, 2]),
        ("oda orchard 1st", [1]),
        ("timothy", [4]),
        ("2026 oda", [3, 2, 1]),
        ("2025 oda", []),
        ("lot 3", [3]),
        ("lot 99", []),
        ("rchard", []),
        ("orchard hill second", [3]),
        ("%", []),
        ("", []),
    ],
)
def test_every_word_must_fit_and_the_newest_come_first(hay: Database, text: str, found: list[int]) -> None:
    assert lots(hay, text) == found


def test_the_answer_is_the_same_whether_a_word_is_rare_or_common(
    hay: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts = ("orch", "meadow 2nd", "oda orchard 1st", "second cutting orchard", "long")
    rare = [set(lots(hay, text)) for text in texts]
    monkeypatch.setattr(searching, "FEW_FIELDS", 0)
    assert [set(lots(hay, text)) for text in texts] == rare
    assert any(rare)


def test_producers_are_found_by_name_and_place_with_their_telephone(hay: Database) -> None:
    (found,) = asked(hay, "lane").producers
    assert (found.producer, found.phone, found.fields) == ("Ivo Élan", "000 0177", 1)


def test_a_tag_is_found_by_either_group_of_its_code(hay: Database) -> None:
    with hay.act("make", "tove", {}) as session:
        sample = make_bag(session, field="Far", cutting="1")
    code = str(standing(hay, sample).code)
    for part in (code[:4].lower(), code[4:], f"{code[:4]}-{code[4:]}"):
        assert [one.code.replace("-", "") for one in asked(hay, part).tags] == [code], part
    assert asked(hay, code[2:6]).tags == ()
    (found,) = asked(hay, code).tags
    assert (found.state, found.lot, found.field) == ("bound", sample.lot_id, "Far")


def test_more_than_is_shown_is_said(hay: Database) -> None:
    found = asked(hay, "orch", 2)
    assert (len(found.lots), found.more) == (2, True)
    assert not asked(hay, "orch", 4).more


def test_a_void_tag_is_still_found(hay: Database) -> None:
    def spoil(session: Session) -> str:
        from tests.makers import make_tag

        code = make_tag(session)
        void_tag(session, code, act(session, "tove", 9), reason="torn")
        return code

    with hay.act("make", "tove", {}) as session:
        code = spoil(session)
    assert asked(hay, code[:4]).tags[0].state == "void"


def test_a_name_is_sought_by_its_word_however_many_others_there_are(season: Database) -> None:
    done(season, lambda s: make_lot(s, field="Long field"))
    if season.engine.dialect.name != "sqlite":
        pytest.skip("PostgreSQL chooses by how many rows there are, and a test has few")
    with season.read() as session:
        wanted = searching._subjects(session, searching.FIELD, ["long"])
        words = wanted.compile(season.engine, compile_kwargs={"literal_binds": True})
        plan = [str(row[3]) for row in session.execute(text(f"explain query plan {words}"))]
    assert len(plan) == 1 and "word>" in plan[0], plan
