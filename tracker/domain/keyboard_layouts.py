"""What a scanner's keys type on a computer set to another country.

A scanner that plays a keyboard presses the keys of a US keyboard. Each row says what arrives, in the order of
KEYS, when those keys are pressed with a layout of another country. Replayed with libxkbcommon 1.5.0 from
xkb-data 2.35.1 (us, gb, es, latam, it, br, ca, de, fr).
"""

from __future__ import annotations

from typing import Any

# All that a label's address may hold (labels.payload): letters, digits, and the four marks of a web address.
KEYS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789:/.-"

LAYOUTS = {
    "US": KEYS,
    "UK": KEYS,
    "Spanish": "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789Ñ-.'",
    "Latin American": "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789Ñ-.'",
    "Italian": "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789ç-.'",
    "Brazilian": "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789Ç;.-",
    "Canadian French": "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789:é.-",
    "German": "ABCDEFGHIJKLMNOPQRSTUVWXZY0123456789Ö-.ß",
    "French": "QBCDEFGHIJKL?NOPARSTUVZXYWà&é\"'(-è_çM!:)",
    # Some systems let Caps Lock shift every key of these two, digits too (from memory); the rows themselves are
    # the other level of each key, from the same replay.
    "German, Caps Lock as shift lock": 'abcdefghijklmnopqrstuvwxzy=!"§$%&/()ö_:?',
    "French, Caps Lock as shift lock": "qbcdefghijkl,noparstuvzxyw0123456789m§/°",
}


def folded(text: str) -> str:
    """The text in lower case, character by character, so that its length stays and Caps Lock leaves no trace."""
    if text.isascii():
        return text.lower()
    return "".join(low if len(low := character.lower()) == 1 else character for character in text)


_ROWS = {layout: dict(zip(KEYS, folded(row), strict=True)) for layout, row in LAYOUTS.items()}
_BACK = {layout: {typed: key for key, typed in row.items()} for layout, row in _ROWS.items()}


def mangled(text: str, layout: str) -> str:
    """What arrives, folded, when the US keys for `text` (characters of KEYS) meet this layout."""
    return "".join(_ROWS[layout][character] for character in text)


def restored(text: str, layout: str) -> str:
    """The characters of KEYS whose keys gave `text` on this layout; what no key of KEYS gives stays as it is."""
    return "".join(_BACK[layout].get(character, character) for character in folded(text))


def tables() -> dict[str, Any]:
    """The same rows for the page, which embeds them as JSON for static/scan.js."""
    return {"keys": KEYS, "layouts": dict(LAYOUTS)}
