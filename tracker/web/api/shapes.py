"""What acts are answered with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.lookups.sample_way import way_of

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.storage.coring import Sample
    from tracker.storage.custody import EventRow


class Stands(Schema):
    """How a sample stands after an act. entry: the act's number in its way; holder: who has it, by key."""

    entry = fields.Integer(required=True)
    lot = fields.Integer(required=True)
    code = fields.String(required=True, allow_none=True)
    state = fields.String(required=True)
    holder = fields.String(required=True, allow_none=True)
    in_transfer_to = fields.String(required=True, allow_none=True)
    waits_for = fields.String(required=True, allow_none=True)
    holds = fields.List(fields.String(), required=True)
    remarks = fields.List(fields.String(), required=True)


def stands(session: Session, sample: Sample, event: EventRow) -> dict[str, Any]:
    """The sample as it stands now, and what was remarked about the act."""
    way = way_of(session, sample)
    return {
        "entry": event.seq,
        "lot": way.lot,
        "code": way.code,
        "state": way.state,
        "holder": way.holder,
        "in_transfer_to": way.in_transfer_to,
        "waits_for": way.waits_for,
        "holds": list(way.holds),
        "remarks": [finding["words"] for finding in event.data.get("findings", ())],
    }


class Codes(Schema):
    """Tags by their codes."""

    codes = fields.List(fields.String(), required=True)


class Counted(Schema):
    """How many."""

    count = fields.Integer(required=True)
