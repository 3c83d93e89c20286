"""Who sees a producer's results: the stubs of his bags, links made for advisers, and messages he asked for."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.domain.sharing import LONGEST_NAME, PAUSED, RESUMED, REVOKED
from tracker.lookups.producers import ProducerCard, producer_card
from tracker.lookups.readers import StubState, stub_state
from tracker.steps.choose_messages import stop_messages, want_messages
from tracker.steps.share_results import share_at_wish, take_back
from tracker.steps.stub_access import change_stub
from tracker.web.api.custody import Because
from tracker.web.api.door import today
from tracker.web.api.entry import Doing, act, question
from tracker.web.api.fields import day, shape_of, text, whole
from tracker.web.shared.access import OFFICE
from tracker.web.shared.season import settings

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class NewLink(Doing):
    """A link at the producer's wish."""

    name = text("whom it is for", most=LONGEST_NAME)
    until = day("the last day on which it opens")
    lot = whole("the one lot it shows; else every lot of the producer", needed=False, least=1)


class LinkMade(Schema):
    """The link. address: it opens the results, so it comes in the first answer alone and is kept nowhere."""

    link = fields.Integer(required=True)
    until = fields.Date(required=True)
    address = fields.String(required=True, allow_none=True)


class LinkEnded(Schema):
    """A link that opens nothing any more."""

    link = fields.Integer(required=True)


class Wanted(Doing):
    """Where messages go, and how he asked for them."""

    address = text("e-mail; else the one that the programme has of him", needed=False)
    how = text("how he asked: signed form of 3 June")


class Stopped(Doing):
    """How he asked for an end of messages."""

    how = text("how he said so")


class Choice(Schema):
    """What a producer chose about messages."""

    producer = fields.Integer(required=True)
    choice = fields.String(required=True)
    address = fields.String(required=True)


def _link(
    session: Session, act: Act, producer: int, name: str, until: date, lot: int | None = None
) -> dict[str, Any]:
    row, token = share_at_wish(session, producer, act, name=name, until=until, lot=lot)
    return {"link": row.id, "until": until, "address": f"{settings().base_url.rstrip('/')}/T/{token}"}


def _take_back(session: Session, act: Act, link: int, reason: str) -> dict[str, Any]:
    take_back(session, link, act, reason=reason)
    return {"link": link}


def _changing(change: str) -> Any:
    def do(session: Session, act: Act, code: str, reason: str) -> StubState:
        change_stub(session, code, change, act, reason=reason)
        return stub_state(session, code)

    return do


def _want(session: Session, act: Act, producer: int, how: str, address: str = "") -> dict[str, Any]:
    row = want_messages(session, producer, act, address=address, how=how)
    return {"producer": producer, "choice": row.choice, "address": row.address}


def _stop(session: Session, act: Act, producer: int, how: str) -> dict[str, Any]:
    row = stop_messages(session, producer, act.by.key, act.now, how=how)
    return {"producer": producer, "choice": row.choice, "address": row.address}


question(
    "producer",
    "/producers/<int:producer>",
    "One producer: his lots with their stubs, the links to his results, how often each opened, and his messages.",
    lambda session, producer: producer_card(session, producer, today()),
    shape_of(ProducerCard),
    roles=OFFICE,
)
act(
    "make-link",
    "/producers/<int:producer>/links",
    "Make a link to a producer's results, at his wish.",
    "office",
    _link,
    LinkMade,
    given=NewLink,
    roles=OFFICE,
    status=201,
    secret=("address",),
)
act(
    "take-back-link",
    "/links/<int:link>/take-back",
    "End one link; the others stay.",
    "office",
    _take_back,
    LinkEnded,
    given=Because,
    roles=OFFICE,
)
question(
    "stub",
    "/tags/<code>/stub",
    "Whether a tag's stub opens, and how often it did.",
    lambda session, code: stub_state(session, code),
    shape_of(StubState),
    roles=OFFICE,
)
for _word, _change, _said in (
    ("pause", PAUSED, "Let a stub open nothing until it is opened again."),
    ("resume", RESUMED, "Let a paused stub open again."),
    ("revoke", REVOKED, "Let a stub never open anything again."),
):
    act(
        f"{_word}-stub",
        f"/tags/<code>/stub/{_word}",
        _said,
        "office",
        _changing(_change),
        shape_of(StubState),
        given=Because,
        roles=OFFICE,
    )
act(
    "want-messages",
    "/producers/<int:producer>/messages",
    "Note that a producer asked for messages.",
    "office",
    _want,
    Choice,
    given=Wanted,
    roles=OFFICE,
)
act(
    "stop-messages",
    "/producers/<int:producer>/messages/stop",
    "Note that a producer wants no more messages.",
    "office",
    _stop,
    Choice,
    given=Stopped,
    roles=OFFICE,
)
