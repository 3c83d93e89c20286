"""A lot with its whole history as one file: given away, looked through, and taken in from another office."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.custody_check import check
from tracker.files.lot_bundle import proofs, read_bundle, write_bundle
from tracker.lookups.kept_bundles import KeptLot, kept_bundle, kept_lots
from tracker.papers.bundled import bundle_of
from tracker.steps.keep_bundle import Kept, keep_bundle
from tracker.web.api.entry import ZIP, Doing, act, question, short_list
from tracker.web.api.fields import shape_of, text
from tracker.web.api.uploads import base64, bytes_in
from tracker.web.shared.access import BENCH
from tracker.web.shared.season import settings

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class Bundle(Doing):
    """A lot's bundle."""

    content = base64("the zip's bytes")


class BundleToCheck(Bundle):
    """A lot's bundle, and whom to trust."""

    key = text("the public key to trust, as its laboratory publishes it", needed=False)


class Proven(Schema):
    """What a bundle holds and proves. trusted: null where no key was named; then compare the keys yourself."""

    programme = fields.String(required=True)
    lot = fields.Integer(required=True)
    events = fields.Integer(required=True)
    reports = fields.List(fields.String(), required=True)
    proofs = fields.List(fields.String(), required=True)
    keys = fields.List(fields.String(), required=True)
    trusted = fields.Boolean(required=True, allow_none=True)


def _check(session: Session, act: Act, content: str, key: str = "") -> dict[str, Any]:
    bundle = read_bundle(bytes_in(content))
    found = {name: check(bundle.papers[name]) for name in proofs(bundle)}
    keys = sorted({str(one["key"]) for one in found.values()})
    return {
        "programme": bundle.lot["programme"]["name"],
        "lot": bundle.lot["lot"]["number"],
        "events": len(bundle.lot["events"]),
        "reports": [one["number"] for one in bundle.lot["reports"]],
        "proofs": sorted(found),
        "keys": keys,
        "trusted": keys == [key.strip()] if key else None,
    }


def _keep(session: Session, act: Act, content: str) -> Kept:
    return keep_bundle(session, bytes_in(content), act)


question(
    "bundle",
    "/lots/<int:lot>/bundle",
    "Everything known of a lot, in open forms (docs/bundle.md).",
    lambda session, lot: bundle_of(session, lot, settings()),
    None,
    media=ZIP,
    roles=BENCH,
)
act(
    "check-bundle",
    "/bundles/check",
    "Whether a lot's bundle is whole and proven. Nothing is kept.",
    "read",
    _check,
    Proven,
    given=BundleToCheck,
    roles=BENCH,
    tries=True,
)
act(
    "keep-bundle",
    "/bundles",
    "Take in a lot of another season or office, to be read.",
    "lab",
    _keep,
    shape_of(Kept),
    given=Bundle,
    roles=BENCH,
    status=201,
)
short_list(
    "bundles",
    "/bundles",
    "The lots of others that were taken in.",
    lambda session: kept_lots(session),
    shape_of(KeptLot),
    key=lambda one: (one.number,),
    roles=BENCH,
)
question(
    "kept-bundle",
    "/bundles/<int:bundle>",
    "A lot of another office as it was taken in.",
    lambda session, bundle: write_bundle(kept_bundle(session, bundle)),
    None,
    media=ZIP,
    roles=BENCH,
)
