"""What the signed log says of an event: what happened, when and by whom, and a seal on every word somebody wrote.

The log can never be changed, so it must hold nothing that a person may one day ask to have taken out. People stand
in it by a number, and whatever is free text (notes, reasons, places in words, the device) is kept outside it: the
entry holds the SHA-256 over a salt and those words. Who has both can prove the words; without the salt nobody can
guess them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from tracker.domain.canonical import canonical, composed

VERSION = 1
SALT_BYTES = 16
# Read off an instrument, counted, chosen from a list or made by the program: nobody's own words. A name that is not
# here is sealed with the words.
OPEN = frozenset(
    (
        "analysis",
        "bale_count",
        "bale_mass",
        "bale_mass_unit",
        "bale_shape",
        "batch_n",
        "batch_sd",
        "body",
        "code",
        "composite_g",
        "condition",
        "cores_taken",
        "cutting",
        "depth_mm",
        "entries",
        "entry",
        "file_sha256",
        "forage",
        "grams",
        "harvested",
        "hours",
        "key",
        "line",
        "lot",
        "old_code",
        "plan",
        "position",
        "report",
        "run",
        "sample",
        "scanned_at",
        "screen_mm",
        "seal_state",
        "season",
        "set_celsius",
        "started_at",
        "step",
        "target",
        "target_kind",
        "temperature_c",
        "values_sha256",
        "zeroed",
    )
)
PLACES = frozenset(("to", "place"))
# What says of a place all that is known by number, and no word of anybody's.
PLACE = frozenset(("party", "kind", "role", "secure"))


@dataclass(frozen=True)
class Happened:
    """An event as it is to be written. by: the person's number; parties: those of everybody the data may name."""

    seq: int
    event_id: str
    kind: str
    sample: int | None
    lot: int | None
    tag: int | None
    occurred_at: datetime
    recorded_at: datetime
    by: str
    role: str
    data: Mapping[str, Any]
    said: Mapping[str, Any]
    parties: Mapping[str, int]

    @property
    def item(self) -> str:
        """Whose life it belongs to."""
        return item(self.sample, self.tag, self.lot)


def item(sample: int | None, tag: int | None, lot: int | None) -> str:
    """The name of a life in the log: a sample's, a tag's, a lot's, or the log's own."""
    for name, number in (("sample", sample), ("tag", tag), ("lot", lot)):
        if number is not None:
            return f"{name} {number}"
    return "log"


def entry_of(happened: Happened, words_seal: str, previous: bytes | None) -> dict[str, Any]:
    """The entry. words_seal: `seal` of its words; previous: the leaf hash of the same life's last event."""
    return {
        "v": VERSION,
        "seq": happened.seq,
        "id": happened.event_id,
        "item": happened.item,
        "lot": happened.lot,
        "type": happened.kind,
        "occurred_at": happened.occurred_at.isoformat(),
        "recorded_at": happened.recorded_at.astimezone(UTC).isoformat(),
        "by": _person(happened.by, happened.parties),
        "role": happened.role,
        "data": composed({name: part for name, part in _named(happened).items() if _is_open(name, part)}),
        "words": words_seal,
        "prev": None if previous is None else previous.hex(),
    }


def words_of(happened: Happened) -> dict[str, Any]:
    """What is sealed: the free text of the event and of its data. Nothing empty is in it."""
    data = {name: part for name, part in _named(happened).items() if not _is_open(name, part)}
    said = {name: part for name, part in happened.said.items() if part}
    found: dict[str, Any] = composed({**said, "data": {name: part for name, part in data.items() if part}})
    return found


def seal(salt: bytes, words: Any) -> str:
    """SHA-256 over the salt (16 random bytes) and the words' one text, in hexadecimal."""
    return seal_of_text(salt, canonical(words))


def seal_of_text(salt: bytes, text: bytes) -> str:
    """The same of words whose one text is known."""
    return hashlib.sha256(salt + text).hexdigest()


def digest(value: Any) -> str:
    """SHA-256 over the value's one text, in hexadecimal."""
    return hashlib.sha256(canonical(value)).hexdigest()


def values_digest(values: Iterable[Any]) -> str:
    """SHA-256 over an analysis's values as its source gave them, in the order of their constituents.

    Each value has constituent, value (Decimal), unit, basis, method, calibration and qualifier.
    """
    rows = sorted(
        [
            one.constituent,
            format(one.value, "f"),
            one.unit,
            one.basis,
            one.method,
            one.calibration,
            one.qualifier,
        ]
        for one in values
    )
    return digest(rows)


def texts_digest(texts: Iterable[str]) -> str:
    """The same of values each of which is written already, as the list of its seven parts."""
    return hashlib.sha256(f"[{','.join(sorted(texts))}]".encode()).hexdigest()


def as_shown(body: Mapping[str, Any]) -> dict[str, Any]:
    """What of a report's body leaves the house, and what the log holds the hash of.

    An interpretation that nobody released is kept with the report and shown to nobody, in no attachment either.
    """
    found = body.get("interpretation")
    if not found or found.get("released_by"):
        return dict(body)
    return {**body, "interpretation": None}


def _named(happened: Happened) -> dict[str, Any]:
    return {name: _numbered(part, happened.parties) for name, part in happened.data.items()}


def _numbered(part: Any, parties: Mapping[str, int]) -> Any:
    """The part with parties by their number; a sign-in name is nobody's business outside."""
    # Most parts are text, and asking whether something is a mapping takes a while.
    if not isinstance(part, str) and isinstance(part, Mapping) and isinstance(part.get("party"), str):
        return {**part, "party": _person(part["party"], parties)}
    return part


def _person(key: str, parties: Mapping[str, int]) -> str:
    return f"p{parties[key]}"


def _is_open(name: str, part: Any) -> bool:
    if name in PLACES:
        return isinstance(part, Mapping) and set(part) == PLACE
    if isinstance(part, list):
        return name in OPEN and all(isinstance(one, str) for one in part)
    return name in OPEN and (isinstance(part, str) or not isinstance(part, Mapping))
