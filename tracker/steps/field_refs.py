"""What a phone's entry is about: lots and samples that the office knows, or that another entry made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload as codes
from tracker.domain.custody import ENDED, Party, fold
from tracker.domain.tag import VOID
from tracker.errors import NotFound, Refused
from tracker.storage.base import LARGEST_ID
from tracker.storage.coring import Sample, samples_of
from tracker.storage.custody import StandingRow, events_of
from tracker.storage.field import answer_to
from tracker.storage.lots import Lot, lot_numbered
from tracker.storage.tags import rivals, tag_coded

Payload = Mapping[str, Any]


class Waits(Exception):
    """The entry hangs on another one that is not here yet; it stays with the office and is tried again."""


@dataclass(frozen=True)
class Made:
    """What an entry made or was about: numbers of the office, and a tag's code."""

    lot: int | None = None
    sample: int | None = None
    code: str | None = None

    def as_data(self) -> dict[str, Any]:
        """Plain values, for the answer."""
        return {"lot": self.lot, "sample": self.sample, "code": self.code}


def text(payload: Payload, name: str, *, needed: bool = False) -> str:
    """A short text of the entry. Raises Refused `entry-incomplete` where it is needed and missing, or is no text."""
    value = payload.get(name)
    said = "" if value is None else str(value).strip() if isinstance(value, (str, int)) else None
    if said is not None and not all(letter.isprintable() or letter in "\n\t" for letter in said):
        said = None
    if said is None or (needed and not said):
        raise Refused(
            "entry-incomplete",
            f"The entry needs {name.replace('_', ' ')}.",
            field=name,
            remedy="Fill it in, and enter it anew.",
        )
    return said


def texts(payload: Payload, name: str, *, needed: bool = False) -> list[str]:
    """A list of texts. Raises Refused `entry-incomplete` where it is needed and empty, or is no list."""
    values = payload.get(name) or []
    if not isinstance(values, list) or (needed and not values) or not all(isinstance(v, str) for v in values):
        raise Refused(
            "entry-incomplete",
            f"The entry needs {name.replace('_', ' ')}, as a list.",
            field=name,
            remedy="Choose at least one, and enter it anew.",
        )
    return [value.strip() for value in values]


def lot_meant(session: Session, payload: Payload, name: str = "lot") -> Lot:
    """The lot. Raises Waits, NotFound `unknown-lot`, Refused `reference-unclear`."""
    reference = _reference(payload, name)
    if "entry" in reference:
        found = _made_by(session, str(reference["entry"]))["lot"]
        if found is None:
            raise _unclear(name)
        return lot_numbered(session, int(found))
    return lot_numbered(session, _number(reference, name))


def sample_meant(session: Session, payload: Payload) -> Sample:
    """The sample, or that of the lot: its newest that has not ended. Raises Waits, NotFound `unknown-sample`."""
    if payload.get("sample") is None:
        return sample_of_lot(session, lot_meant(session, payload))
    reference = _reference(payload, "sample")
    if "entry" in reference:
        made = _made_by(session, str(reference["entry"]))
        if made["sample"] is None:
            return sample_of_lot(session, lot_meant(session, {"lot": reference}))
        return session.get_one(Sample, int(made["sample"]))
    found = session.get(Sample, _number(reference, "sample"))
    if found is None:
        raise NotFound(
            "unknown-sample",
            f"There is no sample {reference['id']}.",
            field="sample",
            remedy="Open the lot again on the phone, and enter it anew.",
        )
    return found


def sample_of_lot(session: Session, lot: Lot) -> Sample:
    """The lot's newest sample that has not ended. Raises Waits where the lot was not planned yet."""
    ids = [sample.id for sample in samples_of(session, lot.id)]
    wanted = select(StandingRow.sample_id).where(
        StandingRow.sample_id.in_(ids), StandingRow.state.not_in(ENDED)
    )
    going = session.scalars(wanted.order_by(StandingRow.sample_id.desc()).limit(1)).first()
    if going is None:
        raise Waits(f"Lot {lot.id} has no coring plan here yet.")
    return session.get_one(Sample, going)


def bag_coded(session: Session, code: str, by: Party) -> Sample:
    """The sample whose bag carries this code, or carried it: who scanned a tag in the field did not know that it
    was replaced since. Of several, the one that this person has or is to get.

    Raises Waits where the tag is on no bag yet, or where nobody can tell which bag is meant; Refused `tag-void`
    for a tag that was made void on no bag, and what tag_coded raises.
    """
    tag = tag_coded(session, code)
    shown = codes.shown(tag.code)
    if tag.state == VOID and tag.sample_id is None:
        raise Refused(
            "tag-void",
            f"Tag {shown} is void.",
            field="code",
            remedy="It was made void before it was on any bag. Scan the tag that the bag carries.",
        )
    if tag.sample_id is None:
        raise Waits(f"Tag {shown} is on no bag here yet.")
    others = rivals(session, tag)
    if not others:
        return session.get_one(Sample, tag.sample_id)
    mine = [sample for sample in (tag.sample_id, *others) if _is_with(session, sample, by)]
    if len(mine) != 1:
        raise Waits(f"Two bags carry tag {shown}; somebody at the office has to decide first.")
    return session.get_one(Sample, mine[0])


def _is_with(session: Session, sample: int, by: Party) -> bool:
    standing = fold(events_of(session, sample))
    to = standing.transfer.to.party if standing.transfer else None
    return by.key in (to, standing.holder.party if standing.holder else None)


def about(session: Session, payload: Payload, by: Party) -> tuple[Lot | None, Sample | None]:
    """What a note or a photo is about: the bag with a code, or a lot and its sample if it has one."""
    wanted = payload.get("about")
    if isinstance(wanted, str) and not wanted.strip().lower().startswith("lot"):
        return None, bag_coded(session, wanted, by)
    reference = {"id": int(wanted.strip()[3:])} if isinstance(wanted, str) and _is_lot(wanted) else wanted
    lot = lot_meant(session, {"about": reference}, "about")
    try:
        return lot, sample_of_lot(session, lot)
    except Waits:
        return lot, None


def _is_lot(words: str) -> bool:
    digits = words.strip().lower()[3:].strip()
    return digits.isascii() and digits.isdigit() and len(digits) < 10


def _reference(payload: Payload, name: str) -> Payload:
    found = payload.get(name)
    if not isinstance(found, dict) or not (("entry" in found) ^ ("id" in found)):
        raise _unclear(name)
    return found


def _number(reference: Payload, name: str) -> int:
    value = reference["id"]
    if isinstance(value, bool) or not isinstance(value, int) or not 0 < value <= LARGEST_ID:
        raise _unclear(name)
    return value


def _made_by(session: Session, event_id: str) -> dict[str, Any]:
    answer = answer_to(session, event_id)
    if answer is None:
        raise Waits("The entry that this one hangs on is not here yet.")
    if answer.answer == "refused":
        raise Waits("The entry that this one hangs on was refused, and nobody has put it right yet.")
    return dict(answer.made or {"lot": None, "sample": None, "code": None})


def _unclear(name: str) -> Refused:
    return Refused(
        "reference-unclear",
        f"It is not clear which {name} is meant.",
        field=name,
        remedy="Open the lot again on the phone, and enter it anew.",
    )
