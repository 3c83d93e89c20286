"""How many lots of a season have each value by their newest report, and how many of these are whose.

Values are told with few digits, so a state's hundred thousand lots are a few hundred values, and the hay of a year is
told without its lots. Kept where a report is issued (released.py), and can be made again from the reports' numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import ForeignKey, Index, Text, bindparam, select, text
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.storage.base import Base
from tracker.storage.bulk import ask
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer

TOTAL_DM = "total DM"
# What hay is judged by; a lot with a report counts under no code at all too, once.
CODES = (TOTAL_DM, "CP", "NDF", "TDN-sum", "TDN-ADF-alfalfa", "TDN-ADF-hay", "RFQ")
ANY = ""
# Lots are counted all together, and apart by one of these.
ALL, FORAGE, CUTTING, AREA = "all", "forage", "cutting", "area"


class HayCount(Base):
    """So many lots of a group have this value (text, with its digits). grouped: by what; name: of the group."""

    __tablename__ = "hay_count"

    grouped: Mapped[str] = mapped_column(Text, primary_key=True)
    season: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    code: Mapped[str] = mapped_column(Text, primary_key=True)
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    value: Mapped[str] = mapped_column(Text, primary_key=True)
    lots: Mapped[int]


class HayShare(Base):
    """So many lots of a group that have a value for this code are one producer's."""

    __tablename__ = "hay_share"
    # Who has most is asked for, never everybody.
    __table_args__ = (Index("ix_hay_share_most", "grouped", "season", "code", "name", "lots"),)

    grouped: Mapped[str] = mapped_column(Text, primary_key=True)
    season: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    code: Mapped[str] = mapped_column(Text, primary_key=True)
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    producer_id: Mapped[int] = mapped_column(ForeignKey("producer.id"), primary_key=True, autoincrement=False)
    lots: Mapped[int]


def _adding(table: str, last: str) -> str:
    key = f"grouped, season, code, name, {last}"
    return (
        f"insert into {table} ({key}, lots) values (:grouped, :season, :code, :name, :{last}, :lots) "
        f"on conflict ({key}) do update set lots = {table}.lots + excluded.lots"
    )


_GROUPS = (
    select(Lot.season, Lot.forage, Lot.cutting, Producer.place, Producer.id)
    .join(Field, Field.id == Lot.field_id)
    .join(Producer, Producer.id == Field.producer_id)
    .where(Lot.id == bindparam("lot"))
)
_COUNT, _SHARE = text(_adding("hay_count", "value")), text(_adding("hay_share", "producer_id"))


def count_lot(session: Session, lot_id: int, values: Mapping[str, str], times: int = 1) -> None:
    """Count a lot's values by code, as its newest report says them; times -1 takes them out before they change."""
    season, forage, cutting, place, producer = ask(session, _GROUPS, lot=lot_id).one()
    groups = {ALL: "", FORAGE: forage, CUTTING: str(cutting), AREA: place}
    rows: list[dict[str, Any]] = [
        {"grouped": grouped, "season": season, "code": code, "name": name, "value": value, "lots": times}
        for grouped, name in groups.items()
        for code, value in _counted(values)
    ]
    session.execute(_COUNT, rows)
    session.execute(_SHARE, [{**row, "producer_id": producer} for row in rows])


def _counted(values: Mapping[str, str]) -> Iterable[tuple[str, str]]:
    yield ANY, ""
    yield from ((code, values[code]) for code in CODES if code in values)
