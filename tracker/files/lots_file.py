"""Lots from a table: a season's hay entered at a desk, every complaint with its line and column.

The form is checked here (which columns, which cells are numbers and dates); whether such a lot can be is for
the domain to say. Columns are told by name in any order and case: producer, field, cutting, forage,
harvested, bale_shape, bale_count, and if wanted bale_mass_lb or bale_mass_kg, storage, location, note.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate

from tracker.domain.boundary import read_place
from tracker.domain.lot import read_cutting, read_shape
from tracker.domain.times import day
from tracker.domain.units import GRAMS_PER_POUND, positive, whole
from tracker.errors import Refused
from tracker.files.columns import cells_of, columns_of
from tracker.files.table import Row, RowProblem, Table

NEEDED = ("producer", "field", "cutting", "forage", "harvested", "bale_shape", "bale_count")
OPTIONAL = ("bale_mass_lb", "bale_mass_kg", "storage", "location", "note")


@dataclass(frozen=True)
class LotEntry:
    """One lot as written. bale_mass_lb: pounds as received; location: WGS 84 latitude, longitude."""

    producer: str
    field: str
    cutting: int
    forage: str
    harvested: date
    bale_shape: str
    bale_count: int
    bale_mass_lb: Decimal | None = None
    storage: str = ""
    location: tuple[Decimal, Decimal] | None = None
    note: str = ""


@dataclass(frozen=True)
class LotRow:
    """One line of the file: a lot, or what is wrong with it, and its cells as written either way."""

    line: int
    cells: tuple[str, ...]
    entry: LotEntry | None
    problems: tuple[RowProblem, ...]

    @property
    def problem(self) -> Refused | None:
        """The first thing wrong with it, as it is said of the line."""
        if not self.problems:
            return None
        first = self.problems[0]
        return Refused(
            first.code, first.words, field=first.field or None, line=self.line, remedy=first.suggestion
        )


class _Read(fields.Field[Any]):
    """A cell read by one of the domain's readers, whose refusal becomes the complaint."""

    def __init__(self, reader: Callable[..., Any], **rest: Any) -> None:
        super().__init__(**rest)
        self.reader = reader

    def _deserialize(self, value: Any, attr: str | None, data: Any, **rest: Any) -> Any:
        try:
            return self.reader(value, field=attr or "cell")
        except Refused as refused:
            raise ValidationError([_problem_of(refused)]) from refused


def _problem_of(refused: Refused) -> RowProblem:
    return RowProblem(refused.code, refused.message, refused.remedy, refused.field or "")


def _bale_count(text: str, *, field: str) -> int:
    return whole(text, field=field, least=1)


class _LotSchema(Schema):
    producer = fields.String(required=True, validate=validate.Length(max=200))
    field = fields.String(required=True, validate=validate.Length(max=200))
    cutting = _Read(read_cutting, required=True)
    forage = fields.String(required=True, validate=validate.Length(max=100))
    harvested = _Read(day, required=True)
    bale_shape = _Read(read_shape, required=True)
    bale_count = _Read(_bale_count, required=True)
    bale_mass_lb = _Read(positive)
    bale_mass_kg = _Read(positive)
    storage = fields.String(validate=validate.Length(max=100))
    location = _Read(read_place)
    note = fields.String(validate=validate.Length(max=1000))


def read_lots(table: Table) -> tuple[LotRow, ...]:
    """Each row as a lot or its complaints.

    Raises Refused `columns-missing` or `columns-unknown` when the table is not a list of lots.
    """
    names = columns_of(table.header, NEEDED, OPTIONAL, "list of lots")
    schema = _LotSchema()
    return tuple(_lot_row(row, names, schema) for row in table.rows)


def _lot_row(row: Row, names: tuple[str, ...], schema: Schema) -> LotRow:
    try:
        written = {name: text for name, text in cells_of(row, names).items() if text not in ("", "-")}
        values = schema.load(written)
        return LotRow(row.line, row.cells, LotEntry(**_in_pounds(values)), ())
    except ValidationError as error:
        return LotRow(row.line, row.cells, None, _problems(error))
    except Refused as refused:
        return LotRow(row.line, row.cells, None, (_problem_of(refused),))


def _in_pounds(values: dict[str, Any]) -> dict[str, Any]:
    kilograms = values.pop("bale_mass_kg", None)
    if kilograms is None:
        return values
    if "bale_mass_lb" in values:
        raise Refused(
            "two-bale-masses",
            "The bale mass is given in pounds and in kilograms.",
            field="bale_mass_kg",
            remedy="Leave one of the two cells empty.",
        )
    pounds = kilograms * 1000 / GRAMS_PER_POUND
    return {**values, "bale_mass_lb": pounds.quantize(Decimal("0.1"))}


def _problems(error: ValidationError) -> tuple[RowProblem, ...]:
    found = []
    for name, complaints in error.normalized_messages().items():
        for complaint in complaints:
            if isinstance(complaint, RowProblem):
                found.append(complaint)
            elif "required" in str(complaint):
                found.append(RowProblem("cell-empty", f"{name} is empty.", "Fill it in.", name))
            else:
                found.append(RowProblem("cell-too-long", f"{name}: {complaint}", "Shorten it.", name))
    return tuple(found)
