"""Acts and questions against the plain driver: the tag's page, a weighing, custody; and the help."""

from __future__ import annotations

import logging
import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, closing, contextmanager, redirect_stderr
from datetime import UTC
from itertools import count
from pathlib import Path

from flask import Flask, abort, request
from jinja2 import Environment
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.test import create_environ

from tests.bench import imports
from tests.bench.figures import Figure, in_turns
from tests.bench.grow import grow
from tests.conftest import build_season
from tests.makers import act, at, make_bag, make_received
from tests.result_files import SETTINGS, make_answered
from tests.web.conftest import SETTINGS as TOLD
from tests.web.conftest import made_app
from tracker.cli.serving import LOGGERS, log_to_stderr
from tracker.domain.times import CLOCK_SKEW
from tracker.lookups.hay_of_year import hay_of_year
from tracker.lookups.lot_report import report_body
from tracker.lookups.lots import answered_page
from tracker.lookups.programme import behind, programme
from tracker.lookups.retention import kept
from tracker.steps.hold import hold, lift_hold
from tracker.steps.sign_in import TRIES_WITHIN
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.engine import PRAGMAS, Database
from tracker.storage.tags import Tag
from tracker.web.scan.pages import GUESSES

ROOT = Path(__file__).parents[2]
# A stranger's phone behind our own server: no cookie, and the headers that every browser sends.
ENVIRON = create_environ(
    "/",
    headers={"User-Agent": "Mozilla/5.0", "Accept": "text/html", "Accept-Language": "en"},
    environ_base={"REMOTE_ADDR": "203.0.113.7"},
)


@contextmanager
def season_with(samples: int, make: Callable[..., Sample] = make_bag) -> Iterator[tuple[Database, list[str]]]:
    """A season with so many samples, and their codes."""
    with tempfile.TemporaryDirectory(prefix="hay-bench-") as folder:
        address = f"sqlite:///{folder}/season.db"
        build_season(address)
        season = Database(address, clock=lambda: at(0))
        yield season, grow(season, make, samples - 1)
        season.close()


def plain(season: Database) -> sqlite3.Connection:
    """The driver alone, with the program's own settings."""
    connection = sqlite3.connect(str(season.file), isolation_level=None)
    for pragma in PRAGMAS:
        connection.execute(f"pragma {pragma}")
    return connection


# What a stranger is answered, letter for letter, as somebody writes it who has this one page to answer.
PAGE = """\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>A tag</title>
<link rel="stylesheet" href="/static/house.css">
<link rel="icon" href="/static/mark.svg" type="image/svg+xml">

</head>
<body class="">
<a class="skip" href="#main">To the page</a>
<header>
  <p class="house"><a href="/">{{ programme }}</a></p>
  {# nobody is signed in #}
</header>


<p id="told" class="told" role="alert" hidden></p>
<main id="main" tabindex="-1">

<h1>A tag of {{ programme }}</h1>
<p>This tag names a hay sample of this programme. If you found the bag, please call {{ phone }}.</p>
<p><a class="next" href="/sign-in">Sign in</a></p>

</main>
</body>
</html>"""
TRIED = "select count(*) from attempt where key = ? and at > ? and at <= ?"
THERE = "select id from tag where code = ?"


def bare_app(season: Database) -> Flask:
    """Flask with a route that does nothing and one that answers a stranger: what the framework and the driver take.

    The page asks the same rows as ours, on a connection that is kept, and says the same.
    """
    app, driver, page = Flask("bare"), plain(season), Environment(autoescape=True).from_string(PAGE)

    @app.get("/bare")
    def nothing() -> str:
        return "ok"

    @app.get("/T/<code>")
    def raw(code: str) -> str:
        now = season.clock().replace(tzinfo=None)
        since, until = (str(now + span) for span in (-TRIES_WITHIN, CLOCK_SKEW))
        (tries,) = driver.execute(TRIED, (f"guess from {request.remote_addr}", since, until)).fetchone()
        if tries >= GUESSES:
            abort(429)
        if driver.execute(THERE, (code,)).fetchone() is None:
            abort(404)
        return page.render(programme=TOLD.programme, phone=TOLD.phone)

    return app


def answer(app: Flask, path: str) -> bytes:
    """The body that is answered at this address, asked as a server asks: no client of the tests before it."""
    said: list[str] = []
    parts = app({**ENVIRON, "PATH_INFO": path}, lambda status, *_: said.append(status))  # type: ignore[arg-type]
    body = b"".join(parts)
    parts.close()  # type: ignore[attr-defined]
    assert said == ["200 OK"], said
    return body


@contextmanager
def logged() -> Iterator[None]:
    """The server's log is on, as in use; its lines are written and go nowhere."""
    loggers = [logging.getLogger(name) for name in LOGGERS]
    before = [(one.handlers, one.propagate, one.level) for one in loggers]
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
        with redirect_stderr(nowhere):
            log_to_stderr()
        try:
            yield
        finally:
            for one, (handlers, propagate, level) in zip(loggers, before, strict=True):
                one.handlers, one.propagate = handlers, propagate
                one.setLevel(level)


def pages(app: Flask, season: Database, codes: list[str]) -> dict[str, Callable[[], None]]:
    """The page behind a tag's code, a bare route and the same page of the driver alone, a hundred times each."""
    bare = bare_app(season)
    assert answer(app, f"/T/{codes[0]}") == answer(bare, f"/T/{codes[0]}")
    step = max(1, len(codes) // 97)
    turn = count()

    def ask(app: Flask, path: str) -> None:
        begun = next(turn)
        for n in range(100):
            answer(app, path.format(code=codes[(begun * 31 + n * step) % len(codes)]))

    return {
        "ours": lambda: ask(app, "/T/{code}"),
        "bare": lambda: ask(bare, "/bare"),
        "raw": lambda: ask(bare, "/T/{code}"),
    }


def _in_two_seasons(small: int, large: int, rounds: int) -> dict[str, float]:
    """Seconds of `pages` in a small season and in a large one, both open, all in turns."""
    with season_with(small) as (few, some), season_with(large) as (much, many), logged():
        works = {}
        for size, season, codes in (("small", few, some), ("large", much, many)):
            for name, work in pages(made_app(season, strict=True), season, codes).items():
                works[f"{name}, {size}"] = work
                work()
        return in_turns(works, rounds)


def tag_page(quick: bool) -> list[Figure]:
    """What a stranger's phone gets, against the framework and the driver, and as the season grows."""
    small, large = (20, 200) if quick else (1_000, 100_000)
    took = _in_two_seasons(small, large, 2 if quick else 30)
    ours, size = took["ours, large"], f"{large:,} samples"
    return [
        Figure("tag page", f"page / bare route, {size}", ours / took["bare, large"], "x", 8),
        Figure("tag page", f"page / the driver's same page, {size}", ours / took["raw, large"], "x", 2),
        Figure("tag page", f"{size} / {small:,}", ours / took["ours, small"], "x", 1.3),
    ]


def tag_page_grown(quick: bool) -> Figure:
    """The same page in a season that is as large as they get."""
    small, large = (12, 24) if quick else (1_000, 1_000_000)
    took = _in_two_seasons(small, large, 2 if quick else 60)
    grown = took["ours, large"] / took["ours, small"]
    return Figure("tag page", f"{large:,} samples / {small:,}", grown, "x", 1.3)


def weighing(quick: bool) -> list[Figure]:
    """An act of one fresh weight, confirmed on the disk, against the driver's transaction with the same rows."""
    times = 5 if quick else 60
    with season_with(2 * times + 2, make_received) as (season, codes):
        samples = _samples(season, codes)
        ours = iter(samples)

        def step() -> None:
            for _ in range(times // 5):
                sample = next(ours)
                with season.act("weigh", "carl", {}) as session:
                    weigh(
                        session,
                        session.get_one(Sample, sample),
                        "tare",
                        "18.6",
                        act(session, "carl", 250),
                        balance="",
                    )

        driver = plain(season)
        floor = _floor(driver, times // 5)
        found = in_turns({"ours": step, "floor": floor}, 5, processor=False)
        driver.close()
    return [
        Figure(
            "weighing",
            "the driver's transaction / ours, on the disk",
            100 * found["floor"] / found["ours"],
            "%",
            30,
            most=False,
        )
    ]


def _samples(season: Database, codes: list[str]) -> list[int]:
    with season.read() as session:
        wanted = dict(session.execute(select(Tag.code, Tag.sample_id)).all())
    return [int(wanted[code] or 0) for code in codes]


def _floor(driver: sqlite3.Connection, times: int) -> Callable[[], None]:
    """The rows of one act, in one transaction each: event, log entry, salt, two hashes, weighing, standing."""
    numbers = count(10_000_000)
    at_, later = "2026-06-20 18:10:00.000000", '{"grams":"18.6","balance":null,"zeroed":false}'
    driver.execute("pragma foreign_keys = off")

    def write() -> None:
        for _ in range(times):
            n = next(numbers)
            driver.execute("begin immediate")
            driver.execute(
                "insert into event (seq, event_id, kind, lot_id, sample_id, occurred_at, occurred_offset, "
                'recorded_at, "by", role, device, note, late_reason, data) '
                "values (?, ?, ?, 1, 1, ?, -300, ?, ?, ?, ?, ?, ?, ?)",
                (n, f"f{n}", "tare weighed", at_, at_, "carl", "clerk", "office", "", "", later),
            )
            driver.execute("insert into log_entry values (?, ?)", (n, "x" * 420))
            driver.execute("insert into entry_salt values (?, ?)", (n, b"0" * 16))
            driver.executemany(
                "insert into log_node values (?, ?)", [(2 * n, b"0" * 32), (2 * n + 1, b"0" * 32)]
            )
            driver.execute(
                "insert into weighing (event_id, sample_id, what, grams, zeroed, balance, weighed_at) "
                "values (?, 1, 'tare', '18.6', 0, '', ?)",
                (f"f{n}", at_),
            )
            driver.execute("update standing set last_at = ? where sample_id = 1", (at_,))
            driver.execute("commit")
        # Taken away again, so that the program's own numbers stay without holes.
        driver.execute("begin immediate")
        for table in ("event", "log_entry", "log_node", "weighing"):
            driver.execute(f"drop trigger if exists {table}_no_delete")
        driver.execute("delete from event where seq >= 10000000")
        driver.execute("delete from log_entry where seq >= 10000000")
        driver.execute("delete from entry_salt where seq >= 10000000")
        driver.execute("delete from log_node where number >= 20000000")
        driver.execute("delete from weighing where event_id like 'f%'")
        driver.execute("commit")

    return write


def custody(quick: bool) -> list[Figure]:
    """An entry of custody with more than 100,000 others in the log, against one with few."""
    size = 40 if quick else 20_000
    found = {}
    for samples in (10, size):
        with season_with(samples) as (season, codes):
            number = _samples(season, codes)[-1]

            def turns(season: Database = season, number: int = number) -> None:
                for minute in range(2 if quick else 10):
                    with season.act("hold", "lena", {}) as session:
                        sample = session.get_one(Sample, number)
                        hold(session, sample, act(session, "lena", 5000 + minute), reason="looked at")
                    with season.act("lift", "lena", {}) as session:
                        sample = session.get_one(Sample, number)
                        lift_hold(session, sample, act(session, "lena", 5000 + minute), reason="fine")

            found[samples] = in_turns({"entries": turns}, 1)["entries"]
    return [Figure("custody", f"an entry with {size:,} samples / with 10", found[size] / found[10], "x", 1.3)]


def report(quick: bool) -> list[Figure]:
    """All that a report says, worked out in a season with many analysed samples and in one with few."""
    sizes = (4, 12) if quick else (100, 20_000)
    works = {}
    with ExitStack() as opened:
        for size in sizes:
            folder = Path(opened.enter_context(tempfile.TemporaryDirectory(prefix="hay-bench-")))
            path, content = imports.season(folder, size)
            imports.program(path, content)
            season = opened.enter_context(closing(Database(f"sqlite:///{path}")))
            works[str(size)] = _reports(season, range(1, min(size, 20)))
        for work in works.values():
            work()
        found = in_turns(works, 1 if quick else 5)
    few, many = found.values()
    return [
        Figure("report", f"with {sizes[1]:,} analysed samples / with {sizes[0]}", many / few, "x", 1.3),
        Figure(
            "report", "to work it out, the feeding of five kinds of animals in it", 1000 * many / 19, "ms"
        ),
    ]


def _reports(season: Database, samples: Iterable[int]) -> Callable[[], None]:
    def work() -> None:
        for sample in samples:
            with season.read() as session:
                report_body(session, sample_with_lot(session, sample), SETTINGS)

    return work


# What the lead looks at of a whole season, on the office's pages and by programs.
LOOKED_AT: dict[str, Callable[[Session], object]] = {
    "the programme": lambda session: programme(session, 2026, session.info["now"]),
    "a list behind a figure": lambda session: behind(session, "turnaround", 2026, session.info["now"]),
    "the hay of the year": lambda session: hay_of_year(session, 2026),
    "hay of others for a season": lambda session: answered_page(session, "Someone"),
    "what is kept for how long": lambda session: kept(session, session.info["now"]),
}
# Two hundred times the lots may take so many times as long: medians are counted off along a narrow index.
MOST_OF_A_SEASON = 10


def lead(quick: bool) -> list[Figure]:
    """What the lead looks at, in a season with many answered lots and in one with few."""
    sizes = (4, 12) if quick else (100, 20_000)
    works = {}
    with ExitStack() as opened:
        for size in sizes:
            season, _ = opened.enter_context(season_with(size, make_answered))
            works |= {f"{name} {size}": _looked(season, question) for name, question in LOOKED_AT.items()}
        for work in works.values():
            work()
        found = in_turns(works, 2 if quick else 9)
    told = []
    for name in LOOKED_AT:
        few, many = (found[f"{name} {size}"] for size in sizes)
        told.append(Figure("lead", f"{name}, {sizes[1]:,} answered lots", 1000 * many, "ms"))
        what = f"{name}, {sizes[1]:,} / {sizes[0]} lots"
        told.append(Figure("lead", what, many / few, "x", MOST_OF_A_SEASON))
    return told


def _looked(season: Database, question: Callable[[Session], object]) -> Callable[[], None]:
    def work() -> None:
        with season.read() as session:
            session.info["now"] = at(60 * 24 * 300).astimezone(UTC)
            question(session)

    return work


def help_(quick: bool) -> list[Figure]:
    """`tracker --help` against an interpreter that does nothing; compiled beforehand, as what is installed is."""
    with tempfile.TemporaryDirectory(prefix="hay-bench-") as compiled:
        kept = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
        told = {**kept, "PYTHONPYCACHEPREFIX": compiled}

        def run(*words: str) -> Callable[[], object]:
            return lambda: subprocess.run(
                [sys.executable, *words], cwd=ROOT, env=told, stdout=subprocess.DEVNULL, check=True
            )

        works = {"help": run("-m", "tracker", "--help"), "bare": run("-c", "pass")}
        for work in works.values():
            work()
        times = in_turns(works, 3 if quick else 15, processor=False)
    return [Figure("help", "`tracker --help` / a bare interpreter", times["help"] / times["bare"], "x", 4)]
