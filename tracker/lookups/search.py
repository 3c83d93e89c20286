"""Find lots, producers and tags by what people remember: part of a code, a name, "second cutting orchard".

A word is tried as the beginning of a name first, and then as what it says of the lot. Every question starts from
the rarest word where that is rare, and from the newest lots where no word is, so that no answer needs a look at
every lot.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, false, func, select
from sqlalchemy.orm import Session, aliased

from labels import payload
from tracker.domain.search_text import Word, code_part, remembered
from tracker.lookups.find import lot_number
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer
from tracker.storage.search_words import FIELD, PRODUCER, TAG, SearchWord, begins_with, how_many
from tracker.storage.tags import Tag

MOST_SHOWN = 50
# From more fields than these it is quicker to look at the newest lots.
FEW_FIELDS = 2_000
# From more producers these are found by walking along their names.
FEW_PRODUCERS = 2_000
# Of more words that mean two things only the first reading is tried.
MOST_DOUBTS = 3


@dataclass(frozen=True)
class FoundLot:
    """One lot that fits. code and state are those of its newest sample, code as printed."""

    lot: int
    producer: str
    field: str
    season: int
    cutting: int
    part: str
    forage: str
    code: str | None
    state: str


@dataclass(frozen=True)
class FoundTag:
    """One tag that fits. lot is None while the tag names no bag and was printed for no lot."""

    code: str
    state: str
    lot: int | None
    field: str
    producer: str


@dataclass(frozen=True)
class FoundProducer:
    """One producer who fits. fields: how many fields are known of him."""

    producer: str
    place: str
    phone: str
    fields: int


@dataclass(frozen=True)
class Found:
    """What fits, at most `most` of each; more: whether there is more than is shown."""

    tags: tuple[FoundTag, ...]
    lots: tuple[FoundLot, ...]
    producers: tuple[FoundProducer, ...]
    more: bool

    @property
    def nothing(self) -> bool:
        return not (self.tags or self.lots or self.producers)


def search(session: Session, text: str, most: int = MOST_SHOWN) -> Found:
    """What fits the words; the newest lots first. Nothing asked is nothing found."""
    number = lot_number(text)
    words = remembered(text)
    lots = _lots(session, [number] if number is not None else _fitting(session, words, most + 1))
    tags = _tags(session, code_part(text), most + 1)
    producers = _producers(session, words, most + 1)
    more = any(len(found) > most for found in (lots, tags, producers))
    return Found(tags[:most], lots[:most], producers[:most], more)


def _fitting(session: Session, words: Sequence[Word], most: int) -> list[int]:
    """Numbers of the lots that fit, by the readings of the words one after the other."""
    doubts = 0
    readings: list[tuple[bool, ...]] = []
    for word in words:
        open_ = word.more_than_a_name and doubts < MOST_DOUBTS
        doubts += open_
        readings.append((True, False) if open_ else (True,))
    found: dict[int, None] = {}
    for as_names in product(*readings) if words else ():
        names = [word.text for word, is_name in zip(words, as_names, strict=True) if is_name]
        said = [_said(word) for word, is_name in zip(words, as_names, strict=True) if not is_name]
        found.update(dict.fromkeys(_reading(session, names, said, most)))
        if len(found) >= most:
            break
    return list(found)[:most]


def _said(word: Word) -> ColumnElement[bool]:
    if word.cutting is not None:
        return Lot.cutting == word.cutting
    if word.season is not None:
        return Lot.season == word.season
    return Lot.forage.in_(word.forages)


def _reading(
    session: Session, names: Sequence[str], said: Sequence[ColumnElement[bool]], most: int
) -> Sequence[int]:
    """The newest lots by one reading: all of these names, and all that is said of the lot."""
    wanted = select(Lot.id).where(*said)
    newest = wanted.order_by(Lot.id.desc()).limit(most)
    if not names:
        return session.scalars(newest).all()
    few = _subjects(session, FIELD, names).limit(FEW_FIELDS + 1)
    fields = session.scalars(few).all()
    if len(fields) > FEW_FIELDS:
        return session.scalars(newest.where(*(_named(FIELD, name, Lot.field_id) for name in names))).all()
    # Put in order here: asked for the newest, a database would walk through all lots to find the few.
    found = session.scalars(wanted.where(Lot.field_id.in_(fields))).all() if fields else ()
    return sorted(found, reverse=True)[:most]


def _subjects(session: Session, kind: str, names: Iterable[str]) -> Select[Any]:
    """The ids of those with a word that begins like each of the names, sought from the rarest.

    Once for each word that does so: to leave out what comes twice SQLite would walk through every word there is.
    """
    counts = {name: how_many(session, kind, name, FEW_FIELDS + 1) for name in names}
    rarest, *others = sorted(counts, key=lambda name: counts[name])
    too = (_named(kind, name, SearchWord.subject_id) for name in others)
    found = select(SearchWord.subject_id).where(SearchWord.kind == kind, begins_with(rarest), *too)
    return found if counts[rarest] else found.where(false())


def _named(kind: str, name: str, subject: ColumnElement[int] | object) -> ColumnElement[bool]:
    one = aliased(SearchWord)
    return exists().where(and_(one.kind == kind, one.subject_id == subject, begins_with(name, one)))


def _lots(session: Session, numbers: Sequence[int]) -> tuple[FoundLot, ...]:
    wanted = (
        select(Lot, Field.name, Producer.name, StandingRow.code, StandingRow.state)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .outerjoin(Sample, Sample.lot_id == Lot.id)
        .outerjoin(StandingRow, StandingRow.sample_id == Sample.id)
        .where(Lot.id.in_(numbers))
        .order_by(Sample.number)
    )
    found = {
        lot.id: FoundLot(
            lot=lot.id,
            producer=producer,
            field=field,
            season=lot.season,
            cutting=lot.cutting,
            part=lot.part,
            forage=lot.forage,
            code=payload.shown(code) if code else None,
            state=state or "registered",
        )
        for lot, field, producer, code, state in session.execute(wanted)
    }
    return tuple(found[number] for number in numbers if number in found)


def _tags(session: Session, part: str, most: int) -> tuple[FoundTag, ...]:
    """Tags whose code begins so, or whose second group does; people remember the group they see last."""
    if not part:
        return ()
    ends = select(SearchWord.subject_id).where(SearchWord.kind == TAG, begins_with(part))
    found: dict[int, Tag] = {}
    for asked in (Tag.code.between(part, part.ljust(payload.CODE_LENGTH, "Z")), Tag.id.in_(ends)):
        rows = session.scalars(select(Tag).where(asked).order_by(Tag.code).limit(most))
        found.update({row.id: row for row in rows})
    lots = {row.lot: row for row in _lots(session, [tag.lot_id for tag in found.values() if tag.lot_id])}
    return tuple(_tag(tag, lots.get(tag.lot_id or 0)) for tag in found.values())[:most]


def _tag(tag: Tag, lot: FoundLot | None) -> FoundTag:
    return FoundTag(
        payload.shown(tag.code),
        tag.state,
        tag.lot_id,
        lot.field if lot else "",
        lot.producer if lot else "",
    )


def _producers(session: Session, words: Sequence[Word], most: int) -> tuple[FoundProducer, ...]:
    if not words:
        return ()
    subjects = _subjects(session, PRODUCER, [word.text for word in words])
    few = session.scalars(subjects.limit(FEW_PRODUCERS + 1)).all()
    fields = select(func.count()).where(Field.producer_id == Producer.id).scalar_subquery()
    wanted = select(Producer, fields)
    if len(few) > FEW_PRODUCERS:
        rows = session.execute(
            wanted.where(Producer.id.in_(subjects)).order_by(Producer.name).limit(most)
        ).all()
    else:
        # Put in order here, as lots are; how many fields each has is counted for those that are shown.
        names = session.execute(select(Producer.name, Producer.id).where(Producer.id.in_(few))).all()
        shown = [number for _, number in sorted(names)[:most]]
        rows = session.execute(wanted.where(Producer.id.in_(shown)).order_by(Producer.name)).all()
    return tuple(FoundProducer(row.name, row.place, row.phone, count) for row, count in rows)
