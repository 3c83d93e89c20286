"""What single events and samples count for in the programme's figures, in rows that are narrow and in order.

Kept where it happens, so that a figure over a season, or a page of the list behind it, reads no event it does not
show. All of it can be made again from the log, the plans and the weighings at any time.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import ForeignKey, Index, Text, bindparam, delete, func, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.domain.coring import CoringPlan
from tracker.domain.receipt_reasons import label_error
from tracker.storage.base import Base, Digits, Utc
from tracker.storage.bulk import ask, table_of
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.intake import AGAIN, Weighing, weighings_in_force
from tracker.storage.lots import Lot
from tracker.storage.results import ReportVersion
from tracker.storage.search_words import BY_CODE_POINT

# A decimal as text that sorts as the number does: no value of ours has more digits before the point or after it.
_WIDTH, _PLACES = 41, 30


class CoringTally(Base):
    """One coring. few: fewer cores than planned; turned: another entry; otherwise: anything not as planned.

    margin: of CP, as the plan foresaw it, with its digits; empty where it foresaw none.
    """

    __tablename__ = "coring_tally"
    __table_args__ = (
        Index("ix_coring_tally_counted", "season", "cores", "few", "turned", "otherwise", "margin"),
    )

    season: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    seq: Mapped[int] = mapped_column(ForeignKey("event.seq"), primary_key=True, autoincrement=False)
    cores: Mapped[int]
    few: Mapped[bool]
    turned: Mapped[bool]
    otherwise: Mapped[bool]
    margin: Mapped[str] = mapped_column(Text)


class LabelTally(Base):
    """A bag that got its tag, or, where it is wrong, an entry that says that something was wrong with a label."""

    __tablename__ = "label_tally"

    season: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    wrong: Mapped[bool] = mapped_column(primary_key=True)
    seq: Mapped[int] = mapped_column(ForeignKey("event.seq"), primary_key=True, autoincrement=False)


class AnswerTime(Base):
    """When a sample was cored, first came to the laboratory, and had its first report; whole seconds between them."""

    __tablename__ = "answer_time"
    __table_args__ = (
        Index("ix_answer_time_from_coring", "season", "from_coring", "sample_id"),
        Index("ix_answer_time_from_receipt", "season", "from_receipt"),
    )

    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), primary_key=True, autoincrement=False)
    season: Mapped[int]
    cored_at: Mapped[datetime] = mapped_column(Utc)
    received_at: Mapped[datetime | None] = mapped_column(Utc)
    reported_at: Mapped[datetime] = mapped_column(Utc)
    from_coring: Mapped[int]
    from_receipt: Mapped[int | None]


class DryAgain(Base):
    """A sack that was weighed dry twice; apart, percent (of the hay as it came): as `in_order` writes them."""

    __tablename__ = "dry_again"
    __table_args__ = (
        Index("ix_dry_again_apart", "season", "apart", "sample_id"),
        Index("ix_dry_again_percent", "season", "percent"),
    )

    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), primary_key=True, autoincrement=False)
    season: Mapped[int]
    first: Mapped[Decimal] = mapped_column(Digits)
    second: Mapped[Decimal] = mapped_column(Digits)
    hay: Mapped[Decimal | None] = mapped_column(Digits)
    balance: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)
    apart: Mapped[str] = mapped_column(BY_CODE_POINT)
    percent: Mapped[str | None] = mapped_column(BY_CODE_POINT)


def in_order(value: Decimal) -> str:
    """A decimal that is not below zero, as text in the order of numbers."""
    return f"{value:0{_WIDTH}.{_PLACES}f}"


def tally_coring(session: Session, event: EventRow, plan: CoringPlan) -> None:
    """Count this coring, which was done by this plan."""
    row = coring_counted(event.data, plan)
    session.execute(
        insert(CoringTally), [{"season": _season(session, event.lot_id), "seq": event.seq, **row}]
    )


def coring_counted(done: Mapping[str, Any], plan: CoringPlan) -> dict[str, Any]:
    """What a coring counts for; done: the event's data."""
    return {
        "cores": int(done["cores_taken"]),
        "few": int(done["cores_taken"]) < plan.cores,
        "turned": str(done["entry"]) != plan.entry,
        "otherwise": bool(done.get("deviations")),
        "margin": str(plan.cp_margin) if plan.cp_margin else "",
    }


def tally_label(session: Session, event: EventRow) -> None:
    """Count the event where it gives a bag its tag, or says that something is wrong with a label."""
    wrong = bool(label_error(event.kind, event.data))
    if event.lot_id is not None and (wrong or event.kind == "bagged"):
        row = {"season": _season(session, event.lot_id), "wrong": wrong, "seq": event.seq}
        session.execute(insert(LabelTally), [row])


_FIRST = select(ReportVersion.issued_at).where(
    ReportVersion.sample_id == Sample.id, ReportVersion.version == 1
)
_WHEN = select(func.min(EventRow.occurred_at)).where(EventRow.sample_id == Sample.id)
_TIMES = (
    select(
        Lot.season,
        _FIRST.scalar_subquery(),
        _WHEN.where(EventRow.kind == "cored").scalar_subquery(),
        _WHEN.where(EventRow.kind == "received", EventRow.role != "technician").scalar_subquery(),
    )
    .join(Sample)
    .where(Sample.id == bindparam("sample"))
)
_FORGET_TIME = delete(table_of(AnswerTime)).where(AnswerTime.sample_id == bindparam("sample"))
_KEEP_TIME = insert(table_of(AnswerTime))


def tally_answer(session: Session, sample_id: int) -> None:
    """Say anew how long the sample's first report took, once it has one."""
    season, reported, cored, received = ask(session, _TIMES, sample=sample_id).one()
    # Nothing else than a coring begins what can be reported; whoever grows a season for a test may leave it out.
    if reported is None or cored is None:
        return
    ask(session, _FORGET_TIME, sample=sample_id)
    ask(
        session,
        _KEEP_TIME,
        sample_id=sample_id,
        season=season,
        cored_at=cored,
        received_at=received,
        reported_at=reported,
        from_coring=_seconds(cored, reported),
        from_receipt=None if received is None else _seconds(received, reported),
    )


def tally_dry_again(session: Session, sample_id: int) -> None:
    """Say anew how far apart the two dry weights of the sample are, where it has two in force."""
    twice = select(Weighing.id).where(Weighing.sample_id == sample_id, AGAIN).limit(1)
    if session.scalar(twice) is None:
        return
    session.execute(delete(DryAgain).where(DryAgain.sample_id == sample_id))
    row = weighed_twice({one.what: one for one in weighings_in_force(session, sample_id)})
    if row:
        season = session.scalar(select(Lot.season).join(Sample).where(Sample.id == sample_id))
        session.execute(insert(DryAgain), [{"sample_id": sample_id, "season": season, **row}])


def weighed_twice(mine: Mapping[str, Any]) -> dict[str, Any]:
    """What a sample's weighings in force say of the two dry ones; nothing where one of them is wanting."""
    if not {"dry", "dry again"} <= set(mine):
        return {}
    first, second = mine["dry"].grams, mine["dry again"].grams
    hay, apart = _hay(mine), abs(second - first)
    return {
        "first": first,
        "second": second,
        "hay": hay,
        "balance": mine["dry again"].balance,
        "at": mine["dry again"].weighed_at,
        "apart": in_order(apart),
        "percent": in_order(100 * apart / hay) if hay else None,
    }


def _hay(mine: Mapping[str, Any]) -> Decimal | None:
    if "fresh" not in mine:
        return None
    tare = mine["tare"].grams if "tare" in mine and not mine["fresh"].zeroed else Decimal(0)
    grams: Decimal = mine["fresh"].grams - tare
    return grams


def _season(session: Session, lot_id: int | None) -> int:
    return session.scalars(select(Lot.season).where(Lot.id == lot_id)).one()


def _seconds(begun: datetime, ended: datetime) -> int:
    return int((ended - begun).total_seconds())
