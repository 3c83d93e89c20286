"""A producer's group of animals is put down, changed, or taken off."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.herd import Group, checked_group
from tracker.errors import NotFound, Refused
from tracker.steps.print_tags import require_reason
from tracker.storage.feeding import GroupVersion, as_group, group_versions
from tracker.storage.people import Producer, producer_named

FIELDS = ("kind", "head", "weight_lb", "calving", "peak_milk_lb", "condition")


def keep_group(
    session: Session, producer: str, name: str, changes: Mapping[str, str], act: Act, *, reason: str
) -> Group:
    """Put down a group, or change some of it; an empty value takes it away. What stood before stays kept.

    Raises NotFound `unknown-producer`, Refused `reason-missing`, `unknown-group-value`, `nothing-changed`, and as
    domain.herd.checked_group.
    """
    require_reason(reason)
    unknown = sorted(set(changes) - set(FIELDS))
    if unknown:
        raise Refused(
            "unknown-group-value",
            f"A group has no {', '.join(unknown)}.",
            field=unknown[0],
            remedy=f"It has {', '.join(FIELDS)}.",
        )
    owner = producer_named(session, producer)
    versions = _versions(session, owner, name)
    before = versions[-1] if versions else None
    texts = {**(_texts(before) if before and before.head else {}), **changes}
    group = checked_group(
        name=before.name if before else name,
        kind=texts.get("kind", ""),
        head=texts.get("head", ""),
        weight_lb=texts.get("weight_lb", ""),
        calving=texts.get("calving"),
        peak_milk_lb=texts.get("peak_milk_lb"),
        condition=texts.get("condition"),
    )
    if before is not None and before.head and as_group(before) == group:
        raise Refused(
            "nothing-changed", f"{group.name} stand so already.", field="name", remedy="Nothing needs doing."
        )
    _add(session, owner, group, group.head, len(versions) + 1, act, reason)
    return group


def take_off_group(session: Session, producer: str, name: str, act: Act, *, reason: str) -> Group:
    """Take a group off that is no longer there.

    Raises NotFound `unknown-producer`, `unknown-group`, Refused `reason-missing`.
    """
    require_reason(reason)
    owner = producer_named(session, producer)
    versions = _versions(session, owner, name)
    if not versions or not versions[-1].head:
        raise NotFound(
            "unknown-group",
            f"{producer} has no group {name!r}.",
            field="name",
            remedy="`tracker groups` lists them.",
        )
    group = as_group(versions[-1])
    _add(session, owner, group, 0, len(versions) + 1, act, reason)
    return group


def _versions(session: Session, owner: Producer, name: str) -> list[GroupVersion]:
    wanted = " ".join(name.split()).lower()
    return [row for row, _ in group_versions(session, owner) if row.name.lower() == wanted]


def _texts(row: GroupVersion) -> dict[str, str]:
    values = {field: getattr(row, field) for field in FIELDS}
    return {field: str(value) for field, value in values.items() if value is not None}


def _add(
    session: Session, owner: Producer, group: Group, head: int, version: int, act: Act, reason: str
) -> None:
    session.add(
        GroupVersion(
            producer_id=owner.id,
            name=group.name,
            version=version,
            kind=group.kind,
            head=head,
            weight_lb=group.weight_lb,
            calving=group.calving,
            peak_milk_lb=group.peak_milk_lb,
            condition=group.condition,
            reason=reason,
            by=act.by.key,
            at=act.now,
        )
    )
    session.flush()
