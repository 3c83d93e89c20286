"""Commands of the server: the first lead, links for people, the pages themselves, and whether all is well."""

from __future__ import annotations

import argparse
import sys
from contextlib import closing
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import command, integer, open_season, reading, say, table

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.orm import Session

BY = "command line"


def add(commands: Any) -> None:
    """Add the commands of this room."""
    lead = command(commands, "add-lead", "make a lead and an invitation for him", _add_lead, acts=False)
    lead.add_argument("key", help="short name, like marit-sund; it is the name to sign in with")
    lead.add_argument("name")
    invite = command(commands, "invite", "make an invitation for somebody known", _invite, acts=False)
    invite.add_argument("key")
    reset = command(commands, "reset-link", "make a link to set a new password with", _reset, acts=False)
    reset.add_argument("key")
    gone = command(
        commands,
        "take-away-factor",
        "let a lost phone's owner in by password alone",
        _factor_gone,
        acts=False,
    )
    gone.add_argument("key")
    came = command(commands, "comings", "list who came in and who was turned away", _comings, acts=False)
    came.add_argument("--last", type=integer, default=50, metavar="COUNT")
    serve = command(commands, "serve", "serve the pages until it is stopped", _serve, acts=False)
    serve.add_argument(
        "--host", default="0.0.0.0", help="127.0.0.1 for this computer alone (default %(default)s)"
    )
    serve.add_argument("--port", type=integer, default=8000, help="default %(default)s")
    serve.add_argument("--threads", type=integer, default=8, help="answers at a time (default %(default)s)")
    serve.add_argument(
        "--http", action="store_true", help="people come by http although TRACKER_BASE_URL says https"
    )
    bench = command(commands, "bench", "measure how fast the program is on this computer", _bench, acts=False)
    bench.add_argument("--quick", action="store_true", help="tiny sizes, to see that everything runs")
    bench.add_argument(
        "--season", action="store_true", help="a simulated season and the curve to a million too"
    )
    bench.add_argument("--only", default="", metavar="NAMES", help="some of them, with commas between")
    bench.add_argument("--out", metavar="FOLDER", default="bench-results", help="default %(default)s")
    command(
        commands,
        "fetch-reader",
        "fetch the QR reader for the field's pages by npm",
        _fetch_reader,
        acts=False,
    )
    doctor = command(commands, "doctor", "look whether the season is fit to be served", _doctor, acts=False)
    doctor.add_argument("--offline", action="store_true", help="do not ask TRACKER_BASE_URL")


def _add_lead(asked: argparse.Namespace) -> None:
    from tracker.steps.sign_in import make_account, make_lead

    def made(session: Session, now: datetime) -> str:
        make_lead(session, key=asked.key, name=asked.name, now=now)
        return make_account(session, asked.key, BY, now)

    _link(asked, made, "invite", key=asked.key, name=asked.name)


def _invite(asked: argparse.Namespace) -> None:
    from tracker.steps.sign_in import make_account

    _link(asked, lambda session, now: make_account(session, asked.key, BY, now), "invite", key=asked.key)


def _reset(asked: argparse.Namespace) -> None:
    from tracker.steps.sign_in import make_reset

    _link(asked, lambda session, now: make_reset(session, asked.key, BY, now), "reset", key=asked.key)


def _link(asked: argparse.Namespace, make: Any, purpose: str, **given: str) -> None:
    from datetime import timedelta

    from tracker.settings import read
    from tracker.steps.note_access import LINK_MADE, note_access
    from tracker.steps.sign_in import LINK_HOURS

    with closing(open_season(asked)) as season, season.act(asked.act, "", given) as session:
        now = season.clock()
        token = make(session, now)
        note_access(session, now, LINK_MADE, given["key"], BY)
    hours = LINK_HOURS[purpose]
    address = f"{read().base_url.rstrip('/')}/link/{token}"
    values = {"key": asked.key, "link": address, "purpose": purpose, "until": now + timedelta(hours=hours)}
    say(
        asked,
        values,
        address,
        f"Give this to {asked.key} and to nobody else. It works once, within {hours} h, and is shown only now.",
        *(
            [
                f"While TRACKER_BASE_URL is not set, put /link/{token} behind the address that `tracker serve` names."
            ]
            if _base_not_told()
            else []
        ),
    )


def _factor_gone(asked: argparse.Namespace) -> None:
    from tracker.steps.note_access import FACTOR_GONE, note_access
    from tracker.steps.second_factor import take_away_factor
    from tracker.steps.sign_in import account_of

    with closing(open_season(asked)) as season, season.act(asked.act, "", {"key": asked.key}) as session:
        take_away_factor(session, account_of(session, asked.key))
        note_access(session, season.clock(), FACTOR_GONE, asked.key, BY)
    say(asked, {"key": asked.key}, f"{asked.key} signs in with the password alone from now on.")


def _comings(asked: argparse.Namespace) -> None:
    from tracker.lookups.access import comings

    with reading(asked) as session:
        found = comings(session, asked.last)
    rows = [(one.at.isoformat(timespec="seconds"), one.what, one.who, one.place, one.about) for one in found]
    say(asked, found, *table(("when (UTC)", "what", "who", "from", "about"), rows))


def _base_not_told() -> bool:
    from tracker.settings import Settings, read

    return read().base_url == Settings.base_url


def _fetch_reader(asked: argparse.Namespace) -> None:
    from tracker.errors import Refused
    from tracker.web.field.reader import PLACE, ReaderMissing, fetch

    try:
        fetch()
    except ReaderMissing as missing:
        raise Refused(
            "reader-missing",
            str(missing),
            remedy="Until then tags are typed where a browser reads no QR by itself; everything else works.",
        ) from missing
    say(
        asked,
        {"place": str(PLACE)},
        f"The QR reader is in {PLACE}.",
        "Phones take it along at their next visit.",
    )


def _serve(asked: argparse.Namespace) -> None:
    from tracker.app import create_app
    from tracker.cli import serving
    from tracker.cli.hourly import signing_hourly
    from tracker.settings import read

    settings = read()
    told = not _base_not_told()
    here, lan = serving.hosts(asked.host)
    with closing(open_season(asked)) as season, closing(serving.listening(asked.host, asked.port)) as door:
        port = door.getsockname()[1]
        nearest = f"http://{(lan or here)[0]}:{port}"
        if not told:
            from dataclasses import replace

            settings = replace(settings, base_url=nearest)
        secure = serving.is_secure(settings.base_url) and not asked.http
        secret = serving.secret_in(serving.secret_file(season, settings.secret_file))
        app = create_app(season, settings, secret, secure=secure)
        serving.log_to_stderr(settings.log)
        server = serving.Server(app, door, asked.threads, behind_proxy=secure, proxy=settings.proxy)
        server.heed_signals()
        phones = settings.base_url if told and not asked.http else nearest
        addresses = [f"http://{one}:{port}" for one in (*here, *lan)]
        _say_where(asked, addresses, phones, settings.base_url if told else "")
        with signing_hourly(season):
            server.run()
    if not asked.json:
        print("Stopped. Whatever was confirmed is recorded.")


def _say_where(asked: argparse.Namespace, addresses: list[str], phones: str, base: str) -> None:
    from tracker.cli import serving

    secure = serving.is_secure(phones)
    values = {"addresses": addresses, "phones": phones, "secure": secure, "base_url": base}
    lines = [f"Served at {one}" for one in addresses]
    if base:
        lines.append(f"Tags and links lead to {base}")
    else:
        lines.append(
            "TRACKER_BASE_URL is not set: a tag printed now leads nowhere that a phone could follow."
        )
    lines += serving.secure_words(phones)
    if secure:
        lines.append(
            "Sign in at the https address only; whoever has none comes in with `tracker serve --http`."
        )
    say(asked, values, *lines, *serving.qr_lines(phones), "Stop with Ctrl-C.")
    sys.stdout.flush()


def _bench(asked: argparse.Namespace) -> int:
    import subprocess
    from pathlib import Path

    from tracker.errors import NotFound

    root = Path(__file__).parents[2]
    if not (root / "tests" / "bench" / "__main__.py").exists():
        raise NotFound(
            "bench-missing",
            "The benchmarks are not beside this program.",
            remedy="They come with its sources: run `tracker bench` there.",
        )
    words = ["--out", str(Path(asked.out).absolute()), *(["--only", asked.only] if asked.only else [])]
    words += [f"--{name}" for name in ("quick", "season") if getattr(asked, name)]
    return subprocess.run([sys.executable, "-m", "tests.bench", *words], cwd=root, check=False).returncode


def _doctor(asked: argparse.Namespace) -> int:
    from tracker.cli import doctor
    from tracker.settings import read

    settings = read()
    with closing(open_season(asked, checked=False)) as season:
        found = list(doctor.look(season, settings, offline=asked.offline))
    lines = [
        f"{line.verdict:<5} {line.what:<12} {' '.join(filter(None, (line.words, line.remedy)))}"
        for line in found
    ]
    say(asked, found, *lines)
    return int(any(line.verdict == "bad" for line in found))
