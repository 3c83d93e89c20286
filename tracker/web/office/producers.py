"""Who sees a producer's results: his stubs, the links made for advisers, and the messages he asked for."""

from __future__ import annotations

from base64 import b64encode
from datetime import date, timedelta
from io import BytesIO
from typing import Any

from flask import flash, redirect, render_template, request, url_for

from labels import payload
from tracker.domain.sharing import MOST_DAYS, PAUSED, RESUMED, REVOKED
from tracker.domain.times import day
from tracker.domain.units import whole
from tracker.errors import Refused
from tracker.lookups.producers import producer_card, producer_lines
from tracker.papers.tag_sheet import Layout, Office, write_tags
from tracker.steps.choose_messages import stop_messages, want_messages
from tracker.steps.print_tags import reprint_tag
from tracker.steps.share_results import share_at_wish, take_back
from tracker.steps.stub_access import change_stub
from tracker.web.office.door import door
from tracker.web.shared.access import OFFICE, for_roles
from tracker.web.shared.season import acting, now, reading, settings

USUAL_DAYS = 180
_SAID = {
    PAUSED: "The stub of {code} is paused.",
    RESUMED: "The stub of {code} opens again.",
    REVOKED: "The stub of {code} is revoked for ever. Print another, if one is wanted.",
}


@door.get("/producers")
@for_roles(*OFFICE)
def producers() -> str:
    """The producers by name, a page of them."""
    after = request.args.get("after")
    with reading() as session:
        found = producer_lines(session, () if after is None else (after,))
    return render_template("producers.html", producers=found.items, next=found.next)


@door.get("/producers/<int:number>")
@for_roles(*OFFICE)
def producer(number: int) -> str:
    """One producer: his stubs, links and messages."""
    return _card(number)


@door.post("/producers/<int:number>/links")
@for_roles(*OFFICE)
def link_for_adviser(number: int) -> str:
    """Make a link at the producer's wish; its address is on the answer to this, and never again."""
    form = request.form
    with acting("share results") as (session, act):
        until = day(form.get("until", ""), field="until")
        lot = whole(form["lot"], field="lot", least=1) if form.get("lot") else None
        row, token = share_at_wish(session, number, act, name=form.get("name", ""), until=until, lot=lot)
    return _card(number, made=row, address=f"{settings().base_url.rstrip('/')}/T/{token}")


@door.post("/producers/<int:number>/links/taken-back")
@for_roles(*OFFICE)
def link_ended(number: int) -> Any:
    """End one link; the others stay."""
    with acting("take back link") as (session, act):
        link = whole(request.form.get("link", ""), field="link", least=1)
        take_back(session, link, act, reason=request.form.get("reason") or "at the producer's wish")
    flash(f"Link {link} opens nothing any more.", "good")
    return redirect(url_for("office.producer", number=number), 303)


@door.post("/producers/<int:number>/stub")
@for_roles(*OFFICE)
def stub_changed(number: int) -> Any:
    """Pause a stub, let it open again, revoke it, or print another in its place."""
    form = request.form
    change, code, reason = form.get("change", ""), form.get("code", ""), form.get("reason", "")
    if change == "replaced":
        return _replaced(number, code, reason)
    if change not in _SAID:
        raise Refused(
            "not-a-choice",
            f"{change!r} is nothing that becomes of a stub.",
            field="change",
            remedy=f"Choose from {', '.join(_SAID)}.",
        )
    with acting("change stub") as (session, act):
        change_stub(session, code, change, act, reason=reason)
    flash(_SAID[change].format(code=code), "good")
    return redirect(url_for("office.producer", number=number), 303)


def _replaced(number: int, code: str, reason: str) -> str:
    """A new stub: the code on the bag stays, and the old stub opens nothing from now on."""
    told, layout = settings(), Layout("a4-2x4")
    paper = BytesIO()
    with acting("replace stub") as (session, act):
        run, one = reprint_tag(
            session, code, act, reason=reason, base_url=told.base_url, layout=layout.as_dict()
        )
        office = Office(told.programme, told.phone, told.base_url)
        write_tags(paper, office, run.id, [(one.tag.code, one.token)], layout)
    return _card(number, paper=b64encode(paper.getvalue()).decode(), replaced=payload.shown(one.tag.code))


@door.post("/producers/<int:number>/messages")
@for_roles(*OFFICE)
def messages_chosen(number: int) -> Any:
    """Note that he asked for messages, or for an end of them."""
    form = request.form
    with acting("choose messages") as (session, act):
        if form.get("choice") == "stopped":
            stop_messages(session, number, act.by.key, act.now, how=form.get("how") or "told the office")
            said = "No more messages are sent."
        else:
            row = want_messages(
                session, number, act, address=form.get("address", ""), how=form.get("how", "")
            )
            said = f"Messages go to {row.address}."
    flash(said, "good")
    return redirect(url_for("office.producer", number=number), 303)


def _card(number: int, **made: Any) -> str:
    today = _today()
    with reading() as session:
        card = producer_card(session, number, today)
    usual, last = (today + timedelta(days=days) for days in (USUAL_DAYS, MOST_DAYS))
    return render_template("producer.html", card=card, usual=usual, last=last, today=today, **made)


def _today() -> date:
    return now().astimezone().date()
