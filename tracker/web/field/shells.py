"""The field's shells: pages without anybody's data, the worker that keeps them on the phone, and the manifest."""

from __future__ import annotations

from typing import Any

from flask import Response, jsonify, make_response, redirect, render_template, request, url_for

from tracker.web.field import shell
from tracker.web.field.door import door
from tracker.web.shared.access import EVERYONE, STAFF, for_roles
from tracker.web.shared.guard import POLICY
from tracker.web.shared.season import settings

# Only where tags are read: compiling the reader is what this allows, and nothing else.
_READING = POLICY.replace("script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'")
_LAST_LOOK = "no-cache"


@for_roles(*EVERYONE)
def page(page: str) -> Response:
    """A shell. The phone fills it from its own store, signed in or not, with a network or without."""
    answer = make_response(shell.page_html(page))
    answer.headers["Cache-Control"] = _LAST_LOOK
    if shell.PAGES[page][2]:
        answer.headers["Content-Security-Policy"] = _READING
    return answer


for _page in shell.PAGES:
    door.add_url_rule(f"/field/{_page}", "page", page, defaults={"page": _page})


@door.get("/field/worker.js")
@for_roles(*EVERYONE)
def worker() -> Response:
    """The script that keeps the shell. ?sending=yes is for browsers that let it send while no page is open."""
    text = render_template(
        "worker.js",
        version=shell.version(),
        files=shell.files(),
        sending=request.args.get("sending") == "yes",
    )
    answer = Response(text, mimetype="text/javascript")
    answer.headers["Service-Worker-Allowed"] = url_for("field.page", page="")
    answer.headers["Cache-Control"] = _LAST_LOOK
    return answer


@door.get("/field/manifest.webmanifest")
@for_roles(*EVERYONE)
def manifest() -> Response:
    """What a phone needs to put the pages on its home screen."""
    start = url_for("field.page", page="")
    icons = [
        {"src": url_for("static", filename="mark-192.png"), "sizes": "192x192", "type": "image/png"},
        {"src": url_for("static", filename="mark-512.png"), "sizes": "512x512", "type": "image/png"},
        {"src": url_for("static", filename="mark.svg"), "sizes": "any", "type": "image/svg+xml"},
    ]
    answer = jsonify(
        name=f"{settings().programme}: the field",
        short_name="Hay field",
        description="Lots, coring and bags, also where there is no signal.",
        start_url=start,
        scope=start,
        id=start,
        display="standalone",
        background_color="#fbfaf5",
        theme_color="#0b4f4a",
        icons=icons,
    )
    answer.mimetype = "application/manifest+json"
    answer.headers["Cache-Control"] = _LAST_LOOK
    return answer


@door.get("/field/signed-in")
@for_roles(*STAFF)
def signed_in() -> Any:
    """Whoever comes here signs in first, and lands in the field again."""
    wanted = request.args.get("to", "")
    return redirect(url_for("field.page", page=wanted if wanted in shell.PAGES else ""), 303)
