"""A picture is kept whole or refused."""

from __future__ import annotations

import hashlib

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import act, done, made, make_received, refused
from tracker.steps.keep_photo import MOST_BYTES, add_photo, keep_photo
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.intake import Photo

START, END = b"\xff\xd8\xff", b"\xff\xd9"


def kept(season: Database, content: bytes) -> None:
    made(season, make_received)
    done(season, lambda session: keep_photo(session, _last(session), content))


def _last(session: Session) -> EventRow:
    return session.scalars(select(EventRow).order_by(EventRow.seq.desc()).limit(1)).one()


def test_a_picture_of_5_mb_is_kept_with_its_hash(season: Database) -> None:
    content = START + bytes(MOST_BYTES - 5) + END
    kept(season, content)
    with season.read() as session:
        photo = session.scalars(select(Photo)).one()
    assert (photo.sha256, photo.kind) == (hashlib.sha256(content).hexdigest(), "image/jpeg")
    assert photo.content == content


def test_a_picture_of_one_byte_more_is_refused(season: Database) -> None:
    made(season, make_received)
    content = START + bytes(MOST_BYTES - 4) + END
    caught = refused(season, lambda session: keep_photo(session, _last(session), content))
    assert caught.code == "photo-too-large"


@pytest.mark.parametrize("content", [b"", START, END, b"%PDF-1.7", START + b"cut off"])
def test_what_is_no_whole_picture_is_refused(season: Database, content: bytes) -> None:
    made(season, make_received)
    caught = refused(season, lambda session: keep_photo(session, _last(session), content))
    assert caught.code == "not-a-photo"


def test_a_picture_is_added_to_an_entry_by_whoever_made_it(season: Database) -> None:
    made(season, make_received)
    content = START + b"whole" + END
    with season.read() as session:
        seq = _last(session).seq
    caught = refused(season, lambda s: add_photo(s, seq, content, act(s, "ana", 250)))
    assert caught.code == "not-own-entry"
    caught = refused(season, lambda s: add_photo(s, 2**40, content, act(s, "carl", 250)))
    assert caught.code == "unknown-entry"
    done(season, lambda s: add_photo(s, seq, content, act(s, "carl", 250)))
    with season.read() as session:
        photo = session.scalars(select(Photo)).one()
        assert (photo.event_id, photo.content) == (_last(session).event_id, content)
