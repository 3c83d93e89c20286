"""Alive, ready, and what it does: for watchers, and nothing that names anybody."""

from __future__ import annotations

import json
import logging
import sys

import pytest
from flask import Flask
from flask.testing import FlaskClient
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import text

from tests.makers import make_bag, make_received, refused
from tests.web.conftest import ClientAs
from tracker.steps.bag_cores import bag_cores
from tracker.storage.engine import Database
from tracker.web.shared.log import JsonFormatter


def figures(client: FlaskClient) -> dict[tuple[str, ...], float]:
    """What the page says, read by the collector's own parser."""
    page = client.get("/metrics").get_data(True)
    return {
        (one.name, *one.labels.values()): one.value
        for family in text_string_to_metric_families(page)
        for one in family.samples
    }


def test_alive_and_ready_are_told_to_anybody(client: FlaskClient) -> None:
    assert client.get("/health").get_data(True) == "ok\n"
    answer = client.get("/ready")
    assert (answer.status_code, answer.get_data(True)) == (200, "ready\n")


def test_a_season_of_another_version_is_not_ready_and_the_program_is_alive(
    season: Database, client: FlaskClient
) -> None:
    with season.engine.begin() as connection:
        connection.execute(text("update alembic_version set version_num = '0001'"))
    answer = client.get("/ready")
    assert (answer.status_code, answer.get_data(True)) == (503, "not ready\n")
    assert client.get("/health").status_code == 200


def test_the_season_and_the_answers_are_counted(season: Database, client: FlaskClient) -> None:
    with season.act("make", "tove", {}) as session:
        make_bag(session, field="One")
        make_received(session, field="Two")
        make_received(session, field="Three")
    refused(season, lambda session: bag_cores(session, make_bag(session), "nonsense", None))  # type: ignore[arg-type]
    for _ in range(3):
        client.get("/health")
    found = figures(client)
    assert found[("tracker_samples_waiting", "weighing in")] == 2
    assert found[("tracker_samples_waiting", "hand-over")] == 1
    assert found[("tracker_refusals",)] == 1
    assert found[("tracker_answers_total", "running.health", "200")] == 3
    assert found[("tracker_answer_seconds_count", "running.health")] == 3


@pytest.mark.parametrize("address", ["192.0.2.7", "2001:db8::7", "nonsense"])
def test_the_figures_are_for_this_computer_alone(client: FlaskClient, address: str) -> None:
    answer = client.get("/metrics", environ_base={"REMOTE_ADDR": address})
    assert answer.status_code == 403 and "this computer alone" in answer.get_data(True)


def test_no_address_and_nobody_stands_in_the_figures(app: Flask, client_as: ClientAs) -> None:
    client = client_as("carl")
    client.get("/T/H7K39QWX")
    page = client.get("/metrics").get_data(True)
    assert "H7K39QWX" not in page and "carl" not in page.lower()


def test_the_log_as_json_has_one_object_a_line_and_no_secret() -> None:
    formatter = JsonFormatter()
    record = logging.LogRecord(
        "tracker.access", logging.INFO, "", 0, "GET %s", ("/link/SECRET\nforged",), None
    )
    record.told = {"by": "carl", "status": 200}
    line = formatter.format(record)
    assert "\n" not in line and "SECRET" not in line
    found = json.loads(line)
    assert (found["level"], found["by"], found["status"]) == ("info", "carl", 200)
    assert found["at"].endswith("Z")


def test_a_fault_stands_in_its_line() -> None:
    try:
        raise ValueError("broken")
    except ValueError:
        record = logging.LogRecord("tracker", logging.ERROR, "", 0, "fault", (), sys.exc_info())
    found = json.loads(JsonFormatter().format(record))
    assert "ValueError: broken" in found["fault"]
