"""The producers' groups of animals, as they stand."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session, aliased

from tracker.domain.herd import Group
from tracker.errors import NotFound
from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.feeding import GroupVersion, as_group, group_versions
from tracker.storage.people import Producer, producer_named


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


def groups_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[GroupLine]:
    """The groups that are still there, by producer and name, a page of them. Raises Refused `not-a-cursor`."""
    wanted = (
        select(GroupVersion, Producer.name)
        .join(Producer, Producer.id == GroupVersion.producer_id)
        .where(*_still_there())
    )

    def line(row: GroupVersion, producer: str) -> GroupLine:
        return GroupLine(row.id, producer, row.version, as_group(row))

    return page_of(session, wanted, [Producer.name, GroupVersion.name], line, after, limit)


def keepers_page(
    session: Session, after: Key = (), limit: int = USUAL, *, named: str | None = None
) -> Page[str]:
    """The producers who have a group that is still there, by name, a page of them; named: of this name only.

    Raises Refused `not-a-cursor`.
    """
    theirs = select(GroupVersion.id).where(GroupVersion.producer_id == Producer.id, *_still_there())
    wanted = select(Producer.name.label("told")).where(theirs.exists())
    if named is not None:
        wanted = wanted.where(Producer.name == named)
    return page_of(session, wanted, [Producer.name], str, after, limit)


def _still_there() -> tuple[ColumnElement[bool], ...]:
    later = aliased(GroupVersion)
    same = (later.producer_id == GroupVersion.producer_id) & (later.name == GroupVersion.name)
    newer = select(later.id).where(same, later.version > GroupVersion.version).exists()
    return ~newer, GroupVersion.head > 0


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
