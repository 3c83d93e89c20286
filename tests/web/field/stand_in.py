"""Stands in for the office's two doors until they are built; kept here only as long as that."""

# ruff: noqa
# mypy: ignore-errors
import json
from datetime import UTC, datetime
from flask import jsonify, request
from tracker.web.shared.access import STAFF, for_roles, signed_in, EVERYONE
from flask_wtf.csrf import generate_csrf
from tracker.web.shared.guard import csrf
from tracker.domain.practice import RULES
from decimal import Decimal

M = "hay-field-1"


def now():
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def stand(app, season):
    store = {}
    order = []
    app.extensions["fake"] = (store, order)

    @for_roles(*EVERYONE)
    def pack():
        p = signed_in()
        if p is None:
            return jsonify(marker=M, code="sign-in-needed", words="Sign in"), 401
        from tracker.web.field.shell import version

        return jsonify(
            marker=M,
            server_time=now(),
            csrf=generate_csrf(),
            person=dict(key=p.key, name=p.name, role=p.role),
            people=[
                dict(key="carl", name="Carl Otis", kind="person", secure=False),
                dict(key="ulf", name="Ulf Brandt", kind="person", secure=False),
                dict(key="box", name="Drop box", kind="place", secure=True),
                dict(key="van", name="Valley Van", kind="carrier", secure=False),
            ],
            producers=[dict(id=1, name="Oda Meadow", place="Upper Mill")],
            lots=[],
            tags=[dict(code="7K2M9QXQ", state="issued", lot_id=None)],
            choices=dict(
                forages=["alfalfa", "timothy"],
                shapes=["round", "large square", "small square"],
                storages=["barn", "wrapped"],
                probes=[dict(name="15.9 mm probe", inside_mm="15.9", length_mm="610")],
                entries={},
                conditions=["dry", "damp", "mould"],
                deviations=["could not be reached", "too hot to core"],
                cautions=[],
            ),
            practice={k: str(r.default) for k, r in RULES.items()},
            version=version(),
        )

    app.add_url_rule("/field/pack", "field.pack", pack)

    @for_roles(*EVERYONE)
    def take():
        if signed_in() is None:
            return jsonify(marker=M, code="sign-in-needed", words="Sign in"), 401
        out = []
        for e in request.get_json()["entries"]:
            if e["event_id"] in store:
                out.append({**store[e["event_id"]], "answer": "duplicate"})
                continue
            a = dict(
                event_id=e["event_id"],
                answer="accepted",
                received_at=now(),
                code=None,
                words=None,
                field=None,
                remedy=None,
                made=None,
                contested=False,
                notices=[],
            )
            store[e["event_id"]] = a
            order.append(e)
            out.append(a)
        return jsonify(marker=M, server_time=now(), answers=out)

    app.add_url_rule("/field/entries", "field.entries", take, methods=["POST"])
