"""Whether a lot's hay carries the animals, and what to add; the supplements and the producers' groups."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.domain.animals import COATS, KINDS, checked
from tracker.domain.feed import texts_of
from tracker.domain.herd import Group
from tracker.lookups.feeding_answer import answer_for
from tracker.lookups.feeds import feeds_in_force
from tracker.lookups.groups import GroupLine, groups_page
from tracker.steps.keep_group import keep_group, take_off_group
from tracker.steps.set_feed import set_feed
from tracker.web.api.entry import Doing, act, listing, question, short_list
from tracker.web.api.fields import Strict, digits, one_of, shape_of, text, whole
from tracker.web.api.mending import changed
from tracker.web.shared.access import LEAD

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class Animals(Strict):
    """The animals that the hay is for."""

    kind = one_of("the kind of animals", KINDS)
    weight_lb = digits("mean full weight, lb")
    head = whole("how many", needed=False, least=1, most=100_000)
    days_since_calving = whole("days since calving, for cows with a calf", needed=False, most=365)
    days_to_calving = whole("days to calving, for cows that carry", needed=False, most=365)
    peak_milk_lb = digits("lb of milk a day at the peak, if known", needed=False)
    condition = digits("body condition, 1 (thin) to 9 (fat)", needed=False)
    effective_f = digits("degrees Fahrenheit with the wind in it", needed=False)
    coat = one_of("the coat, where it is cold", COATS, needed=False)


class Told(Schema):
    """The answer as docs/feeding.md explains it: verdict, what is short, what to add, cautions, and the basis."""

    answer = fields.Dict(required=True)


class FeedTold(Schema):
    """A feed and its values by name, each as text."""

    key = fields.String(required=True)
    values = fields.Dict(keys=fields.String(), values=fields.String(), required=True)


class Values(Doing):
    """New values of a feed, and why."""

    values = changed("values by name, as text: price_ton, cp, source, year, ...")
    reason = text("why")


class GroupValues(Values):
    """New values of a group, and why."""

    producer = text("whose animals")
    name = text("what he calls them")


class TakenOff(Doing):
    """Which group is no longer there, and why."""

    producer = text("whose animals")
    name = text("what he calls them")
    reason = text("why")


def _take_off(session: Session, act: Act, producer: str, name: str, reason: str) -> Group:
    return take_off_group(session, producer, name, act, reason=reason)


def _set_feed(session: Session, act: Act, feed: str, values: dict[str, str], reason: str) -> dict[str, Any]:
    row = set_feed(session, feed, values, act, reason=reason)
    return {"key": row.key, "values": texts_of(row)}


def _keep_group(
    session: Session, act: Act, producer: str, name: str, values: dict[str, str], reason: str
) -> Group:
    return keep_group(session, producer, name, values, act, reason=reason)


def _answer(session: Session, lot: int, **given: Any) -> dict[str, Any]:
    return {"answer": answer_for(session, lot, checked(**given)).as_dict()}


question(
    "feeding",
    "/lots/<int:lot>/feeding",
    "Whether the hay carries these animals, from its latest report.",
    _answer,
    Told,
    asked=Animals,
)
short_list(
    "feeds",
    "/feeds",
    "The supplements in force, each value as text with the names of docs/feeding.md.",
    lambda session: [{"key": one.key, "values": texts_of(one)} for one in feeds_in_force(session)],
    FeedTold,
    key=lambda one: (one["key"],),
)
act(
    "set-feed",
    "/feeds/<feed>",
    "Set values of a feed, or add one.",
    "office",
    _set_feed,
    FeedTold,
    given=Values,
    roles=LEAD,
)
listing("groups", "/groups", "The producers' groups of animals.", groups_page, shape_of(GroupLine))
act(
    "keep-group",
    "/groups",
    "Put down a producer's group of animals, or change it.",
    "office",
    _keep_group,
    shape_of(Group),
    given=GroupValues,
)
act(
    "take-off-group",
    "/groups/take-off",
    "Take a group off that is no longer there.",
    "office",
    _take_off,
    shape_of(Group),
    given=TakenOff,
)
