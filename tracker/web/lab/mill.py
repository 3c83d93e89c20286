"""The mill: scan a sack, record its next grind, and scan the next one."""

from __future__ import annotations

from typing import Any

from flask import redirect, render_template, request, session, url_for

from tracker.domain.grinding import SAFETY
from tracker.lookups.find import sample_named
from tracker.lookups.mill_queue import mill_queue, mill_sack
from tracker.lookups.settings_kept import names_in_use
from tracker.steps.grind import grind
from tracker.web.lab.door import door
from tracker.web.shared.access import LAB, for_roles
from tracker.web.shared.moved import not_moved
from tracker.web.shared.season import acting, now, reading
from tracker.web.shared.told import tell
from tracker.web.shared.words import shown


@door.get("/mill")
@for_roles(*LAB)
def mill() -> str:
    """The sacks that wait for the mill, the longest wait first."""
    with reading() as found_in:
        queue = mill_queue(found_in)
    return render_template("mill.html", queue=queue, safety=SAFETY["mill"], now=now(), scan_to=_loop())


@door.get("/mill/<code>")
@for_roles(*LAB)
def mill_one(code: str) -> str:
    """The next grind of this sack, with what the last sack was ground by."""
    with reading() as found_in:
        sack = mill_sack(found_in, sample_named(found_in, code))
        mills = names_in_use(found_in, "mill")
    remembered = session.get("mill", {}).get(sack.stage, {})
    return render_template(
        "mill_one.html", sack=sack, last=remembered, mills=mills, safety=SAFETY["mill"], scan_to=_loop()
    )


@door.post("/mill/<code>")
@for_roles(*LAB)
def ground(code: str) -> Any:
    """Record the grind, and be ready for the next sack."""
    form = request.form
    stage, cleaned = form.get("stage", ""), form.get("cleaned") == "yes"
    screen, name = form.get("screen_mm", "").strip(), form.get("mill", "").strip()
    with acting("grind") as (doing, act):
        sample = sample_named(doing, code)
        not_moved(doing, sample.id, form.get("seen"))
        event = grind(
            doing,
            sample,
            stage,
            act,
            screen_mm=screen or None,
            mill=name,
            cleaned=cleaned,
            dm=_dm(form.get("dm")),
        )
    session["mill"] = {**session.get("mill", {}), stage: {"screen": screen, "mill": name, "cleaned": cleaned}}
    tell(event, f"{shown(code)}: the {stage} grind is recorded.")
    return redirect(url_for("lab.mill"), 303)


def _loop() -> str:
    """Where a scan leads while somebody stands at the mill."""
    return url_for("lab.mill") + "/"


def _dm(text: str | None) -> str | None:
    return text.strip() or None if text else None
