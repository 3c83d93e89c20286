"""Each role against each address. Whoever adds a view adds its row here, and says on purpose whom it is for."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import Rule
from werkzeug.test import TestResponse

from tests.makers import at
from tests.web.conftest import made_app, sign_in_as
from tracker.steps.sign_in import set_active
from tracker.storage.engine import Database

ROLES = ("nobody", "technician", "clerk", "analyst", "lead")
PEOPLE = {"technician": "tove", "clerk": "carl", "analyst": "ana", "lead": "lena"}
MATRIX = """
                            nobody  technician  clerk  analyst  lead
field.entries                 -        yes       yes     yes     yes
field.load                    -         -        yes      -      yes
field.loaded                  -         -        yes      -      yes
field.manifest               yes       yes       yes     yes     yes
field.pack                    -        yes       yes     yes     yes
field.page                   yes       yes       yes     yes     yes
field.signed_in               -        yes       yes     yes     yes
field.worker                 yes       yes       yes     yes     yes
custody.check                yes       yes       yes     yes     yes
custody.keys                 yes       yes       yes     yes     yes
custody.program              yes       yes       yes     yes     yes
intake.balance_added          -         -         -       -      yes
intake.balance_checked        -         -        yes     yes     yes
intake.balance_chosen         -         -        yes     yes     yes
intake.balances               -         -        yes     yes     yes
intake.box_received           -         -        yes     yes     yes
intake.dry_weighed            -         -        yes     yes     yes
intake.line                   -         -        yes     yes     yes
intake.load                   -         -        yes     yes     yes
intake.load_closed            -         -        yes     yes     yes
intake.load_dry               -         -        yes     yes     yes
intake.load_made              -         -        yes     yes     yes
intake.load_out               -         -        yes     yes     yes
intake.load_settled           -         -        yes     yes     yes
intake.load_sheet             -         -        yes     yes     yes
intake.new_load               -         -        yes     yes     yes
intake.one_received           -         -        yes     yes     yes
intake.oven                   -         -        yes     yes     yes
intake.photo                  -         -        yes     yes     yes
intake.receive_box            -         -        yes     yes     yes
intake.receive_one            -         -        yes     yes     yes
intake.take_back              -        yes       yes     yes     yes
intake.tare_batch_weighed     -         -        yes     yes     yes
intake.tare_of_batch          -         -        yes     yes     yes
intake.weigh                  -         -        yes     yes     yes
intake.weigh_one              -         -        yes     yes     yes
intake.weighed                -         -        yes     yes     yes
lab.amended                   -         -        yes     yes     yes
lab.analyses                  -         -         -      yes     yes
lab.analysis_chosen           -         -         -      yes     yes
lab.bundle                    -         -         -      yes     yes
lab.charts                    -         -         -      yes     yes
lab.file_taken                -         -         -      yes     yes
lab.file_tried                -         -         -      yes     yes
lab.files                     -         -         -      yes     yes
lab.ground                    -         -        yes     yes     yes
lab.held                      -         -        yes     yes     yes
lab.hold_lifted               -         -        yes     yes     yes
lab.limits_frozen             -         -         -      yes     yes
lab.mill                      -         -        yes     yes     yes
lab.mill_one                  -         -        yes     yes     yes
lab.parked_aside              -         -         -      yes     yes
lab.parked_one                -         -         -      yes     yes
lab.parked_taken              -         -         -      yes     yes
lab.release                   -         -         -      yes     yes
lab.released                  -         -         -      yes     yes
lab.report                    -        yes       yes     yes     yes
lab.run                       -         -         -      yes     yes
lab.run_file                  -         -         -      yes     yes
lab.run_made                  -         -         -      yes     yes
lab.runs                      -         -         -      yes     yes
office.all_settings           -         -         -       -      yes
office.equipment_set          -         -         -       -      yes
office.one_setting            -         -         -       -      yes
office.rule_set               -         -         -       -      yes
office.active                 -         -         -       -      yes
office.exports                -         -         -       -      yes
office.fields_map             -         -         -       -      yes
office.found                  -        yes       yes     yes     yes
office.contested              -         -        yes     yes     yes
office.client_made            -         -         -       -      yes
office.client_revoked         -         -         -       -      yes
office.clients_page           -         -         -       -      yes
office.comings_page           -         -         -       -      yes
office.first_page             -        yes       yes     yes     yes
office.invited                -         -         -       -      yes
office.link_ended             -         -        yes      -      yes
office.link_for_adviser       -         -        yes      -      yes
office.link_page             yes       yes       yes     yes     yes
office.link_used             yes       yes       yes     yes     yes
office.messages_chosen        -         -        yes      -      yes
office.list_taken             -         -        yes     yes     yes
office.list_tried             -         -        yes     yes     yes
office.lists                  -         -        yes     yes     yes
office.people                 -         -         -       -      yes
office.people_added           -         -         -       -      yes
office.figure                 -         -         -       -      yes
office.programme              -         -         -       -      yes
office.producer               -         -        yes      -      yes
office.producers              -         -        yes      -      yes
office.reset                  -         -         -       -      yes
office.season_archive         -         -         -       -      yes
office.phones_page            -         -         -       -      yes
office.programme              -         -         -       -      yes
office.reset                  -         -         -       -      yes
office.rolls_page             -         -        yes     yes     yes
office.run_voided             -         -        yes     yes     yes
office.season_archive         -         -         -       -      yes
office.settled                -         -        yes     yes     yes
office.sheet_printed          -         -        yes     yes     yes
office.second_factor          -        yes       yes     yes     yes
office.second_factor_begun    -        yes       yes     yes     yes
office.second_factor_confirmed  -      yes       yes     yes     yes
office.second_factor_gone     -         -         -       -      yes
office.sign_in_now           yes       yes       yes     yes     yes
office.sign_in_page          yes       yes       yes     yes     yes
office.sign_out_now           -        yes       yes     yes     yes
office.table_csv              -         -         -       -      yes
office.table_xlsx             -         -         -       -      yes
office.tags                   -         -        yes     yes     yes
office.tags_counted_in        -         -        yes     yes     yes
office.tags_issued            -         -        yes     yes     yes
office.tags_printed           -         -        yes     yes     yes
office.test_page              -         -        yes     yes     yes
office.season                 -         -         -       -      yes
office.season_kept            -         -         -       -      yes
office.season_more            -         -         -       -      yes
office.season_planned         -         -         -       -      yes
office.season_today           -         -         -       -      yes
office.year                   -         -         -       -      yes
office.stub_changed           -         -        yes      -      yes
office.tags                   -         -        yes     yes     yes
office.tags_printed           -         -        yes     yes     yes
office.test_page              -         -        yes     yes     yes
producer.as_producer          -        yes       yes     yes     yes
producer.animals             yes       yes       yes     yes     yes
producer.link_made           yes       yes       yes     yes     yes
producer.link_taken_back     yes       yes       yes     yes     yes
producer.links               yes       yes       yes     yes     yes
producer.messages            yes       yes       yes     yes     yes
producer.messages_stopped    yes       yes       yes     yes     yes
producer.numbers             yes       yes       yes     yes     yes
producer.page                yes       yes       yes     yes     yes
producer.sheet               yes       yes       yes     yes     yes
producer.whole_report        yes       yes       yes     yes     yes
running.health               yes       yes       yes     yes     yes
running.metrics              yes       yes       yes     yes     yes
running.ready                yes       yes       yes     yes     yes
scan.find                     -        yes       yes     yes     yes
scan.opened                  yes       yes       yes     yes     yes
scan.way                      -        yes       yes     yes     yes
static                       yes       yes       yes     yes     yes
"""
ROWS = {row.split()[0]: tuple(row.split()[1:]) for row in MATRIX.strip().splitlines()[1:]}


@pytest.fixture(scope="module")
def doors(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    path = shutil.copy(season_template, tmp_path_factory.mktemp("matrix") / "season.db")
    season = Database(f"sqlite:///{path}", clock=lambda: at(0))
    yield made_app(season)
    season.close()


@pytest.fixture(scope="module")
def clients(doors: Flask) -> dict[str, FlaskClient]:
    signed_in = {role: sign_in_as(doors, key) for role, key in PEOPLE.items()}
    return {"nobody": doors.test_client(), **signed_in}


def rules(app: Flask, endpoint: str) -> list[Rule]:
    return [rule for rule in app.url_map.iter_rules() if rule.endpoint == endpoint]


def ask(client: FlaskClient, rule: Rule) -> TestResponse:
    """Ask for the address with something in each of its places, and with an empty form."""
    values = {name: 1 if name == "number" and "int:" in rule.rule else "house.css" for name in rule.arguments}
    address = rule.build(values, append_unknown=False)
    assert address is not None
    method = "POST" if "POST" in (rule.methods or ()) else "GET"
    return client.open(address[1], method=method, buffered=True)


def turned_away(answer: TestResponse, role: str) -> bool:
    """Whether the guard stood in the way: to signing in, or with a refusal."""
    if role == "nobody" and answer.request.method == "GET" and answer.mimetype != "application/problem+json":
        return answer.status_code == 303 and answer.headers["Location"] == "/sign-in"
    return answer.status_code == (401 if role == "nobody" else 403)


def test_the_matrix_has_a_row_for_every_address_and_no_other(doors: Flask) -> None:
    # The addresses for programs have a matrix of their own: tests/web/api/test_matrix.py.
    pages = {endpoint for endpoint in doors.view_functions if not endpoint.startswith("api.")}
    assert set(ROWS) == pages, "say whom the new view is for, here and with @for_roles"
    assert all(len(row) == len(ROLES) for row in ROWS.values())


@pytest.mark.parametrize("endpoint", sorted(ROWS))
def test_an_address_lets_in_whom_it_is_for_and_nobody_else(
    endpoint: str, doors: Flask, clients: dict[str, FlaskClient]
) -> None:
    found = {}
    for role in ROLES:
        client = clients[role]
        if endpoint == "office.sign_out_now" and role != "nobody":
            # It would end the sign-in of those who come after.
            client = sign_in_as(doors, PEOPLE[role])
        answers = [turned_away(ask(client, rule), role) for rule in rules(doors, endpoint)]
        assert answers and len(set(answers)) == 1
        found[role] = "-" if answers[0] else "yes"
    assert found == dict(zip(ROLES, ROWS[endpoint], strict=True))


@pytest.mark.parametrize("role", ROLES)
def test_a_view_that_does_not_say_whom_it_is_for_is_for_nobody(season: Database, role: str) -> None:
    app = made_app(season)
    app.add_url_rule("/forgotten", "forgotten", lambda: "seen")
    client = sign_in_as(app, PEOPLE[role]) if role in PEOPLE else app.test_client()
    answer = client.get("/forgotten")
    assert turned_away(answer, role) and "seen" not in answer.text


@pytest.mark.parametrize("method", ["HEAD", "OPTIONS", "PUT", "DELETE", "PATCH"])
def test_no_other_method_goes_round_the_guard(
    method: str, doors: Flask, clients: dict[str, FlaskClient]
) -> None:
    assert clients["nobody"].open("/people", method=method).status_code in (401, 405)
    assert clients["clerk"].open("/people", method=method).status_code in (403, 405)


def test_a_role_is_looked_up_anew_for_every_page(season: Database) -> None:
    app = made_app(season)
    client = sign_in_as(app, "carl")
    assert client.get("/").status_code == 200
    with season.act("shut out", "lena", {}) as session:
        set_active(session, "carl", False, season.clock())
    assert client.get("/").headers["Location"] == "/sign-in"
