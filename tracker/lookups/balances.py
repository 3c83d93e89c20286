"""The bench's balances as they are today, and what a line of one says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.balance_check import in_date
from tracker.domain.balance_line import Reading, read_line, settle
from tracker.domain.balance_profile import PROFILES, Profile, profile_from
from tracker.domain.intake import batch_tare, tare_findings
from tracker.errors import NotFound, Refused
from tracker.storage.equipment import Balance, balance_named, balances, checks_of, require_sound
from tracker.storage.intake import TareBatch
from tracker.storage.kept import practice_in_force


@dataclass(frozen=True)
class BalanceToday:
    """A balance; check_weight and limit in grams. checked: it passed today and has not failed since.

    failed: its last check failed. words and at: of its last check, None where there was none.
    """

    name: str
    route: str
    profile: str
    check_weight: Decimal
    limit: Decimal
    checked: bool
    failed: bool
    words: str | None
    at: datetime | None


def balances_today(session: Session, now: datetime) -> tuple[BalanceToday, ...]:
    """Each balance by name, at this moment with the offset of the place."""
    return tuple(_today(session, row, now) for row in balances(session))


def _today(session: Session, row: Balance, now: datetime) -> BalanceToday:
    checks = checks_of(session, row.name)
    passed = [check.at for check in checks if check.passed]
    failed = [check.at for check in checks if not check.passed]
    last = checks[-1] if checks else None
    return BalanceToday(
        name=row.name,
        route=row.route,
        profile=str(row.profile["name"]),
        check_weight=row.check_weight,
        limit=row.limit,
        checked=in_date(max(passed, default=None), now, max(failed, default=None)),
        failed=last is not None and not last.passed,
        words=last.words if last else None,
        at=last.at if last else None,
    )


def profile_of(data: Mapping[str, Any]) -> Profile:
    """The profile as it is kept with a balance: the name of one that is built in, or an own one whole."""
    name = str(data["name"])
    return PROFILES[name] if set(data) == {"name"} and name in PROFILES else profile_from(data)


def parsed(session: Session, name: str, raw: str) -> Reading:
    """One line of the balance, whatever it weighs. Raises NotFound `unknown-balance`, Refused as read_line."""
    return read_line(raw, profile_of(balance_named(session, name).profile))


def storable(session: Session, name: str, raw: str, before: str = "", seconds: Decimal | int = 0) -> bool:
    """Whether the line may be kept without anybody pressing for it; before: the line so many seconds earlier."""
    profile = profile_of(balance_named(session, name).profile)
    try:
        earlier = read_line(before, profile) if before else None
    except Refused:
        earlier = None
    return settle(earlier, read_line(raw, profile), seconds)


def reading_on(
    session: Session,
    name: str,
    shown: str,
    *,
    raw: str = "",
    again: str | None = None,
    pan_empty: bool = False,
    sound: bool = True,
) -> Reading:
    """What somebody wants to be kept from this balance; whoever sends it has pressed for it.

    shown: what is in the box; raw: the line a serial balance sent, which is read in its stead where it says the
    same weight; again: the same weight typed a second time, demanded where a person typed it. sound: refuse a
    balance whose last check failed. Raises NotFound `unknown-balance`, Refused `balance-unsteady`,
    `entries-differ`, `balance-check-failed`, and as read_line.
    """
    balance = balance_named(session, name)
    if sound:
        require_sound(session, balance.name)
    profile = profile_of(balance.profile)
    reading = read_line(shown, profile, pan_empty=pan_empty)
    sent = read_line(raw, profile, pan_empty=pan_empty) if raw.strip() else None
    if sent is not None and sent.grams == reading.grams:
        reading = sent
    elif balance.route == "typed" or (balance.route == "serial" and again is not None):
        _require_same(reading, read_line(again or "", profile, pan_empty=pan_empty) if again else None)
    if not settle(None, reading, pressed=True):
        raise Refused(
            "balance-unsteady",
            f"{reading.raw.strip()}: the balance is not steady yet.",
            field="grams",
            remedy="Wait until it is, close the draught shield, and weigh again.",
        )
    return reading


def _require_same(first: Reading, second: Reading | None) -> None:
    # Equal digits, not equal value: 236.4 and 236.40 are not the same display.
    if second is None or str(first.grams) != str(second.grams):
        raise Refused(
            "entries-differ",
            "The weight was typed twice, and not the same both times.",
            field="again",
            remedy="Look at the display and type it twice again.",
        )


@dataclass(frozen=True)
class Batch:
    """Empty sacks of one batch: mean and SD in grams, how many, and what is to be said of them."""

    id: int
    readings: tuple[Decimal, ...]
    mean: Decimal
    sd: Decimal
    at: datetime
    remarks: tuple[str, ...]


def tare_batch(session: Session, number: int) -> Batch:
    """The batch with this number. Raises NotFound `unknown-tare-batch`."""
    row = session.get(TareBatch, number)
    if row is None:
        raise NotFound(
            "unknown-tare-batch",
            f"There is no batch of sacks {number}.",
            field="batch",
            remedy="Weigh empty sacks of the batch, or weigh each sack by itself.",
        )
    return _batch(session, row)


def newest_batch(session: Session) -> Batch | None:
    """The batch that was weighed last, if any was."""
    row = session.scalar(select(TareBatch).order_by(TareBatch.id.desc()).limit(1))
    return _batch(session, row) if row else None


def _batch(session: Session, row: TareBatch) -> Batch:
    practice = practice_in_force(session)
    readings = tuple(Decimal(text) for text in row.readings)
    mean = batch_tare(readings, practice)
    remarks = tuple(finding.words for finding in tare_findings(mean, practice))
    return Batch(row.id, readings, mean.mean, mean.sd, row.at, remarks)
