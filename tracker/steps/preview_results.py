"""Try how a file of results would come in: the import itself, taken back before anybody sees it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import Refused
from tracker.steps.record_results import LineTold, Taken, record_results

MOST_LINES = 3000


@dataclass(frozen=True)
class Preview:
    """What would become of the file, and of each of its lines; a file gets its number only once it is kept."""

    taken: Taken
    lines: tuple[LineTold, ...]


def preview_results(
    session: Session, source: str, name: str, content: bytes, act: Act, *, sheet: str | None = None
) -> Preview:
    """What record_results would do now; nothing of it is kept. Raises what it raises, and Refused
    `too-long-to-look-at`: while a file is looked at, nobody else can record anything.
    """
    lines: list[LineTold] = []

    def told(line: LineTold) -> None:
        lines.append(line)
        if len(lines) > MOST_LINES:
            raise Refused(
                "too-long-to-look-at",
                f"{name} has more than {MOST_LINES} rows.",
                field="file",
                remedy="Divide it, or take it in by `tracker import-analyses` when nobody is at the bench.",
            )

    trial = session.begin_nested()
    try:
        taken = record_results(session, source, name, content, act, sheet=sheet, told=told)
    finally:
        trial.rollback()
    return Preview(taken if taken.known else replace(taken, file_id=0), tuple(lines))
