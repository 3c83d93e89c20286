"""Which sample a code in a file means."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.tag import VOID, code_in
from tracker.errors import Refused
from tracker.steps.append_event import standing_of
from tracker.storage.coring import Sample
from tracker.storage.tags import Tag, tag_coded


def sample_for(session: Session, text: str) -> Sample:
    """The sample whose bag carries this code. Raises as tag_coded, Refused `tag-void`, `tag-unbound`."""
    tag = tag_coded(session, code_in(text))
    if tag.state == VOID:
        current = _replacement(session, tag)
        raise Refused(
            "tag-void",
            f"Tag {tag.code} is void.",
            field="code",
            remedy=f"The bag carries {current} now; take the row in for that one."
            if current
            else "Ask whose it was.",
        )
    if tag.sample_id is None:
        raise Refused(
            "tag-unbound",
            f"Tag {tag.code} is not on any bag.",
            field="code",
            remedy="Bind it to its bag first, or find the bag by the run's order.",
        )
    return session.get_one(Sample, tag.sample_id)


def _replacement(session: Session, tag: Tag) -> str | None:
    if tag.sample_id is None:
        return None
    return standing_of(session, session.get_one(Sample, tag.sample_id)).code
