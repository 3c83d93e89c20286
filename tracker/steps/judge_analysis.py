"""What is to be said of an analysis before it is attached: does it hold together, and was it made before?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy.orm import Session

from tracker.domain.analysis import amounts_on_dry_matter
from tracker.domain.check_samples import duplicate_difference
from tracker.domain.findings import HOLD, NOTE, Finding
from tracker.domain.judging import Judge
from tracker.domain.lot import FORAGE_KINDS
from tracker.domain.practice import Practice
from tracker.files.results_file import ReportedValue
from tracker.storage.analysis import values_in_force
from tracker.storage.coring import Sample
from tracker.storage.lots import Lot

# Every source returns a dry matter of the portion it had; two of them are no contradiction.
MEASURED_BEFORE = "analysed-before"
OF_THE_PORTION = ("DM", "GH", "NH")


def judged(
    session: Session,
    sample: Sample,
    values: Sequence[ReportedValue],
    practice: Practice,
    duplicate_of: Sequence[ReportedValue] = (),
) -> tuple[Finding, ...]:
    """Findings about the values themselves, and a hold where another analysis measured the same already.

    duplicate_of: the first values of a sample that its run scans twice on purpose; the second are held against
    them and not against other analyses.
    """
    lot = session.get_one(Lot, sample.lot_id)
    found = list(judged_values(values, Judge(FORAGE_KINDS[lot.forage], practice)))
    if duplicate_of:
        found += _beside(duplicate_of, values, practice)
    else:
        found += _measured_before(session, sample, values)
    return tuple(found)


def judged_values(values: Iterable[ReportedValue], judge: Judge) -> tuple[Finding, ...]:
    """What is to be said of the values of one analysis by themselves."""
    amounts = dict([one.amount for one in values])
    wet = [one.constituent for one in values if one.wet]
    if not wet:
        return judge.findings(amounts)
    return judge.findings(*amounts_on_dry_matter(amounts, wet))


def _beside(
    first: Sequence[ReportedValue], second: Sequence[ReportedValue], practice: Practice
) -> list[Finding]:
    """A blind duplicate that lies too far from its first scan is held; one that agrees is noted."""
    before = {value.constituent: value for value in first}
    found = []
    for value in second:
        other = before.get(value.constituent)
        if other is None or (other.unit, other.basis) != (value.unit, value.basis):
            continue
        apart = duplicate_difference(value.constituent, other.value, value.value, practice)
        if apart.within is not None:
            code, level = ("blind-duplicate", NOTE) if apart.within else ("blind-duplicate-apart", HOLD)
            found.append(Finding(code, level, f"Blind duplicate, {apart.words}", (value.constituent,)))
    return found


def _measured_before(session: Session, sample: Sample, values: Iterable[ReportedValue]) -> list[Finding]:
    standing = values_in_force(session, sample.id)
    given = dict.fromkeys(value.constituent for value in values)
    again = [code for code in given if code in standing and code not in OF_THE_PORTION]
    if not again:
        return []
    first = standing[again[0]][0]
    words = f"Analysis {first.id} measured {', '.join(again)} already. Both are kept; somebody chooses which stands."
    return [Finding(MEASURED_BEFORE, HOLD, words, tuple(again))]
