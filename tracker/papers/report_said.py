"""How the values of an issued report are said on paper: times, figures, units, and the cautions that go with them.

The report is a snapshot of plain values (numbers as text, times as RFC 3339); what is missing is None or absent.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from reportlab.platypus import Paragraph

from tracker.domain.times import day, moment, said
from tracker.domain.units import to_places
from tracker.errors import Refused
from tracker.papers.flow import DASH, cell

Body = Mapping[str, Any]

_UNITS = {"[lb_av]": "lb", "Cel": "°C", "[degF]": "°F", "1": "", "{index}": ""}


def part(body: Body, name: str) -> Body:
    """A part of the report; empty where it has none."""
    return body.get(name) or {}


def rows(body: Body, name: str) -> list[Any]:
    """A list of the report; empty where it has none."""
    return list(body.get(name) or ())


def given(value: Any) -> bool:
    """Whether there is anything to print."""
    return value not in (None, "")


def when(text: Any) -> str:
    """A moment or a civil date as people read it, text that is neither as it stands, a dash for nothing."""
    if not given(text):
        return DASH
    if isinstance(text, datetime):
        return said(text)
    try:
        return said(moment(str(text)))
    except Refused:
        pass
    try:
        found = day(str(text))
    except Refused:
        return str(text)
    return f"{found.day} {found:%b %Y}"


def unit(text: Any) -> str:
    """A UCUM unit as people write it: Mcal/[lb_av] -> Mcal/lb."""
    words = str(text or "")
    for code, sign in _UNITS.items():
        words = sign if words == code else words.replace(code, sign) if code != "1" else words
    return words


def figure(value: Any, decimals: int | None = None, qualifier: str | None = "") -> str:
    """A value with its digits, rounded half up where it has more than decimals; a dash for none."""
    if not given(value):
        return DASH
    text = str(value)
    if decimals is not None and len(text.partition(".")[2]) > decimals:
        with suppress(InvalidOperation):
            text = str(to_places(Decimal(text), decimals))
    return f"{qualifier} {text}" if qualifier else text


def amount(value: Any, of: str) -> str:
    """A value and its unit, as in 61 lb; a unit alone is no amount, hence a dash."""
    return f"{value} {unit(of)}".strip() if given(value) else DASH


def with_margin(value: str, margin: Any) -> str:
    """8.6 ± 0.5; no margin beside a dash."""
    return f"{value} ± {margin}" if given(margin) and value != DASH else value


def joined(*parts: Any, between: str = ", ") -> str:
    """What there is of the parts; a dash when there is nothing."""
    return between.join(str(part) for part in parts if given(part) and part != DASH) or DASH


def words_of(remark: Any) -> str:
    """The words of a remark that is a text or a mapping with words and perhaps a level."""
    if isinstance(remark, Mapping):
        return f"{remark.get('words', '')}".strip()
    return str(remark)


def cautions(body: Body, *about: str) -> list[Body]:
    """The report's cautions about any of these."""
    wanted = {name.casefold() for name in about}
    return [caution for caution in rows(body, "cautions") if _about(caution) in wanted]


def other_cautions(body: Body, placed: Iterable[str]) -> list[Body]:
    """The cautions about none of these, which would else be printed nowhere."""
    known = {name.casefold() for name in placed}
    return [caution for caution in rows(body, "cautions") if _about(caution) not in known]


def _about(caution: Body) -> str:
    return str(caution.get("about") or "").casefold()


def caution_cell(caution: Body, named: bool = False) -> Paragraph:
    """A caution in words with its source; named: with what it is about."""
    about = f" on {caution['about']}" if named and given(caution.get("about")) else ""
    words = str(caution.get("words") or "")
    source = f" ({caution['source']})" if given(caution.get("source")) else ""
    return cell(f"{words}{source}", lead=f"Caution{about}:")
