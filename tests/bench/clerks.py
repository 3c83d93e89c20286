"""Many clerks at the weighing page of a real server at once, and every confirmed answer held against the season.

python -m tests.bench.clerks --clerks 32 --seconds 600 [--on postgresql --servers 2]

With several servers a clerk asks one and then the other: the form that one drew goes to its neighbour.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import ExitStack
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import cycle
from pathlib import Path
from statistics import quantiles
from urllib.parse import urlencode

from sqlalchemy import select

from tests.bench.grow import grow
from tests.conftest import build_season
from tests.databases import begin_cluster
from tests.makers import SEAL, at, make_received
from tracker.domain.custody import Act
from tracker.lookups.log_check import check_log
from tracker.settings import VARIABLES
from tracker.steps.add_balance import add_balance
from tracker.steps.add_people import add_party
from tracker.steps.check_balance import check_balance
from tracker.steps.sign_in import begin, make_account
from tracker.storage.access import Account
from tracker.storage.engine import Database
from tracker.storage.intake import Weighing
from tracker.storage.people import party
from tracker.storage.tags import Tag
from tracker.web.shared.guard import COOKIE

Address = tuple[str, int]
ROOT = Path(__file__).parents[2]
BALANCE = "B1"
TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')
SEEN = re.compile(r'name="seen" value="([^"]*)"')


@dataclass
class Clerks:
    """confirmed: weights whose answer was that they are kept; wrong: those of them that are not there as told."""

    clerks: int
    seconds: float
    servers: int = 1
    confirmed: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    broken: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    unasked: int = 0
    faults: tuple[str, ...] = ()
    a_second: float = 0.0
    middle_ms: float = 0.0
    ninety_nine_ms: float = 0.0
    longest_ms: float = 0.0

    @property
    def clean(self) -> bool:
        return self.confirmed > 0 and not (self.broken or self.wrong or self.unasked or self.faults)


class Clerk(threading.Thread):
    """One clerk with samples of her own: the empty sack, then the fresh weight, then the next sample."""

    def __init__(self, servers: list[Address], token: str, codes: list[str], end: float, seed: int) -> None:
        super().__init__()
        self.lines = [http.client.HTTPConnection(*server, timeout=60) for server in servers]
        self.turn = cycle(self.lines)
        self.cookies = {COOKIE: token}
        self.codes = codes
        self.end_at = end
        self.rng = random.Random(seed)
        self.told: list[tuple[str, str, str]] = []
        self.took: list[float] = []
        self.refused: Counter[str] = Counter()
        self.broken: list[str] = []

    def run(self) -> None:
        try:
            self.work()
        finally:
            for line in self.lines:
                line.close()

    def work(self) -> None:
        for code in self.codes:
            tare = self.rng.uniform(15, 25)
            fresh = tare + self.rng.uniform(200, 300)
            for what, grams in (("break seal", ""), ("tare", f"{tare:.1f}"), ("fresh", f"{fresh:.1f}")):
                if time.monotonic() > self.end_at:
                    return
                try:
                    self.weigh(code, what, grams)
                except Exception as fault:
                    self.broken.append(f"{code} {what}: {fault!r}")
                    return

    def weigh(self, code: str, what: str, grams: str) -> None:
        path = f"/desk/weigh/{code}"
        status, page = self.ask("GET", path)
        if status != 200:
            raise RuntimeError(f"{status} {page[:200]}")
        form = {"csrf_token": TOKEN.findall(page)[0], "seen": SEEN.findall(page)[0], "what": what}
        begun = time.perf_counter()
        given = {"grams": grams, "again": grams, "balance": BALANCE} if grams else {"seal_read": SEAL}
        status, page = self.ask("POST", path, urlencode({**form, **given}))
        self.took.append(time.perf_counter() - begun)
        if status == 303:
            self.told += [(code, what, grams)] if grams else []
        elif status in (409, 422, 503):
            words = re.search(r'role="alert">(.*?)</p>', page, re.DOTALL)
            self.refused[f"{status} {words[1][:90] if words else ''}"] += 1
        else:
            raise RuntimeError(f"{status} {page[:300]}")

    def ask(self, how: str, path: str, body: str | None = None) -> tuple[int, str]:
        head = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        if body is not None:
            head["Content-Type"] = "application/x-www-form-urlencoded"
        line = next(self.turn)
        line.request(how, path, body, head)
        answer = line.getresponse()
        for name, value in answer.getheaders():
            if name == "Set-Cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.split(";")[0]
        return answer.status, answer.read().decode()


def prepared(address: str, clerks: int, each: int) -> tuple[list[str], list[list[str]]]:
    """Clerks who are signed in, and the codes of each one's samples."""
    build_season(address)
    season = Database(address, clock=lambda: at(300))
    codes = grow(season, make_received, clerks * each - 1)
    season.close()
    season = Database(address)
    with season.act("balance", "lena", {}) as session:
        now = season.clock()
        lead = Act(party(session, "lena"), now, now)
        add_balance(session, BALANCE, lead, route="typed", profile="any", check_weight="200", limit="0.1")
        check_balance(session, BALANCE, Decimal("0.0"), Decimal("200.0"), lead)
    tokens = []
    for number in range(clerks):
        with season.act("clerk", "", {}) as session:
            key = f"clerk-{number}"
            now = season.clock()
            add_party(
                session, key=key, name=f"Clerk {number}", kind="person", role="clerk", secure=False, now=now
            )
            make_account(session, key, key, now)
            account = session.scalars(select(Account).where(Account.party_key == key)).one()
            tokens.append(begin(session, account, now))
    season.close()
    return tokens, [codes[n * each : (n + 1) * each] for n in range(clerks)]


def served(folder: Path, address: str, threads: int = 8) -> tuple[subprocess.Popen[str], Address]:
    """A real server on this computer's own network; several in one folder share their key."""
    clean = {name: value for name, value in os.environ.items() if name not in VARIABLES.values()}
    words = [
        sys.executable,
        "-m",
        "tracker",
        "serve",
        "--host",
        "127.0.0.1",
        "--port",
        "0",
        "--threads",
        str(threads),
    ]
    told = {**clean, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", "TRACKER_DATABASE": address}
    told["TRACKER_SECRET_FILE"] = str(folder / "secret.key")
    with (folder / "log").open("a") as log:
        server = subprocess.Popen(words, cwd=folder, env=told, stdout=subprocess.PIPE, stderr=log, text=True)
    assert server.stdout is not None
    line = server.stdout.readline()
    port = re.search(r":(\d+)\s*$", line)
    assert port, (line, (folder / "log").read_text())
    return server, ("127.0.0.1", int(port[1]))


def run(address: str, folder: Path, clerks: int, seconds: float, each: int, servers: int = 1) -> Clerks:
    """Let them work, and compare every confirmed answer with the season."""
    tokens, codes = prepared(address, clerks, each)
    with ExitStack() as ends:
        doors = [_door(folder, address, ends) for _ in range(servers)]
        end = time.monotonic() + seconds
        people = [Clerk(doors, tokens[n], codes[n], end, n) for n in range(clerks)]
        begun = time.monotonic()
        for one in people:
            one.start()
        for one in people:
            one.join()
        found = Clerks(clerks, round(time.monotonic() - begun, 1), servers)
    _compare(address, people, found)
    return found


def _door(folder: Path, address: str, ends: ExitStack) -> Address:
    server, where = served(folder, address, threads=16)
    ends.callback(server.communicate, timeout=30)
    ends.callback(server.terminate)
    return where


def _compare(address: str, people: list[Clerk], found: Clerks) -> None:
    season = Database(address)
    with season.read() as session:
        rows = session.execute(
            select(Tag.code, Weighing.what, Weighing.grams).join(
                Weighing, Weighing.sample_id == Tag.sample_id
            )
        )
        kept = Counter((code, what, str(grams)) for code, what, grams in rows)
        found.faults = check_log(session).faults
    season.close()
    told = Counter(one for clerk in people for one in clerk.told)
    found.wrong = [
        f"{one} told {times}, kept {kept[one]}" for one, times in told.items() if kept[one] != times
    ]
    found.unasked = sum((kept - told).values())
    found.confirmed = sum(told.values())
    for clerk in people:
        found.refused += clerk.refused
        found.broken += clerk.broken
    took = sorted(1000 * seconds for clerk in people for seconds in clerk.took)
    if len(took) > 1:
        cuts = quantiles(took, n=100)
        found.middle_ms, found.ninety_nine_ms, found.longest_ms = (
            round(v, 1) for v in (cuts[49], cuts[98], took[-1])
        )
    found.a_second = round(found.confirmed / found.seconds, 1)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--clerks", type=int, default=32)
    asked.add_argument("--seconds", type=float, default=600)
    asked.add_argument("--each", type=int, default=1500, help="samples of each clerk")
    asked.add_argument("--on", choices=("sqlite", "postgresql"), default="sqlite")
    asked.add_argument("--servers", type=int, default=1)
    told = asked.parse_args()
    with ExitStack() as ends:
        folder = Path(ends.enter_context(tempfile.TemporaryDirectory(prefix="hay-clerks-")))
        address = f"sqlite:///{folder / 'season.db'}"
        if told.on == "postgresql":
            cluster = begin_cluster(durable=True)
            ends.callback(cluster.end)
            address = cluster.empty(folder)
        found = run(address, folder, told.clerks, told.seconds, told.each, told.servers)
    print(json.dumps({**vars(found), "clean": found.clean}, indent=1))


if __name__ == "__main__":
    main()
