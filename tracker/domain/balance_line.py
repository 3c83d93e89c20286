"""One line from a balance, read as a weight or refused.

Balances send a line of text on a key press, when steady, or all the time; some type it like a keyboard. The status
is read before the number, because an overloaded balance may still send a number that looks like one, or a zero.
Nothing is ever sent to a balance.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from labels.errors import LabelError
from labels.payload import TOKEN_LENGTH, read_code, read_token
from tracker.domain.balance_profile import (
    ANY,
    COMMA,
    EITHER,
    ERROR,
    LINE_LENGTH,
    OVERLOAD,
    POINT,
    STABLE,
    TENS,
    Profile,
)
from tracker.domain.units import grams as weight_in_grams
from tracker.domain.units import last_place
from tracker.errors import Refused

# Seconds between two equal readings that count as steady where the line does not say so (common practice).
STEADY_SECONDS = 1

# A bare number of eight digits or more is a bar code, not a weight.
_BARE_DIGITS = re.compile(r"[0-9]{8,}", re.ASCII)
_NUMBER = re.compile(r"(?:[0-9]{1,9}|[0-9]{1,3}(?: [0-9]{3}){1,2})(?:([.,])[0-9]{1,6})?", re.ASCII)
_GROUPED = re.compile(
    r"[0-9]{1,3}(?:[.,][0-9]{3}){2,3}|[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+|[0-9.]+,[0-9]+", re.ASCII
)
# What stands in the number's place: dashes or H when over, L when under, Err and a number on a fault.
_BEFORE = r"(?:[A-Z]{2},){0,2} ?[+-]? ?"
_OVER = re.compile(_BEFORE + r"(?:-{2,12}|H{1,8}|OL|O\.L\.)(?: ?[A-Za-z]{1,3})?", re.ASCII)
_FAULT = re.compile(
    _BEFORE + r"(?:L{1,8}|E|ERR|ERROR)[ .:-]{0,2}[0-9]{0,4}(?: ?[A-Z]{1,3})?", re.ASCII | re.IGNORECASE
)
_A_CODE = re.compile(r"[0-9A-Z]{4}[ -]?[0-9A-Z]{4}|[0-9A-Z]{26}", re.ASCII | re.IGNORECASE)
_RUNS = re.compile(r"[0-9A-Z]{8,}", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True)
class Reading:
    """grams with the digits shown; step: one unit in the last digit shown, in grams; stable: None where the line
    does not say; mode: gross, net or None; raw: the line as it came; profile: the shape it was read by.
    """

    grams: Decimal
    step: Decimal
    stable: bool | None
    mode: str | None
    raw: str
    profile: str


def read_line(raw: str, profile: Profile = ANY, *, pan_empty: bool = False) -> Reading:
    """The reading in one line, kept as `stable=False` when the balance says it is not steady.

    pan_empty: a zero is what is asked for, so zero and negative readings are given too, with their sign. Raises
    Refused `not-a-balance-line`, `code-in-weight`, `balance-overload`, `balance-error`, `balance-unit`,
    `thousands-doubt`, `balance-zero`, `balance-negative`, and `not-a-weight` from 100 kg on.
    """
    tidied = _tidied(raw)
    _refuse_a_code(tidied)
    for one in profile.tries or (profile,):
        _refuse_a_status(tidied.partition(",")[0], one, raw)
        match = one.match(tidied)
        if match:
            return _reading(match, one, raw, pan_empty)
    _refuse_words(tidied, raw)
    for run in _RUNS.findall(tidied):
        _refuse_a_code(run)
    raise _not_a_line(raw)


def settle(
    previous: Reading | None,
    reading: Reading,
    seconds_apart: Decimal | int | None = None,
    *,
    pressed: bool = False,
) -> bool:
    """Whether the reading may be stored.

    An unsteady one never. One that does not say is taken when somebody presses for it, or when the reading before
    is the same to the last digit and at least one second older.
    """
    if reading.stable is not None:
        return reading.stable
    if pressed:
        return True
    if previous is None or previous.stable is False or seconds_apart is None:
        return False
    return seconds_apart >= STEADY_SECONDS and _same(previous) == _same(reading)


def _tidied(raw: str) -> str:
    line = raw.strip(" \t\r\n")
    if not line or len(raw) > LINE_LENGTH or not all(" " <= c <= "~" or c == "\t" for c in line):
        # A code that a wrong keyboard layout has mangled is still told apart from a mangled weight.
        for run in _RUNS.findall(raw[: 4 * LINE_LENGTH]):
            _refuse_a_code(run)
        raise _not_a_line(raw)
    return re.sub(r"[ \t]+", " ", line)


def _refuse_a_code(text: str) -> None:
    if not _is_a_code(text):
        return
    raise Refused(
        "code-in-weight",
        f"{text[:40]} is a code, not a weight.",
        field="weight",
        remedy="It was scanned into the weight: click the scan box, scan again, then weigh.",
    )


def _is_a_code(text: str) -> bool:
    if "://" in text or _BARE_DIGITS.fullmatch(text):
        return True
    try:
        return bool(
            _A_CODE.fullmatch(text) and (read_token if len(text) == TOKEN_LENGTH else read_code)(text)
        )
    except LabelError:
        return False


def _refuse_a_status(status: str, profile: Profile, raw: str) -> None:
    meaning = profile.statuses.get(status.strip())
    if meaning == OVERLOAD:
        raise _overload(raw)
    if meaning == ERROR:
        raise _fault_shown(raw)


def _refuse_words(tidied: str, raw: str) -> None:
    if _OVER.fullmatch(tidied):
        raise _overload(raw)
    if _FAULT.fullmatch(tidied):
        raise _fault_shown(raw)


def _overload(raw: str) -> Refused:
    return Refused(
        "balance-overload",
        f"{raw.strip()!r}: the balance is overloaded.",
        field="weight",
        remedy="Take the load off, see that the pan lies free, and weigh less or on a larger balance.",
    )


def _fault_shown(raw: str) -> Refused:
    return Refused(
        "balance-error",
        f"{raw.strip()!r}: the balance reports an error or too little on the pan.",
        field="weight",
        remedy="Put the pan in place, zero the balance, and look the error up in its manual.",
    )


def _not_a_line(raw: str) -> Refused:
    if not raw.strip():
        return Refused(
            "not-a-balance-line",
            "There is no weight.",
            field="weight",
            remedy="Read it off the display and type all its digits, for example 250.0.",
        )
    return Refused(
        "not-a-balance-line",
        f"{raw.strip()[:LINE_LENGTH]!r} is not a line of this balance.",
        field="weight",
        remedy="Choose the profile that fits the balance; if it types like a keyboard, give it the country of this "
        "computer's keyboard. Until then type the weight.",
    )


def _reading(match: re.Match[str], profile: Profile, raw: str, pan_empty: bool) -> Reading:
    parts = {name: (text or "").strip() for name, text in match.groupdict().items()}
    stable = _stable(parts.get("status", ""), profile, raw)
    mode = profile.modes.get(parts.get("mode", ""))
    if parts.get("mode") and mode is None:
        raise _not_a_line(raw)
    shown = _number(parts["number"], profile.decimal_mark, raw)
    if parts.get("sign") not in ("", None, "+", "-"):
        raise _not_a_line(raw)
    value = _in_grams(
        shown.copy_negate() if parts.get("sign") == "-" else shown, parts.get("unit") or profile.unit, raw
    )
    step = Decimal(f"{last_place(value):f}")
    # Written out, for 1.2E+4 g is not what a balance shows; and a zero has no sign.
    value = Decimal(f"{value or value.copy_abs():f}")
    if not pan_empty:
        _refuse_no_weight(value)
    return Reading(value, step, stable, mode, raw, profile.name)


def _stable(status: str, profile: Profile, raw: str) -> bool | None:
    _refuse_a_status(status, profile, raw)
    meaning = profile.statuses.get(status) if status else profile.unmarked
    if status and meaning is None:
        raise _not_a_line(raw)
    return None if meaning is None else meaning == STABLE


def _number(text: str, mark: str, raw: str) -> Decimal:
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise _thousands(text) if _GROUPED.fullmatch(text) else _not_a_line(raw)
    if " " in text and text not in raw:
        # Two numbers far apart are two columns, not one number with its thousands set apart.
        raise _not_a_line(raw)
    whole, _, decimals = text.partition(match[1] or ".")
    digits = whole.replace(" ", "")
    foreign = match[1] is not None and match[1] != {POINT: ".", COMMA: ","}.get(mark, match[1])
    doubtful = foreign or (mark == EITHER and match[1] == ",")
    # 0,049 and 1049,900 cannot be thousands; nor can a number whose thousands are set apart by blanks.
    if doubtful and len(decimals) == 3 and digits != "0" and len(digits) <= 3:
        raise _thousands(text)
    if foreign:
        raise _not_a_line(raw)
    return Decimal(f"{digits}.{decimals}" if decimals else digits)


def _thousands(text: str) -> Refused:
    return Refused(
        "thousands-doubt",
        f"{text!r} can be read in two ways: the mark may part thousands or decimals.",
        field="weight",
        remedy="Look at the display and type the weight with a point; then set the decimal mark in the profile.",
    )


def _in_grams(shown: Decimal, unit: str, raw: str) -> Decimal:
    tens = TENS.get(unit.lower())
    if tens is None:
        raise Refused(
            "balance-unit",
            f"{raw.strip()!r} is in {unit}, not in grams.",
            field="weight",
            remedy="Set the balance to g or kg; weights are not converted from other units.",
        )
    return shown.scaleb(tens)


def _refuse_no_weight(value: Decimal) -> None:
    if value == 0:
        raise Refused(
            "balance-zero",
            "The balance shows zero, which is never a weight.",
            field="weight",
            remedy="Is the sack on the pan? Some balances send zero when overloaded.",
        )
    if value < 0:
        raise Refused(
            "balance-negative",
            f"{value} g is below zero: was the tare left on?",
            field="weight",
            remedy="Empty the pan, zero the balance, and weigh again.",
        )
    weight_in_grams(value, field="weight")


def _same(reading: Reading) -> tuple[str, Decimal, str | None]:
    return str(reading.grams), reading.step, reading.mode
