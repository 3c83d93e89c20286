"""A file that was looked at is there for its import, on whichever server that is asked of, and not for ever."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest

from tests.makers import at, done
from tracker.errors import Refused
from tracker.steps.keep_upload import KEPT_FOR, forget_upload, keep_upload, kept_upload
from tracker.storage.engine import Database

CONTENT = b"Sample,CP % DM\n7K2M9QXQ,18.6\n"


def kept(season: Database, digest: str) -> bytes:
    # Another program of the same programme has its own connections and nothing else in common.
    other = Database(season.url)
    try:
        with other.read() as session:
            return kept_upload(session, digest)
    finally:
        other.close()


def test_a_file_is_found_by_what_is_in_it(season: Database) -> None:
    digest = done(season, lambda s: keep_upload(s, CONTENT, at(0)))
    assert digest == hashlib.sha256(CONTENT).hexdigest()
    assert kept(season, digest) == CONTENT


def test_a_file_looked_at_twice_is_kept_once(season: Database) -> None:
    first = done(season, lambda s: keep_upload(s, CONTENT, at(0)))
    assert done(season, lambda s: keep_upload(s, CONTENT, at(5))) == first


def test_a_file_taken_in_is_let_go_of(season: Database) -> None:
    digest = done(season, lambda s: keep_upload(s, CONTENT, at(0)))
    done(season, lambda s: forget_upload(s, digest))
    with pytest.raises(Refused) as caught:
        kept(season, digest)
    assert caught.value.code == "upload-gone"


def test_a_file_is_let_go_of_after_a_day(season: Database) -> None:
    digest = done(season, lambda s: keep_upload(s, CONTENT, at(0)))
    done(season, lambda s: keep_upload(s, b"another", at(0) + KEPT_FOR))
    assert kept(season, digest) == CONTENT
    done(season, lambda s: keep_upload(s, b"a third", at(0) + KEPT_FOR + timedelta(seconds=1)))
    with pytest.raises(Refused):
        kept(season, digest)


@pytest.mark.parametrize("digest", ["", "../../etc/passwd", "0" * 64])
def test_no_other_name_opens_anything(season: Database, digest: str) -> None:
    with pytest.raises(Refused) as caught:
        kept(season, digest)
    assert caught.value.code == "upload-gone"
