"""The balances: which stands here, and the check of each morning."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, render_template, request, session, url_for

from tracker.domain.balance_profile import PROFILES
from tracker.lookups.balances import balances_today, reading_on
from tracker.steps.add_balance import ROUTES, add_balance
from tracker.steps.check_balance import check_balance
from tracker.web.intake.door import back_to, desk, door
from tracker.web.shared.access import LAB, LEAD, for_roles
from tracker.web.shared.season import acting, now, reading
from tracker.web.shared.words import called


@door.get("/desk/balances")
@for_roles(*LAB)
def balances() -> str:
    """Every balance, how its last check went, and the box for the next."""
    with reading() as reading_in:
        everything = balances_today(reading_in, now().astimezone())
    first = next((one.name for one in everything if not one.checked), None)
    return render_template(
        "balances.html",
        balances=everything,
        first=first,
        here=session.get("balance"),
        routes=ROUTES,
        profiles=PROFILES,
    )


@door.post("/desk/balances")
@for_roles(*LEAD)
def balance_added() -> Any:
    """Take a balance into use, or say something new of one."""
    form = request.form
    with acting("add balance") as (doing, act):
        row = add_balance(
            doing,
            form.get("name", ""),
            act,
            route=form.get("route", ""),
            profile=form.get("own_profile", "").strip() or form.get("profile", ""),
            check_weight=form.get("check_weight", ""),
            limit=form.get("limit", ""),
            reason=form.get("reason", ""),
        )
    flash(f"{called(row.name, 'balance')} is in use. Check it before the first weighing.", "good")
    return redirect(url_for("intake.balances"), 303)


@door.post("/desk/balances/<name>/check")
@for_roles(*LAB)
def balance_checked(name: str) -> Any:
    """Keep what the balance showed empty and with its check weight, and what follows from it."""
    form = request.form
    with acting("check balance") as (doing, act):
        # Nobody mistypes an empty pan unseen: a wrong zero fails the check.
        zero = reading_on(
            doing, name, form.get("zero", ""), again=form.get("zero"), pan_empty=True, sound=False
        )
        shown = reading_on(
            doing,
            name,
            form.get("grams", ""),
            raw=form.get("raw", ""),
            again=form.get("again") or None,
            sound=False,
        )
        check, held = check_balance(doing, name, zero.grams, shown.grams, act)
    flash(check.words, "good" if check.passed else "stop")
    if held:
        flash(f"On hold, as weighed on it since its last good check: {len(held)} samples.", "stop")
    return redirect(url_for("intake.balances"), 303)


@door.post("/desk/balance")
@for_roles(*LAB)
def balance_chosen() -> Any:
    """Remember on this device which balance stands beside it."""
    with reading() as reading_in:
        names = [one.name for one in balances_today(reading_in, now().astimezone())]
    if request.form.get("balance") in names:
        session["balance"] = request.form["balance"]
    return back_to(desk())
