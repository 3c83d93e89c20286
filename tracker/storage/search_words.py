"""The words that fields, producers and tags are found by; made from their names, and again when those change."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import CheckConstraint, ColumnElement, Index, Text, and_, delete, func, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.domain.search_text import words_of
from tracker.storage.base import Base
from tracker.storage.lots import Field
from tracker.storage.people import Producer
from tracker.storage.tags import Tag

FIELD, PRODUCER, TAG = "field", "producer", "tag"
# A range of words must not depend on the server's language; SQLite compares so by itself.
BY_CODE_POINT = Text().with_variant(Text(collation="C"), "postgresql")
# Behind every letter that a word can go on with.
_BEYOND = "\U0010ffff"


class SearchWord(Base):
    """One word of a field's or a producer's names, or a tag code's second group.

    subject_id: the row's id in the table that kind names.
    """

    __tablename__ = "search_word"
    __table_args__ = (
        CheckConstraint("kind in ('field', 'producer', 'tag')", name="kind"),
        Index("ix_search_word_kind_subject_id_word", "kind", "subject_id", "word"),
    )

    kind: Mapped[str] = mapped_column(Text, primary_key=True)
    word: Mapped[str] = mapped_column(BY_CODE_POINT, primary_key=True)
    subject_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)


def keep_field_words(session: Session, field: Field, producer: Producer) -> None:
    """Let the field be found by its own name and its producer's."""
    _keep(session, FIELD, field.id, words_of(field.name, producer.name, producer.place))


def keep_producer_words(session: Session, producer: Producer) -> None:
    """Let the producer be found by name and place, and all his fields too."""
    _keep(session, PRODUCER, producer.id, words_of(producer.name, producer.place))
    for field in session.scalars(select(Field).where(Field.producer_id == producer.id)):
        keep_field_words(session, field, producer)


def keep_tag_words(session: Session, tags: Iterable[Tag]) -> None:
    """Let tags be found by the second group of their codes: the first is found by the code's own index."""
    rows = [{"kind": TAG, "word": tag.code[4:], "subject_id": tag.id} for tag in tags]
    if rows:
        session.execute(insert(SearchWord), rows)


def _keep(session: Session, kind: str, subject_id: int, words: frozenset[str]) -> None:
    mine = (SearchWord.kind == kind, SearchWord.subject_id == subject_id)
    known = set(session.scalars(select(SearchWord.word).where(*mine)))
    if gone := known - words:
        session.execute(delete(SearchWord).where(*mine, SearchWord.word.in_(gone)))
    session.add_all(SearchWord(kind=kind, word=word, subject_id=subject_id) for word in words - known)
    session.flush()


def begins_with(text: str, row: type[SearchWord] = SearchWord) -> ColumnElement[bool]:
    """The words that begin so: a range, which an index answers."""
    # Not BETWEEN: there PostgreSQL takes no word about the order.
    return and_(row.word >= text, row.word <= text + _BEYOND)


def how_many(session: Session, kind: str, text: str, most: int) -> int:
    """How many words of this kind begin so, counted up to most."""
    few = select(SearchWord.subject_id).where(SearchWord.kind == kind, begins_with(text)).limit(most)
    return session.scalar(select(func.count()).select_from(few.subquery())) or 0
