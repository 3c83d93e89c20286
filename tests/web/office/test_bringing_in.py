"""The page that takes in lists."""

from __future__ import annotations

import io
import re

from tests.web.conftest import ClientAs
from tracker.lookups.lots import producers
from tracker.storage.engine import Database

LIST = b"name,place\nNils Vane,Lower Mill\n,Nowhere\n"


def looked_at(client_as: ClientAs) -> str:
    form = {"list": "producers", "file": (io.BytesIO(LIST), "list.csv")}
    return client_as("carl").post("/bring-in", data=form).get_data(True)


def hidden(page: str) -> dict[str, str]:
    return dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page))


def test_every_line_is_shown_before_anything_is_taken_in(season: Database, client_as: ClientAs) -> None:
    page = looked_at(client_as)
    assert "Take in 1, keep 1 as refused" in page and "name is empty." in page and "Fill it in." in page
    with season.read() as session:
        assert [one.name for one in producers(session)] == ["Oda Meadow"]


def test_what_was_shown_is_taken_in_and_said(season: Database, client_as: ClientAs) -> None:
    form = hidden(looked_at(client_as))
    answer = client_as("carl").post("/bring-in/take", data=form, follow_redirects=True)
    assert "1 taken in, 0 known before, 1 refused and kept." in answer.get_data(True)
    with season.read() as session:
        assert "Nils Vane" in [one.name for one in producers(session)]


def test_a_list_that_would_come_in_otherwise_by_now_is_not_taken(
    season: Database, client_as: ClientAs
) -> None:
    form = hidden(looked_at(client_as))
    answer = client_as("carl").post("/bring-in/take", data={**form, "shown": "2 0 0"})
    assert answer.status_code == 409 and "as it was shown" in answer.get_data(True)
    with season.read() as session:
        assert [one.name for one in producers(session)] == ["Oda Meadow"]
