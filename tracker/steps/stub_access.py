"""Pause a producer's stub, open it again, or revoke it for ever. Another stub is printed by steps/print_tags."""

from __future__ import annotations

from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import Act
from tracker.domain.sharing import PAUSED, RESUMED, REVOKED
from tracker.errors import Refused
from tracker.steps.print_tags import require_reason
from tracker.storage.shares import TokenChange, last_change
from tracker.storage.tags import Tag, tag_coded

# Who answers for what leaves the house.
MAY_CHANGE = ("clerk", "lead")


def pause_stub(session: Session, text: str, act: Act, *, reason: str) -> TokenChange:
    """The stub opens nothing until it is opened again. Raises as change_stub."""
    return change_stub(session, text, PAUSED, act, reason=reason)


def resume_stub(session: Session, text: str, act: Act, *, reason: str) -> TokenChange:
    """The stub opens again after a pause. Raises as change_stub, and Refused `stub-not-paused`."""
    return change_stub(session, text, RESUMED, act, reason=reason)


def revoke_stub(session: Session, text: str, act: Act, *, reason: str) -> TokenChange:
    """This stub never opens anything again; the code on the bag stays. Raises as change_stub."""
    return change_stub(session, text, REVOKED, act, reason=reason)


def change_stub(session: Session, text: str, change: str, act: Act, *, reason: str) -> TokenChange:
    """Record what becomes of the stub of this tag's code.

    Raises Refused `not-allowed`, `reason-missing`, `stub-revoked`, `stub-not-paused`, and what tag_coded raises.
    """
    require_office(act)
    require_reason(reason)
    tag = tag_coded(session, text)
    before = last_change(session, tag.token_hash)
    _refuse_dead(tag, before)
    if change == RESUMED and (before is None or before.change != PAUSED):
        raise Refused(
            "stub-not-paused",
            f"The stub of {payload.shown(tag.code)} is not paused.",
            field="code",
            remedy="It opens already.",
        )
    row = TokenChange(
        token_hash=tag.token_hash, change=change, reason=reason.strip(), by=act.by.key, at=act.now
    )
    session.add(row)
    session.flush()
    return row


def require_office(act: Act) -> None:
    """Raises Refused `not-allowed` for whoever does not answer for what leaves the house."""
    if act.by.role not in MAY_CHANGE:
        raise Refused(
            "not-allowed",
            f"{act.by.key} may not change who sees results.",
            field="by",
            remedy="A clerk or the lead does it.",
        )


def _refuse_dead(tag: Tag, before: TokenChange | None) -> None:
    if before is not None and before.change == REVOKED:
        raise Refused(
            "stub-revoked",
            f"The stub of {payload.shown(tag.code)} is revoked.",
            field="code",
            remedy="Print the tag again: `tracker reprint` gives it a new stub.",
        )
