"""Whatever anybody does to a sample in whatever order, its chain of custody stays whole."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.domain.makers import (
    CARRIER,
    EVERYONE,
    LEAD,
    LOCKER,
    MORNING,
    SHELF,
    Life,
    Party,
    at_desk,
    bagged,
    dried,
    make_event,
    scanned,
)
from tracker.domain.admission import admit, next_acts
from tracker.domain.chain import gaps, holder_at
from tracker.domain.custody import ENDED, KINDS, Event, Standing, corrected, fold, in_order
from tracker.errors import Refused

PEOPLE = st.sampled_from(EVERYONE)
PLACES = st.sampled_from((LOCKER, SHELF))
HOLDS = st.sampled_from((None, None, None, "The bag came torn."))
MOVES_CUSTODY = ("bagged", "received", "taken out", "stored", "archived")


class AnyLife(RuleBasedStateMachine):
    """A sample, the standing that is kept beside its events, and people who try things."""

    def __init__(self) -> None:
        super().__init__()
        self.events: list[Event] = []
        self.standing = Standing()
        self.minute = 0

    # Lives are begun at different stages, or few would get past the desk.
    @initialize(start=st.sampled_from((Life, bagged, at_desk, dried, scanned)))
    def begin(self, start: Callable[[], Life]) -> None:
        for event in start().events:
            self.admitted(event)
        self.minute = len(self.events)

    @rule(kind=st.sampled_from(tuple(KINDS)), by=PEOPLE, to=PEOPLE, place=PLACES, hold=HOLDS)
    def try_anything(self, kind: str, by: Party, to: Party, place: Party, hold: str | None) -> None:
        self.attempt(kind, by, to, place, hold)

    @precondition(lambda self: self.standing.state not in ENDED)
    @rule(
        pick=st.integers(0, 30), by=PEOPLE, to=st.sampled_from((*EVERYONE, CARRIER)), place=PLACES, hold=HOLDS
    )
    def go_on(self, pick: int, by: Party, to: Party, place: Party, hold: str | None) -> None:
        possible = [act for act in next_acts(self.standing) if KINDS[act].to not in ENDED]
        kind = possible[pick % len(possible)] if possible else "lost"
        self.attempt(kind, by if pick % 3 == 0 else self.whose_turn(by), to, place, hold)

    def whose_turn(self, otherwise: Party) -> Party:
        transfer, holder = self.standing.transfer, self.standing.holder
        due = transfer.to.party if transfer else holder.party if holder else None
        return next((party for party in EVERYONE if party.key == due), otherwise)

    @precondition(lambda self: len(self.events) > 1)
    @rule(kind=st.sampled_from(tuple(KINDS)), by=PEOPLE, place=PLACES, back=st.integers(1, 60))
    def enter_late(self, kind: str, by: Party, place: Party, back: int) -> None:
        new = self.made(kind, by, by, place, None, max(0, self.minute - back), "was without signal")
        self.admitted(new)

    @precondition(lambda self: bool(self.events))
    @rule(
        pick=st.integers(0, 100),
        change=st.sampled_from(({"note": "anew"}, {"code": "T0MARVYY"}, {"hold": "wet"})),
    )
    def correct(self, pick: int, change: dict[str, Any]) -> None:
        target = self.events[pick % len(self.events)]
        before = len(self.events)
        self.minute += 1
        self.admitted(
            make_event(
                before + 1, "amended", LEAD, minute=self.minute, target=target.event_id, changes=change
            )
        )
        assert len(self.events) == before + 1, "a correction is always taken"

    def attempt(self, kind: str, by: Party, to: Party, place: Party, hold: str | None) -> None:
        self.minute += 7
        self.admitted(self.made(kind, by, to, place, hold, self.minute, ""))

    def made(
        self, kind: str, by: Party, to: Party, place: Party, hold: str | None, minute: int, late: str
    ) -> Event:
        data: dict[str, Any] = {"hold": hold} if hold else {}
        if kind == "relinquished":
            data["to"] = to.as_data()
        if kind in ("stored", "archived"):
            data["place"] = place.as_data()
        return make_event(len(self.events) + 1, kind, by, minute=minute, late_reason=late, **data)

    def admitted(self, new: Event) -> None:
        before = list(self.events)
        ended = self.standing.state in ENDED
        try:
            standing = admit(self.events, new)
        except Refused as refused:
            assert refused.remedy
            assert self.events == before
            return
        # A late entry may belong before the end; after it nothing is taken but an amendment and what was seen.
        last = max((event.occurred_at for event in before), default=MORNING)
        assert not ended or new.kind in ("amended", "noted") or new.occurred_at < last
        self.events.append(new)
        self.standing = standing

    @invariant()
    def the_kept_standing_is_what_the_events_add_up_to(self) -> None:
        assert fold(self.events) == self.standing

    @invariant()
    def corrections_and_late_entries_never_change_which_events_exist(self) -> None:
        told = {(event.event_id, event.kind, event.occurred_at, event.by) for event in corrected(self.events)}
        assert told == {(event.event_id, event.kind, event.occurred_at, event.by) for event in self.events}
        assert len(told) == len(self.events)

    @invariant()
    def from_bagging_on_there_is_one_holder_at_any_instant(self) -> None:
        for event in self.events:
            for when in (event.occurred_at, event.occurred_at + timedelta(seconds=30)):
                holder = holder_at(self.events, when)
                assert (holder.party if holder else None) == self.holder_as_signed(when)

    def holder_as_signed(self, when: datetime) -> str | None:
        """Told without the fold: whoever last bagged, received or took it, or the place it was last put in."""
        signed = [
            event
            for event in in_order(self.events)
            if event.kind in MOVES_CUSTODY and event.occurred_at <= when
        ]
        if not signed:
            return None
        return str(signed[-1].data["place"]["party"]) if "place" in signed[-1].data else signed[-1].by

    @invariant()
    def on_its_way_is_what_was_signed_away_and_not_signed_for(self) -> None:
        if self.standing.state not in ENDED:
            assert (self.standing.state == "in transfer") is (self.standing.transfer is not None)

    @invariant()
    def the_gaps_are_told_in_order_and_last_some_time(self) -> None:
        found = gaps(self.events, {})
        assert all(gap.since < gap.until for gap in found)
        assert [gap.since for gap in found] == sorted(gap.since for gap in found)


TestAnyLife = AnyLife.TestCase
TestAnyLife.settings = settings(max_examples=30, stateful_step_count=35, deadline=None)
