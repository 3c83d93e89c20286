"""Issue a report: everything on it is kept as it was at that moment, under a number of its own."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from typing import Any
from uuid import uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.log_entry import SALT_BYTES, as_shown, digest
from tracker.domain.times import utc
from tracker.errors import Refused
from tracker.steps.append_event import on_sample
from tracker.steps.hold import require_second_person
from tracker.steps.print_tags import require_reason
from tracker.storage.analysis import values_in_force
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.released import keep_released
from tracker.storage.results import ReportVersion, latest_report
from tracker.storage.tallies import tally_answer

# Who may answer for a report (ISO/IEC 17025:2017, 7.8.2.1 o: the person authorising it is named).
MAY_RELEASE = ("analyst", "lead")


def release_results(
    session: Session,
    sample: Sample,
    body: Mapping[str, Any],
    act: Act,
    *,
    reason: str = "",
    interpretation: bool = True,
) -> ReportVersion:
    """Issue the sample's report, or the next version with the reason why there is one.

    body: what the report says, made by the lookup; the number, version, who and when are put in here, and each
    result that differs from the version before is marked. interpretation: whether whoever releases the results
    releases what the body makes of them too (ISO/IEC 17025:2017, 7.8.7: by authorised persons); what is not
    released is kept and not shown. Raises Refused `not-allowed`, `nothing-to-report`,
    `second-person-needed`, `reason-missing`, and what custody raises.
    """
    if act.by.role not in MAY_RELEASE:
        raise Refused(
            "not-allowed",
            f"{act.by.key} may not release results.",
            field="by",
            remedy="An analyst or the lead releases them.",
        )
    if not body["results"]:
        raise Refused(
            "nothing-to-report",
            "No analysis stands for this sample.",
            field="sample",
            remedy="Take in its results first: `tracker import-analyses`.",
        )
    require_second_person(session, _took_in(session, sample), act)
    before = latest_report(session, sample.id)
    if before is not None:
        require_reason(reason)
    code = session.get_one(StandingRow, sample.id).code or f"LOT{sample.lot_id}-{sample.number}"
    version = before.version + 1 if before else 1
    number = f"R-{code}-v{version}"
    kept = _with_changes(body, before)
    kept["report"] = _heading(number, version, before, reason, act)
    kept["interpretation"] = _interpreted(body, before, number, act if interpretation else None)
    named = Act(act.by, act.at, act.now, act.device, act.event_id or str(uuid4()), act.late_reason, act.note)
    event = on_sample(session, "reported", sample, {"report": number, "body": digest(as_shown(kept))}, named)
    row = ReportVersion(
        event_id=event.event_id,
        sample_id=sample.id,
        number=number,
        version=version,
        body=kept,
        reason=reason.strip(),
        issued_at=utc(act.occurred_at),
        issued_by=act.by.key,
    )
    session.add(row)
    session.flush()
    keep_released(session, sample.id, kept)
    tally_answer(session, sample.id)
    return row


def _heading(
    number: str, version: int, before: ReportVersion | None, reason: str, act: Act
) -> dict[str, Any]:
    return {
        "number": number,
        "version": version,
        "replaces": before.number if before else None,
        "reason": reason.strip(),
        "issued_at": act.occurred_at.isoformat(),
        "issued_by": act.by.name,
        "issued_by_role": act.by.role,
        # The log holds the body's hash; with the salt in it nobody can guess the body from the hash.
        "salt": secrets.token_hex(SALT_BYTES),
    }


def _took_in(session: Session, sample: Sample) -> set[str]:
    """Who took in the analyses whose values stand."""
    named = {analysis.event_id for analysis, _ in values_in_force(session, sample.id).values()}
    return set(session.scalars(select(EventRow.by).where(EventRow.event_id.in_(named))))


_COMPARED = ("dm", "ar", "unit", "margin")


def _with_changes(body: Mapping[str, Any], before: ReportVersion | None) -> dict[str, Any]:
    """The body with every result marked that says something else than in the version before."""
    kept = dict(body)
    if before is None:
        return kept
    for part in ("results", "derived"):
        old = {row["code"]: row for row in before.body[part]}
        kept[part] = [
            {
                **row,
                "changed": any(
                    row.get(name) != old.get(row["code"], {}).get(name) for name in (*_COMPARED, "value")
                ),
            }
            for row in body[part]
        ]
    return kept


def _interpreted(
    body: Mapping[str, Any], before: ReportVersion | None, number: str, act: Act | None
) -> dict[str, Any] | None:
    """The interpretation with who released it, each answer marked that says something else than the one before."""
    found = body.get("interpretation")
    if found is None:
        return None
    earlier = (before.body.get("interpretation") or {}) if before is not None else {}
    old = {_whom(one): _says(one) for one in earlier.get("answers") or ()}
    answers = [
        {**one, "changed": bool(old) and old.get(_whom(one)) != _says(one)} for one in found["answers"]
    ]
    named = act if act is not None and answers else None
    return {
        **found,
        "answers": answers,
        "report": number,
        "released_by": named.by.name if named else None,
        "released_by_role": named.by.role if named else None,
        "released_at": named.occurred_at.isoformat() if named else None,
    }


def _whom(answer: Mapping[str, Any]) -> tuple[str, str]:
    return str(answer["group"]), str(answer["animals"]["words"])


def _says(answer: Mapping[str, Any]) -> tuple[Any, ...]:
    return answer["verdict"], answer["said"], answer["reasons"]
