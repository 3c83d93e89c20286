"""What values look like on their way in and out: one-line text, digits as text, times with their offset."""

from __future__ import annotations

from dataclasses import fields as parts_of
from dataclasses import is_dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cache
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from marshmallow import RAISE, Schema, fields, validate

Kind = TypeVar("Kind", bound=fields.Field[Any])
LARGEST = 2**31 - 1
LONGEST = 2000
# No control characters, and no half of a character: no table and no paper can hold them.
PLAIN = r"^[^\x00-\x1f\x7f]*$"
DIGITS = r"^-?[0-9]{1,9}(\.[0-9]{1,6})?$"
MOMENT = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?(Z|[+-][0-9]{2}:[0-9]{2})$"
KEY = r"^[a-z][a-z0-9-]{0,39}$"


class Strict(Schema):
    """What is sent; a name that is not described is refused (OWASP ASVS 5.0.0, 15.3.3)."""

    class Meta:
        unknown = RAISE


def text(words: str, *, needed: bool = True, most: int = 200, **more: Any) -> fields.String:
    """A text of one line."""
    rules = [validate.Length(max=most, min=1 if needed else 0), validate.Regexp(PLAIN)]
    return _given(fields.String, words, needed, more, validate=rules)


def key(words: str, *, needed: bool = True) -> fields.String:
    """The short name of a person, place or carrier."""
    return _given(fields.String, words, needed, {}, validate=validate.Regexp(KEY))


def digits(words: str, *, needed: bool = True) -> fields.String:
    """A number as text, with all the digits it was read with."""
    return _given(fields.String, words, needed, {}, validate=validate.Regexp(DIGITS))


def moment(words: str, *, needed: bool = False) -> fields.String:
    """RFC 3339 with seconds and offset."""
    return _given(fields.String, words, needed, {}, validate=validate.Regexp(MOMENT))


def day(words: str, *, needed: bool = True) -> fields.Date:
    """A civil date, YYYY-MM-DD."""
    return _given(fields.Date, words, needed, {})


def whole(words: str, *, needed: bool = True, least: int = 0, most: int = LARGEST) -> fields.Integer:
    """A whole number."""
    rule = validate.Range(min=least, max=most)
    return _given(fields.Integer, words, needed, {"strict": True}, validate=rule)


def one_of(words: str, choices: Any, *, needed: bool = True) -> fields.String:
    """One of a few words."""
    return _given(fields.String, words, needed, {}, validate=validate.OneOf(tuple(choices)))


def yes_no(words: str) -> fields.Boolean:
    """true or false; no other word stands for either."""
    return _given(fields.Boolean, words, False, {"truthy": {True}, "falsy": {False}})


def several(inner: fields.Field[Any], words: str, *, needed: bool = True, most: int = 500) -> Any:
    """A list of values."""
    rule = validate.Length(min=1 if needed else 0, max=most)
    return fields.List(inner, required=needed, validate=rule, metadata={"description": words})


def _given(kind: type[Kind], words: str, needed: bool, more: dict[str, Any], **rest: Any) -> Kind:
    return kind(required=needed, metadata={"description": words}, **more, **rest)


class Digits(fields.Field[Decimal]):
    """A decimal on its way out, as the text it was kept as."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **more: Any) -> Any:
        return None if value is None else format(Decimal(value), "f")


class Moment(fields.Field[datetime]):
    """A moment on its way out, RFC 3339."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **more: Any) -> Any:
        return None if value is None else value.isoformat()


class Seconds(fields.Field[timedelta]):
    """A span of time on its way out, whole seconds."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **more: Any) -> Any:
        return None if value is None else int(value.total_seconds())


_KINDS: dict[Any, type[fields.Field[Any]]] = {
    str: fields.String,
    int: fields.Integer,
    bool: fields.Boolean,
    Decimal: Digits,
    datetime: Moment,
    date: fields.Date,
    timedelta: Seconds,
}


@cache
def shape_of(kind: type) -> type[Schema]:
    """The schema of a frozen dataclass that a question is answered with, by the types of its parts."""
    hints = get_type_hints(kind)
    made = {part.name: _field(hints[part.name]) for part in parts_of(kind)}
    return type(
        f"{kind.__module__.rsplit('.', 1)[-1].title().replace('_', '')}{kind.__name__}", (Schema,), made
    )


def _field(hint: Any, **more: Any) -> fields.Field[Any]:
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        one = [part for part in inner if part is not type(None)]
        if len(one) == 1:
            return _field(one[0], allow_none=True, **more)
        return fields.Raw(allow_none=True, **more)
    if origin in (tuple, list):
        return fields.List(_field(inner[0]), required=True, **more)
    if hint in _KINDS:
        return _KINDS[hint](required=True, **more)
    if is_dataclass(hint) and isinstance(hint, type):
        return fields.Nested(shape_of(hint), required=True, **more)
    return fields.Raw(required=True, allow_none=True, **{k: v for k, v in more.items() if k != "allow_none"})
