"""Measured values as the instrument showed them, and the units they are in.

Weights and percentages are decimals from input to storage: a balance that shows 250.0 has said something
about its last digit that the float 250.0 forgets. Unit names are UCUM (https://ucum.org), case-sensitive.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal

from tracker.errors import Refused

# Exact by definition (international yard and pound agreement, 1959).
GRAMS_PER_POUND = Decimal("453.59237")
POUNDS_PER_SHORT_TON = Decimal(2000)
MM_PER_INCH = Decimal("25.4")
CUBIC_INCHES_PER_CUBIC_FOOT = Decimal(1728)

# One strict grammar for every number a person types or a file holds. No exponent, no digit grouping, no
# infinity or NaN, ASCII digits only: float() and Decimal() accept all of these, and each has its own way of
# turning a slip into a plausible weight.
_NUMBER = re.compile(r"[+-]?[0-9]{1,9}(\.[0-9]{1,6})?", re.ASCII)
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]{1,9},[0-9]{1,6}", re.ASCII)
_COMMA_THOUSANDS = re.compile(r"[+-]?[0-9]{1,9}(,[0-9]{3})+(\.[0-9]{1,6})?", re.ASCII)

_UCUM_HINTS = {
    "gm": "g",
    "gms": "g",
    "gram": "g",
    "grams": "g",
    "G": "g",
    "Kg": "kg",
    "KG": "kg",
    "lb": "[lb_av]",
    "lbs": "[lb_av]",
    "pct": "%",
    "percent": "%",
    "C": "Cel",
    "F": "[degF]",
}


def number(text: str | Decimal | int, *, field: str) -> Decimal:
    """A decimal with the digits shown: number("250.0", field="fresh") keeps the trailing zero.

    Raises Refused `not-a-number` for anything but plain digits with at most one point.
    """
    if isinstance(text, (bool, float)):
        raise TypeError("measured values are text or Decimal, never float: a float has lost its digits")
    written = str(text).strip()
    if _NUMBER.fullmatch(written):
        return Decimal(written)
    if _COMMA_THOUSANDS.fullmatch(written):
        # 1,100 is eleven hundred to one person and 1.1 to another: neither reading is offered.
        remedy = "Its comma can be read two ways. Write the number without a comma."
    elif _COMMA_NUMBER.fullmatch(written):
        remedy = f"Write a point for the decimals: {written.replace(',', '.')}."
    else:
        remedy = "Write plain digits with at most one decimal point, for example 250.0."
    raise Refused("not-a-number", f"{written!r} is not a number.", field=field, remedy=remedy)


def positive(text: str | Decimal | int, *, field: str) -> Decimal:
    """A decimal above zero, else Refused `not-positive`."""
    value = number(text, field=field)
    if value <= 0:
        raise Refused(
            "not-positive", f"{value} is not above zero.", field=field, remedy="Check the sign and the value."
        )
    return value


def grams(text: str | Decimal | int, *, field: str) -> Decimal:
    """A reading of a balance in grams: above zero and under 100 kg, digits kept.

    A zero is never a weight: some balances send it on overload. Raises Refused `not-a-weight`.
    """
    value = number(text, field=field)
    if value <= 0:
        raise Refused(
            "not-a-weight",
            f"{value} g is not a weight.",
            field=field,
            remedy="Was the tare left on, or the pan empty? Weigh again.",
        )
    if value >= 100_000:
        raise Refused(
            "not-a-weight",
            f"{value} g is more than a bench balance can carry.",
            field=field,
            remedy="Was a code typed into the weight? Weigh again.",
        )
    return value


def percent(text: str | Decimal | int, *, field: str) -> Decimal:
    """A mass percentage, 0 to 100 inclusive, digits kept. Raises Refused `not-a-percentage`."""
    value = number(text, field=field)
    if not 0 <= value <= 100:
        raise Refused(
            "not-a-percentage",
            f"{value} % lies outside 0 to 100.",
            field=field,
            remedy="Check the unit: a fraction, g/kg or ppm must be converted by the column map.",
        )
    return value


def whole(text: str | int, *, field: str, least: int = 0) -> int:
    """A count. Raises Refused `not-a-count` unless it is a whole number of at least `least`."""
    if isinstance(text, bool):
        raise TypeError("a count is not a yes or no")
    written = str(text).strip()
    if not re.fullmatch(r"[0-9]{1,9}", written, re.ASCII) or int(written) < least:
        raise Refused(
            "not-a-count",
            f"{written!r} is not a whole number of at least {least}.",
            field=field,
            remedy="Count again and write digits only.",
        )
    return int(written)


def to_places(value: Decimal, places: int) -> Decimal:
    """Rounded half up to so many decimals, as tables in the trade round (RFV 178.5 -> 179)."""
    return value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)


def to_places_even(value: Decimal, places: int) -> Decimal:
    """Rounded half to even, for values that are rounded and then used again."""
    return value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)


def last_place(value: Decimal) -> Decimal:
    """One unit in the last digit shown: 250.0 -> 0.1. The resolution a reading claims."""
    return Decimal(1).scaleb(int(value.as_tuple().exponent))


def short_tons(pounds: Decimal) -> Decimal:
    """Pounds as short tons of 2,000 lb."""
    return pounds / POUNDS_PER_SHORT_TON


def unit_hint(unit: str) -> str | None:
    """The UCUM spelling probably meant by a unit that is not UCUM, if there is an obvious one."""
    return _UCUM_HINTS.get(unit)
