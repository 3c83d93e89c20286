"""Results from a table: what an instrument or a laboratory says of each sample, with everything it rests on.

Nothing is repaired silently. A row that cannot go in keeps its cells and says why, with the likely repair
offered for a person to accept; an empty cell or a dash is "not measured" and never zero.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, lru_cache, partial
from typing import NamedTuple

from labels.payload import LabelError, read_code
from tracker.domain.analysis import CONSTITUENTS, DRY_MATTER, NOT_CONVERTED, convert_unit
from tracker.domain.canonical import canonical
from tracker.domain.times import moment
from tracker.errors import Refused
from tracker.files.column_map import ColumnMap, MappedColumn
from tracker.files.table import Row, RowProblem, Table

# The grammar of tracker.domain.units.number, with the decimal mark the column map states.
_PLAIN = {
    ".": re.compile(r"[+-]?[0-9]{1,9}(\.[0-9]{1,6})?", re.ASCII),
    ",": re.compile(r"[+-]?[0-9]{1,9}(,[0-9]{1,6})?", re.ASCII),
}
_NOT_MEASURED = frozenset(("", "-", "--", "–", "—"))
_WITHOUT_OFFSET = re.compile(r"(\d{4}-\d{2}-\d{2})[T ](\d{2}:\d{2})(:\d{2})?", re.ASCII)
_LOOKALIKES = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "S": "5", "B": "8"})
_CODE_CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_LONGEST_CODE = 40
# Cells of one column that are known again when the same text stands in another row. A constituent given to one digit
# has a few hundred texts in a season; beyond this many the oldest are forgotten, and memory stays as it is.
_KNOWN_AGAIN = 2048


# Named tuples and not dataclasses: a season's file makes a million of these, and a tuple takes a third of the
# time to make.
class _Reported(NamedTuple):
    constituent: str
    value: Decimal
    unit: str
    basis: str
    method: str
    calibration: str
    qualifier: str = ""


class ReportedValue(_Reported):
    """One value as the file gives it, in the file's unit, digits kept; qualifier "<": less than this.

    Cells with the same text share one of these, and with it what is worked out of it.
    """

    @cached_property
    def kept(self) -> tuple[str, ...]:
        """The value as it is kept: all of it as text, in the order of its parts."""
        return (self.constituent, format(self.value, "f"), *self[2:])

    @cached_property
    def written(self) -> str:
        """The one text of that, which the digest of an analysis is taken over."""
        return canonical(self.kept).decode()

    @cached_property
    def amount(self) -> tuple[str, Decimal]:
        """Its constituent, and the value in the unit that is usual for it."""
        unit = CONSTITUENTS[self.constituent].unit
        return self.constituent, convert_unit(self.value, self.unit, unit)

    @cached_property
    def wet(self) -> bool:
        """Whether it has yet to be turned into a share of dry matter."""
        return self.basis != DRY_MATTER and self.constituent not in NOT_CONVERTED


class ResultRow(NamedTuple):
    """One line: the sample as written, the time of the scan (RFC 3339) or None, its values, its problems.

    A row with problems carries the values that could be read; `cells` are the row as written, for parking.
    """

    line: int
    sample_text: str
    scanned_at: str | None
    values: tuple[ReportedValue, ...]
    problems: tuple[RowProblem, ...]
    cells: tuple[str, ...]
    repeat: str | None = None


@dataclass(frozen=True, slots=True)
class _Place:
    """Where one column stands, and the plausible limits of its constituent in the column's own unit."""

    at: int
    column: MappedColumn
    least: Decimal
    most: Decimal
    rests_on: tuple[str, str, str, str]


def read_results(table: Table, column_map: ColumnMap) -> tuple[ResultRow, ...]:
    """Every row of the table as results or as problems, in the file's order; none is dropped.

    Problems have the codes of `tracker.files.table`, and `sample-missing`, `nothing-measured`,
    `not-a-number`, `implausible-value`, `not-a-time`. Raises Refused as ColumnMap.applies_to does.
    """
    return tuple(each_result(table, column_map))


def each_result(table: Table, column_map: ColumnMap) -> Iterator[ResultRow]:
    """The same, one row at a time: keeping a million values at once costs more than reading them.

    Raises Refused at the call, before the first row.
    """
    column_map.applies_to(table)
    return map(_Reader(table.header, column_map).row, table.rows)


class _Reader:
    """A column map made ready for one table: header names turned into positions once, not once per row.

    What a cell says follows from its column and its text alone, so each text is read once as long as it is known.
    """

    def __init__(self, header: tuple[str, ...], column_map: ColumnMap) -> None:
        self.map = column_map
        self.plain = _PLAIN[column_map.decimal].fullmatch
        self.comma = column_map.decimal == ","
        self.sample = header.index(column_map.sample)
        self.scanned_at = header.index(column_map.scanned_at) if column_map.scanned_at else None
        self.repeat = header.index(column_map.repeat) if column_map.repeat else None
        places = [_place(header, column) for column in column_map.columns]
        known_again = lru_cache(_KNOWN_AGAIN)
        self.columns = [(place.at, known_again(partial(self._value, place))) for place in places]
        self.moment = known_again(self._moment)

    def row(self, row: Row) -> ResultRow:
        if row.problem is not None:
            sample = row.cells[self.sample].strip() if self.sample < len(row.cells) else ""
            return ResultRow(row.line, sample, None, (), (row.problem,), row.cells)
        cells = row.cells
        found = [read(cells[at]) for at, read in self.columns]
        values = tuple([one for one in found if type(one) is ReportedValue])
        problems = [one for one in found if type(one) is RowProblem] if len(values) < len(found) else []
        sample = cells[self.sample].strip()
        if not sample:
            problems.append(_sample_missing(self.map.sample))
        if not values and not problems:
            problems.append(_nothing_measured())
        when = None if self.scanned_at is None else self.moment(cells[self.scanned_at])
        if isinstance(when, RowProblem):
            problems.append(when)
            when = None
        repeat = cells[self.repeat].strip() if self.repeat is not None else None
        return ResultRow(row.line, sample, when, values, tuple(problems), cells, repeat)

    def _value(self, place: _Place, cell: str) -> ReportedValue | RowProblem | None:
        """What a cell of this column says; None where nothing was measured."""
        text, qualifier = cell.strip(), ""
        bare = text
        if not self.plain(text):
            if text in _NOT_MEASURED:
                return None
            bare, qualifier = _without_marks(text, place.column.unit)
            if not self.plain(bare):
                return _not_a_number(text, place.column.header, self.map.decimal)
        value = Decimal(bare.replace(",", ".") if self.comma else bare)
        if place.least <= value <= place.most:
            return ReportedValue(place.column.constituent, value, *place.rests_on, qualifier)
        return _implausible(text, value, place, self.map.decimal)

    def _moment(self, cell: str) -> str | RowProblem | None:
        """The time of a scan, with its offset; None where none is given."""
        text = cell.strip()
        if text in _NOT_MEASURED:
            return None
        written = text
        clock = _WITHOUT_OFFSET.fullmatch(text)
        if clock and self.map.time_zone_offset:
            day, minute, second = clock.groups()
            written = f"{day}T{minute}{second or ':00'}{self.map.time_zone_offset}"
        try:
            return moment(written, field=self.map.scanned_at or "time").isoformat()
        except Refused as refused:
            hint = "State the instrument's time zone in the column map." if clock else refused.remedy
            return RowProblem("not-a-time", refused.message, hint, self.map.scanned_at or "")


def _without_marks(text: str, unit: str) -> tuple[str, str]:
    """A cell that is no bare number: `<0.5`, `10.5 %` in a column of percent. What is left, and the qualifier."""
    bare, qualifier = text, ""
    if bare.startswith("<"):
        bare, qualifier = bare[1:].strip(), "<"
    if bare.endswith("%") and unit == "%":
        bare = bare[:-1].strip()
    return bare, qualifier


def _place(header: tuple[str, ...], column: MappedColumn) -> _Place:
    known = CONSTITUENTS[column.constituent]
    ends = sorted(convert_unit(end, known.unit, column.unit) for end in (known.least, known.most))
    rests_on = (column.unit, column.basis, column.method, column.calibration)
    return _Place(header.index(column.header), column, ends[0], ends[1], rests_on)


def _sample_missing(header: str) -> RowProblem:
    return RowProblem(
        "sample-missing",
        "no sample is named in this row.",
        "Find the bag by the run's order and type its code.",
        header,
    )


def _nothing_measured() -> RowProblem:
    return RowProblem(
        "nothing-measured",
        "not one value stands in this row.",
        "Was the scan broken off? Scan the sample again, or leave the row out.",
    )


def _implausible(text: str, value: Decimal, place: _Place, mark: str) -> RowProblem:
    limits = f"{_said(place.least, mark)} to {_said(place.most, mark)}"
    return RowProblem(
        "implausible-value",
        f"{text} {place.column.unit} lies outside what hay can have ({limits}).",
        _likely_repair(text, value, place, mark),
        place.column.header,
    )


def _likely_repair(text: str, value: Decimal, place: _Place, mark: str) -> str:
    """The first slip of scale, in the order in which they are common, that would make the value plausible."""
    slips: tuple[tuple[str, Decimal], ...] = (
        ("looks like a fraction", Decimal(100)),
        ("looks like g/kg, or has lost its decimal mark", Decimal("0.1")),
        ("has lost its decimal mark", Decimal("0.01")),
        ("looks like ppm", Decimal("0.0001")),
        ("has a sign it should not have", Decimal(-1)),
    )
    if place.column.unit != "%":
        slips = (("has a sign it should not have", Decimal(-1)),)
    fits = [
        (words, value * by)
        for words, by in slips
        if place.least <= value * by <= place.most and (by != 100 or 0 < value < 1)
    ]
    if not fits:
        return "Check the bag, the scan and the column map."
    words, repaired = fits[0]
    return f"{text} {words}; did you mean {_said(repaired, mark)} {place.column.unit}?"


def _said(value: Decimal, mark: str) -> str:
    plain = format(value, "f")
    if "." in plain:
        plain = plain.rstrip("0").rstrip(".")
    return plain.replace(".", mark)


def _not_a_number(text: str, header: str, mark: str) -> RowProblem:
    other = "." if mark == "," else ","
    words = f"{text[:60]!r} is not a number with {mark!r} as decimal mark."
    swapped = text.replace(other, mark)
    repaired = text.replace(" ", "").translate(_LOOKALIKES)
    if text.count(other) == 1 and mark not in text and _PLAIN[mark].fullmatch(swapped):
        hint = f"Did you mean {swapped}? If the whole file writes {other!r}, change the column map."
    elif _PLAIN[mark].fullmatch(repaired):
        hint = f"Did you mean {repaired}?"
    else:
        hint = "Write plain digits, or leave the cell empty if nothing was measured."
    return RowProblem("not-a-number", words, hint, header)


def suggest_codes(text: str, known: Callable[[str], bool] | Collection[str]) -> tuple[str, ...]:
    """The known codes that one wrong character or one swap of neighbours could have turned into `text`.

    Only codes whose check holds and that `known` admits are offered, at most five, for a person to choose:
    the offer is never taken by itself.
    """
    written = text.strip().upper()
    if not written or len(written) > _LONGEST_CODE:
        return ()
    is_known = known if callable(known) else known.__contains__
    found: dict[str, None] = {}
    for candidate in _near(written):
        code = _code(candidate)
        if code is not None and is_known(code):
            found[code] = None
        if len(found) == 5:
            break
    return tuple(found)


def _near(written: str) -> Iterator[str]:
    for at in range(len(written) - 1):
        if written[at] != written[at + 1]:
            yield written[:at] + written[at + 1] + written[at] + written[at + 2 :]
    for at, old in enumerate(written):
        for new in _CODE_CHARACTERS:
            if new != old:
                yield written[:at] + new + written[at + 1 :]


def _code(candidate: str) -> str | None:
    try:
        return str(read_code(candidate))
    except LabelError:
        return None
