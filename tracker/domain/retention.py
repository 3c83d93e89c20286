"""How long each kind of record is kept, and what may go after that.

ISO/IEC 17025:2017, 8.4.2, asks a laboratory to say how long it keeps its records and to dispose of them on purpose;
the spans are the programme's own choice, after its law and its contracts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from tracker.domain.practice import Practice
from tracker.domain.times import utc


@dataclass(frozen=True)
class RecordKind:
    """What is kept under this name, and the rule that says for how many days; none: as long as the season."""

    name: str
    holds: str
    rule: str | None


RESTS, PHOTOS, REFUSALS, SIGN_INS, LOG = "rests", "photos", "refusals", "sign-ins", "log"
KINDS: dict[str, RecordKind] = {
    kind.name: kind
    for kind in (
        RecordKind(
            RESTS, "ground hay that is left of a sample in a place of the laboratory", "keep_rests_days"
        ),
        RecordKind(PHOTOS, "photos of bags, seals and labels", "keep_photos_days"),
        RecordKind(REFUSALS, "what was asked and refused, with the values as given", "keep_refusals_days"),
        RecordKind(
            SIGN_INS, "who came in and who was turned away, ended sign-ins, used links", "keep_sign_ins_days"
        ),
        RecordKind(LOG, "custody, weights, analyses and issued reports", None),
    )
}
# What the program takes away itself; hay is thrown away by people.
DATA = (PHOTOS, REFUSALS, SIGN_INS)


def due_before(kind: RecordKind, practice: Practice, now: datetime) -> date | None:
    """The day (UTC) before which records of this kind have been kept long enough; None where they are never due."""
    if kind.rule is None:
        return None
    return utc(now).date() - timedelta(days=int(practice.number(kind.rule)))
