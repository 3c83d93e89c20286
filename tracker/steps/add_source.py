"""Take in a source of results, or the next version of its column map."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import Refused
from tracker.files.column_map import load_column_map
from tracker.steps.add_people import named
from tracker.storage.analysis import Source, SourceMap, map_in_force

KINDS = ("instrument", "laboratory")


def add_source_map(
    session: Session, name: str, written: str, act: Act, *, kind: str = "instrument", reason: str = ""
) -> SourceMap:
    """Keep the map as the source's next version; a source not known yet is made.

    kind: "instrument" for one of ours, "laboratory" for results that come from outside. A map equal to the one
    in force adds nothing. Raises Refused `not-a-source-kind`, `name-missing`, and what load_column_map raises.
    """
    column_map = load_column_map(written)
    name = named(name)
    source = session.scalar(select(Source).where(Source.name == name))
    if source is None:
        if kind not in KINDS:
            raise Refused(
                "not-a-source-kind",
                f"{kind!r} is not a kind of source.",
                field="kind",
                remedy=f"Choose from {', '.join(KINDS)}.",
            )
        source = Source(name=name, kind=kind, added_at=act.now)
        session.add(source)
        session.flush()
    newest = map_in_force(session, source.id)
    body = column_map.as_json()
    if newest is not None and newest.body == body:
        return newest
    version = newest.version + 1 if newest else 1
    row = SourceMap(source_id=source.id, version=version, body=body, reason=reason, by=act.by.key, at=act.now)
    session.add(row)
    session.flush()
    return row
