"""Give a person a stretch of a roll to carry, and count back in what was not used."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act, Party
from tracker.domain.tag import ISSUED, PRINTED
from tracker.errors import NotFound, Refused
from tracker.steps.append_event import following, on_tag
from tracker.storage.tags import PrintRun, Tag, tag_coded


def issue_tags(session: Session, run: int, first: int, last: int, to: Party, act: Act) -> list[Tag]:
    """Give the tags numbered first to last of a print run to a person; those used or void stay as they are.

    Raises NotFound `unknown-run-of-tags`, Refused `not-a-carrier-of-tags`, `not-a-stretch`, `nothing-to-issue`.
    """
    require_run(session, run)
    if to.kind != "person":
        raise Refused(
            "not-a-carrier-of-tags", f"{to.name} is a {to.kind}.", field="to", remedy="Tags go to a person."
        )
    if not 1 <= first <= last:
        raise Refused(
            "not-a-stretch",
            f"{first} to {last} is no stretch of a roll.",
            field="first",
            remedy="Numbers stand on the tags; give the lower one first.",
        )
    wanted = select(Tag).where(Tag.run_id == run, Tag.number.between(first, last)).order_by(Tag.number)
    free = [tag for tag in session.scalars(wanted) if tag.state in (PRINTED, ISSUED)]
    if not free:
        raise Refused(
            "nothing-to-issue",
            f"None of the tags {first} to {last} of run {run} is free.",
            field="first",
            remedy="`tracker rolls` shows what became of them.",
        )
    for tag in free:
        on_tag(session, "tag issued", tag, {"code": tag.code, "to": to.key}, following(act, tag.number))
        tag.issued_to = to.key
    session.flush()
    return free


def require_run(session: Session, run: int) -> None:
    """Nothing, if there is such a print run. Raises NotFound `unknown-run-of-tags`."""
    if session.get(PrintRun, run) is None:
        raise NotFound(
            "unknown-run-of-tags",
            f"There is no print run {run}.",
            field="run",
            remedy="`tracker rolls` lists them.",
        )


def count_in(session: Session, codes: Sequence[str], act: Act) -> list[Tag]:
    """Take unused tags back; they may be issued again. Raises Refused `not-issued`, and what tag_coded raises."""
    tags = [tag_coded(session, code) for code in codes]
    for place, tag in enumerate(tags, start=1):
        if tag.state != ISSUED:
            raise Refused(
                "not-issued",
                f"Tag {tag.code} is {tag.state}, and nobody carries it.",
                field="code",
                remedy="Count in only tags that were issued and not used.",
            )
        on_tag(
            session, "tag counted in", tag, {"code": tag.code, "from": tag.issued_to}, following(act, place)
        )
        tag.issued_to = None
    session.flush()
    return tags
