"""The intake's door, and what each of its pages needs: where a scan leads, and which balance stands here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flask import Blueprint, redirect, request, session, url_for

from tracker.errors import Refused
from tracker.lookups.balances import BalanceToday, balances_today, reading_on
from tracker.web.shared.back import own
from tracker.web.shared.season import now

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.balance_line import Reading

door = Blueprint("intake", __name__, template_folder="templates")


def scanning(address: str) -> str:
    """The address with room for a scan at its end."""
    return f"{address}{'&' if '?' in address else '?'}scan="


def back_to(otherwise: str) -> Any:
    """Send the person back where the form was, or to the other page."""
    return redirect(own(request.form.get("back"), otherwise), 303)


def balance_here(reading_in: Session) -> tuple[BalanceToday | None, tuple[BalanceToday, ...]]:
    """The balance that this device uses, where it is known, and all there are."""
    everything = balances_today(reading_in, now().astimezone())
    chosen = [one for one in everything if one.name == session.get("balance")]
    if not chosen and len(everything) == 1:
        return everything[0], everything
    return (chosen[0] if chosen else None), everything


def weight_given(doing: Session) -> tuple[str, Reading, str]:
    """The balance, the reading, and the line as it was sent, of the form that was filled in.

    Raises Refused `balance-not-chosen`, and as lookups.balances.reading_on.
    """
    form = request.form
    name = form.get("balance", "")
    if not name:
        raise Refused(
            "balance-not-chosen",
            "Nobody has said which balance this is.",
            field="balance",
            remedy="Choose the balance that stands here; this device remembers it.",
        )
    reading = reading_on(
        doing, name, form.get("grams", ""), raw=form.get("raw", ""), again=form.get("again") or None
    )
    session["balance"] = name
    return name, reading, reading.raw


def desk() -> str:
    """The address of the weighing page."""
    return url_for("intake.weigh")
