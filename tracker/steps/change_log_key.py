"""Give the log a new key: the old one signs for it, and stays known for all that it signed."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.signed_head import PublicKey
from tracker.errors import Refused
from tracker.files.key_file import KeyFile
from tracker.steps.append_event import on_programme
from tracker.steps.print_tags import require_reason
from tracker.steps.sign_log import sign


def change_log_key(session: Session, act: Act, *, reason: str) -> PublicKey:
    """Make a new key and let the old one sign the entry that names it. Returns the new public key.

    Raises Refused `not-allowed`, `reason-missing`, `log-key-missing`, `log-key-unreadable`.
    """
    require_reason(reason)
    if act.by.role != "lead":
        raise Refused(
            "not-allowed",
            f"{act.by.key} may not change the log's key.",
            field="by",
            remedy="A lead changes it.",
        )
    file: KeyFile | None = session.info.get("key file")
    if file is None:
        raise Refused(
            "log-key-missing",
            "It is not said where the log's key lies.",
            field="TRACKER_LOG_KEY_FILE",
            remedy="Set TRACKER_LOG_KEY_FILE, and make a first key with `tracker init`.",
        )
    _, new = file.change()
    on_programme(session, "log key changed", {"key": str(new.public), "reason": reason.strip()}, act)
    sign(session, act.now)
    # Last of all: should the act fail after this, the file knows a key more than the log, which does no harm.
    file.replace(new)
    sign(session, act.now)
    return new.public
