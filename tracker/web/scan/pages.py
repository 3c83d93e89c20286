"""The one address every QR opens. It sends each person to the act the sample waits for, and changes nothing."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from markupsafe import Markup

from tracker.domain.scan_text import resolve, resolve_behind
from tracker.lookups.find import sample_ever_named
from tracker.lookups.sample_way import way_of
from tracker.lookups.tag_owner import TagOwner, refuse_unknown_tag, tag_owner
from tracker.papers.way import svg
from tracker.web.shared.access import EVERYONE, LAB, STAFF, for_roles, signed_in
from tracker.web.shared.scanned import code_in
from tracker.web.shared.season import reading, settings
from tracker.web.shared.tries import guesses_counted

door = Blueprint("scan", __name__, template_folder="templates")

# So many tags that are none of ours a stranger tries from one address in a quarter of an hour, and no more.
GUESSES = 60

# Where the act of a sample in this state is done.
_ACT = {
    "bagged": "intake.receive_one",
    "sealed": "intake.receive_one",
    "in transfer": "intake.receive_one",
    "received": "intake.weigh_one",
    "weighed": "intake.weigh_one",
    "out of oven": "intake.weigh_one",
    "dried": "lab.mill_one",
    "coarse ground": "lab.mill_one",
}


@door.get("/T/<path:scanned>")
@door.get("/t/<path:scanned>")
@for_roles(*EVERYONE)
def opened(scanned: str) -> Any:
    """Whatever a QR or a scanner brings. Staff land on the act, strangers on a sentence; a stub is another door's."""
    # What stands behind our own /T/ is a code or a token; a whole address stands there where a scanner was typed.
    whole = "/" in scanned.rstrip("/")
    with guesses_counted(GUESSES) as asked:
        found = resolve(scanned, settings().base_url) if whole else resolve_behind(scanned)
        if found.kind == "token":
            return redirect(url_for("producer.page", stub=found.value), 303)
        refuse_unknown_tag(asked, found.value)
    here = signed_in()
    if here is None:
        # A stranger learns that it is one of our tags, and nothing else is even looked up.
        return render_template("stranger.html", quiet=True)
    if here.role not in LAB:
        return redirect(url_for("scan.way", text=found.value), 303)
    with reading() as session:
        return redirect(_act(tag_owner(session, found.value)), 303)


def _act(owner: TagOwner) -> str:
    if owner.tag_state == "void" or owner.state is None or owner.hold:
        return url_for("scan.way", text=owner.code)
    if owner.state == "in oven" and owner.load:
        return url_for("intake.load", name=owner.load)
    endpoint = _ACT.get(owner.state)
    return url_for(endpoint, code=owner.code) if endpoint else url_for("scan.way", text=owner.code)


@door.get("/find")
@for_roles(*STAFF)
def find() -> Any:
    """A typed code: which lot it is, for the person to look at before anything is done."""
    code = code_in(request.args.get("text", ""))
    with reading() as session:
        owner = tag_owner(session, code)
    return render_template("found.html", owner=owner, act=_act(owner))


@door.get("/way/<text>")
@for_roles(*STAFF)
def way(text: str) -> str:
    """Where a sample has been and is."""
    with reading() as session:
        owner = tag_owner(session, text) if not text.startswith("lot") else None
        if owner is not None and owner.state is None:
            return render_template("found.html", owner=owner, act=None)
        found = way_of(session, sample_ever_named(session, text))
    # The same drawing lies on a desk and stands on a phone.
    pictures = [Markup(svg(found.stations, vertical)) for vertical in (False, True)]
    return render_template("way.html", way=found, owner=owner, pictures=pictures)
