"""The oven: loads in, out, weighed dry in order, one in ten again, and closed without a gap."""

from __future__ import annotations

import pytest

from labels import payload
from tests.makers import act, done, kinds, life, made, make_signed_away, make_weighed
from tests.papers.reading import texts
from tests.web.intake.conftest import Desk
from tracker.domain.reweighing import reweighed
from tracker.lookups.oven_bench import bench_load, open_loads
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.hold import hold
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.web.intake import oven

SACKS = 3


def ready(season: Database, count: int = SACKS) -> list[Sample]:
    return [
        made(season, make_weighed, tare=f"18.{n}0", fresh=f"268.{n}0", field=f"Field {n}")
        for n in range(1, count + 1)
    ]


def out(season: Database, desk: Desk, name: str = "L-1", count: int = SACKS) -> list[Sample]:
    """A load of so many sacks, in at 260 and out at 1220; the desk's clock stands at 1230."""
    samples = ready(season, count)
    done(
        season,
        lambda session: load_oven(
            session, name, samples, act(session, "carl", 260), oven="Oven 1", set_celsius="55"
        ),
    )
    done(season, lambda session: empty_oven(session, name, act(session, "ana", 1220)))
    desk.clock(1230)
    return samples


def weigh_dry(desk: Desk, sample: Sample, grams: str, what: str = "dry", **more: str) -> str:
    form = {
        "code": desk.code(sample),
        "what": what,
        "grams": grams,
        "balance": "B1",
        "seen": desk.seen(sample),
    }
    return desk.post("/oven/L-1/dry", **{**form, **more})


def scanned(desk: Desk, sample: Sample) -> str:
    desk.post("/desk/balance", balance="B1")
    answer = desk.client.get("/oven/L-1/dry", query_string={"scan": desk.scan(sample)})
    assert answer.status_code == 200
    return answer.text


def new_form(desk: Desk, samples: list[Sample], **changes: object) -> dict[str, object]:
    form = {
        "name": "L-1",
        "oven": "Oven 1",
        "set_celsius": "55",
        "code": [desk.code(sample) for sample in samples],
        "seen": [desk.seen(sample) for sample in samples],
    }
    return {**form, **changes}


def test_the_oven_page_shows_what_waits(season: Database, desk: Desk) -> None:
    samples = ready(season)
    page = desk.get("/oven")
    assert all(desk.code(sample)[:4] in page for sample in samples)
    assert "No load is open" in page


def test_scans_make_a_load_in_their_order(season: Database, desk: Desk) -> None:
    first, second, third = ready(season)
    page = desk.get("/oven/new", code=[desk.code(third), desk.code(first)], scan=desk.scan(second))
    places = [page.index(desk.code(sample)[:4]) for sample in (third, first, second)]
    assert places == sorted(places) and "Put these 3 in the oven" in page
    assert "in the list already" in desk.get("/oven/new", code=[desk.code(first)], scan=desk.scan(first))


def test_a_sack_that_may_not_go_in_is_said_before_it_does(season: Database, desk: Desk) -> None:
    unready = made(season, make_signed_away)
    held = made(season, make_weighed, field="Far field")
    done(season, lambda session: hold(session, held, act(session, "lena", 270), reason="Which field?"))
    page = desk.get("/oven/new", code=[desk.code(unready), desk.code(held)])
    assert "it waits for receive" in page and "on hold: Which field?" in page


def test_a_load_goes_in_and_shows_where_each_sack_stands(season: Database, desk: Desk) -> None:
    samples = ready(season)
    told = desk.post("/oven/new", **new_form(desk, samples))
    assert "In the oven: load L-1, 3 sacks" in told and "Carl Otis" in told
    assert all(desk.standing(sample).state == "in oven" for sample in samples)


SPOILED = (
    ("name", "", "load-name"),
    ("name", "new", "load-name"),
    ("name", "a/b", "load-name"),
    ("set_celsius", "hot", "not-a-number"),
    ("set_celsius", "200", "not-an-oven-setting"),
    ("code", [], "load-empty"),
    ("seen", ["1", "1", "1"], "moved-on"),
)


@pytest.mark.parametrize(("field", "value", "code"), SPOILED)
def test_a_spoiled_load_is_refused_and_no_sack_is_in(
    season: Database, desk: Desk, field: str, value: object, code: str
) -> None:
    samples = ready(season)
    assert desk.refused("/oven/new", **new_form(desk, samples, **{field: value})) == code
    assert all(desk.standing(sample).state == "weighed" for sample in samples)


def test_a_load_comes_out_and_a_short_time_is_said(season: Database, desk: Desk) -> None:
    samples = ready(season)
    desk.post("/oven/new", **new_form(desk, samples))
    desk.clock(300 + 5 * 60)
    told = desk.post("/oven/L-1/out")
    assert "Load L-1 is out" in told and "Only 5.0 h" in told
    assert desk.refused("/oven/L-1/out") == "load-out"


def test_the_sheet_is_printed(season: Database, desk: Desk) -> None:
    samples = out(season, desk)
    answer = desk.client.get("/oven/L-1/sheet.pdf")
    assert answer.mimetype == "application/pdf"
    assert desk.code(samples[0])[:4] in " ".join(texts(answer.data))


def test_the_next_sack_is_named_and_a_scan_opens_its_box(season: Database, desk: Desk) -> None:
    first, *_ = out(season, desk)
    assert f"Next: place 1. Scan it. {desk.code(first)[:4]}" in desk.get("/oven/L-1/dry")
    page = scanned(desk, first)
    assert page.count("data-weight") == 1 and 'id="place-1" class="now"' in page
    assert "Another sack" not in page
    assert '"to": "/oven/L-1/dry?scan="' in page


def test_another_sack_of_the_load_is_taken_with_another_word_and_its_row_lit(
    season: Database, desk: Desk
) -> None:
    _, second, _ = out(season, desk)
    page = scanned(desk, second)
    assert "Another sack of this load: place 2" in page and 'data-sound="another"' in page
    assert 'id="place-2" class="now"' in page and page.count("data-weight") == 1
    weigh_dry(desk, second, "251.20")
    assert desk.standing(second).state == "dried"


def test_a_sack_of_another_load_is_sent_where_it_belongs(season: Database, desk: Desk) -> None:
    out(season, desk)
    stranger = made(season, make_weighed, field="Far field")
    page = scanned(desk, stranger)
    assert "A sack of another load" in page and "data-weight" not in page
    form = {"code": desk.code(stranger), "what": "dry", "grams": "251.20", "seen": desk.seen(stranger)}
    assert desk.refused("/oven/L-1/dry", balance="B1", **form) == "other-load"


def test_a_sack_weighed_already_has_no_box(season: Database, desk: Desk) -> None:
    samples = out(season, desk)
    sample = next(sample for place, sample in enumerate(samples, 1) if place not in reweighed("L-1", SACKS))
    weigh_dry(desk, sample, "251.10")
    page = scanned(desk, sample)
    assert "has its dry weight already" in page and 'name="grams"' not in page


def test_the_dry_weight_refuses_what_the_desk_refuses(season: Database, desk: Desk) -> None:
    first, *_ = out(season, desk)
    form = {"code": desk.code(first), "what": "dry", "balance": "B1", "seen": desk.seen(first)}
    assert desk.refused("/oven/L-1/dry", grams="12345678", **form) == "code-in-weight"
    assert desk.refused("/oven/L-1/dry", grams="251.10", **{**form, "seen": "3"}) == "moved-on"


def test_dry_hay_that_weighs_more_than_fresh_is_said_at_once(season: Database, desk: Desk) -> None:
    first, *_ = out(season, desk)
    told = weigh_dry(desk, first, "299.99")
    (found, *_) = life(season, first)[-1].data["findings"]
    assert found["words"] in told


def all_dry(desk: Desk, samples: list[Sample]) -> Sample:
    """Every sack weighed once; the one that is to be weighed again."""
    for n, sample in enumerate(samples, 1):
        weigh_dry(desk, sample, f"251.{n}0")
    return samples[reweighed("L-1", len(samples))[0] - 1]


def test_one_in_ten_is_weighed_again_and_its_first_weight_is_nowhere_to_be_seen(
    season: Database, desk: Desk
) -> None:
    samples = out(season, desk)
    drawn = all_dry(desk, samples)
    first = f"251.{samples.index(drawn) + 1}0"
    page = desk.get("/oven/L-1/dry")
    assert "a second time" in page and desk.code(drawn)[:4] in page
    seen = [page, scanned(desk, drawn), desk.get("/oven/L-1"), desk.get(f"/desk/weigh/{desk.code(drawn)}")]
    assert not any(first in text for text in seen)
    assert first not in " ".join(texts(desk.client.get("/oven/L-1/sheet.pdf").data))
    weigh_dry(desk, drawn, first, "dry again")
    assert first in desk.get("/oven/L-1")
    assert kinds(season, drawn)[-1] == "dry weighed again"


def test_a_second_weight_that_differs_holds_the_whole_load(season: Database, desk: Desk) -> None:
    samples = out(season, desk)
    drawn = all_dry(desk, samples)
    told = weigh_dry(desk, drawn, "249.00", "dry again")
    assert "dry it further" in told
    assert all(desk.standing(sample).on_hold for sample in samples)


def test_a_second_weight_that_agrees_holds_nothing(season: Database, desk: Desk) -> None:
    samples = out(season, desk)
    drawn = all_dry(desk, samples)
    weigh_dry(desk, drawn, f"251.{samples.index(drawn) + 1}1", "dry again")
    assert not any(desk.standing(sample).on_hold for sample in samples)


def test_a_load_with_a_gap_is_not_closed(season: Database, desk: Desk) -> None:
    first, _, third = out(season, desk)
    weigh_dry(desk, first, "251.10")
    weigh_dry(desk, third, "251.30")
    assert desk.refused("/oven/L-1/close") == "load-has-gaps"
    assert "1 not weighed" in desk.get("/oven")
    with season.read() as session:
        (load,) = open_loads(session)
        rows = bench_load(session, "L-1").rows
    assert list(load.unsettled) == [row.position for row in rows if not row.settled] and load.sacks == 3


def test_more_sacks_than_a_page_offers_are_counted(
    season: Database, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(oven, "SHOWN", 2)
    first, second, third = ready(season)
    page = desk.get("/oven")
    assert "The 2 sacks that wait longest for the oven, of 3" in page and "A new load of these" in page
    assert all(payload.shown(desk.code(sample)) in page for sample in (first, second))
    assert payload.shown(desk.code(third)) not in page


@pytest.mark.parametrize(("how", "state"), [("lost", "lost"), ("set aside", "out of oven")])
def test_a_load_closes_once_the_gap_is_lost_or_set_aside_with_a_reason(
    season: Database, desk: Desk, how: str, state: str
) -> None:
    first, second, third = out(season, desk)
    weigh_dry(desk, first, "251.10")
    weigh_dry(desk, third, "251.30")
    form = {"code": desk.code(second), "seen": desk.seen(second), "how": how}
    assert desk.refused("/oven/L-1/settle", reason=" ", **form) in ("reason-missing", "entry-incomplete")
    desk.post("/oven/L-1/settle", reason="The sack burst", **form)
    told = desk.post("/oven/L-1/close")
    assert "Load L-1 is closed" in told
    assert desk.standing(second).state == state
    assert desk.refused("/oven/L-1/close") == "load-closed"


def test_a_sack_set_aside_waits_for_a_decision_and_only_once(season: Database, desk: Desk) -> None:
    first, *_ = out(season, desk)
    form = {"code": desk.code(first), "how": "set aside", "reason": "The sack burst"}
    desk.post("/oven/L-1/settle", seen=desk.seen(first), **form)
    assert desk.standing(first).on_hold
    assert desk.refused("/oven/L-1/settle", seen=desk.seen(first), **form) == "set-aside"
    stranger = made(season, make_weighed, field="Far field")
    strange = {**form, "code": desk.code(stranger), "seen": desk.seen(stranger)}
    assert desk.refused("/oven/L-1/settle", **strange) == "not-in-load"


def test_a_closed_load_names_what_was_not_weighed_again(season: Database, desk: Desk) -> None:
    drawn = all_dry(desk, out(season, desk))
    assert desk.code(drawn)
    assert "Not weighed a second time: place" in desk.post("/oven/L-1/close")


@pytest.mark.parametrize(
    ("load", "code"), [("L-1", "not-in-load"), ("L-9", "unknown-load")], ids=["another", "none"]
)
def test_a_sack_is_lost_only_from_the_load_it_stands_in(
    season: Database, desk: Desk, load: str, code: str
) -> None:
    out(season, desk)
    stranger = made(season, make_weighed, field="Far field")
    form = {"code": desk.code(stranger), "seen": desk.seen(stranger), "how": "lost", "reason": "Burst"}
    assert desk.refused(f"/oven/{load}/settle", **form) == code
    assert desk.standing(stranger).state == "weighed"


@pytest.mark.parametrize("address", ["/oven/L-9", "/oven/L-9/dry", "/oven/L-9/sheet.pdf"])
def test_a_load_nobody_made_is_not_found(desk: Desk, address: str) -> None:
    assert desk.client.get(address).status_code == 404
