"""A sample's way and its dry matter, and what waits where."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.lookups.bench_queue import Waiting, waiting_page
from tracker.lookups.dry_matter import dry_matter_of
from tracker.lookups.find import sample_ever_named, sample_named
from tracker.lookups.sample_way import way_of
from tracker.lookups.samples import SampleLine, samples_page
from tracker.web.api.entry import listing, question
from tracker.web.api.fields import shape_of

if TYPE_CHECKING:
    from sqlalchemy.orm import Session


class Way(Schema):
    """Where a sample has been and is: its stations, every entry, and gaps in its keeping in words."""

    lot = fields.Integer(required=True)
    sample = fields.Integer(required=True)
    code = fields.String(required=True, allow_none=True)
    producer = fields.String(required=True)
    field = fields.String(required=True)
    cutting = fields.Integer(required=True)
    state = fields.String(required=True)
    holder = fields.String(required=True, allow_none=True)
    in_transfer_to = fields.String(required=True, allow_none=True)
    holds = fields.List(fields.String(), required=True)
    waits_for = fields.String(required=True, allow_none=True)
    stations = fields.List(fields.Dict(), required=True)
    events = fields.List(fields.Dict(), required=True)
    heard = fields.List(fields.Integer(), required=True)
    gaps = fields.List(fields.String(), required=True)


class DryMatter(Schema):
    """The sample's weights in g and its dry matter in %, with margins at 95 %, as far as they are known."""

    dry_matter = fields.Dict(required=True)
    words = fields.List(fields.String(), required=True)


def _way(session: Session, sample: str) -> dict[str, Any]:
    return way_of(session, sample_ever_named(session, sample)).as_dict()


def _dry_matter(session: Session, sample: str) -> dict[str, Any]:
    found = dry_matter_of(session, sample_named(session, sample))
    return {"dry_matter": found.as_dict(), "words": found.lines()}


question("way", "/samples/<sample>", "Where a sample has been and is, and who has it.", _way, Way)
question(
    "dry-matter",
    "/samples/<sample>/dry-matter",
    "A sample's dry matter and how it comes about.",
    _dry_matter,
    DryMatter,
)
listing("waiting", "/waiting", "What waits where, by sample.", waiting_page, shape_of(Waiting))
listing(
    "samples", "/samples", "The samples by number, and where each stands.", samples_page, shape_of(SampleLine)
)
