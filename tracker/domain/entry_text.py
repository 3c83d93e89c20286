"""The same entry as `canonical(entry_of(...))`, written straight from what the tables hold, for whole logs at a time.

A log of a million entries is held against its events by writing each entry anew. Here the text is put together from
its thirteen names, which always stand in one order. The event's data is kept as text in the very form that an entry
has, so where it is known to be in that form, its parts are taken over as they stand.

It is known of data that fits the shape of data seen before: the same names in their order, no spaces, whole numbers
as they are written the one way, and text without a character that RFC 8785, 3.2.2.2 would escape. Names are ASCII,
so the order of their characters is that of their UTF-16 units (3.2.3), and a number with a fraction fits no shape.
All other data goes through the standard library's writer, which gives the same form for the same reasons. Whatever
is doubtful even so (a character beyond U+FFFF, a letter that is not composed, an escape) is not decided here: it is
left to `canonical`.
"""

from __future__ import annotations

import json
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timedelta, timezone
from hashlib import sha256
from operator import add, itemgetter
from typing import Any
from unicodedata import is_normalized

from tracker.domain.log_entry import OPEN, PLACE, PLACES, VERSION

# An event's columns as the database gives them: seq, event_id, kind, sample, lot, tag, by, role, data (as text),
# note, late_reason, device, device_at; whatever comes behind is not looked at.
Raw = Sequence[Any]
# What writing may raise for a row that is not as the program writes it, or that only the slow way can judge.
UNSURE = (ValueError, TypeError, KeyError, AttributeError, OverflowError)
# Whole numbers of fewer digits are within RFC 8785's range.
_SURE_DIGITS = 15
_SEAL = re.compile(r"[0-9a-f]{64}")
# Where an entry's text has the seal: its last name is "words".
_SEAL_AT = slice(-66, -2)
# More shapes than this no kind of event has; looking for one should not take longer than doing without.
_MOST_SHAPES = 8


def written_moments(kept: Sequence[Any], offsets: Sequence[int]) -> list[str]:
    """Moments kept in UTC, as text or not, each written at its offset in minutes; one that is none is empty."""
    try:
        for one in set(offsets) - _SHIFTS.keys():
            _SHIFTS[one] = timedelta(minutes=one)
            _WRITTEN[one] = datetime(2000, 1, 1, tzinfo=timezone(_SHIFTS[one])).isoformat()[19:]
        utc = map(datetime.fromisoformat, kept) if type(kept[0]) is str else kept
        local = list(map(datetime.isoformat, map(add, utc, map(_SHIFTS.__getitem__, offsets))))
        # With and without a fraction of a second; one that was kept with an offset is longer.
        if set(map(len, local)) <= {19, 26}:
            return list(map(add, local, map(_WRITTEN.__getitem__, offsets)))
    except UNSURE:
        pass
    if len(kept) == 1:
        return [""]
    return [written_moments([one], [offset])[0] for one, offset in zip(kept, offsets, strict=True)]


# An offset in minutes as a span of time, and as it is written.
_SHIFTS: dict[int, timedelta] = {}
_WRITTEN: dict[int, str] = {}


class EntryText:
    """Writes entries. parties: the number of each party by its key."""

    def __init__(self, parties: Mapping[str, int]) -> None:
        self._people = {key: f"p{number}" for key, number in parties.items()}
        self._shapes: dict[str, list[_Shape]] = defaultdict(list)
        self._tries: Counter[str] = Counter()
        self._known = _Quoted()

    def write(
        self, row: Raw, occurred: str, recorded: str, salt: bytes | None, previous: bytes | None, kept: str
    ) -> str:
        """The entry's text. previous: the leaf hash; kept: the entry as kept, for its seal alone.

        Without a salt the words were taken out and their seal is believed. Raises one of UNSURE where nothing can
        be said here; it never gives a text that `canonical(entry_of(...))` would not give.
        """
        seq, event_id, kind, sample, lot, tag, by, role, data, note, late, device, device_at, *_ = row
        shown, hidden = self._parted(kind, data)
        if salt is None:
            seal = kept[_SEAL_AT]
            if not _SEAL.fullmatch(seal):
                raise ValueError("no seal")
        else:
            words = f'{{"data":{hidden}'
            if device:
                words += f',"device":{self._known[device]}'
            if device_at:
                words += f',"device_at":{_quoted(_composed(device_at))}'
            if late:
                words += f',"late_reason":{_quoted(_composed(late))}'
            if note:
                words += f',"note":{_quoted(_composed(note))}'
            seal = sha256(salt + words.encode() + b"}").hexdigest()
        if sample is not None:
            item = f"sample {sample:d}"
        elif tag is not None:
            item = f"tag {tag:d}"
        else:
            item = "log" if lot is None else f"lot {lot:d}"
        return (
            f'{{"by":"{self._people[by]}","data":{shown},"id":{_quoted(event_id)},"item":"{item}",'
            f'"lot":{"null" if lot is None else format(lot, "d")},"occurred_at":"{occurred}",'
            f'"prev":{_hex(previous)},"recorded_at":"{recorded}","role":{self._known[role]},'
            f'"seq":{seq:d},"type":{self._known[kind]},"v":{VERSION},"words":"{seal}"}}'
        )

    def _parted(self, kind: str, raw: str) -> tuple[str, str]:
        """What the entry shows of the data, and what it seals (log_entry.entry_of, words_of)."""
        _composed(raw)
        for shape in self._shapes[kind]:
            found = shape.parted(raw, self._people)
            if found is not None:
                return found
        data = _data(raw)
        self._learn(kind, data)
        shown, hidden = {}, {}
        for name, part in data.items():
            if type(part) is dict and type(part.get("party")) is str:
                part["party"] = self._people[part["party"]]
            if _is_shown(name, part):
                shown[name] = part
            elif part:
                hidden[name] = part
        return _write(shown), _write(hidden)

    def _learn(self, kind: str, data: Mapping[str, Any]) -> None:
        """Keep the data's shape for those that follow; after so many tries the kind is one of many looks."""
        self._tries[kind] += 1
        shape = _Shape.of(data) if self._tries[kind] <= _MOST_SHAPES else None
        if shape is not None:
            self._shapes[kind].append(shape)


class _Quoted(dict[str, str]):
    """Words that come again and again, as they stand in JSON."""

    def __missing__(self, word: str) -> str:
        found = self[word] = _quoted(_composed(word))
        return found


def _is_shown(name: str, part: Any) -> bool:
    if type(part) is dict:
        return name in PLACES and part.keys() == PLACE
    return name in OPEN and (type(part) is not list or all(type(one) is str for one in part))


_TEXT = r'"[^"\\\x00-\x1f]*"'
# Text, a whole number, true, false, null, or a list of texts.
_PLAIN = rf"(?:{_TEXT}|0|-?[1-9][0-9]{{0,14}}|true|false|null|\[(?:{_TEXT}(?:,{_TEXT})*)?\])"
_PARTY = '"party":"'
# How a value that counts for nothing is written; words that are empty are not sealed.
_EMPTY = frozenset(('""', "null", "false", "0", "[]", "{}"))


class _Shape:
    """Data of certain names, and how it is parted: each name's text goes to what is shown or to what is sealed."""

    def __init__(self, names: Mapping[str, str], shown: Sequence[str], parties: Sequence[str]) -> None:
        """names: the pattern of each name's value, in order; parties: names whose value says who it is."""
        at = {name: place for place, name in enumerate(names)}
        members = ",".join(f'"{name}":({pattern})' for name, pattern in names.items())
        self._match = re.compile(rf"\{{{members}\}}").fullmatch
        self._form = "{" + ",".join(f'"{name}":%s' for name in shown) + "}"
        self._pick = itemgetter(*(at[name] for name in shown)) if shown else lambda _: ()
        self._hidden = [(at[name], f'"{name}":') for name in names if name not in shown]
        self._parties = [at[name] for name in parties]

    @classmethod
    def of(cls, data: Mapping[str, Any]) -> _Shape | None:
        """The shape of this data; None where it has none, or where some of one look are shown and others sealed."""
        names = {name: _pattern(part) for name, part in data.items()}
        shown = [name for name, part in data.items() if _is_shown(name, part)]
        parties = [name for name, part in data.items() if type(part) is dict and "party" in part]
        flat = all(type(one) not in (dict, list) for name in parties for one in data[name].values())
        lists = [name for name, part in data.items() if name in OPEN and type(part) is list]
        if "" in names.values() or not _are_plain(data) or not flat or not set(lists) <= set(shown):
            return None
        return cls(names, shown, parties)

    def parted(self, raw: str, people: Mapping[str, str]) -> tuple[str, str] | None:
        """What of the text is shown and what is sealed; None where it has another shape."""
        match = self._match(raw)
        if match is None:
            return None
        parts: Sequence[str] = match.groups()
        if self._parties:
            parts = list(parts)
            for at in self._parties:
                parts[at] = _numbered(parts[at], people)
        hidden = [name + parts[at] for at, name in self._hidden if parts[at] not in _EMPTY]
        return self._form % self._pick(parts), "{" + ",".join(hidden) + "}"


def _are_plain(names: Iterable[str]) -> bool:
    return all(re.fullmatch("[a-z_0-9]+", name) for name in names) and sorted(names) == list(names)


def _pattern(part: Any) -> str:
    """What a value's text must look like; empty where no pattern is as sure as reading it."""
    if type(part) is dict:
        ones = {name: _pattern(one) for name, one in part.items()}
        members = ",".join(f'"{name}":{one}' for name, one in ones.items())
        return rf"\{{{members}\}}" if _are_plain(part) and "" not in ones.values() else ""
    if type(part) is list and any(type(one) is not str for one in part):
        # The points of a plan, or what was remarked: all of one look, or they are read.
        looks = {_pattern(one) for one in part}
        look = looks.pop()
        return rf"\[{look}(?:,{look})*\]" if look and not looks else ""
    return _PLAIN


def _numbered(text: str, people: Mapping[str, str]) -> str:
    """A mapping's text with the party by its number. Raises ValueError where it is no text."""
    begin = text.index(_PARTY) + len(_PARTY)
    end = text.index('"', begin)
    return text[:begin] + people[text[begin:end]] + text[end:]


def _whole(digits: str) -> int:
    if len(digits) > _SURE_DIGITS:
        raise ValueError("perhaps not every reader has it")
    return int(digits)


def _refused(text: str) -> Any:
    raise ValueError(f"{text} has no one text")


_read = json.JSONDecoder(parse_int=_whole, parse_float=_refused, parse_constant=_refused).raw_decode
_write = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode
_quoted: Callable[[str], str] = json.encoder.encode_basestring


def _data(raw: str) -> dict[str, Any]:
    # Beyond U+FFFF the order of names is another; an escape may hide such a character.
    if "\\u" in raw or (not raw.isascii() and max(raw) > "\uffff"):
        raise ValueError("not plain")
    found, end = _read(raw)
    if end != len(raw) or type(found) is not dict:
        raise ValueError("not one mapping")
    return found


def _composed(word: str) -> str:
    if not word.isascii() and not is_normalized("NFC", word):
        raise ValueError("not composed")
    return word


def _hex(leaf: bytes | None) -> str:
    return "null" if leaf is None else f'"{leaf.hex()}"'
