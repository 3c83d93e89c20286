"""The settings: each as a record with who, when and why, and the forms by which the lead changes one."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, render_template, request, url_for

from tracker.domain.practice import RULES
from tracker.lookups.settings_kept import setting_named, settings_kept
from tracker.steps.set_equipment import KINDS, set_equipment
from tracker.steps.set_practice import set_practice
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.season import acting, reading


@door.get("/settings")
@for_roles(*LEAD)
def all_settings() -> str:
    """Every setting, its value and its last change."""
    with reading() as session:
        shelves = settings_kept(session)
    return render_template("settings.html", shelves=shelves, kinds=KINDS)


@door.get("/settings/<kind>/<path:name>")
@for_roles(*LEAD)
def one_setting(kind: str, name: str) -> str:
    """One setting with its history."""
    with reading() as session:
        found = setting_named(session, kind, name)
    rule = RULES[name] if kind == "rule" else None
    return render_template("setting.html", one=found, rule=rule, described=kind in KINDS)


@door.post("/settings/rule/<name>")
@for_roles(*LEAD)
def rule_set(name: str) -> Any:
    """Make a rule the programme's own from now on."""
    form = request.form
    with acting("set practice", {**form, "rule": name}) as (session, act):
        row = set_practice(
            session,
            name,
            form.get("value", "").strip(),
            act,
            source=form.get("source", ""),
            reason=form.get("reason", ""),
        )
        said = f"{row.rule} is {row.value} from now on."
    flash(said, "good")
    return redirect(url_for("office.one_setting", kind="rule", name=name), 303)


@door.post("/settings/equipment")
@for_roles(*LEAD)
def equipment_set() -> Any:
    """Describe an oven, a mill or an instrument, or say that it has left the bench."""
    form = request.form
    with acting("set equipment") as (session, act):
        row = set_equipment(
            session,
            form.get("kind", ""),
            form.get("name", ""),
            act,
            facts=form.get("facts", ""),
            reason=form.get("reason", ""),
            in_use=form.get("left") != "yes",
        )
        kind, name, version = row.kind, row.name, row.version
    flash(f"{name} is kept as version {version}.", "good")
    return redirect(url_for("office.one_setting", kind=kind, name=name), 303)
