"""What the columns of one source's files mean: kept as JSON beside the source, written once by a person.

A file says "8.6" under "CP"; only a person knows that this is percent of dry matter by this calibration. The
map is that knowledge. It is held against every file: a header it does not name, or one whose own words say
another unit or basis, stops the file, because a program update at the instrument looks exactly like that.
"""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields, validate

from tracker.domain.analysis import AS_ANALYSED, AS_RECEIVED, CONSTITUENTS, DRY_MATTER, convert_unit
from tracker.errors import Refused
from tracker.files.table import Table

BASES = (DRY_MATTER, AS_RECEIVED, AS_ANALYSED)
MOST_MAP_CHARACTERS = 200_000

_OFFSET = r"(Z|[+-](0\d|1[0-4]):[0-5]\d)"


@dataclass(frozen=True)
class MappedColumn:
    """One column of values: the header as the file writes it, and what a value under it is."""

    header: str
    constituent: str
    unit: str
    basis: str
    method: str = ""
    calibration: str = ""


@dataclass(frozen=True)
class ColumnMap:
    """The headers of one source's files.

    sample, scanned_at, repeat are headers; instrument is the instrument's own name; decimal is "." or ",";
    time_zone_offset (like -05:00) is for times written without one; headers in ignore are passed over.
    """

    sample: str
    columns: tuple[MappedColumn, ...]
    scanned_at: str | None = None
    instrument: str | None = None
    decimal: str = "."
    time_zone_offset: str | None = None
    repeat: str | None = None
    ignore: tuple[str, ...] = ()

    def headers(self) -> tuple[str, ...]:
        """Every header that must be in the file."""
        named = (self.sample, self.scanned_at, self.repeat, *(column.header for column in self.columns))
        return tuple(header for header in named if header is not None)

    def applies_to(self, table: Table) -> None:
        """Nothing, if this map fits the table.

        Raises Refused `file-format-differs` with the headers that are missing or that nobody mapped, and
        `header-contradicts-map` when a header's own words say otherwise than the map.
        """
        missing = [header for header in self.headers() if header not in table.header]
        unmapped = [
            header for header in table.header if header not in self.headers() and header not in self.ignore
        ]
        if missing or unmapped:
            words = [f"it lacks {', '.join(missing)}"] if missing else []
            words += [f"nobody mapped {', '.join(unmapped)}"] if unmapped else []
            raise Refused(
                "file-format-differs",
                f"{table.name} is not the file this column map was written for: {'; '.join(words)}.",
                field=(missing or unmapped)[0],
                line=1,
                remedy="Choose the right source, or have the column map changed for the new format.",
            )
        for column in self.columns:
            _check_header_agrees(column)

    def as_json(self) -> str:
        """The map as it is kept; load_column_map gives it back equal."""
        return json.dumps(asdict(self), ensure_ascii=False, indent=1)


class _ColumnSchema(Schema):
    class Meta:
        unknown = RAISE

    header = fields.String(required=True, validate=validate.Length(min=1, max=200))
    constituent = fields.String(required=True)
    unit = fields.String(required=True)
    basis = fields.String(required=True, validate=validate.OneOf(BASES))
    method = fields.String(validate=validate.Length(max=200))
    calibration = fields.String(validate=validate.Length(max=200))


class _MapSchema(Schema):
    class Meta:
        unknown = RAISE

    sample = fields.String(required=True, validate=validate.Length(min=1, max=200))
    columns = fields.List(
        fields.Nested(_ColumnSchema), required=True, validate=validate.Length(min=1, max=500)
    )
    scanned_at = fields.String(allow_none=True, validate=validate.Length(min=1, max=200))
    instrument = fields.String(allow_none=True, validate=validate.Length(min=1, max=200))
    decimal = fields.String(validate=validate.OneOf((".", ",")))
    time_zone_offset = fields.String(allow_none=True, validate=validate.Regexp(f"^{_OFFSET}\\Z"))
    repeat = fields.String(allow_none=True, validate=validate.Length(min=1, max=200))
    ignore = fields.List(fields.String(validate=validate.Length(min=1, max=200)))


def load_column_map(written: str | dict[str, Any]) -> ColumnMap:
    """A column map from JSON text or plain values.

    Raises Refused `column-map-invalid` (form), `header-mapped-twice`, `unknown-constituent`,
    `unit-not-convertible`, `header-contradicts-map`.
    """
    values = _parsed(written) if isinstance(written, str) else written
    try:
        loaded = _MapSchema().load(values)
    except ValidationError as error:
        where, what = _first_complaint(error.normalized_messages())
        raise _invalid(f"{where}: {what}", where) from None
    columns = tuple(
        MappedColumn(**{key: _tidy(text) if key == "header" else text for key, text in column.items()})
        for column in loaded.pop("columns")
    )
    for key in ("sample", "scanned_at", "repeat"):
        if loaded.get(key) is not None:
            loaded[key] = _tidy(loaded[key])
    ignore = tuple(_tidy(header) for header in loaded.pop("ignore", ()))
    mapped = ColumnMap(columns=columns, ignore=ignore, **loaded)
    _check(mapped)
    return mapped


def _parsed(text: str) -> Any:
    try:
        if len(text) > MOST_MAP_CHARACTERS:
            raise _invalid(f"it has {len(text)} characters.", None)
        return json.loads(text, object_pairs_hook=_once_each)
    except (ValueError, RecursionError) as error:
        raise _invalid(f"it is not JSON ({error}).", None) from None


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len({key for key, _ in pairs}) != len(pairs):
        raise ValueError("a key stands twice")
    return dict(pairs)


def _tidy(header: str) -> str:
    # Headers are read from files with their blanks drawn together; the map's are held against those.
    return " ".join(header.split())


def _invalid(what: str, field: str | None) -> Refused:
    return Refused(
        "column-map-invalid",
        f"The column map cannot be used: {what}",
        field=field,
        remedy="Mend this entry of the column map.",
    )


def _first_complaint(messages: Any, path: str = "") -> tuple[str, str]:
    while isinstance(messages, dict):
        key, messages = next(iter(messages.items()))
        path = f"{path}.{key}" if path else str(key)
    return path, str(messages[0] if isinstance(messages, list) else messages)


def _check(mapped: ColumnMap) -> None:
    named = [*mapped.headers(), *mapped.ignore]
    folded = [header.casefold() for header in named]
    twice = next((header for header in named if folded.count(header.casefold()) > 1), None)
    if twice is not None:
        raise Refused(
            "header-mapped-twice",
            f"The column map names {twice!r} twice.",
            field=twice,
            remedy="A column is one thing: the sample, a time, one constituent, or ignored.",
        )
    for column in mapped.columns:
        _check_known(column)
        _check_header_agrees(column)


def _check_known(column: MappedColumn) -> None:
    if column.constituent not in CONSTITUENTS:
        raise Refused(
            "unknown-constituent",
            f"{column.constituent!r} is not a constituent known here.",
            field=column.header,
            remedy=f"Known are: {', '.join(CONSTITUENTS)}.",
        )
    wanted = CONSTITUENTS[column.constituent].unit
    try:
        convert_unit(Decimal(1), column.unit, wanted)
    except Refused as refused:
        raise Refused(
            "unit-not-convertible",
            f"{column.constituent} is kept in {wanted}, and {column.unit!r} cannot be turned into that.",
            field=column.header,
            remedy=refused.remedy,
        ) from refused


# What headers say of themselves, in the spellings that laboratories and instruments write.
_BASIS_WORDS = (
    (AS_RECEIVED, re.compile(r"\bas[\s._-]?(rec(eived|'?d)?|fed)\b\.?|(?-i:\bA[RF]\b)", re.IGNORECASE)),
    (AS_ANALYSED, re.compile(r"\bas[\s._-]?(analy[sz]ed|scanned)\b|\bair[\s._-]?dr(y|ied)\b", re.IGNORECASE)),
    (
        DRY_MATTER,
        re.compile(r"\bdry[\s._-]?(matter|basis|wt|weight)\b|(?-i:\bDMB?\b)|\b100\s?% dry\b", re.IGNORECASE),
    ),
)
_UNIT_WORDS = (
    ("g/kg", re.compile(r"\bg\s?/\s?kg\b", re.IGNORECASE)),
    ("ppm", re.compile(r"\bppm\b|\bmg\s?/\s?kg\b", re.IGNORECASE)),
    ("Mcal/lb", re.compile(r"\bmcal\s?/\s?lb\b", re.IGNORECASE)),
    ("Mcal/kg", re.compile(r"\bmcal\s?/\s?kg\b", re.IGNORECASE)),
    ("MJ/kg", re.compile(r"\bMJ\s?/\s?kg\b", re.IGNORECASE)),
    ("%", re.compile(r"%|\b(pct|percent)\b", re.IGNORECASE)),
)
_SAME_UNIT = {"[ppm]": "ppm", "mg/kg": "ppm", "Mcal/[lb_av]": "Mcal/lb"}


def _check_header_agrees(column: MappedColumn) -> None:
    """Refused `header-contradicts-map` when the header names another unit, basis or constituent."""
    said_basis = [basis for basis, words in _BASIS_WORDS if words.search(column.header)]
    if column.constituent == "DM":
        said_basis = [basis for basis in said_basis if basis != DRY_MATTER]
    if said_basis and column.basis not in said_basis:
        raise _contradiction(column, said_basis[0], column.basis)
    said_unit = [unit for unit, words in _UNIT_WORDS if words.search(column.header)]
    if said_unit and _SAME_UNIT.get(column.unit, column.unit) not in said_unit:
        raise _contradiction(column, said_unit[0], column.unit)
    bare = column.header
    for _, words in (*_BASIS_WORDS, *_UNIT_WORDS):
        bare = words.sub(" ", bare)
    bare = bare.strip(" ,;:.()[]_-")
    if bare in CONSTITUENTS and bare != column.constituent:
        raise _contradiction(column, bare, column.constituent)


def _contradiction(column: MappedColumn, header_says: str, map_says: str) -> Refused:
    return Refused(
        "header-contradicts-map",
        f"The header {column.header!r} says {header_says}, the column map says {map_says}.",
        field=column.header,
        remedy="Ask whoever runs the instrument which is true, then correct the map or the export.",
    )
