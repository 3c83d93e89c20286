"""The same entry as `canonical(entry_of(...))`, written straight from what the tables hold, for whole logs at a time.

A log of a million entries is held against its events by writing each entry anew. Here the texts of many entries are
put together from their thirteen names, which always stand in one order, a column at a time. The event's data is kept
as text in the very form that an entry has, so where it is known to be in that form, its parts are taken over as they
stand.

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
from datetime import UTC, datetime, timedelta, timezone
from hashlib import sha256
from itertools import groupby
from operator import itemgetter
from typing import Any
from unicodedata import is_normalized

from tracker.domain.log_entry import OPEN, PLACE, PLACES, VERSION

# The columns of some events as the database gives them: seq, event_id, kind, sample, lot, tag, by, role, data (as
# text), note, late_reason, device, device_at, occurred_at and recorded_at (UTC, as text or not) around the offset in
# minutes; then the entry as kept, for its seal alone, and the salt, None where the words were taken out.
Columns = Sequence[Sequence[Any]]
# What reading a row may raise that is not as the program writes it, or that only the slow way can judge.
UNSURE = (ValueError, TypeError, KeyError, AttributeError, OverflowError)
# Whole numbers of fewer digits are within RFC 8785's range.
_SURE_DIGITS = 15
_SEAL = re.compile(r"[0-9a-f]{64}")
# Where an entry's text has the seal: its last name is "words".
_SEAL_AT = slice(-66, -2)
# More shapes than this no kind of event has; looking for one should not take longer than doing without.
_MOST_SHAPES = 16
_QUOTES = ('"', '"')
_NUMBER_OR_NONE = frozenset((int, type(None)))


def written_moments(kept: Sequence[Any], offsets: Sequence[int]) -> list[str]:
    """Moments kept in UTC, as text or not, each written at its offset in minutes; one that is none is empty."""
    texts = kept if type(kept[0]) is str else list(map(str, kept))
    try:
        (offset,) = set(offsets)
        # With and without a fraction of a second; one that was kept with an offset is longer.
        if set(map(len, texts)) <= {19, 26}:
            hours = _HOURS[offset]
            lines = ("\n".join(texts) + "\n").replace(".000000\n", "\n").replace("\n", f"{hours.end}\n")
            whole = (lines if offset else lines.replace(" ", "T")).splitlines()
            if len(whole) != len(texts):
                raise ValueError("more lines than moments")
            return [hours[one[:13]] + one[13:] for one in whole] if offset else whole
    except UNSURE:
        pass
    return list(map(_written_moment, texts, offsets))


def _written_moment(kept: str, offset: int) -> str:
    try:
        utc = datetime.fromisoformat(kept)
        local = utc.replace(tzinfo=UTC).astimezone(timezone(timedelta(minutes=offset)))
    except UNSURE:
        return ""
    return "" if utc.tzinfo else local.isoformat()


class _Hours(dict[str, str]):
    """Hours of UTC as text, and how they are written at one offset of whole hours; end: the offset as written."""

    def __init__(self, offset: int) -> None:
        self.offset = offset
        self.end = _written_moment("2000-01-01", offset)[19:]

    def __missing__(self, hour: str) -> str:
        utc = datetime.fromisoformat(hour)
        if self.offset % 60 or str(utc)[:13] != hour:
            raise ValueError("minutes change too, or written another way")
        found = self[hour] = (utc + timedelta(minutes=self.offset)).isoformat()[:13]
        return found


class _Offsets(dict[int, _Hours]):
    """The hours of each offset in minutes."""

    def __missing__(self, offset: int) -> _Hours:
        found = self[offset] = _Hours(offset)
        return found


_HOURS = _Offsets()


class EntryText:
    """Writes entries. parties: the number of each party by its key."""

    def __init__(self, parties: Mapping[str, int]) -> None:
        self._people = {key: f"p{number}" for key, number in parties.items()}
        self._shapes: dict[str, list[_Shape]] = defaultdict(list)
        self._tries: Counter[str] = Counter()
        self._known = _Quoted()

    def written(self, columns: Columns, previous: Sequence[bytes | None]) -> Sequence[str | None]:
        """Each entry's text, None where nothing can be said here. previous: the leaf hash for each.

        Where one is doubtful, the rows are halved until it stands alone. Nothing is ever written that
        `canonical(entry_of(...))` would not give.
        """
        try:
            return self._written(columns, previous)
        except UNSURE:
            half = len(previous) // 2
            if not half:
                return [None]
        return [
            text
            for some in (slice(half), slice(half, None))
            for text in self.written([column[some] for column in columns], previous[some])
        ]

    def _written(self, columns: Columns, previous: Sequence[bytes | None]) -> list[str]:
        seqs, ids, kinds, samples, lots, tags, by, roles, data, notes, *more = columns
        late, devices, device_at, occurred, offsets, recorded, kept, salts = more
        for numbers in (samples, lots, tags):
            if not _NUMBER_OR_NONE.issuperset(map(type, numbers)):
                raise TypeError("not numbered")
        shown, hidden = self._parted(kinds, data)
        said = map(_Said(self._known).__getitem__, zip(devices, device_at, late, notes, strict=True))
        seals = [
            _kept_seal(text)
            if salt is None
            else sha256(salt + f'{{"data":{part}{more}}}'.encode()).hexdigest()
            for salt, part, more, text in zip(salts, hidden, said, kept, strict=True)
        ]
        entries = zip(
            *(map(self._people.__getitem__, by), shown, map(_quoted, ids), samples, tags, lots),
            *(written_moments(occurred, offsets), previous, written_moments(recorded, [0] * len(recorded))),
            *(map(self._known.__getitem__, roles), seqs, map(self._known.__getitem__, kinds), seals),
            strict=True,
        )
        return [
            f'{{"by":"{person}","data":{part},"id":{event},'
            f'"item":"{f"sample {sample}" if sample is not None else _item(tag, lot)}",'
            f'"lot":{"null" if lot is None else lot},"occurred_at":"{at}",'
            f'"prev":{"null" if leaf is None else leaf.hex().join(_QUOTES)},"recorded_at":"{heard}",'
            f'"role":{role},"seq":{seq:d},"type":{kind},"v":{VERSION},"words":"{seal}"}}'
            for person, part, event, sample, tag, lot, at, leaf, heard, role, seq, kind, seal in entries
        ]

    def _parted(self, kinds: Sequence[str], data: Sequence[str]) -> tuple[list[str], list[str]]:
        """What each entry shows of the data, and what it seals (log_entry.entry_of, words_of)."""
        _composed("\n".join(data))
        shown, hidden = [""] * len(data), [""] * len(data)
        alike = defaultdict(list)
        for at, kind in enumerate(kinds):
            alike[kind].append(at)
        for kind, left in alike.items():
            tried, shapes = 0, self._shapes[kind]
            while left:
                if tried < len(shapes):
                    left = shapes[tried].part(left, data, shown, hidden, self._people)
                    tried += 1
                else:
                    at = left.pop()
                    shown[at], hidden[at] = self._read(kind, data[at])
        return shown, hidden

    def _read(self, kind: str, raw: str) -> tuple[str, str]:
        """The same of data that fits no shape, whose shape is kept for those that follow."""
        data = _data(raw)
        # After so many tries the kind is one of many looks.
        self._tries[kind] += 1
        shape = _Shape.of(data) if self._tries[kind] <= _MOST_SHAPES else None
        if shape is not None:
            self._shapes[kind].append(shape)
        shown, hidden = {}, {}
        for name, part in data.items():
            if type(part) is dict and type(part.get("party")) is str:
                part["party"] = self._people[part["party"]]
            if _is_shown(name, part):
                shown[name] = part
            elif part:
                hidden[name] = part
        return _write(shown), _write(hidden)


def _item(tag: int | None, lot: int | None) -> str:
    return f"tag {tag}" if tag is not None else "log" if lot is None else f"lot {lot}"


def _kept_seal(entry: str) -> str:
    """The seal in the entry as kept, which is believed where the words were taken out."""
    seal = entry[_SEAL_AT]
    if not _SEAL.fullmatch(seal):
        raise ValueError("no seal")
    return seal


class _Quoted(dict[str, str]):
    """Words that come again and again, as they stand in JSON."""

    def __missing__(self, word: str) -> str:
        found = self[word] = _quoted(_composed(word))
        return found


class _Said(dict[tuple[str, str | None, str, str], str]):
    """What is sealed beside the data, as it stands in JSON, by device, its clock, why it is late, and the note."""

    def __init__(self, known: Mapping[str, str]) -> None:
        self._devices = known

    def __missing__(self, key: tuple[str, str | None, str, str]) -> str:
        device, *more = key
        said = f',"device":{self._devices[device]}' if device else ""
        for name, word in zip(("device_at", "late_reason", "note"), more, strict=True):
            if word:
                said += f',"{name}":{_quoted(_composed(word))}'
        self[key] = said
        return said


def _is_shown(name: str, part: Any) -> bool:
    if type(part) is dict:
        return name in PLACES and part.keys() == PLACE
    return name in OPEN and (type(part) is not list or all(type(one) is str for one in part))


_WORD = r'[^"\\\x00-\x1f]'
_TEXT, _NUMERAL = f'"{_WORD}*+"', "-?[1-9][0-9]{0,14}"
_TEXTS = rf"\[{_TEXT}(?:,{_TEXT})*\]"
# Text, a whole number, true, false, null, or a list of texts.
_PLAIN = rf"(?:{_TEXT}|0|{_NUMERAL}|true|false|null|\[\]|{_TEXTS})"
# The same but for what counts for nothing, and how that is written; words that are empty are not sealed.
_FULL = f'(?:"{_WORD}++"|{_NUMERAL}|true|{_TEXTS})'
_EMPTY = r'(?:""|null|false|0|\[\]|\{\})'
# Stands in a pattern for a party's key; no pattern of a value has it.
_KEY = "\n"


class _Shape:
    """Data of certain names, and how it is parted: what is shown and what is sealed are runs of names each."""

    def __init__(self, members: Sequence[tuple[bool | None, str]]) -> None:
        """members: the pattern of each name with its value, in order; whether it is shown, or None if it is empty."""
        runs, self._parties = [], list[int]()
        forms: dict[bool, list[str]] = {True: [], False: []}
        groups: dict[bool, list[int]] = {True: [], False: []}
        count = 0
        for side, some in groupby(members, itemgetter(0)):
            run = ",".join(pattern for _, pattern in some)
            if side is not None:
                # A party's key is a group by itself, since it is a number in the entry.
                pieces = run.split(_KEY)
                run = f"({_WORD}*)".join(f"({piece})" for piece in pieces)
                size = 2 * len(pieces) - 1
                self._parties += range(count + 1, count + size, 2)
                groups[side] += range(count, count + size)
                forms[side].append("%s" * size)
                count += size
            runs.append(run)
        self._match = re.compile(rf"\{{{','.join(runs)}\}}").fullmatch
        (self._shown, self._hidden) = ("{" + ",".join(forms[side]) + "}" for side in (True, False))
        self._show, self._hide = (
            itemgetter(*groups[side]) if groups[side] else lambda _: () for side in (True, False)
        )

    @classmethod
    def of(cls, data: Mapping[str, Any]) -> _Shape | None:
        """The shape of this data; None where it has none, or where some of one look are shown and others sealed."""
        members: list[tuple[bool | None, str]] = []
        for name, part in data.items():
            shown = _is_shown(name, part)
            pattern = _look(part, shown=shown)
            if not pattern or (name in OPEN and type(part) is list and not shown):
                return None
            members.append((shown or (False if part else None), f'"{name}":{pattern}'))
        return cls(members) if _are_plain(data) else None

    def part(
        self,
        places: Sequence[int],
        data: Sequence[str],
        shown: list[str],
        hidden: list[str],
        people: Mapping[str, str],
    ) -> list[int]:
        """Part the data in these places; those that have another shape are left."""
        match, left = self._match, []
        for at in places:
            found = match(data[at])
            if found is None:
                left.append(at)
                continue
            parts: Sequence[str] = found.groups()
            if self._parties:
                parts = list(parts)
                for party in self._parties:
                    parts[party] = people[parts[party]]
            shown[at] = self._shown % self._show(parts)
            hidden[at] = self._hidden % self._hide(parts)
        return left


def _are_plain(names: Iterable[str]) -> bool:
    return all(re.fullmatch("[a-z_0-9]+", name) for name in names) and sorted(names) == list(names)


def _look(part: Any, *, shown: bool) -> str:
    """What the text of one of the data's values must look like; empty where no pattern is as sure as reading it."""
    if type(part) is dict and "party" in part:
        ones = {name: _pattern(one) for name, one in part.items()}
        return _mapping({**ones, "party": f'"{_KEY}"' if type(part["party"]) is str else ""})
    look = _pattern(part)
    if shown or look != _PLAIN:
        return look
    return _FULL if part else _EMPTY


def _pattern(part: Any) -> str:
    """The same of a value within another."""
    if type(part) is dict:
        return _mapping({name: _pattern(one) for name, one in part.items()})
    if type(part) is list and any(type(one) is not str for one in part):
        # The points of a plan, or what was remarked: all of one look, or they are read.
        looks = {_pattern(one) for one in part}
        look = looks.pop()
        return rf"\[{look}(?:,{look})*\]" if look and not looks else ""
    return _PLAIN


def _mapping(looks: Mapping[str, str]) -> str:
    members = ",".join(f'"{name}":{look}' for name, look in looks.items())
    return rf"\{{{members}\}}" if _are_plain(looks) and "" not in looks.values() else ""


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
