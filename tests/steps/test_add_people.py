"""Taking in people, places, carriers and producers."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import START, done, refused
from tracker.lookups.lots import parties, producers
from tracker.steps.add_people import add_party, add_producer
from tracker.storage.engine import Database
from tracker.storage.people import PartyRow, Producer, party

GOOD: dict[str, Any] = {"key": "marit-2", "name": "Marit  Sund ", "kind": "person", "role": "analyst"}


def added(session: Session, **changes: Any) -> PartyRow:
    return add_party(session, **{**GOOD, **changes}, now=START)


def producer(session: Session, name: str = "Hal Ridge", **more: str) -> Producer:
    return add_producer(session, name=name, now=START, **more)


def test_a_person_is_known_by_a_short_name(season: Database) -> None:
    done(season, added)
    with season.read() as session:
        found = party(session, "marit-2")
    assert (found.name, found.kind, found.role, found.secure) == ("Marit Sund", "person", "analyst", False)


@pytest.mark.parametrize("kind", ["place", "carrier"])
def test_a_place_or_a_carrier_has_no_role(season: Database, kind: str) -> None:
    done(season, lambda s: added(s, kind=kind, role=""))
    assert refused(season, lambda s: added(s, key="other", kind=kind)).code == "not-a-role"


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"key": ""}, "not-a-key"),
        ({"key": "Marit"}, "not-a-key"),
        ({"key": "2marit"}, "not-a-key"),
        ({"key": "marit\n"}, "not-a-key"),
        ({"key": "m" * 41}, "not-a-key"),
        ({"key": "tove"}, "key-taken"),
        ({"name": " \t"}, "name-missing"),
        ({"kind": "dog"}, "not-a-party-kind"),
        ({"role": ""}, "not-a-role"),
        ({"role": "boss"}, "not-a-role"),
    ],
)
def test_a_person_spoiled_in_one_field_is_not_taken_in(
    season: Database, changes: dict[str, str], code: str
) -> None:
    assert refused(season, lambda s: added(s, **changes), **changes).code == code


def test_everyone_is_listed_by_short_name(season: Database) -> None:
    done(season, added)
    with season.read() as session:
        keys = [one.key for one in parties(session)]
    assert keys == ["ana", "box", "carl", "lena", "marit-2", "shelf", "store", "tove", "ulf", "van"]


def test_a_producer_is_taken_in_with_what_is_known(season: Database) -> None:
    done(season, lambda s: producer(s, " Hal  Ridge", phone=" 555 0100 ", place="Lower Mill"))
    with season.read() as session:
        first, second = producers(session)
    assert (first.name, first.phone, first.email, first.place) == ("Hal Ridge", "555 0100", "", "Lower Mill")
    assert second.name == "Oda Meadow"


@pytest.mark.parametrize(("name", "code"), [(" ", "name-missing"), ("Oda  Meadow", "producer-known")])
def test_a_producer_without_a_name_or_known_already_is_not_taken_in(
    season: Database, name: str, code: str
) -> None:
    assert refused(season, lambda s: producer(s, name), name=name).code == code
