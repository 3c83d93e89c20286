"""A lot's bundle, put together: what is known of the lot, and its reports printed with their proofs."""

from __future__ import annotations

import io

from sqlalchemy.orm import Session

from tracker.files.lot_bundle import Bundle, write_bundle
from tracker.lookups.report_record import proof_of
from tracker.lookups.whole_lot import reports_of, whole_lot
from tracker.papers.lot_report import lot_report
from tracker.settings import Settings


def bundle_of(session: Session, lot: int, settings: Settings) -> bytes:
    """The lot's bundle as a zip. Raises NotFound `unknown-lot`, Conflict `log-behind`."""
    papers: dict[str, bytes] = {}
    reports = reports_of(session, lot)
    for report in reports:
        last = report is reports[-1]
        proof = proof_of(session, report)
        file = io.BytesIO()
        lot_report(file, report.body, proof)
        papers["report.pdf" if last else f"earlier/{report.number}.pdf"] = file.getvalue()
        if proof is not None:
            papers["custody.json" if last else f"earlier/{report.number}.custody.json"] = proof.content
    return write_bundle(Bundle(whole_lot(session, lot, settings), papers))
