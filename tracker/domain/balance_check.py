"""The daily check of a balance: the empty pan, and one weight near the load.

Limits are the maximum permissible errors on verification (OIML R 76-1:2006, table 6). In service the
recommendation allows twice as much (from memory); the tighter limit is ours to keep, unless the programme stores a
limit of its own for the balance. Weights and their limits are those of OIML R 111-1:2004, table 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TypeVar

from tracker.domain.times import at_offset, offset_minutes, utc
from tracker.errors import Refused

Key = TypeVar("Key")

# Loads in e up to which the error may be 0.5 e, 1 e and 1.5 e (R 76-1, table 6); the last is the largest Max.
_STEPS: dict[str, tuple[int, int, int]] = {"II": (5_000, 20_000, 100_000), "III": (500, 2_000, 10_000)}
_PARTS = (Decimal("0.5"), Decimal(1), Decimal("1.5"))
CLASSES = tuple(_STEPS)
# Limits in mg by class and nominal mass in g. M1 at 200 g is from memory.
_WEIGHTS: dict[tuple[str, int], str] = {
    ("F1", 20): "0.25",
    ("F2", 20): "0.8",
    ("M1", 20): "2.5",
    ("E2", 50): "0.10",
    ("F1", 50): "0.3",
    ("F2", 50): "1.0",
    ("M1", 50): "3.0",
    ("E2", 100): "0.16",
    ("F1", 100): "0.5",
    ("F2", 100): "1.6",
    ("M1", 100): "5.0",
    ("M2", 100): "16",
    ("E2", 200): "0.3",
    ("F1", 200): "1.0",
    ("F2", 200): "3.0",
    ("M1", 200): "10",
}
# A weight may take up this share of the limit it checks (practice of R 76 and R 111, from memory).
WEIGHT_SHARE = 3
# A weight is near the load from half of it to twice it (our choice).
NEAR = 2


@dataclass(frozen=True)
class Check:
    """One check, in grams: limit at the weight, zero_limit with the pan empty, difference = shown - nominal."""

    passed: bool
    limit: Decimal
    difference: Decimal
    zero_limit: Decimal
    zero: Decimal
    words: str


@dataclass(frozen=True)
class Suitability:
    """Whether a check weight is good enough: its own limit and the balance's, in grams."""

    suitable: bool
    weight_limit: Decimal
    balance_limit: Decimal
    words: str


def error_limit(load_g: Decimal, e: Decimal, accuracy_class: str) -> Decimal:
    """The maximum permissible error on verification at a load, in grams; e is the verification interval in grams.

    Raises Refused `unknown-balance-class`, `not-an-interval` or `load-beyond-class`.
    """
    _check_class(e, accuracy_class)
    for steps, part in zip(_STEPS[accuracy_class], _PARTS, strict=True):
        if 0 <= load_g <= steps * e:
            return part * e
    raise Refused(
        "load-beyond-class",
        f"{load_g} g is no load for a class {accuracy_class} balance with an interval of {e} g.",
        field="nominal",
        remedy="Read class, e and Max on the balance's plate again, and choose a weight near the samples.",
    )


def least_load(e: Decimal, accuracy_class: str) -> Decimal:
    """Min in grams, below which a weighing says little: 20 e, and 50 e for class II from e = 0.1 g (R 76-1, table 3).

    Raises Refused `unknown-balance-class` or `not-an-interval`.
    """
    _check_class(e, accuracy_class)
    return (50 if accuracy_class == "II" and e >= Decimal("0.1") else 20) * e


def judge_check(
    nominal_g: Decimal,
    shown_g: Decimal,
    zero_g: Decimal,
    e: Decimal,
    accuracy_class: str,
    own_limit: Decimal | None = None,
) -> Check:
    """The check of one day, all in grams: what the weight should and did show, and what the empty pan showed.

    It passes when neither differs by more than the limit at its load; own_limit, where the programme stores one,
    stands for both. Raises Refused as error_limit does, and `not-positive` for a nominal or limit that is not.
    """
    for field, value in (("nominal", nominal_g), ("own_limit", own_limit)):
        _check_positive(field, value)
    limit = own_limit or error_limit(nominal_g, e, accuracy_class)
    zero_limit = own_limit or error_limit(Decimal(0), e, accuracy_class)
    difference = shown_g - nominal_g
    faults = []
    if abs(zero_g) > zero_limit:
        faults.append(f"the empty pan showed {zero_g} g, and {zero_limit} g is allowed")
    if abs(difference) > limit:
        faults.append(f"{nominal_g} g showed {shown_g} g: {difference:+} g, and {limit} g is allowed")
    said = f"{nominal_g} g showed {shown_g} g and the empty pan {zero_g} g, within {limit} g"
    words = f"Failed: {'; '.join(faults)}." if faults else f"Passed: {said}."
    return Check(not faults, limit, difference, zero_limit, zero_g, words)


def weight_limit(nominal_g: Decimal, weight_class: str) -> Decimal:
    """How far a check weight may be from its nominal mass, in grams. Raises Refused `unknown-check-weight`."""
    milligrams = next(
        (mg for (name, g), mg in _WEIGHTS.items() if (name, g) == (weight_class, nominal_g)), None
    )
    if milligrams is None:
        raise Refused(
            "unknown-check-weight",
            f"No limit is known here for a {weight_class} weight of {nominal_g} g.",
            field="weight_class",
            remedy="Choose 20, 50, 100 or 200 g of class F1, F2 or M1, or store the balance's own limit.",
        )
    return Decimal(milligrams).scaleb(-3)


def suitability(
    nominal_g: Decimal, weight_class: str, e: Decimal, accuracy_class: str, own_limit: Decimal | None = None
) -> Suitability:
    """Whether a weight can check this balance: its own limit is at most a third of the balance's at that load.

    Raises Refused as weight_limit, error_limit and judge_check do.
    """
    _check_positive("own_limit", own_limit)
    own = weight_limit(nominal_g, weight_class)
    limit = own_limit or error_limit(nominal_g, e, accuracy_class)
    suitable = WEIGHT_SHARE * own <= limit
    verdict = "is good enough" if suitable else "is not good enough"
    words = (
        f"A {weight_class} weight of {nominal_g} g may be {own} g off, and the balance {limit} g: it {verdict}, "
        f"as a weight may take a third of what it checks."
    )
    return Suitability(suitable, own, limit, words)


def near_the_load(nominal_g: Decimal, load_g: Decimal) -> bool:
    """Whether a weight checks the balance where it is used: from half the usual load to twice it."""
    return load_g <= NEAR * nominal_g and nominal_g <= NEAR * load_g


def in_date(last_passed_at: datetime | None, now: datetime, last_failed_at: datetime | None = None) -> bool:
    """Whether the balance was checked and passed today, by the day where `now` was read, and has not failed since.

    A check that lies ahead of now counts for nothing: a clock is wrong.
    """
    if last_passed_at is None or last_passed_at > now:
        return False
    if last_failed_at is not None and last_passed_at <= last_failed_at:
        return False
    return at_offset(utc(last_passed_at), offset_minutes(now)).date() == now.date()


def affected(
    weighings: Iterable[tuple[Key, datetime]], checks: Iterable[tuple[datetime, bool]]
) -> tuple[Key, ...]:
    """The weighings that a failed check of the same balance puts in doubt, in the order given.

    weighings: what names one, and its time; checks: time and whether passed, in any order. In doubt is all that
    lies between a failed check and the nearest passed ones on either side: nobody knows since when it was wrong.
    Of two checks at the same moment the failed one counts.
    """
    # False sorts before True: at one moment a pass is put first, so that the failure is what stands after it.
    line = sorted(checks, key=lambda check: (check[0], not check[1]))
    return tuple(key for key, at in weighings if _in_doubt(at, line))


def _in_doubt(at: datetime, line: list[tuple[datetime, bool]]) -> bool:
    before = [passed for when, passed in line if when <= at]
    after = [(when, passed) for when, passed in line if when > at]
    failed_next = bool(after) and not all(passed for when, passed in after if when == after[0][0])
    return failed_next or (bool(before) and not before[-1])


def _check_class(e: Decimal, accuracy_class: str) -> None:
    if accuracy_class not in _STEPS:
        raise Refused(
            "unknown-balance-class",
            f"{accuracy_class!r} is not a class whose limits are known here.",
            field="accuracy_class",
            remedy=f"Read the class on the balance's plate: {' or '.join(CLASSES)}.",
        )
    least = Decimal("0.001") if accuracy_class == "II" else Decimal("0.1")
    if e < least:
        raise Refused(
            "not-an-interval",
            f"{e} g is no verification interval of class {accuracy_class}; {least} g is the least.",
            field="e",
            remedy="Read e on the balance's plate; where there is none, it is the last digit shown.",
        )


def _check_positive(field: str, value: Decimal | None) -> None:
    if value is not None and value <= 0:
        raise Refused(
            "not-positive",
            f"{value} g is not above zero.",
            field=field,
            remedy="Check the sign and the value.",
        )
