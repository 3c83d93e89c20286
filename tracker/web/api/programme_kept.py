"""What the programme decides for itself: its rules, equipment, balances, sources and people, each version kept."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validate

from tracker.domain.custody import ROLES, Party
from tracker.lookups.balances import BalanceToday, balances_today
from tracker.lookups.runs import SourceLine, sources
from tracker.lookups.settings_kept import SHELVES, Setting, settings_of
from tracker.steps.add_balance import ROUTES, add_balance
from tracker.steps.add_people import add_party
from tracker.steps.add_source import KINDS as SOURCE_KINDS
from tracker.steps.add_source import add_source_map
from tracker.steps.set_equipment import KINDS, set_equipment
from tracker.steps.set_practice import set_practice
from tracker.storage.people import party
from tracker.web.api.asking import Paged
from tracker.web.api.entry import Doing, act, short_list
from tracker.web.api.fields import digits, key, one_of, shape_of, text, yes_no
from tracker.web.shared.access import BENCH, LEAD
from tracker.web.shared.season import now

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class Which(Paged):
    """Which settings."""

    kind = one_of("of one kind; else all", SHELVES, needed=False)


class Rule(Doing):
    """A rule's new value."""

    value = text("the value, in the rule's own unit")
    source = text("where it comes from")
    reason = text("why")


class Equipment(Doing):
    """An oven, a mill or an instrument as it is from now on."""

    kind = one_of("what it is", KINDS)
    name = text("as people write it beside a load or a grind", most=60)
    facts = text("what stands on its plate and matters for the work: size, range, screens", most=1000)
    reason = text("why it is described anew")
    in_use = yes_no("whether it stands on the bench; yes unless said")


class VersionKept(Schema):
    """The version that is in force from now on."""

    kind = fields.String(required=True)
    name = fields.String(required=True)
    version = fields.Integer(required=True)


class NewBalance(Doing):
    """A balance as it is from now on. The day's check comes before its first weighing."""

    name = text("as on its sticker: up to 30 letters, digits, blanks and hyphens", most=30)
    route = one_of("how its readings come", ROUTES)
    profile = text("a profile that is built in, or an own one as JSON", most=2000)
    check_weight = digits("the check weight, g")
    limit = digits("how far off it may be, g")
    reason = text("why a balance that is known changes", needed=False)


class NewMap(Doing):
    """A source's column map; docs/report.md and the office's page of settings say what is in one."""

    source = text("the source's name, as files are taken in under it", most=60)
    kind = one_of(
        "an instrument of ours, or an outside laboratory; for a new source", SOURCE_KINDS, needed=False
    )
    map = fields.Dict(required=True, metadata={"description": "the column map, as JSON"})
    reason = text("why it changes", needed=False)


class MapKept(Schema):
    """The version of the source's map that reads files from now on."""

    source = fields.String(required=True)
    version = fields.Integer(required=True)


class NewParty(Doing):
    """Somebody or somewhere that can hold a sample. Nobody can sign in by this: the lead invites people at a page."""

    key = key("the short name")
    name = text("the name as it is printed")
    kind = one_of("what it is; a person unless said", ("person", "place", "carrier"), needed=False)
    role = fields.String(
        validate=validate.OneOf(ROLES), metadata={"description": "a person's role; a person needs one"}
    )
    secure = yes_no("a place that is locked")


def _settings(session: Session, kind: str = "") -> list[Setting]:
    return [one for one in settings_of(session) if kind in ("", one.kind)]


def _rule(session: Session, act: Act, rule: str, **given: Any) -> dict[str, Any]:
    row = set_practice(session, rule, given.pop("value"), act, **given)
    changes = next(one.changes for one in settings_of(session) if (one.kind, one.name) == ("rule", row.rule))
    return {"kind": "rule", "name": row.rule, "version": len(changes)}


def _equipment(session: Session, act: Act, kind: str, name: str, **given: Any) -> Any:
    return set_equipment(session, kind, name, act, **given)


def _balance(session: Session, act: Act, name: str, **given: Any) -> BalanceToday:
    row = add_balance(session, name, act, **given)
    return next(one for one in balances_today(session, now().astimezone()) if one.name == row.name)


def _map(session: Session, act: Act, source: str, map: dict[str, Any], **given: Any) -> dict[str, Any]:
    row = add_source_map(session, source, json.dumps(map, ensure_ascii=False, default=str), act, **given)
    return {"source": source, "version": row.version}


def _party(session: Session, act: Act, key: str, **given: Any) -> Party:
    add_party(session, key=key, now=act.now, **given)
    return party(session, key)


short_list(
    "settings",
    "/settings",
    "Every setting of the programme: its value, where it comes from, and each change with who, when and why.",
    _settings,
    shape_of(Setting),
    key=lambda one: (one.kind, one.name),
    asked=Which,
    roles=LEAD,
)
act(
    "set-rule",
    "/settings/rule/<rule>",
    "Make a rule the programme's own from now on.",
    "office",
    _rule,
    VersionKept,
    given=Rule,
    roles=LEAD,
)
act(
    "set-equipment",
    "/equipment",
    "Describe an oven, a mill or an instrument, or say that it has left the bench.",
    "office",
    _equipment,
    VersionKept,
    given=Equipment,
    roles=LEAD,
    status=201,
)
act(
    "add-balance",
    "/balances",
    "Take a balance into use, or say something new of one.",
    "office",
    _balance,
    shape_of(BalanceToday),
    given=NewBalance,
    roles=LEAD,
    status=201,
)
short_list(
    "sources",
    "/sources",
    "Where results come from, with the check samples that rode in each one's runs.",
    lambda session: sources(session),
    shape_of(SourceLine),
    key=lambda one: (one.name,),
    roles=BENCH,
)
act(
    "add-source",
    "/sources",
    "Take in a source of results, or the next version of its column map.",
    "office",
    _map,
    MapKept,
    given=NewMap,
    roles=LEAD,
    status=201,
)
act(
    "add-party",
    "/people",
    "Add a person, a place or a carrier.",
    "office",
    _party,
    shape_of(Party),
    given=NewParty,
    roles=LEAD,
    status=201,
)
