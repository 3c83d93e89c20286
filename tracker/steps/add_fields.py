"""Take in fields from one file: those that can be are, the others are kept with what is wrong."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.boundary import Boundary, in_words
from tracker.domain.custody import Act
from tracker.errors import Conflict
from tracker.files.fields_file import FieldRow, read_fields
from tracker.steps.register_lot import field_of
from tracker.steps.register_lots import LineAnswer, Progress, each_line
from tracker.storage.lots import Field, FieldBoundary, boundary_in_force
from tracker.storage.people import producer_named


def add_fields(
    session: Session,
    name: str,
    content: bytes,
    act: Act,
    *,
    sheet: str | None = None,
    progress: Progress | None = None,
) -> tuple[LineAnswer, ...]:
    """Add each field of the file; one refused does not touch the others, and is kept as it was given.

    The answers' numbers are the fields'. A boundary that differs from the one in force stands beside it and holds
    from now on. Raises what read_fields raises.
    """
    header, rows = read_fields(name, content, sheet=sheet)
    return each_line(session, header, rows, _take, f"add fields from {name}", act, progress)


def _take(session: Session, row: FieldRow, act: Act) -> LineAnswer:
    producer = producer_named(session, row.producer)
    before = session.scalar(select(Field).where(Field.producer_id == producer.id, Field.name == row.field))
    placed = before is not None and before.latitude is not None
    if before is not None:
        _refuse_elsewhere(before, row)
    field = field_of(session, producer, row.field, row.location)
    new = before is None or (row.location is not None and not placed)
    words = ""
    if row.boundary is not None:
        words = f"{in_words(row.boundary)} within the boundary"
        new = _keep_boundary(session, field, row.boundary, act) or new
    return LineAnswer(row.line, field.id if new else None, None, known=not new, words=words)


def _refuse_elsewhere(field: Field, row: FieldRow) -> None:
    known = (field.latitude, field.longitude)
    if row.location is not None and field.latitude is not None and row.location != known:
        raise Conflict(
            "field-elsewhere",
            f"{field.name} lies at {field.latitude}, {field.longitude} on record.",
            field="location",
            remedy="Bring in its boundary as GeoJSON, which maps then show; or give another field another name.",
        )


def _keep_boundary(session: Session, field: Field, boundary: Boundary, act: Act) -> bool:
    """Keep the boundary, if it is another than the one in force; whether it was."""
    polygons = boundary.as_data()
    if session.scalar(select(boundary_in_force()).where(Field.id == field.id)) == polygons:
        return False
    session.add(FieldBoundary(field_id=field.id, polygons=polygons, by=act.by.key, at=act.now))
    session.flush()
    return True
