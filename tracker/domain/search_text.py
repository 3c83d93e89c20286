"""What somebody may mean by the words he remembers: a name, a cutting, a season, a forage, part of a code."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from labels.payload import ALPHABET, CODE_LENGTH
from tracker.domain.lot import FORAGE_KINDS, MOST_CUTTINGS

MOST_WORDS = 8
# Fewer characters of a code are on too many bags.
LEAST_OF_CODE = 3
_SPLIT = re.compile(r"[^\w]+")
_SEASON = re.compile(r"(?:19|20)[0-9]{2}", re.ASCII)
_ORDINAL = re.compile(r"([0-9]{1,2})(?:st|nd|rd|th)", re.ASCII)
_LOOKALIKES = str.maketrans("ILO", "110")
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth")
# They say what kind of thing is meant and narrow nothing.
_IDLE = frozenset(
    ("lot", "cutting", "cut", "field", "hay", "of", "the", "from", "season", "farm", "producer")
)


@dataclass(frozen=True)
class Word:
    """One remembered word, folded. What else than a name it may mean: a cutting, a season, forages; else None."""

    text: str
    cutting: int | None = None
    season: int | None = None
    forages: tuple[str, ...] = ()

    @property
    def more_than_a_name(self) -> bool:
        """Whether it can be read of the lot itself."""
        return self.cutting is not None or self.season is not None or bool(self.forages)


def folded(text: str) -> str:
    """Small letters without accents: Élan and ELAN are one word."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in plain if not unicodedata.combining(letter))


def words_of(*names: str) -> frozenset[str]:
    """The words that names are found by."""
    return frozenset(word for name in names for word in _SPLIT.split(folded(name)) if word)


def remembered(text: str) -> tuple[Word, ...]:
    """The words of a question, each once; idle ones are left out where anything else is said."""
    said = list(dict.fromkeys(word for word in _SPLIT.split(folded(text)) if word))
    telling = [word for word in said if word not in _IDLE] or said
    return tuple(_read(word) for word in telling[:MOST_WORDS])


def code_part(text: str) -> str:
    """The text as part of a tag's code, look-alikes resolved; "" where it can be none."""
    plain = "".join(text.upper().split()).replace("-", "").translate(_LOOKALIKES)
    fits = LEAST_OF_CODE <= len(plain) <= CODE_LENGTH and all(letter in ALPHABET for letter in plain)
    return plain if fits else ""


def _read(word: str) -> Word:
    return Word(word, _cutting(word), int(word) if _SEASON.fullmatch(word) else None, _forages(word))


def _cutting(word: str) -> int | None:
    if word in _ORDINALS:
        return _ORDINALS.index(word) + 1
    number = _ORDINAL.fullmatch(word)
    found = int(number.group(1)) if number else 0
    return found if 1 <= found <= MOST_CUTTINGS else None


def _forages(word: str) -> tuple[str, ...]:
    if len(word) < 4:
        return ()
    return tuple(kind for kind in FORAGE_KINDS if any(part.startswith(word) for part in words_of(kind)))
