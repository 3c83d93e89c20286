"""The lead's page of programs: let one in, see its token once, and end it."""

from __future__ import annotations

import re

from tests.web.conftest import ClientAs


def test_a_token_is_shown_once_opens_the_door_and_ends_with_a_reason(client_as: ClientAs) -> None:
    lead, stranger = client_as("lena"), client_as("tove")
    told = lead.post("/programs", data={"name": "Balance", "party": "carl", "scope": ["read", "intake"]})
    (token,) = re.findall(r'<p class="code small">([\w-]{43})</p>', told.text)
    assert stranger.get("/api/v1/lots", headers={"Authorization": f"Bearer {token}"}).status_code == 200
    page = lead.get("/programs").text
    assert token not in page and "Balance" in page and "read, intake" in page
    lead.post("/programs/revoke", data={"name": "Balance", "reason": "sold"})
    assert stranger.get("/api/v1/lots", headers={"Authorization": f"Bearer {token}"}).status_code == 401
    assert ": sold" in lead.get("/programs").text


def test_a_program_without_a_scope_is_refused_in_words(client_as: ClientAs) -> None:
    answer = client_as("lena").post("/programs", data={"name": "Balance", "party": "carl"})
    assert answer.status_code == 422 and "what the program may do" in answer.text
