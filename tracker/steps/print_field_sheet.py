"""A sheet of paper for the field: spare tags with room to write, for when the phone is dead or left at home."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act, Party
from tracker.domain.tag import ISSUED, PRINTED
from tracker.errors import Refused
from tracker.storage.tags import PrintRun, Tag, tag_coded

MOST_ROWS = 60
FIELD_SHEET = "field sheet"


def print_field_sheet(
    session: Session, act: Act, *, to: Party | None = None, codes: Sequence[str] = ()
) -> tuple[str, list[Tag]]:
    """The form's number and the tags on it: those named, else all that this person carries and has not used.

    Each sheet is kept as a print run; its number is what somebody types who enters the paper later. Raises Refused
    `nothing-to-print`, `roll-too-long`, `tag-not-spare`, and what tag_coded raises.
    """
    tags = [tag_coded(session, code) for code in dict.fromkeys(codes)] or _carried(session, to)
    if not tags:
        raise Refused(
            "nothing-to-print",
            f"{to.name} carries no unused tags." if to else "No tags are asked for.",
            field="to",
            remedy="Give out a stretch of a roll first: `tracker issue-tags`.",
        )
    if len(tags) > MOST_ROWS:
        raise Refused(
            "roll-too-long",
            f"{len(tags)} tags are more than one form has rows for.",
            field="codes",
            remedy=f"Name at most {MOST_ROWS}, and print another form.",
        )
    for tag in tags:
        if tag.state not in (PRINTED, ISSUED):
            raise Refused(
                "tag-not-spare",
                f"Tag {tag.code} is {tag.state}.",
                field="codes",
                remedy="A sheet is for tags that are on no bag yet.",
            )
    run = PrintRun(
        what=FIELD_SHEET,
        count=len(tags),
        layout={"codes": [tag.code for tag in tags], "to": to.key if to else None},
        base_url="",
        reason=act.note,
        printed_by=act.by.key,
        printed_at=act.now,
    )
    session.add(run)
    session.flush()
    return form_number(run), tags


def form_number(run: PrintRun) -> str:
    """What stands on the paper: F-12."""
    return f"F-{run.id}"


def _carried(session: Session, to: Party | None) -> list[Tag]:
    if to is None:
        return []
    wanted = select(Tag).where(Tag.issued_to == to.key, Tag.state == ISSUED)
    return list(session.scalars(wanted.order_by(Tag.run_id, Tag.number)))
