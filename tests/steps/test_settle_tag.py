"""Two phones put one tag on two bags while neither could know: both kept, both on hold, a person decides."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from tests.makers import act, done, kinds, life, made, make_sealed, make_tag, refused, standing
from tests.phones import Phone, words
from tracker.domain.chain import in_words
from tracker.lookups.contested_tags import contest_of, contested_tags
from tracker.lookups.find import sample_named
from tracker.steps.bag_cores import replace_tag
from tracker.steps.receive import receive
from tracker.steps.settle_tag import settle_tag
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.tags import rivals, tag_coded


@pytest.fixture
def code(season: Database) -> str:
    return str(done(season, lambda session: make_tag(session)))


def bound_twice(
    season: Database, code: str, *, turned: bool = False, fields: tuple[str, str] = ("Long field", "Hill")
) -> tuple[Sample, Sample]:
    """Tove's bag of one field and Ulf's bag of another, both with the tag; turned: Ulf's phone came in first."""
    tove, ulf = Phone(), Phone("ulf")
    sent = [
        (tove, tove.bagged(code, field=fields[0])),
        (ulf, ulf.bagged(code, 12, field=fields[1])),
    ]
    # The lots themselves are known in one order, so that they are called the same.
    for phone, entries in sent:
        assert words(phone.send(season, 200, *entries[:3])) == ["accepted"] * 3
    for phone, entries in reversed(sent) if turned else sent:
        assert words(phone.send(season, 210, entries[3])) == ["accepted"]
    with season.read() as session:
        one, two = session.scalars(select(Sample).order_by(Sample.id)).all()[-2:]
    return one, two


def fresh(season: Database) -> str:
    return str(done(season, lambda session: make_tag(session, minute=220)))


def test_both_bags_are_kept_and_on_hold_and_the_second_phone_is_told(season: Database, code: str) -> None:
    tove, ulf = Phone(), Phone("ulf")
    tove.send(season, 200, *tove.bagged(code))
    answers = ulf.send(season, 210, *ulf.bagged(code, 12, field="Hill"))
    assert [answer.contested for answer in answers] == [False, False, False, True]
    assert "office decides" in answers[3].notices[0]
    with season.read() as session:
        samples = session.scalars(select(Sample)).all()
        (contest,) = contested_tags(session)
    assert [claim.bound_by for claim in contest.claims] == ["Tove Lind", "Ulf Brandt"]
    for sample in samples:
        found = standing(season, sample)
        assert (found.state, found.code, len(found.holds)) == ("bagged", code, 1)
        assert "lot 1 and lot 2" in found.holds[0].reason


def seen(season: Database, code: str, bags: tuple[Sample, Sample]) -> str:
    """What anybody can see of the two bags, but for which of them the office heard of first, by neutral names."""
    found: list[object] = []
    for bag in bags:
        now = standing(season, bag)
        reasons = [hold.reason for hold in now.holds]
        found.append((now.state, now.code, now.holder, now.transfer, reasons, sorted(kinds(season, bag))))
    with season.read() as session:
        contest = contest_of(session, code)
        found += [[(claim.lot, claim.bound_by, claim.state) for claim in contest.claims], contest.code]
        found.append(tag_coded(session, code).state)
    text = str(found).replace(code, "CODE").replace(f"{code[:4]}-{code[4:]}", "CO-DE")
    for name, bag in zip(("one", "two"), bags, strict=True):
        text = text.replace(f"lot {bag.lot_id}", f"lot {name}").replace(f"({bag.lot_id},", f"({name},")
    return text


def test_either_order_of_arrival_ends_the_same_but_for_who_was_first(season: Database, code: str) -> None:
    other = fresh(season)
    straight = bound_twice(season, code, fields=("Long field", "Hill"))
    turned = bound_twice(season, other, fields=("Brook", "Moor"), turned=True)
    assert seen(season, code, straight) == seen(season, other, turned)
    assert "lot one and lot two" in seen(season, code, straight)
    with season.read() as session:
        first = [tag_coded(session, one).sample_id for one in (code, other)]
    assert first == [straight[0].id, turned[1].id]


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("keeper", [0, 1])
def test_a_person_decides_and_the_other_bag_gets_a_fresh_tag(
    season: Database, code: str, turned: bool, keeper: int
) -> None:
    bags = bound_twice(season, code, turned=turned)
    keeps, other = bags[keeper], bags[1 - keeper]
    new = fresh(season)
    done(season, lambda s: settle_tag(s, code, keeps, [new], act(s, "carl", 230), reason="asked both"))
    assert (standing(season, keeps).code, standing(season, other).code) == (code, new)
    assert not standing(season, keeps).on_hold and not standing(season, other).on_hold
    with season.read() as session:
        tag = tag_coded(session, code)
        assert (tag.sample_id, tag.lot_id, rivals(session, tag)) == (keeps.id, keeps.lot_id, [])
        assert contested_tags(session) == ()
        assert sample_named(session, code).id == keeps.id
        assert sample_named(session, new).id == other.id
    told = [in_words(event, {}) for event in life(season, other)]
    assert any(f"gives up tag {code} and carries {new}. asked both." in words for words in told)


def test_until_it_is_decided_the_code_names_neither(season: Database, code: str) -> None:
    bound_twice(season, code)
    answer = refused(season, lambda s: sample_named(s, code))
    assert (answer.code, "lot 1 and lot 2" in answer.message) == ("tag-contested", True)


def test_a_technician_goes_on_with_the_bag_he_has(season: Database, code: str) -> None:
    one, two = bound_twice(season, code)
    ulf = Phone("ulf")
    assert words(ulf.send(season, 220, ulf.entry("store", 215, {"codes": [code], "place": "box"}))) == [
        "accepted"
    ]
    assert (kinds(season, two)[-1], "stored" in kinds(season, one)) == ("stored", False)


def test_an_entry_of_somebody_who_has_neither_waits_for_the_decision(season: Database, code: str) -> None:
    one, _ = bound_twice(season, code)
    carl = Phone("carl")
    took = carl.entry("receive", 215, {"codes": [code], "condition": ["dry"]})
    assert words(carl.send(season, 220, took)) == ["later"]
    new = fresh(season)
    done(season, lambda s: settle_tag(s, code, one, [new], act(s, "lena", 230), reason="seen"))
    tove = Phone()
    assert words(tove.send(season, 240, tove.entry("hand over", 214, {"codes": [code], "to": "carl"}))) == [
        "accepted"
    ]
    assert words(carl.send(season, 250, took)) == ["duplicate"]


def test_a_third_bag_with_the_tag_gets_its_own_too(season: Database, code: str) -> None:
    one, two = bound_twice(season, code)
    lena = Phone("lena")
    lena.send(season, 215, *lena.bagged(code, 14, field="Brook"))
    with season.read() as session:
        third = session.scalars(select(Sample).order_by(Sample.id.desc())).first()
        assert [claim.lot for claim in contest_of(session, code).claims] == [1, 2, 3]
    assert third is not None
    codes = [fresh(season), fresh(season)]
    done(season, lambda s: settle_tag(s, code, two, codes, act(s, "carl", 230), reason="looked"))
    assert [standing(season, sample).code for sample in (one, two, third)] == [codes[0], code, codes[1]]


def test_another_hold_outlives_the_decision(season: Database, code: str) -> None:
    one, two = bound_twice(season, code)
    from tracker.steps.hold import hold

    done(season, lambda s: hold(s, two, act(s, "carl", 225), reason="smells of mould"))
    new = fresh(season)
    done(season, lambda s: settle_tag(s, code, one, [new], act(s, "carl", 230), reason="asked"))
    assert "smells of mould" in [held.reason for held in standing(season, two).holds]
    assert not standing(season, one).on_hold


def test_a_bag_that_the_lab_has_weighed_is_settled_too(season: Database, code: str) -> None:
    lab = made(season, make_sealed)
    held = str(standing(season, lab).code)
    ulf = Phone("ulf")
    entries = ulf.bagged(held, 12, field="Hill")
    done(
        season,
        lambda s: receive(
            s, lab, act(s, "carl", 100), condition=["dry"], seal_state="intact", unannounced="in the box"
        ),
    )
    assert words(ulf.send(season, 200, *entries)) == ["accepted"] * 4
    assert "Tag" in standing(season, lab).holds[-1].reason
    assert standing(season, lab).state == "received"


@pytest.mark.parametrize(
    ("who", "codes", "reason", "expected"),
    [
        ("tove", 1, "asked", "not-allowed"),
        ("carl", 1, " ", "reason-missing"),
        ("carl", 0, "asked", "codes-miscounted"),
        ("carl", 2, "asked", "codes-miscounted"),
    ],
)
def test_a_decision_spoiled_in_one_place_changes_nothing(
    season: Database, code: str, who: str, codes: int, reason: str, expected: str
) -> None:
    one, _ = bound_twice(season, code)
    new = [fresh(season) for _ in range(codes)]
    step = lambda s: settle_tag(s, code, one, new, act(s, who, 230), reason=reason)  # noqa: E731
    assert refused(season, step, by=who).code == expected


def test_only_a_contested_tag_is_decided_on_and_only_for_a_bag_that_claims_it(
    season: Database, code: str
) -> None:
    stranger = made(season, make_sealed, field="Far")
    own = str(standing(season, stranger).code)
    step = lambda s: settle_tag(s, own, stranger, [], act(s, "carl", 230), reason="x")  # noqa: E731
    assert refused(season, step, by="carl").code == "tag-not-contested"
    bound_twice(season, code)
    other = lambda s: settle_tag(s, code, stranger, [own], act(s, "carl", 230), reason="x")  # noqa: E731
    assert refused(season, other, by="carl").code == "not-a-claim"


def test_a_contested_tag_is_not_replaced_past_the_decision(season: Database, code: str) -> None:
    one, _ = bound_twice(season, code)
    new = fresh(season)
    step = lambda s: replace_tag(s, one, new, act(s, "tove", 230), reason="torn")  # noqa: E731
    assert refused(season, step).code == "tag-contested"


def test_the_same_bind_by_two_entries_is_no_contest(season: Database, code: str) -> None:
    phone = Phone()
    entries = phone.bagged(code)
    entries.append(phone.entry("bag cores", 47, {"sample": {"entry": entries[1]["event_id"]}, "code": code}))
    answers = phone.send(season, 200, *entries)
    assert words(answers) == ["accepted"] * 5 and "already" in answers[4].notices[0]
    with season.read() as session:
        assert contested_tags(session) == ()
