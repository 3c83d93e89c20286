"""The bench's balances and their daily checks, and what is known of ovens, mills and instruments."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Text, UniqueConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.errors import NotFound, Refused
from tracker.storage.base import Base, Digits, Plain, Utc


class Balance(Base):
    """One version of what is known of a balance; the latest of a name is in force.

    route: how its readings come, typed by a person, by a keyboard it plays, or over a serial line. profile: the
    lines it sends. check_weight and limit in grams: what is put on it each day, and how far off it may show. reason:
    why it changed, empty for the first version.
    """

    __tablename__ = "balance"
    __table_args__ = (CheckConstraint("route in ('typed', 'keyboard', 'serial')", name="route"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text, index=True)
    route: Mapped[str] = mapped_column(Text)
    profile: Mapped[Any] = mapped_column(Plain)
    check_weight: Mapped[Decimal] = mapped_column(Digits)
    limit: Mapped[Decimal] = mapped_column(Digits)
    reason: Mapped[str] = mapped_column(Text, server_default="")
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class BalanceCheck(Base):
    """What a balance showed with nothing on it and with its check weight, in grams."""

    __tablename__ = "balance_check"

    id: Mapped[int] = mapped_column(primary_key=True)
    balance_id: Mapped[int] = mapped_column(ForeignKey("balance.id"), index=True)
    zero: Mapped[Decimal] = mapped_column(Digits)
    shown: Mapped[Decimal] = mapped_column(Digits)
    passed: Mapped[bool]
    words: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class EquipmentVersion(Base):
    """One version of what is known of an oven, a mill or an instrument; the latest of a name is in force.

    facts: in words, as they stand on its plate and in its papers. in_use false: it has left the bench.
    """

    __tablename__ = "equipment_version"
    __table_args__ = (
        UniqueConstraint("kind", "name", "version"),
        CheckConstraint("kind in ('oven', 'mill', 'instrument')", name="kind"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    version: Mapped[int]
    facts: Mapped[str] = mapped_column(Text)
    in_use: Mapped[bool]
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


def balances(session: Session) -> list[Balance]:
    """Each balance as it is now, by name."""
    newest: dict[str, Balance] = {}
    for row in session.scalars(select(Balance).order_by(Balance.id)):
        newest[row.name] = row
    return [newest[name] for name in sorted(newest)]


def balance_named(session: Session, name: str) -> Balance:
    """The balance as it is now. Raises NotFound `unknown-balance`."""
    row = session.scalar(select(Balance).where(Balance.name == name).order_by(Balance.id.desc()).limit(1))
    if row is None:
        raise NotFound(
            "unknown-balance",
            f"There is no balance {name!r}.",
            field="balance",
            remedy="Choose one of the list, or have it added.",
        )
    return row


def latest_check(session: Session, name: str) -> BalanceCheck | None:
    """The balance's last check, whichever version of it was checked."""
    wanted = select(BalanceCheck).join(Balance, Balance.id == BalanceCheck.balance_id)
    return session.scalar(wanted.where(Balance.name == name).order_by(BalanceCheck.id.desc()).limit(1))


def checks_of(session: Session, name: str) -> list[BalanceCheck]:
    """Every check of the balance, oldest first, whichever version of it was checked."""
    wanted = select(BalanceCheck).join(Balance, Balance.id == BalanceCheck.balance_id)
    return list(session.scalars(wanted.where(Balance.name == name).order_by(BalanceCheck.id)))


def require_sound(session: Session, name: str) -> None:
    """Nothing, unless the balance failed its last check; a balance that nobody knows was never checked.

    Raises Refused `balance-check-failed`.
    """
    last = latest_check(session, name) if name else None
    if last is not None and not last.passed:
        raise Refused(
            "balance-check-failed",
            f"Balance {name} failed its last check. {last.words}",
            field="balance",
            remedy="Use another balance; or put this one right, and check it again until it passes.",
        )


def equipment_versions(session: Session) -> list[EquipmentVersion]:
    """Every version of every oven, mill and instrument, the oldest first."""
    return list(session.scalars(select(EquipmentVersion).order_by(EquipmentVersion.id)))


def equipment_in_force(session: Session, kind: str, name: str) -> EquipmentVersion | None:
    """What is known of it now, None where nobody has described it."""
    mine = (EquipmentVersion.kind == kind, EquipmentVersion.name == name)
    wanted = select(EquipmentVersion).where(*mine).order_by(EquipmentVersion.version.desc())
    return session.scalar(wanted.limit(1))


def names_in_use(session: Session, kind: str) -> list[str]:
    """The names of this kind that are described and on the bench, in their order."""
    newest = {row.name: row.in_use for row in equipment_versions(session) if row.kind == kind}
    return sorted(name for name, in_use in newest.items() if in_use)


def version_used(session: Session, kind: str, name: str) -> dict[str, str]:
    """What an event adds to its data, so that it remembers which version stood behind the name; {} for none."""
    row = equipment_in_force(session, kind, name)
    return {} if row is None else {f"{kind}_version": str(row.version)}
