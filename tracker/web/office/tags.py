"""Tags: a print run, said step by step while it is drawn, and the page that shows whether a printer scales.

The paper goes straight to whoever asked for it. It is not kept: the stubs' secrets are on it.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Generator, Iterator
from io import BytesIO
from queue import SimpleQueue
from threading import Thread
from typing import Any

from flask import Response, get_flashed_messages, render_template, request, stream_template

from labels.stock import PRESETS
from tracker.domain.units import number, whole
from tracker.errors import Refused, TrackerError
from tracker.lookups.lots import lots_without_bag
from tracker.papers.tag_sheet import Layout, Office, write_tags, write_test_page
from tracker.steps.print_tags import print_tags
from tracker.web.office.door import door
from tracker.web.shared.access import LAB, for_roles
from tracker.web.shared.season import acting, reading, settings

MOST = 2000


@door.get("/tags")
@for_roles(*LAB)
def tags() -> str:
    """What to print, and on what."""
    with reading() as found_in:
        waiting = lots_without_bag(found_in)
    return render_template("tags.html", lots=waiting, stocks=PRESETS, most=MOST)


@door.post("/tags")
@for_roles(*LAB)
def tags_printed() -> Response:
    """Make the tags and draw them, and say on the page how far it is."""
    # Said already, so that the page that is sent piece by piece need not write the cookie.
    get_flashed_messages(with_categories=True)
    outcome: dict[str, Any] = {}
    page = stream_template(
        "tags_printed.html", steps=_stepwise(_wanted(), _layout(), outcome), outcome=outcome
    )
    return Response(page, content_type="text/html; charset=utf-8", headers={"X-Accel-Buffering": "no"})


@door.get("/tags/test-page.pdf")
@for_roles(*LAB)
def test_page() -> Response:
    """The page that shows whether the printer keeps to the sheet."""
    file = BytesIO()
    write_test_page(file, Layout(request.args.get("stock", "a4-2x4")))
    return Response(file.getvalue(), mimetype="application/pdf")


def _wanted() -> list[int | None]:
    form = request.form
    named: list[int | None] = [whole(lot, field="lot", least=1) for lot in form.getlist("lot")]
    roll = whole(form.get("roll") or "0", field="roll")
    if len(named) + roll > MOST:
        raise Refused(
            "roll-too-long",
            f"{len(named) + roll} tags are more than are printed at once.",
            field="roll",
            remedy=f"Print at most {MOST}, and then more.",
        )
    return [*named, *[None] * roll]


def _layout() -> Layout:
    form = request.form
    skip = [whole(cell, field="skip", least=1) for cell in form.get("skip", "").replace(",", " ").split()]
    offset = [float(number(form.get(name) or "0", field=name)) for name in ("offset_x", "offset_y")]
    return Layout(
        form.get("stock", ""),
        whole(form.get("start") or "1", field="start", least=1),
        tuple(skip),
        whole(form.get("rotation") or "0", field="rotation"),
        (offset[0], offset[1]),
    )


def _stepwise(wanted: list[int | None], layout: Layout, outcome: dict[str, Any]) -> Iterator[tuple[int, int]]:
    """Tags drawn and tags in all; outcome gets the paper, or the refusal, at the end. Nothing is kept without it."""
    told = settings()
    office = Office(told.programme, told.phone, told.base_url)
    try:
        with acting("print tags") as (session, act):
            run, printed = print_tags(session, wanted, act, base_url=told.base_url, layout=layout.as_dict())
            pairs = [(one.tag.code, one.token) for one in printed]
            paper = yield from _drawn(office, run.id, pairs, layout)
    except TrackerError as refused:
        outcome["refused"] = refused
        return
    outcome.update(run=run.id, count=len(pairs), paper=b64encode(paper).decode())


def _drawn(
    office: Office, run: int, pairs: list[tuple[str, str]], layout: Layout
) -> Generator[tuple[int, int], None, bytes]:
    """Draw beside the request, so that it can say how far the drawing is; returns the paper."""
    file, steps = BytesIO(), SimpleQueue[tuple[int, int] | TrackerError | None]()

    def draw() -> None:
        try:
            write_tags(file, office, run, pairs, layout, lambda done, total: steps.put((done, total)))
            steps.put(None)
        except TrackerError as refused:
            steps.put(refused)

    Thread(target=draw, daemon=True).start()
    while (step := steps.get()) is not None:
        if isinstance(step, TrackerError):
            raise step
        yield step
    return file.getvalue()
