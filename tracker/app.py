"""The only wiring: settings and a season become the doors."""

from __future__ import annotations

from flask import Flask

from tracker.domain.keyboard_layouts import tables
from tracker.domain.scan_text import tag_prefix
from tracker.domain.times import duration_said, said
from tracker.settings import Settings
from tracker.storage.engine import Database
from tracker.web.api import pages as api
from tracker.web.custody import pages as custody
from tracker.web.field import pages as field
from tracker.web.intake import pages as intake
from tracker.web.lab import pages as lab
from tracker.web.office import pages as office
from tracker.web.producer import pages as producer
from tracker.web.running import pages as running
from tracker.web.scan import pages as scan
from tracker.web.shared import access, errors, guard, log, words
from tracker.web.shared.doors import Doors

MOST_BYTES = 20 * 1024 * 1024
DOORS = (
    producer.door,
    scan.door,
    field.door,
    intake.door,
    lab.door,
    office.door,
    custody.door,
    running.door,
    api.door,
)


def create_app(season: Database, settings: Settings, secret: str, *, secure: bool | None = None) -> Flask:
    """The application on an open season. secret signs the forms; it must stay the same across restarts.

    secure: whether people come by https, so that the sign-in is bound to it; else as the settings' base_url says.
    Raises Refused `base-url`.
    """
    tag_prefix(settings.base_url)
    app = Doors("tracker.web", static_folder="static", template_folder="shared/templates")
    secure = settings.base_url.lower().startswith("https://") if secure is None else secure
    app.config.update(
        SECRET_KEY=secret,
        MAX_CONTENT_LENGTH=MOST_BYTES,
        # Long enough that a day's sacks do not ask for the same files again, short enough for a new version.
        SEND_FILE_MAX_AGE_DEFAULT=300,
        SESSION_COOKIE_NAME="__Host-form" if secure else "form",
        SESSION_COOKIE_SECURE=secure,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        WTF_CSRF_TIME_LIMIT=12 * 3600,
        WTF_CSRF_SSL_STRICT=False,
    )
    app.extensions["season"] = season
    app.extensions["settings"] = settings
    figures = app.extensions["figures"] = running.Figures()
    log.note_answers(app, figures.count)
    guard.stand(app)
    errors.answer_errors(app)
    for door in DOORS:
        app.register_blueprint(door)
    app.jinja_env.filters.update(said=said, duration=duration_said, shown=words.shown, called=words.called)
    app.jinja_env.globals.update(
        person=access.signed_in, layouts=tables, settings=settings, scans=words.scans
    )
    return app
