"""Make a link by which an adviser sees results, and take one back; by the office, or by the producer himself."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import Act
from tracker.domain.sharing import MOST_OPEN, REVOKED, adviser_name, is_open, last_day
from tracker.errors import NotFound, Refused
from tracker.steps.print_tags import require_reason
from tracker.steps.stub_access import require_office
from tracker.storage.lots import lot_numbered
from tracker.storage.shares import ADVISER, ResultLink, TokenChange, last_change, link_numbered, links_of

# Who did it, where the producer did it himself by his stub.
PRODUCER = "producer"


def share_at_wish(
    session: Session, producer_id: int, act: Act, *, name: str, until: date, lot: int | None = None
) -> tuple[ResultLink, str]:
    """A link to one lot of a producer, or to every lot, at his wish, and its token, which is kept nowhere.

    Only the office makes it: a stub is the key to its own lot. Raises Refused `not-allowed`, `not-his-lot`,
    `adviser-unnamed`, `link-date`, NotFound `unknown-lot`.
    """
    require_office(act)
    if lot is not None and lot_numbered(session, lot).field.producer_id != producer_id:
        raise Refused(
            "not-his-lot",
            f"Lot {lot} is another producer's.",
            field="lot",
            remedy="Share it from its own producer's page, at his wish.",
        )
    return make_link(session, producer_id, lot, name=name, until=until, by=act.by.key, now=act.now)


def share_by_stub(
    session: Session, lot: int, *, name: str, until: date, now: datetime
) -> tuple[ResultLink, str]:
    """A link to the lot of the stub that somebody has in hand, and its token.

    Raises Refused `too-many-links`, `adviser-unnamed`, `link-date`, NotFound `unknown-lot`.
    """
    producer = lot_numbered(session, lot).field.producer_id
    today = now.astimezone().date()
    still = [
        link
        for link in links_of(session, producer)
        if link.made_by == PRODUCER and link.lot_id == lot and _opens(session, link, today)
    ]
    if len(still) >= MOST_OPEN:
        raise Refused(
            "too-many-links",
            f"{len(still)} links to this lot are open.",
            field="name",
            remedy="Take one back first.",
        )
    return make_link(session, producer, lot, name=name, until=until, by=PRODUCER, now=now)


def make_link(
    session: Session,
    producer_id: int,
    lot: int | None,
    *,
    name: str,
    until: date,
    by: str,
    now: datetime,
    kind: str = ADVISER,
) -> tuple[ResultLink, str]:
    """A link and its token. Raises Refused `adviser-unnamed`, `link-date`."""
    token = payload.make_token()
    row = ResultLink(
        token_hash=payload.token_hash(token),
        kind=kind,
        producer_id=producer_id,
        lot_id=lot,
        name=adviser_name(name),
        until=last_day(until, now.astimezone().date()),
        made_by=by,
        made_at=now,
    )
    session.add(row)
    session.flush()
    return row, token


def take_back(session: Session, number: int, act: Act, *, reason: str) -> TokenChange:
    """This link opens nothing any more; others stay. Raises Refused `not-allowed`, `reason-missing`,
    `link-taken-back`, NotFound `unknown-result-link`."""
    require_office(act)
    require_reason(reason)
    return revoke_link(session, link_numbered(session, number), act.by.key, act.now, reason=reason)


def take_back_by_stub(session: Session, number: int, lot: int, now: datetime) -> TokenChange:
    """Take back a link to the lot of the stub in hand. Raises Refused `link-taken-back`, NotFound
    `unknown-result-link` also for a link to other lots: it is none of this stub's."""
    wanted = select(func.count()).where(
        ResultLink.id == number, ResultLink.lot_id == lot, ResultLink.kind == ADVISER
    )
    if not session.scalar(wanted):
        raise NotFound(
            "unknown-result-link",
            "There is no such link to this hay.",
            field="link",
            remedy="Open the list again.",
        )
    return revoke_link(session, link_numbered(session, number), PRODUCER, now, reason="by the producer")


def revoke_link(session: Session, link: ResultLink, by: str, now: datetime, *, reason: str) -> TokenChange:
    """The link ends. Raises Refused `link-taken-back`."""
    before = last_change(session, link.token_hash)
    if before is not None and before.change == REVOKED:
        raise Refused(
            "link-taken-back",
            f"The link for {link.name} was taken back before.",
            field="link",
            remedy="Nothing more is to be done.",
        )
    row = TokenChange(token_hash=link.token_hash, change=REVOKED, reason=reason.strip(), by=by, at=now)
    session.add(row)
    session.flush()
    return row


def _opens(session: Session, link: ResultLink, today: date) -> bool:
    change = last_change(session, link.token_hash)
    return is_open(change.change if change else None, link.until, today)
