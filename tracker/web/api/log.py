"""The signed log for whoever checks it: its public keys, its heads, and the proof of a report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.errors import NotFound, Refused
from tracker.lookups.heads import HeadLine, heads_page
from tracker.lookups.issued_reports import report_numbered
from tracker.lookups.report_record import public_keys
from tracker.steps.sign_log import sign
from tracker.web.api.entry import JSON, act, listing, question
from tracker.web.api.fields import shape_of
from tracker.web.shared.access import LEAD

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class Keys(Schema):
    """The log's public keys, the oldest first, each as a line; none where the key is not at hand."""

    keys = fields.List(fields.String(), required=True)


class Signed(Schema):
    """A head over the log as it stands: how many entries it covers, and the signed note, byte for byte."""

    size = fields.Integer(required=True)
    note = fields.String(required=True)


def _proof(session: Session, number: str) -> bytes:
    issued = report_numbered(session, number)
    if issued.proof is None:
        raise NotFound(
            "no-proof",
            f"Report {number} has no proof: no signed head covers it.",
            field="number",
            remedy="Sign a head with the log's key at hand; a report from before the log was signed never has one.",
        )
    return issued.proof.content


def _sign(session: Session, act: Act) -> dict[str, Any]:
    head = sign(session, act.now)
    if head is None:
        raise Refused(
            "log-key-missing",
            "The log's key is not at hand, or the log has no entry, so there is nothing to sign.",
            field="head",
            remedy="Bring back the key file, or name it with TRACKER_LOG_KEY_FILE.",
        )
    return {"size": head.size, "note": str(head)}


question(
    "log-keys",
    "/log/keys",
    "The log's public keys.",
    lambda session: {"keys": [str(one) for one in public_keys(session)]},
    Keys,
)
listing("heads", "/log/heads", "The log's signed heads, the oldest first.", heads_page, shape_of(HeadLine))
act("sign-head", "/log/heads", "Sign a head over the log as it stands.", "office", _sign, Signed, roles=LEAD)
question(
    "proof",
    "/reports/<number>/proof",
    "The record that proves a report; docs/custody.md says how it is checked.",
    _proof,
    None,
    media=JSON,
)
