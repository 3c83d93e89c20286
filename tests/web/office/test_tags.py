"""Printing tags from a page: said step by step, the paper given once, and nothing kept that was not drawn."""

from __future__ import annotations

import re
from base64 import b64decode
from collections import Counter

import pypdfium2
import pytest
import zxingcpp
from flask.testing import FlaskClient
from sqlalchemy import func, select

from labels.payload import prefix
from tests.makers import made, make_plan
from tests.web.conftest import BASE, ClientAs
from tracker.storage.engine import Database
from tracker.storage.tags import PrintRun, Tag

FORM = {"roll": "3", "stock": "a4-2x4", "start": "1", "skip": "", "offset_x": "0", "offset_y": "0"}


@pytest.fixture
def clerk(client_as: ClientAs) -> FlaskClient:
    return client_as("carl")


def counts(season: Database) -> tuple[int, int]:
    with season.read() as session:
        runs, tags = (session.scalar(select(func.count()).select_from(row)) for row in (PrintRun, Tag))
    return runs or 0, tags or 0


def decoded(page: str) -> list[str]:
    (paper,) = re.findall(r"data:application/pdf;base64,([A-Za-z0-9+/=]+)", page)
    document = pypdfium2.PdfDocument(b64decode(paper))
    images = [sheet.render(scale=203 / 72, grayscale=True).to_numpy() for sheet in document]
    return [found.text for image in images for found in zxingcpp.read_barcodes(image)]


def test_a_roll_is_drawn_step_by_step_and_every_tag_of_it_is_known(
    clerk: FlaskClient, season: Database
) -> None:
    page = clerk.post("/tags", data=FORM).get_data(as_text=True)
    assert "3 of 3 tags" in page
    with season.read() as session:
        codes = session.scalars(select(Tag.code)).all()
    read = Counter(decoded(page))
    assert len(codes) == 3
    assert all(read[f"{prefix(BASE)}{code}"] == 2 for code in codes)
    # Each bag's part twice, each stub once.
    assert sum(read.values()) == 9


def test_tags_are_printed_for_lots_that_wait(clerk: FlaskClient, season: Database) -> None:
    made(season, make_plan)
    assert "Oda Meadow" in clerk.get("/tags").get_data(as_text=True)
    clerk.post("/tags", data={**FORM, "roll": "", "lot": "1"}).get_data()
    with season.read() as session:
        assert session.scalars(select(Tag.lot_id)).all() == [1]


@pytest.mark.parametrize(
    ("spoiled", "code"),
    [
        ({"stock": "a4-99x99"}, "stock-unknown"),
        ({"start": "9"}, "start-cell"),
        ({"roll": "0"}, "nothing-to-print"),
        ({"roll": "2001"}, "roll-too-long"),
        ({"roll": "three"}, "not-a-count"),
        ({"offset_x": "1e3"}, "not-a-number"),
    ],
)
def test_what_cannot_be_drawn_leaves_no_run_and_no_tag(
    clerk: FlaskClient, season: Database, spoiled: dict[str, str], code: str
) -> None:
    assert code in clerk.post("/tags", data={**FORM, **spoiled}).get_data(as_text=True)
    assert counts(season) == (0, 0)


def test_a_page_closed_before_the_paper_is_there_leaves_no_tag(clerk: FlaskClient, season: Database) -> None:
    answer = clerk.post("/tags", data={**FORM, "roll": "60"}, buffered=False)
    parts = iter(answer.response)
    next(parts)
    answer.close()
    assert counts(season) == (0, 0)


def test_the_test_page_is_a_pdf(clerk: FlaskClient) -> None:
    answer = clerk.get("/tags/test-page.pdf")
    assert answer.mimetype == "application/pdf" and answer.data.startswith(b"%PDF")
