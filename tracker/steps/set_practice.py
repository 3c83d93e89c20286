"""The programme makes one of its rules its own."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.practice import checked_value
from tracker.steps.print_tags import require_reason
from tracker.storage.kept import PracticeValue


def set_practice(
    session: Session, rule: str, value: str, act: Act, *, source: str, reason: str
) -> PracticeValue:
    """Keep the rule's new value with where it comes from and why. The old one stays for what rests on it.

    Raises what domain.practice.checked_value raises, and Refused `reason-missing`.
    """
    checked_value(rule, value)
    require_reason(source)
    require_reason(reason)
    row = PracticeValue(rule=rule, value=value, source=source, reason=reason, by=act.by.key, at=act.now)
    session.add(row)
    session.flush()
    return row
