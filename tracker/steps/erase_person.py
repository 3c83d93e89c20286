"""Take a person out of the season who has the right to it, and leave the log as true as it was.

People stand in events by a short name, and their names beside them, so the name is written over once. Where somebody
wrote a name into the words of an entry or of a refusal, the words are written anew without it; what happened, when,
and by which number stays, and so does every signature (docs/retention.md says what is left).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import Text, delete, func, or_, select, type_coerce, update
from sqlalchemy.orm import Session

from tracker.domain.custody import ENDED, Act
from tracker.domain.sharing import REVOKED
from tracker.errors import Refused
from tracker.steps.append_event import on_programme, project_anew
from tracker.steps.dispose_data import require_lead
from tracker.steps.print_tags import require_reason
from tracker.steps.second_factor import take_away_factor
from tracker.steps.sign_in import forget_attempts, set_active
from tracker.storage.access import Account, SecondFactor
from tracker.storage.base import Base
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.feeding import KeptPlan
from tracker.storage.field import FieldAnswer, FieldContact, FieldEntry
from tracker.storage.kept import KeptRefusal
from tracker.storage.log import EntrySalt
from tracker.storage.lots import Field, FieldBoundary, Lot
from tracker.storage.messages import EMAIL, STOPPED, WANTED, Message, MessageChoice, MessageFate, choice_of
from tracker.storage.people import PartyRow, party, producer_named
from tracker.storage.released import move_producer
from tracker.storage.results import ReportVersion
from tracker.storage.search_words import keep_producer_words
from tracker.storage.shares import ResultLink, TokenChange, last_change
from tracker.storage.tags import Tag

# Where somebody may have written a name.
_WORDS = {
    "event": ("note", "late_reason", "data"),
    "kept_refusal": ("given", "message"),
    "result_link": ("name",),
    "field_entry": ("body", "paper"),
    "field_answer": ("words", "remedy", "notices"),
    "field_contact": ("called",),
}
Row = TypeVar("Row", bound=Base)
WORDS_ERASED, PERSON_ERASED, PRODUCER_ERASED = "words erased", "person erased", "producer erased"


@dataclass(frozen=True)
class Erased:
    """What was done, and what is left: entries and refusals whose words were written anew, reports with the name on.

    key_tells: the short name, which stays in the log, tells a part of the name.
    """

    label: str
    entries: int
    refusals: int
    reports: int
    key_tells: bool = False


def erase_person(session: Session, key: str, act: Act, *, reason: str) -> Erased:
    """Write a person's name over and end the way in. Whoever erased it and why is an event.

    Raises NotFound `unknown-party`, Refused `not-allowed`, `reason-missing`, `not-a-person`, `still-holds`,
    `last-lead`.
    """
    require_lead(act)
    require_reason(reason)
    who = party(session, key, field="key")
    if who.kind != "person":
        raise Refused(
            "not-a-person", f"{who.name} is a {who.kind}.", field="key", remedy="Only people are erased."
        )
    _refuse_holder(session, key)
    row = session.scalars(select(PartyRow).where(PartyRow.key == key)).one()
    label = f"Erased person {row.id}"
    _end_account(session, key, act)
    data = {"person": str(row.id), "reason": reason.strip()}
    on_programme(session, PERSON_ERASED, data, act)
    entries, refusals = _erase_words(session, who.name, label, act)
    row.name, row.role = label, ""
    session.flush()
    tells = any(word in key.split("-") for word in _words(who.name))
    return Erased(label, entries, refusals, _reports_with(session, who.name), tells)


def erase_producer(session: Session, name: str, act: Act, *, reason: str) -> Erased:
    """Write a producer's name, telephone, e-mail and place over, where the fields lie, and what his kept plans say.

    Raises NotFound `unknown-producer`, Refused `not-allowed`, `reason-missing`.
    """
    require_lead(act)
    require_reason(reason)
    row = producer_named(session, name)
    label = f"Erased producer {row.id}"
    on_programme(session, PRODUCER_ERASED, {"producer": str(row.id), "reason": reason.strip()}, act)
    entries, refusals = _erase_words(session, row.name, label, act, _theirs(session, row.id))
    _end_messages(session, row.id, act)
    _close_pages(session, row.id, act, reason)
    row.name, row.phone, row.email = label, "", ""
    move_producer(session, row, "")
    keep_producer_words(session, row)
    theirs = select(Field.id).where(Field.producer_id == row.id)
    session.execute(update(Lot).where(Lot.field_id.in_(theirs)).values(note=""))
    session.execute(update(Field).where(Field.producer_id == row.id).values(latitude=None, longitude=None))
    emptied = {"asked": {}, "rests_on": {}, "told": {}, "paper": b""}
    session.execute(update(KeptPlan).where(KeptPlan.producer_id == row.id).values(**emptied))
    session.execute(update(FieldBoundary).where(FieldBoundary.field_id.in_(theirs)).values(polygons=[]))
    return Erased(label, entries, refusals, _reports_with(session, name))


def _theirs(session: Session, producer: int) -> dict[str, Sequence[int]]:
    """A producer's wishes for messages, the messages, links to his results, his fields' boundaries and plans."""
    choices = select(MessageChoice.id).where(MessageChoice.producer_id == producer)
    messages = select(Message.id).where(Message.producer_id == producer)
    links = select(ResultLink.id).where(ResultLink.producer_id == producer)
    boundaries = select(FieldBoundary.id).join(Field).where(Field.producer_id == producer)
    plans = select(KeptPlan.id).where(KeptPlan.producer_id == producer)
    return {
        "plans": session.scalars(plans).all(),
        "boundaries": session.scalars(boundaries).all(),
        "message_choices": session.scalars(choices).all(),
        "messages": session.scalars(messages).all(),
        "links": session.scalars(links).all(),
    }


def _end_messages(session: Session, producer: int, act: Act) -> None:
    """No address is left, no adviser's name, and no message goes out any more."""
    last = choice_of(session, producer)
    wanted = last is not None and last.choice == WANTED
    choices = update(MessageChoice).where(MessageChoice.producer_id == producer)
    session.execute(choices.values(address="", how=""))
    sent = select(Message.id).where(Message.producer_id == producer)
    session.execute(update(MessageFate).where(MessageFate.message_id.in_(sent)).values(words=""))
    session.execute(update(Message).where(Message.producer_id == producer).values(address=""))
    session.execute(update(ResultLink).where(ResultLink.producer_id == producer).values(name=""))
    if wanted:
        stopped = {"choice": STOPPED, "address": "", "how": "erased", "by": act.by.key, "at": act.now}
        session.add(MessageChoice(producer_id=producer, channel=EMAIL, **stopped))


def _close_pages(session: Session, producer: int, act: Act, reason: str) -> None:
    """Neither a stub nor a link opens the hay of somebody who asked to be forgotten."""
    hay = select(Lot.id).join(Field, Field.id == Lot.field_id).where(Field.producer_id == producer)
    tokens = [
        *session.scalars(select(Tag.token_hash).where(Tag.lot_id.in_(hay))),
        *session.scalars(select(ResultLink.token_hash).where(ResultLink.producer_id == producer)),
    ]
    for token in tokens:
        before = last_change(session, token)
        if before is None or before.change != REVOKED:
            ended = TokenChange(
                token_hash=token, change=REVOKED, reason=reason.strip(), by=act.by.key, at=act.now
            )
            session.add(ended)
    session.flush()


def _refuse_holder(session: Session, key: str) -> None:
    holds = select(func.count()).where(
        or_(StandingRow.holder == key, StandingRow.transfer_to == key), StandingRow.state.not_in(ENDED)
    )
    count = session.scalar(holds.select_from(StandingRow)) or 0
    if count:
        raise Refused(
            "still-holds",
            f"{key} has {count} samples, or they are on their way there.",
            field="key",
            remedy="They are handed over or received first; nobody is erased out of a chain that is open.",
        )


def _end_account(session: Session, key: str, act: Act) -> None:
    account = session.scalar(select(Account).where(Account.party_key == key))
    if account is None:
        return
    set_active(session, key, False, act.now)
    account.password_hash = None
    if session.scalar(select(SecondFactor.id).where(SecondFactor.account_id == account.id)) is not None:
        take_away_factor(session, account)
    forget_attempts(session, key)


def _erase_words(
    session: Session, name: str, label: str, act: Act, also: Mapping[str, Sequence[int]] | None = None
) -> tuple[int, int]:
    """Write anew whatever has the name in its words, and take away every refusal that has it.

    also: rows of which more than the name goes, under the words that the migrations know them by.
    """
    there = re.compile(rf"(?<!\w){re.escape(name)}(?!\w)", re.IGNORECASE)
    entries = _with_name(session, EventRow, there, name)
    refusals = _with_name(session, KeptRefusal, there, name)
    links = _with_name(session, ResultLink, there, name)
    phones = _with_name(session, FieldEntry, there, name)
    answers = _with_name(session, FieldAnswer, there, name)
    called = _with_name(session, FieldContact, there, name)
    listed: dict[str, list[Any]] = {
        "entries": [row.seq for row in entries],
        "refusals": [row.id for row in refusals],
        "links": [row.id for row in links],
        "field_entries": [*(row.event_id for row in phones), *(row.event_id for row in answers)],
        "field_contacts": [row.id for row in called],
    }
    for kind, numbers in (also or {}).items():
        listed[kind] = [*listed.get(kind, []), *numbers]
    if not any(listed.values()):
        return 0, 0
    data = {kind: [str(one) for one in dict.fromkeys(rows)] for kind, rows in listed.items()}
    on_programme(session, WORDS_ERASED, data, act)
    for row in (*entries, *links, *phones, *answers, *called):
        for column in _WORDS[row.__tablename__]:
            setattr(row, column, _without(getattr(row, column), there, label))
    session.flush()
    session.execute(delete(EntrySalt).where(EntrySalt.seq.in_(listed["entries"])))
    session.execute(delete(KeptRefusal).where(KeptRefusal.id.in_(listed["refusals"])))
    for sample in {row.sample_id for row in entries} - {None}:
        project_anew(session, int(sample or 0))
    return len(entries) + len(links) + len(phones) + len(answers), len(refusals)


def _with_name(session: Session, table: type[Row], there: re.Pattern[str], name: str) -> list[Row]:
    """The rows that have the name, as words of its own, where somebody wrote."""
    columns = _WORDS[table.__tablename__]
    told = [type_coerce(getattr(table, column), Text) for column in columns]
    likely = select(table).where(or_(*(one.icontains(name, autoescape=True) for one in told)))
    return [
        row
        for row in session.scalars(likely)
        if there.search(" ".join(repr(getattr(row, column)) for column in columns))
    ]


def _without(value: Any, there: re.Pattern[str], label: str) -> Any:
    if isinstance(value, str):
        return there.sub(label, value)
    if isinstance(value, dict):
        return {name: _without(part, there, label) for name, part in value.items()}
    if isinstance(value, list):
        return [_without(part, there, label) for part in value]
    return value


def _reports_with(session: Session, name: str) -> int:
    body = type_coerce(ReportVersion.body, Text)
    named = select(func.count()).select_from(ReportVersion).where(body.icontains(name, autoescape=True))
    return session.scalar(named) or 0


def _words(name: str) -> list[str]:
    return [word for word in re.split(r"\W+", name.casefold()) if len(word) > 1]
