"""The producers' groups of animals, as they stand."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy.orm import Session

from tracker.domain.herd import Group
from tracker.errors import NotFound
from tracker.storage.feeding import as_group, group_versions
from tracker.storage.people import producer_named


@dataclass(frozen=True)
class GroupLine:
    """One group in force; id is that of its version."""

    id: int
    producer: str
    version: int
    group: Group


def groups_of(session: Session, producer: str | None = None) -> tuple[GroupLine, ...]:
    """The groups of one producer or of all that are still there, by producer and name.

    Raises NotFound `unknown-producer`.
    """
    owner = None if producer is None else producer_named(session, producer)
    latest = {(name.name, row.name): row for row, name in group_versions(session, owner)}
    return tuple(
        GroupLine(row.id, name, row.version, as_group(row))
        for (name, _), row in sorted(latest.items())
        if row.head
    )


def group_named(session: Session, producer: str, name: str) -> Group:
    """The group a producer calls by this name. Raises NotFound `unknown-producer`, `unknown-group`."""
    found = {line.group.name.lower(): line.group for line in groups_of(session, producer)}
    group = found.get(" ".join(name.split()).lower())
    if group is None:
        known = ", ".join(sorted(one.name for one in found.values())) or "none yet"
        raise NotFound(
            "unknown-group",
            f"{producer} has no group {name!r}.",
            field="group",
            remedy=f"Known: {known}. Add one with `tracker keep-group`.",
        )
    return group
