"""What is made once for every request is the same for every request, and nothing of one stands in another's."""

from __future__ import annotations

import pytest
from flask import url_for

from tracker.web.shared.doors import Doors


@pytest.mark.parametrize("order", [("", "/hay"), ("/hay", "")])
def test_an_address_that_is_kept_is_kept_for_the_place_that_the_program_is_served_at(
    app: Doors, order: tuple[str, str]
) -> None:
    for _ in range(2):
        for root in order:
            with app.test_request_context("/", base_url=f"https://hay.example.edu{root}"):
                assert url_for("office.sign_in_page") == f"{root}/sign-in"
                assert url_for("static", filename="house.css") == f"{root}/static/house.css"
                assert url_for("static", filename="mark.svg") == f"{root}/static/mark.svg"
                assert app.addresses()["office.sign_in_page"] == url_for("office.sign_in_page")
                assert app.addresses()["static/house.css"] == url_for("static", filename="house.css")
                assert url_for("scan.way", text="7K2M9QXQ") == f"{root}/way/7K2M9QXQ"


def test_whatever_a_browser_kept_is_signed_as_before_and_what_it_did_not_is_not_set(app: Doors) -> None:
    client = app.test_client()
    answer = client.get("/sign-in")
    assert answer.status_code == 200 and "Cookie" in answer.headers["Vary"]
    nothing = app.test_client().get("/health")
    assert "Set-Cookie" not in nothing.headers and "Vary" not in nothing.headers
    # Somebody who is sent to the sign-in is led back by what his browser keeps, and a changed cookie keeps nothing.
    assert "Set-Cookie" in client.get("/find?text=7K2M9QXQ").headers
    with client.session_transaction() as kept:
        assert kept["then"] == "/find?text=7K2M9QXQ"
    cookie = client.get_cookie("__Host-form") or client.get_cookie("form")
    assert cookie is not None
    client.set_cookie(cookie.key, cookie.value[:-2] + "xx", secure=cookie.secure)
    with client.session_transaction() as kept:
        assert "then" not in kept
