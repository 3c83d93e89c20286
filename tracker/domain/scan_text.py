"""What a scanner, a camera or a person typed: the code of a tag, or the token of a stub, or a refusal.

The order is: our address intact; our address restored by one keyboard layout; a bare code. The fixed start of the
address tells which layout mangled it; a bare code tells nothing, so it is taken as it stands or not at all.
tracker/web/static/scan.js does the same in the page, from the same rows; tests hold the two together.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from typing import Literal

from labels import LabelError, payload
from tracker.domain.keyboard_layouts import KEYS, LAYOUTS, folded, mangled, restored
from tracker.errors import Refused

# A scanner may be set to send a few characters before each scan: ]Q1 names a QR, STX starts a message.
LONGEST_LEAD = 4
# The mean gap above which keys may be a person's. Scanners of 5 to 40 ms were tried; the figure is judgement.
SCANNER_GAP_MS = 80

_SYMBOLOGY = re.compile(r"\A\][A-Za-z][0-9A-Za-z]")
_QUOTES = "\"'“”‘’„«»"
_WEIGHT = re.compile(r"[-+]?[0-9][0-9., ]*(?:mg|kg|g|lbs|lb|oz|t)", re.IGNORECASE)
_TYPED_LAYOUTS = tuple(name for name, row in LAYOUTS.items() if row != KEYS)


@dataclass(frozen=True)
class Scanned:
    """One thing scanned.

    kind    "code" (8 characters, the bag) or "token" (26 characters, the producer's stub)
    how     "intact" (our whole address), "bare" (the code alone) or "layout" (our address, mangled and restored)
    layout  the layouts that restore it, when one had to
    """

    kind: Literal["code", "token"]
    value: str
    how: Literal["intact", "bare", "layout"]
    layout: str | None = None


def resolve(text: str, base: str) -> Scanned:
    """What was scanned or typed; `base` is the office's web address (https://hay.example.edu).

    Raises Refused: `wrong-keyboard-layout` when a scan arrives mangled beyond repair, `two-readings-possible` when
    two layouts give different codes, and the codes of labels.payload (`code-missing`, `code-characters`,
    `code-length`, `code-digits`, `code-check`, `token-malformed`, `not-our-label`, `base-url`).
    """
    scanned = _cleaned(text)
    start = tag_prefix(base)
    try:
        rest = _after(scanned, folded(start))
        if rest is not None:
            return _scanned(payload.read_url(_tagged(base), start + rest), "intact")
        return _by_layout(scanned, base, start) or _bare(scanned, start)
    except LabelError as error:
        raise _refused(error) from None


def resolve_behind(text: str) -> Scanned:
    """What stands behind our own address's start, which brought it here: as `resolve` reads the whole address.

    Raises Refused with the codes of labels.payload.
    """
    try:
        return _scanned(payload.read_code_or_token(_stripped(text).rstrip("/")), "intact")
    except LabelError as error:
        raise _refused(error) from None


def _refused(error: LabelError) -> Refused:
    return Refused(error.code, error.message, field=error.field or "code", remedy=error.remedy)


@cache
def tag_prefix(base: str) -> str:
    """What every address on this office's tags starts with: HTTPS://HOST/T/. Raises Refused `base-url`.

    An office that is reached by http alone still reads the tags of its name, and those say https.
    """
    try:
        return payload.prefix(_tagged(base))
    except LabelError as error:
        raise Refused(error.code, error.message, field="TRACKER_BASE_URL", remedy=error.remedy) from None


@cache
def _tagged(base: str) -> str:
    plain = base.strip()
    this_machine = re.match(r"http://(localhost|127\.0\.0\.1)(?![\w.-])", plain, re.IGNORECASE)
    return f"https{plain[4:]}" if plain.lower().startswith("http://") and not this_machine else plain


def looks_like_scan(scanned: Scanned, mean_gap_ms: float | None) -> bool:
    """Whether a machine sent it: by what it says first (nobody types the whole address), by speed second.

    mean_gap_ms is the mean time between keys in milliseconds, None when there were no keys (pasted, a camera).
    """
    return scanned.how != "bare" or (mean_gap_ms is not None and mean_gap_ms < SCANNER_GAP_MS)


def _scanned(value: str, how: Literal["intact", "bare", "layout"], layout: str | None = None) -> Scanned:
    kind: Literal["code", "token"] = "token" if len(value) == payload.TOKEN_LENGTH else "code"
    return Scanned(kind, value, how, layout)


def _cleaned(text: str) -> str:
    """The text without terminators and spaces at its ends, a pair of quotes around it, and ]Q1 before it."""
    kept = _stripped(text)
    if len(kept) > 1 and kept[0] in _QUOTES and kept[-1] in _QUOTES:
        kept = _stripped(kept[1:-1])
    return _SYMBOLOGY.sub("", kept, count=1)


def _stripped(text: str) -> str:
    def nothing(character: str) -> bool:
        return unicodedata.category(character) in ("Cc", "Cf", "Zs", "Zl", "Zp")

    first, last = 0, len(text)
    while first < last and nothing(text[first]):
        first += 1
    while first < last and nothing(text[last - 1]):
        last -= 1
    return text[first:last]


def _after(text: str, start: str) -> str | None:
    """What follows our address's folded start, which a few characters of the scanner's own may precede."""
    at = folded(text[: LONGEST_LEAD + len(start)]).find(start)
    if at < 0:
        return None
    rest = text[at + len(start) :]
    # A quote before the address comes out of other layouts as another mark, but the same one at both ends.
    if at == 1 and rest.endswith(text[0]) and not (text[0].isascii() and text[0].isalnum()):
        return rest[:-1]
    return rest


def _bare(text: str, start: str) -> Scanned:
    if _WEIGHT.fullmatch(text):
        # 123456 kg has 8 characters and passes the check once in 36 times.
        raise Refused(
            "code-digits",
            f"{text[:40]} is a weight, and no label has such a code.",
            field="code",
            remedy="A weight belongs in the weight box; a code may be typed with the hyphen in its middle.",
        )
    elsewhere = _valid_elsewhere(text)
    try:
        code = payload.read_code(text)
    except LabelError:
        _refuse_foreign(text, start, bool(elsewhere))
        raise
    if elsewhere - {code}:
        raise Refused(
            "two-readings-possible",
            f"{payload.shown(code)} may be another code that a scanner set to another country has changed.",
            field="code",
            remedy="Scan the QR that holds the whole address, or type the code with the hyphen in its middle.",
        )
    return _scanned(code, "bare")


def _valid_elsewhere(text: str) -> set[str]:
    """The codes whose keys give this text on some layout. A scanner sends no hyphens, spaces or look-alikes."""
    found = set()
    for layout in _TYPED_LAYOUTS:
        code = restored(text, layout)
        try:
            if payload.read_code(code) == code:
                found.add(code)
        except LabelError:
            continue
    return found


def _by_layout(text: str, base: str, start: str) -> Scanned | None:
    """Our address as one layout mangles it. A start restored to no valid code raises that code's complaint."""
    readings: dict[str, list[str]] = {}
    fault: LabelError | None = None
    for layout in _TYPED_LAYOUTS:
        rest = _after(text, mangled(start, layout))
        if rest is None:
            continue
        try:
            readings.setdefault(payload.read_url(base, start + restored(rest, layout)), []).append(layout)
        except LabelError as error:
            fault = fault or error
    if len(readings) > 1:
        raise Refused(
            "two-readings-possible",
            "Two keyboard layouts give different codes for this scan.",
            field="code",
            remedy="Type the 8 characters on the label with the hyphen in their middle.",
        )
    for value, layouts in readings.items():
        return _scanned(value, "layout", " or ".join(layouts))
    if fault:
        raise fault
    return None


def _refuse_foreign(text: str, start: str, valid_elsewhere: bool) -> None:
    """A text that is no code may be somebody else's address, or a scan mangled beyond repair."""
    if "://" in text:
        raise Refused(
            "not-our-label",
            "This is not the address of one of our labels.",
            field="scan",
            remedy="Scan the QR beside the code, or type the 8 characters printed there.",
        )
    if valid_elsewhere or _looks_mangled(text, start):
        raise Refused(
            "wrong-keyboard-layout",
            "The scanner and this computer are set to different countries, and the scan cannot be read.",
            field="code",
            remedy="Set the scanner's country to this computer's keyboard, or type the 8 characters on the label.",
        )


def _looks_mangled(text: str, start: str) -> bool:
    """Keys come one for one, so a mangled address keeps its length; its marks never all become letters."""
    full = (len(start) + payload.CODE_LENGTH, len(start) + payload.TOKEN_LENGTH)
    marks = not (text.isascii() and text.isalnum())
    return "http" in folded(text[:12]) or (len(text) in full and marks and " " not in text)
