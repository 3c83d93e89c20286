"""What arrives from scanners and from people, for the resolver in Python and the one in the page."""

from __future__ import annotations

import random

from labels.payload import make_code, make_token
from tracker.domain.keyboard_layouts import KEYS, LAYOUTS

BASE = "https://hay.example.edu"
START = "HTTPS://HAY.EXAMPLE.EDU/T/"
CODE = "7K2M9QXQ"
TOKEN = "GDWKCMB3SK3Y5YJWM2MG7HABZD"
NINE = (
    "US",
    "UK",
    "Spanish",
    "Latin American",
    "Italian",
    "Brazilian",
    "Canadian French",
    "German",
    "French",
)

# Text, and the code or token it means or the refusal it gets.
TABLE = [
    ("HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ", CODE),
    ("https://hay.example.edu/t/7k2m9qxq", CODE),
    ("https://HAY.example.EDU/T/7K2m9qxQ", CODE),
    ("https://hay.example.edu/t/7K2M9QXQ/", CODE),
    ("https://hay.example.edu/t/7K2M-9QXQ", CODE),
    ("HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ\r\n", CODE),
    ("HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ\t", CODE),
    ('"HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ"', CODE),
    ("“HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ”", CODE),
    ("]Q1HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ", CODE),
    ("\x02HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ\x03", CODE),
    ("S1:HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ", CODE),
    (START + TOKEN, TOKEN),
    ((START + TOKEN).lower(), TOKEN),
    ("7K2M9QXQ", CODE),
    ("7k2m9qxq", CODE),
    ("7K2M-9QXQ", CODE),
    ("7k2m 9qxq", CODE),
    ("  7K2M–9QXQ ", CODE),
    ("7 K 2 M 9 Q X Q", CODE),
    ("7K2M9QXQ\n", CODE),
    ("'7K2M9QXQ'", CODE),
    ("]Q17K2M9QXQ", CODE),
    ("E0F14CSE", "E0F14CSE"),
    ("EOFI4CSE", "E0F14CSE"),
    ("eofl-4cse", "E0F14CSE"),
    ("HTTPSÑ--HAY.EXAMPLE.EDU-T-7K2M9QXQ", CODE),
    ("ÄHTTPSÖ--HAZ.EXAMPLE.EDU-T-7K2M9QXQÄ", CODE),
    ("", "code-missing"),
    (" \r\n", "code-missing"),
    ("7K2M9QX", "code-length"),
    ("7K2M9QXR", "code-check"),
    ("7K2M9QX!", "code-characters"),
    ("12345678", "code-digits"),
    ("123428 lb", "code-digits"),
    ("https://elsewhere.example.org/t/7K2M9QXQ", "not-our-label"),
    ("HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXR", "code-check"),
    ("HTTPS://HAY.EXAMPLE.EDU/T/7K2M9QXQ7K2M9", "token-malformed"),
    ("HTTPS+&&HAY.EXAMPLE.EDU&T&7K2M9QXQ", "wrong-keyboard-layout"),
    # On a German layout the keys of another valid code give this one too.
    ("FRTHAWEC", "two-readings-possible"),
]


def codes(count: int) -> list[str]:
    rng = random.Random(20260807)
    return [make_code(rng) for _ in range(count)]


def tokens(count: int) -> list[str]:
    rng = random.Random(20260808)
    return [make_token(rng) for _ in range(count)]


def arriving(text: str, layout: str, *, caps: bool) -> str:
    """What a scanner's US keys for `text` give on this layout; Caps Lock changes the case of letters only."""
    typed = text.translate(str.maketrans(KEYS, LAYOUTS[layout]))
    return "".join("ẞ" if c == "ß" else c.swapcase() for c in typed) if caps else typed
