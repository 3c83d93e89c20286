"""Bags arrive: a whole box counted against what was sent, or one bag."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flask import Response, flash, redirect, render_template, request, url_for

from tracker.domain.intake import CONDITIONS, SEAL_STATES
from tracker.domain.receipt_reasons import ACTIONS, REASONS, REFUSE
from tracker.errors import Refused
from tracker.lookups.bench_sack import bench_sack
from tracker.lookups.box import box_of, expected_bags
from tracker.lookups.find import sample_named
from tracker.lookups.photos import photo_of
from tracker.steps.keep_photo import MOST_BYTES, keep_photo
from tracker.steps.receive_bag import receive_bag
from tracker.web.intake.door import door, scanning
from tracker.web.shared.access import LAB, for_roles
from tracker.web.shared.back import own
from tracker.web.shared.moved import not_moved
from tracker.web.shared.scanned import code_in
from tracker.web.shared.season import acting, reading
from tracker.web.shared.told import tell

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act
    from tracker.storage.custody import EventRow

CHOICES = {"conditions": CONDITIONS, "seal_states": SEAL_STATES, "reasons": REASONS, "actions": ACTIONS}


def _box_address(codes: list[str], args: Any) -> str:
    kept = {name: args[name] for name in ("giver", "waybill") if args.get(name)}
    return url_for("intake.receive_box", found=codes, **kept)


@door.get("/desk/receive")
@for_roles(*LAB)
def receive_box() -> Any:
    """A box: what should be in it, what was found, and what differs. A scan adds a bag to what was found."""
    args = request.args
    codes = list(dict.fromkeys(args.getlist("found")))
    if args.get("scan", "").strip():
        code = code_in(args["scan"])
        if code in codes:
            flash("This bag is in the list already.", "caution")
        return redirect(_box_address(list(dict.fromkeys([*codes, code])), args), 303)
    with reading() as session:
        box = box_of(session, codes, giver=args.get("giver", ""), waybill=args.get("waybill", "").strip())
        senders = sorted({(one.giver, one.giver_name) for one in expected_bags(session)})
    address = _box_address(codes, args)
    return render_template(
        "receive_box.html", box=box, senders=senders, here=address, scan_to=scanning(address), **CHOICES
    )


@door.post("/desk/receive")
@for_roles(*LAB)
def box_received() -> Any:
    """Receive every bag of the box that is ticked, each with what was seen of it, all of them or none."""
    form = request.form
    codes = form.getlist("found")
    taken = [code for code in codes if form.get(f"take-{code}")]
    if not taken:
        raise Refused(
            "box-empty",
            "No bag is ticked.",
            field="found",
            remedy="Scan the bags of the box, then receive them.",
        )
    with acting("receive a box") as (session, act):
        box = box_of(session, codes, giver=form.get("giver", ""), waybill=form.get("waybill", "").strip())
        events = [_received(session, act, code, f"-{code}", box.counted) for code in taken]
    flash(f"Received: {len(events)} of {len(box.expected)} expected.", "good")
    for event in events:
        _tell_bag(event, undo=len(events) == 1)
    for missing in box.missing:
        flash(
            f"Not in the box: {missing.sack.shown}, from {missing.giver_name or 'nobody known'}.", "caution"
        )
    return redirect(url_for("intake.receive_box"), 303)


@door.get("/desk/receive/<code>")
@for_roles(*LAB)
def receive_one(code: str) -> str:
    """One bag, and everything that can be noted of it."""
    with reading() as session:
        sack = bench_sack(session, code)
    # A scan of the next bag counts it in the box; this one has to be received first or is left as it is.
    return render_template("receive_one.html", sack=sack, then=own(request.args.get("then"), ""), **CHOICES)


@door.post("/desk/receive/<code>")
@for_roles(*LAB)
def one_received(code: str) -> Any:
    """Receive one bag, or refuse it."""
    with acting("receive") as (session, act):
        event = _received(session, act, code, "", None)
    _tell_bag(event)
    return redirect(own(request.form.get("then"), url_for("intake.receive_box")), 303)


@door.get("/photo/<sha256>")
@for_roles(*LAB)
def photo(sha256: str) -> Response:
    """A picture that was kept with a receipt."""
    with reading() as session:
        picture = photo_of(session, sha256)
    return Response(picture.content, mimetype=picture.kind)


def _received(session: Session, act: Act, code: str, suffix: str, box: dict[str, Any] | None) -> EventRow:
    form = request.form
    sample = sample_named(session, code)
    not_moved(session, sample.id, form.get(f"seen{suffix}"))
    event = receive_bag(
        session,
        sample,
        act,
        reason=form.get(f"reason{suffix}", ""),
        action=form.get(f"action{suffix}", ""),
        told=form.get(f"told{suffix}", ""),
        box=box,
        condition=form.getlist(f"condition{suffix}"),
        seal_state=form.get(f"seal_state{suffix}", "none"),
        seal_read=form.get(f"seal_read{suffix}", "").strip(),
        temperature_c=form.get(f"temperature_c{suffix}", "").strip() or None,
        discrepancy=form.get(f"discrepancy{suffix}", ""),
        unannounced=form.get(f"unannounced{suffix}", ""),
    )
    picture = request.files.get(f"photo{suffix}")
    if picture is not None and picture.filename:
        keep_photo(session, event, picture.stream.read(MOST_BYTES + 1))
    return event


def _tell_bag(event: EventRow, *, undo: bool = True) -> None:
    refused = event.data.get("action") == REFUSE
    words = "The bag was refused; it is with the giver as before." if refused else "The bag is received."
    tell(event, words, undo=undo and not refused)
    if event.data.get("producer"):
        flash(f"Tell the producer: {event.data['producer']}", "caution")
