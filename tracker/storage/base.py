"""What every row shares: the naming of constraints, and how decimals, moments and plain values are kept."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import DateTime, MetaData, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase
from sqlalchemy.types import TypeDecorator

NAMES = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


# No row has a larger number, and the database is not even asked for one: PostgreSQL's integer ends here.
LARGEST_ID = 2**31 - 1


class Base(DeclarativeBase):
    """The parent of every mapped row."""

    metadata = MetaData(naming_convention=NAMES)


class Digits(TypeDecorator[Decimal]):
    """A decimal kept as the text it was: a numeric column would turn 250.0 into 250."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        if value is None:
            return None
        if not isinstance(value, Decimal) or not value.is_finite():
            raise TypeError(f"a measured value is a finite Decimal, not {value!r}")
        return format(value, "f")

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:
        return None if value is None else Decimal(value)


class Utc(TypeDecorator[datetime]):
    """An instant, kept in UTC."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise TypeError("a moment without an offset cannot be kept")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=UTC)


class Plain(TypeDecorator[Any]):
    """Plain values as JSON text: sorted names, no spaces, numbers with digits as text, so that it can be hashed."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        return None if value is None else canonical(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else json.loads(value)


_WRITER = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def canonical(value: Any) -> str:
    """One text for one value. Raises TypeError for a float: its digits depend on who writes them."""
    _refuse_floats(value)
    return _WRITER.encode(value)


def _refuse_floats(value: Any) -> None:
    if isinstance(value, str):
        return
    if isinstance(value, float):
        raise TypeError("numbers with digits are kept as text")
    if isinstance(value, dict):
        for part in value.values():
            _refuse_floats(part)
    elif isinstance(value, (list, tuple)):
        for part in value:
            _refuse_floats(part)
