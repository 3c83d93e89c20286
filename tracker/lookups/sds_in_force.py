"""The standard deviations in force: the rules, and what the programme's own repeats say."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from sqlalchemy.orm import Session

from tracker.domain import analysis
from tracker.domain.analysis import CONSTITUENTS
from tracker.domain.default_sds import TOTAL_DM, relative_family
from tracker.domain.findings import HOLD
from tracker.domain.hay_errors import Cored
from tracker.domain.own_sds import (
    Composites,
    Sds,
    Shrunk,
    default_field_sds,
    default_lab_sd,
    enough,
    pooled_within,
    sampling_ratio,
    shrunk,
)
from tracker.domain.practice import Practice
from tracker.domain.precision import bale_share
from tracker.lookups.cores_taken import cores_of
from tracker.lookups.dry_matter import dry_matter_of
from tracker.storage.analysis import Analysis, as_value, repeated_analyses
from tracker.storage.coring import Sample, samples_with_lots
from tracker.storage.kept import practice_in_force

# What steps.judge_analysis finds in every second analysis of a sample.
MEASURED_BEFORE = "analysed-before"

# Values on dry matter by source, constituent with its method and calibration, and sample.
_Runs = Mapping[tuple[str, str], Mapping[int, list[Decimal]]]


def sds_in_force(session: Session) -> Sds:
    """The programme's practice with its own SDs where repeats were made; see domain.own_sds."""
    practice = practice_in_force(session)
    rows = [row for row in repeated_analyses(session) if not _doubtful(row)]
    if not rows:
        return Sds(practice)
    runs = _runs(rows)
    by_lab = Sds(practice, {}, _laboratory(runs, practice))
    return Sds(practice, _sampling(session, rows, runs, by_lab), by_lab.laboratory)


def _doubtful(row: Analysis) -> bool:
    """Whether it is held for what it says, and not only because the sample was analysed before."""
    return any(finding["level"] == HOLD and finding["code"] != MEASURED_BEFORE for finding in row.findings)


def _runs(rows: Iterable[Analysis]) -> dict[tuple[str, str], dict[int, list[Decimal]]]:
    """What one source found by one method; of several methods the one used most, so that none is mixed."""
    found: dict[tuple[str, str], dict[tuple[str, str], dict[int, list[Decimal]]]] = {}
    for row in rows:
        on_dm = analysis.all_on_dry_matter({value.constituent: as_value(value) for value in row.values})
        for code, value in on_dm.items():
            if code == "DM" or default_field_sds(code, value.value) is not None:
                ways = found.setdefault((row.file.map.source.name, code), {})
                way = ways.setdefault((value.method, value.calibration or ""), {})
                way.setdefault(row.sample_id, []).append(value.value)
    return {key: max(ways.values(), key=_count) for key, ways in found.items()}


def _count(samples: Mapping[int, Sequence[Decimal]]) -> int:
    return sum(len(values) for values in samples.values())


def _laboratory(runs: _Runs, practice: Practice) -> dict[tuple[str, str], Shrunk]:
    prior, found = practice.number("sd_prior_dof"), {}
    for (source, code), samples in runs.items():
        several = [values for values in samples.values() if len(values) > 1]
        typical = _mean([_mean(values) for values in several]) if several else Decimal(0)
        if not typical:
            continue
        default = default_lab_sd(code, typical, CONSTITUENTS[code].unit, practice)
        if relative_family(code):
            several, default = [_shares(values) for values in several], default / abs(typical)
        own = enough(pooled_within(several), practice)
        if own is not None:
            found[source, code] = shrunk(own, default**2, prior)
    return found


def _mean(values: Sequence[Decimal]) -> Decimal:
    return sum(values, Decimal(0)) / len(values)


def _shares(values: Sequence[Decimal]) -> list[Decimal]:
    """The values as shares of their mean; of nothing but zeros nothing is learnt."""
    mean = _mean(values)
    return [value / mean for value in values] if mean else []


def _sampling(session: Session, rows: Sequence[Analysis], runs: _Runs, by_lab: Sds) -> dict[str, Shrunk]:
    samples = samples_with_lots(session, sorted({row.sample_id for row in rows}))
    lots: dict[int, list[int]] = defaultdict(list)
    cored: dict[int, Cored] = {}
    for sample in samples:
        taken = cores_of(session, sample.id)
        if taken is not None:
            lots[sample.lot_id].append(sample.id)
            cored[sample.id] = taken
    several = [group for group in lots.values() if len(group) > 1]
    if not several:
        return {}
    values: dict[str, list[Composites]] = defaultdict(list)
    for (source, code), found in runs.items():
        if code != "DM":
            values[code] += _composites(code, source, found, several, cored, by_lab)
    twice = {number for group in several for number in group}
    totals = _total_dm(session, [sample for sample in samples if sample.id in twice])
    values[TOTAL_DM] += _composites(TOTAL_DM, "", totals, several, cored, by_lab)
    prior = by_lab.practice.number("sd_prior_dof")
    ratios = {code: enough(sampling_ratio(lots), by_lab.practice) for code, lots in values.items()}
    return {code: shrunk(own, Decimal(1), prior) for code, own in ratios.items() if own is not None}


def _total_dm(session: Session, samples: Iterable[Sample]) -> dict[int, list[Decimal]]:
    found = {}
    for sample in samples:
        dm = dry_matter_of(session, sample)
        if dm.total is not None:
            found[sample.id] = [dm.total.value]
    return found


def _composites(
    code: str,
    source: str,
    found: Mapping[int, Sequence[Decimal]],
    lots: Sequence[Sequence[int]],
    cored: Mapping[int, Cored],
    by_lab: Sds,
) -> list[Composites]:
    """The lots of which this source measured the constituent in several composites."""
    made = []
    for lot in lots:
        measured = [sample for sample in lot if sample in found]
        if len(measured) < 2:
            continue
        means = tuple(_mean(found[sample]) for sample in measured)
        expected = _mean(
            [_expected(code, _mean(means), cored[sample], by_lab.practice) for sample in measured]
        )
        lab, _ = by_lab.lab_sd(code, _mean(means), source, _unit(code))
        noise = _mean([lab**2 / len(found[sample]) for sample in measured])
        made.append(Composites(means, expected, noise))
    return made


def _unit(code: str) -> str:
    return CONSTITUENTS[code].unit if code in CONSTITUENTS else "%"


def _expected(code: str, value: Decimal, cored: Cored, practice: Practice) -> Decimal:
    sds = default_field_sds(code, value, practice)
    if sds is None:
        return Decimal(0)
    between, within = sds
    return between**2 * bale_share(cored.cores, cored.bales) + within**2 / sum(cored.cores)
