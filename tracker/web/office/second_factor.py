"""The second factor: a person sets it up with a phone, and the lead takes it away when the phone is lost."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import qrcode
from flask import current_app, flash, redirect, render_template, request, url_for

from tracker.lookups.access import has_factor, wants_factor
from tracker.steps.note_access import FACTOR_GONE, FACTOR_SET, note_access
from tracker.steps.second_factor import begin_factor, confirm_factor, take_away_factor
from tracker.steps.sign_in import account_of
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, STAFF, for_roles, person, without_factor
from tracker.web.shared.noted import here
from tracker.web.shared.season import acting, reading, settings
from tracker.web.shared.tries import count_try

if TYPE_CHECKING:
    from tracker.steps.second_factor import Enrolment


@door.get("/second-factor")
@for_roles(*STAFF)
@without_factor
def second_factor() -> str:
    """Whether there is one, whether one is wanted, and how it is set up."""
    with reading() as found_in:
        account = account_of(found_in, person().key)
        there, wanted = has_factor(found_in, account.id), wants_factor(found_in, person().role)
    return render_template("second_factor.html", there=there, wanted=wanted, quiet=True)


@door.post("/second-factor")
@for_roles(*STAFF)
@without_factor
def second_factor_begun() -> str:
    """A new secret, shown once for the phone to take; it counts once the phone has shown a code."""
    with acting("second factor", {}) as (doing, act):
        account = account_of(doing, act.by.key)
        made = begin_factor(doing, account, _key(), act.now, programme=settings().programme)
    return _shown(made)


def _shown(made: Enrolment) -> str:
    groups = [made.secret[at : at + 4] for at in range(0, len(made.secret), 4)]
    return render_template(
        "second_factor_shown.html", groups=groups, symbol=_symbol(made.address), quiet=True
    )


@door.post("/second-factor/confirm")
@for_roles(*STAFF)
@without_factor
def second_factor_confirmed() -> str:
    """The phone has shown a code: from now on every sign-in asks for one. The codes for paper are shown once."""
    by = person()
    count_try("second factor", {f"second factor of {by.key}": 10})
    with acting("second factor", {}) as (doing, act):
        account = account_of(doing, by.key)
        papers = confirm_factor(doing, account, request.form.get("code", ""), _key(), act.now)
        note_access(doing, act.now, FACTOR_SET, by.key, here())
    return render_template("paper_codes.html", papers=papers, quiet=True)


@door.post("/people/<key>/second-factor")
@for_roles(*LEAD)
def second_factor_gone(key: str) -> Any:
    """Take somebody's second factor away, whose phone is lost."""
    with acting("take away factor") as (doing, act):
        take_away_factor(doing, account_of(doing, key))
        note_access(doing, act.now, FACTOR_GONE, key, here(), f"by {act.by.key}")
    flash(f"{key} signs in with the password alone until a new second factor is set up.", "caution")
    return redirect(url_for("office.people"), 303)


def _key() -> str:
    return str(current_app.config["SECRET_KEY"])


def _symbol(address: str) -> dict[str, Any]:
    """The QR as one path of squares, and its side in modules with the quiet zone of four."""
    code = qrcode.QRCode(border=0)
    code.add_data(address)
    code.make()
    dark = (
        (row, column) for row, line in enumerate(code.modules) for column, module in enumerate(line) if module
    )
    path = "".join(f"M{column + 4} {row + 4}h1v1h-1z" for row, column in dark)
    return {"side": len(code.modules) + 8, "path": path}
