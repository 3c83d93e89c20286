"""Each role against each address for programs, and each scope. Whoever adds an entry adds its row here."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from tests.makers import at
from tests.web.api.conftest import Program, make_program
from tests.web.conftest import made_app, sign_in_as
from tracker.domain.client_scopes import SCOPES
from tracker.storage.engine import Database
from tracker.web.api.entry import ENTRIES, Entry

ROLES = {"technician": "tove", "clerk": "carl", "analyst": "ana", "lead": "lena"}
MATRIX = """
                    scope      technician    clerk      analyst       lead
add-balance         office         -           -           -          yes
add-party           office         -           -           -          yes
add-photo           intake         -          yes         yes         yes
add-producer        office         -          yes          -          yes
add-source          office         -           -           -          yes
all-analyses        read           -           -          yes         yes
amend               lab            -          yes         yes         yes
analyses            read           -           -          yes         yes
archive             lab            -          yes         yes         yes
balances            read           -          yes         yes         yes
bind                field         yes         yes         yes         yes
break-seal          intake         -          yes         yes         yes
bring-in-list       office         -          yes         yes         yes
bundle              read           -           -          yes         yes
bundles             read           -           -          yes         yes
cancel              field         yes         yes         yes         yes
cancel-hand-over    intake        yes         yes         yes         yes
charts              read           -           -          yes         yes
check-balance       intake         -          yes         yes         yes
check-bundle        read           -           -          yes         yes
choose-analysis     lab            -           -          yes         yes
close-load          intake         -          yes         yes         yes
contested-tags      read           -          yes         yes         yes
core                field         yes         yes         yes         yes
coring-card         read          yes         yes         yes         yes
count-in            office         -          yes         yes         yes
dispose             lab            -          yes         yes         yes
dry-matter          read          yes         yes         yes         yes
entries             read           -           -           -          yes
expected-bags       read           -          yes         yes         yes
export              read           -           -           -          yes
export-map          read           -           -           -          yes
export-season       read           -           -           -          yes
export-workbook     read           -           -           -          yes
exports             read           -           -           -          yes
feeding             read          yes         yes         yes         yes
feeds               read          yes         yes         yes         yes
field-sheet         office         -          yes         yes         yes
figure              read           -           -           -          yes
freeze-limits       lab            -           -          yes         yes
give-back           lab            -          yes         yes         yes
grind               lab            -          yes         yes         yes
groups              read          yes         yes         yes         yes
hand-over           intake        yes         yes         yes         yes
hand-over-box       intake        yes         yes         yes         yes
hay-of-year         read           -           -           -          yes
heads               read          yes         yes         yes         yes
hold                lab           yes         yes         yes         yes
import-feeds        office         -           -           -          yes
issue-tags          office         -          yes         yes         yes
keep-bundle         lab            -           -          yes         yes
keep-group          office        yes         yes         yes         yes
kept-bundle         read           -           -          yes         yes
lift-hold           lab            -          yes         yes         yes
load                read           -          yes         yes         yes
loads               read           -          yes         yes         yes
log-keys            read          yes         yes         yes         yes
lose-sack           intake         -          yes         yes         yes
lost                intake        yes         yes         yes         yes
lot                 read          yes         yes         yes         yes
lots                read          yes         yes         yes         yes
make-link           office         -          yes          -          yes
make-run            lab            -           -          yes         yes
oven-in             intake         -          yes         yes         yes
oven-out            intake         -          yes         yes         yes
oven-sheet          read           -          yes         yes         yes
parked              read           -           -          yes         yes
pause-stub          office         -          yes          -          yes
people              read          yes         yes         yes         yes
phones              read           -           -           -          yes
photo               read           -          yes         yes         yes
plan                read          yes         yes         yes         yes
plan-coring         field         yes         yes         yes         yes
plan-season         office         -           -           -          yes
preview-results     lab            -           -          yes         yes
print-tags          office         -          yes         yes         yes
producer            read           -          yes          -          yes
producers           read           -          yes         yes         yes
programme           read           -           -           -          yes
proof               read          yes         yes         yes         yes
read-line           intake         -          yes         yes         yes
receive             intake        yes         yes         yes         yes
receive-box         intake         -          yes         yes         yes
refusals            read           -           -           -          yes
refuse-hand-over    intake        yes         yes         yes         yes
register-lot        field         yes         yes         yes         yes
release             release        -           -          yes         yes
replace-tag         field         yes         yes         yes         yes
report              read          yes         yes         yes         yes
report-of           read          yes         yes         yes         yes
report-pdf          read          yes         yes         yes         yes
reprint-tag         office         -          yes          -          yes
result-files        read           -           -          yes         yes
results             read           -           -          yes         yes
resume-stub         office         -          yes          -          yes
retention           read           -           -           -          yes
rests               read           -           -           -          yes
revoke-stub         office         -          yes          -          yes
rolls               read           -          yes         yes         yes
run                 read           -           -          yes         yes
run-list            read           -           -          yes         yes
runs                read           -           -          yes         yes
sack-label          read           -          yes         yes         yes
samples             read          yes         yes         yes         yes
seal                field         yes         yes         yes         yes
search              read          yes         yes         yes         yes
season-plan         read           -           -           -          yes
season-plan-pdf     read           -           -           -          yes
season-plan-today   read           -           -           -          yes
season-plans        read           -           -           -          yes
set-aside-row       lab            -           -          yes         yes
set-aside-sack      intake         -          yes         yes         yes
set-equipment       office         -           -           -          yes
set-feed            office         -           -           -          yes
set-rule            office         -           -           -          yes
settings            read           -           -           -          yes
settle-tag          lab            -          yes         yes         yes
sign-head           office         -           -           -          yes
sources             read           -           -          yes         yes
stop-messages       office         -          yes          -          yes
store               intake        yes         yes         yes         yes
stub                read           -          yes          -          yes
tag                 read          yes         yes         yes         yes
take-back-link      office         -          yes          -          yes
take-in-results     lab            -           -          yes         yes
take-in-row         lab            -           -          yes         yes
take-off-group      office        yes         yes         yes         yes
take-out            intake        yes         yes         yes         yes
tare-batch          intake         -          yes         yes         yes
test-page           read           -          yes         yes         yes
try-list            office         -          yes         yes         yes
try-season          read           -           -           -          yes
undo                intake        yes         yes         yes         yes
void-run            office         -          yes         yes         yes
void-tag            field         yes         yes         yes         yes
waiting             read          yes         yes         yes         yes
want-messages       office         -          yes          -          yes
way                 read          yes         yes         yes         yes
weigh               intake         -          yes         yes         yes
"""
ROWS = {row.split()[0]: row.split()[1:] for row in MATRIX.strip().splitlines()[1:]}


@pytest.fixture(scope="module")
def doors(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    path = shutil.copy(season_template, tmp_path_factory.mktemp("programs") / "season.db")
    season = Database(f"sqlite:///{path}", clock=lambda: at(0))
    yield made_app(season)
    season.close()


@pytest.fixture(scope="module")
def programs(doors: Flask) -> dict[tuple[str, ...], Program]:
    """A program with every scope for each role, and one of the lead's for each scope alone."""
    found = {(role,): make_program(doors, key) for role, key in ROLES.items()}
    return found | {("lead", scope): make_program(doors, "lena", (scope,)) for scope in SCOPES}


def ask(program: Program, entry: Entry) -> TestResponse:
    """Ask for the address with 1 in each of its places; an act comes without a key, and so does nothing."""
    path = entry.path
    while "<" in path:
        path = path[: path.index("<")] + "1" + path[path.index(">") + 1 :]
    if entry.acts:
        return program.http.post(f"/api/v1{path}", json={"nothing": 1}, headers=program.headers)
    return program.get(path, nothing=1)


def test_the_matrix_has_a_row_for_every_entry_and_no_other() -> None:
    assert set(ROWS) == {entry.name for entry in ENTRIES}
    assert {entry.name: entry.scope for entry in ENTRIES} == {name: row[0] for name, row in ROWS.items()}


@pytest.mark.parametrize("entry", ENTRIES, ids=[entry.name for entry in ENTRIES])
def test_an_address_lets_in_the_scope_and_the_roles_it_is_for_and_no_others(
    entry: Entry, programs: dict[tuple[str, ...], Program]
) -> None:
    found = []
    for role in ROLES:
        answer = ask(programs[(role,)], entry)
        assert answer.status_code in (400, 403, 422)
        assert answer.status_code != 403 or answer.json["code"] == "not-allowed"
        found.append("-" if answer.status_code == 403 else "yes")
    assert found == ROWS[entry.name][1:]
    opened = []
    for scope in SCOPES:
        answer = ask(programs[("lead", scope)], entry)
        opened += [scope] if answer.status_code != 403 else []
    assert opened == [entry.scope]


@pytest.mark.parametrize("entry", ENTRIES, ids=[entry.name for entry in ENTRIES])
def test_no_address_opens_by_a_cookie(entry: Entry, doors: Flask) -> None:
    lead = Program(sign_in_as(doors, "lena"), "", "")
    path = entry.path.replace("<int:", "<")
    while "<" in path:
        path = path[: path.index("<")] + "1" + path[path.index(">") + 1 :]
    answer = lead.http.open(f"/api/v1{path}", method=entry.method)
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")
    assert answer.mimetype == "application/problem+json"
