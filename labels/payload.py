"""What a label says: the code people read, the token only the QR holds, and the web address around either.

The code is an identifier, not a secret: 7 random characters and 1 check character. The token is the secret:
130 random bits, above the 112 bits from which OWASP ASVS 5.0.0 (V6.5.2) lets a plain hash be stored, and
above the 128 bits it asks of an unguessable value (V11.5.1).
"""

from __future__ import annotations

import hashlib
import re
import secrets
import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from typing import Protocol
from urllib.parse import urlsplit

from labels.errors import LabelError

# Crockford's base 32: no I, L, O or U.
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
# The 36 characters of ISO/IEC 7064 MOD 37,36, in the order of their values.
ISO_7064 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_CHARACTERS = frozenset(ALPHABET)
CODE_LENGTH = 8
TOKEN_LENGTH = 26
# The longest text that a version 5-H symbol holds in alphanumeric mode (measured with qrcode 8.2).
URL_LIMIT = 64

# The value of each character, and what the product becomes by the sum of it and a value.
_VALUES = {character: value for value, character in enumerate(ISO_7064)}
_PRODUCTS = tuple((total % 36 or 36) * 2 % 37 for total in range(37 + 36))
_LOOKALIKES = str.maketrans({"I": "1", "L": "1", "O": "0"})
_HOST = re.compile(r"[A-Z0-9](?:[A-Z0-9.-]*[A-Z0-9])?(?::[0-9]{1,5})?")
_PATH = re.compile(r"(?:/[A-Z0-9.-]+)*")
_THIS_MACHINE = ("LOCALHOST", "127.0.0.1")


class Chooser(Protocol):
    """Anything that draws one character from a text; a seeded random.Random serves demonstrations only."""

    def choice(self, seq: Sequence[str], /) -> str: ...


def check_character(body: str) -> str:
    """The check character of `body` (0-9 A-Z) by the hybrid system MOD 37,36 of ISO/IEC 7064:2003.

    Finds every single wrong character and nearly all swaps of neighbours.
    Raises LabelError `code-characters`.
    """
    product = 36
    for character in body:
        if character not in _VALUES:
            raise _bad_characters(character)
        product = _PRODUCTS[product + _VALUES[character]]
    return ISO_7064[(1 - product) % 36]


def make_code(rng: Chooser | None = None) -> str:
    """A new 8-character code. Drawn again when its check would be I, L, O or U, or when it is digits only.

    Digits only would let a weight typed into the wrong box pass for a tag.
    """
    source: Chooser = rng or secrets.SystemRandom()
    while True:
        body = "".join(source.choice(ALPHABET) for _ in range(CODE_LENGTH - 1))
        code = body + check_character(body)
        if code[-1] in ALPHABET and not code.isdigit():
            return code


def read_code(text: str) -> str:
    """The 8-character code in `text`, as a person typed it or a scanner sent it.

    Case, spaces and hyphens do not matter; I and L are read as 1, O as 0. Raises LabelError: `code-missing`,
    `code-characters`, `code-length`, `code-digits` or `code-check`, each naming the likely fault.
    """
    code = _plain(text)
    if not code:
        raise LabelError(
            "code-missing", "There is no code.", remedy="Type the 8 characters on the label.", field="code"
        )
    if not _CHARACTERS.issuperset(code):
        strange = [character for character in code if character not in ALPHABET]
        raise _bad_characters("".join(dict.fromkeys(strange)))
    _refuse_length(code)
    if code.isdigit():
        raise LabelError(
            "code-digits",
            f"{shown(code)} is digits only, and no label has such a code.",
            remedy="If this is a weight, it belongs in the weight box; otherwise read the label again.",
            field="code",
        )
    if check_character(code[:-1]) != code[-1]:
        raise LabelError(
            "code-check",
            f"{shown(code)} is not a code: one character is wrong or two are swapped.",
            remedy="Compare it with the label, four characters at a time.",
            field="code",
        )
    return code


def _refuse_length(code: str) -> None:
    missing = CODE_LENGTH - len(code)
    if missing:
        how = f"{missing} missing" if missing > 0 else f"{-missing} too many"
        raise LabelError(
            "code-length",
            f"{code[:40]} has {len(code)} characters: {how}.",
            remedy="A code has 8 characters, printed as two groups of 4.",
            field="code",
        )


def _plain(text: str) -> str:
    """Upper case without spaces and dashes, look-alikes resolved; other characters stay for the complaint."""
    if text.isascii() and text.isalnum():
        return text.upper().translate(_LOOKALIKES)
    kept = (
        character
        for character in unicodedata.normalize("NFKC", text)
        # Pd is every kind of dash, Zs of space; Cf the invisible marks that pasted text brings along.
        if unicodedata.category(character) not in ("Pd", "Zs", "Cf") and not character.isspace()
    )
    # Only ASCII is put in upper case: elsewhere that may change the length (ß becomes SS).
    return "".join(c.upper() if c.isascii() else c for c in kept).translate(_LOOKALIKES)


def _bad_characters(strange: str) -> LabelError:
    listed = " ".join(strange[:8])
    return LabelError(
        "code-characters",
        f"No code has the character {listed}."
        if len(strange) == 1
        else f"No code has the characters {listed}.",
        remedy="Codes use digits and letters without I, L, O and U; read the label again (U is often V).",
        field="code",
    )


def shown(code: str) -> str:
    """The code as printed and read aloud: two groups of four, 3R71-XZ15."""
    return f"{code[:4]}-{code[4:]}"


def make_token(rng: Chooser | None = None) -> str:
    """A new secret of 26 characters, 130 random bits."""
    source: Chooser = rng or secrets.SystemRandom()
    return "".join(source.choice(ALPHABET) for _ in range(TOKEN_LENGTH))


def read_token(text: str) -> str:
    """The 26-character token in `text`, in any case. Raises LabelError `token-malformed`."""
    token = _plain(text)
    if len(token) != TOKEN_LENGTH or any(character not in ALPHABET for character in token):
        # The message keeps the text to itself: it may be most of a real secret, and messages are logged.
        raise LabelError(
            "token-malformed",
            "This is not one of our results links.",
            remedy="Scan the stub again, or ask the office for a new one.",
            field="token",
        )
    return token


def token_hash(token: str) -> str:
    """SHA-256 of the token in hex, the only form to store. Raises LabelError `token-malformed`."""
    return hashlib.sha256(read_token(token).encode("ascii")).hexdigest()


@lru_cache(maxsize=16)
def prefix(base: str) -> str:
    """What every address of this office starts with: `https://hay.example.edu` gives HTTPS://HAY.EXAMPLE.EDU/T/.

    Upper case throughout, so that a QR symbol can use its alphanumeric mode. Raises LabelError `base-url`
    when the base is not plain https (http is for this machine only), has characters outside that mode, or
    would make a token's address longer than 64 characters.
    """
    try:
        parts = urlsplit(base.strip().upper())
        host = parts.hostname or ""
    except ValueError:
        raise _bad_base(base, "is not a web address") from None
    if parts.scheme != "https" and not (parts.scheme == "http" and host.upper() in _THIS_MACHINE):
        raise _bad_base(base, "does not start with https://")
    path = parts.path.rstrip("/")
    if parts.query or parts.fragment or not (_HOST.fullmatch(parts.netloc) and _PATH.fullmatch(path)):
        raise _bad_base(base, "has characters that an upper-case QR address cannot hold")
    start = f"{parts.scheme.upper()}://{parts.netloc}{path}/T/"
    if len(start) + TOKEN_LENGTH > URL_LIMIT:
        raise _bad_base(
            base, f"makes addresses of {len(start) + TOKEN_LENGTH} characters, and {URL_LIMIT} is the most"
        )
    return start


def _bad_base(base: str, fault: str) -> LabelError:
    return LabelError(
        "base-url",
        f"{base[:100]} {fault}.",
        remedy="Use https:// and a short host name, with letters, digits, dots and hyphens only.",
        field="base",
    )


def url(base: str, code_or_token: str) -> str:
    """The address a QR holds: HTTPS://HOST/T/ and the code or token. Raises LabelError as its parts do."""
    return prefix(base) + read_code_or_token(code_or_token)


def read_url(base: str, text: str) -> str:
    """The code (8) or token (26 characters) in a scanned address, in any case.

    Cameras now and then read a QR that is not there, so only a text with our own start and length counts.
    Raises LabelError `not-our-label` for any other address, and as read_code and read_token do.
    """
    start = prefix(base)
    scanned = text.strip()
    if scanned[: len(start)].upper() != start:
        raise LabelError(
            "not-our-label",
            "This QR is not one of our labels.",
            remedy="Scan the QR beside the code, or type the 8 characters printed there.",
            field="scan",
        )
    return read_code_or_token(scanned[len(start) :].rstrip("/"))


def read_code_or_token(text: str) -> str:
    """What stands behind an address's start: the code or the token. Raises LabelError as read_code and read_token."""
    return read_token(text) if len(_plain(text)) > CODE_LENGTH + 4 else read_code(text)
