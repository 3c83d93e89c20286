"""People who try anything on the samples of one season, each act by its real step, and what must hold after each.

`pick` chooses: a seeded random.Random for a long run that is the same every time, Hypothesis for one that shrinks.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Protocol, TypeVar

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from tests.domain.makers import (
    CARRIER,
    EVERYONE,
    LOCKER,
    SHELF,
    at_desk,
    bagged,
    dried,
    make_event,
    scanned,
)
from tests.makers import BASE, PEOPLE, at, make_dried, make_plan, make_sealed, make_weighed
from tests.result_files import (
    NIR,
    NIR_MAP,
    SETTINGS,
    WET,
    WET_MAP,
    add_map,
    row,
    wet_row,
    wet_written,
    written,
)
from tracker.domain.admission import admit, next_acts
from tracker.domain.chain import gaps, holder_at
from tracker.domain.custody import ENDED, KINDS, Act, Event, Party, Standing, corrected, fold
from tracker.errors import Refused, TrackerError
from tracker.lookups.lot_report import report_body
from tracker.lookups.tag_rolls import rolls
from tracker.steps.amend import AMENDABLE, amend
from tracker.steps.bag_cores import bag_cores, replace_tag, seal_bag
from tracker.steps.choose_analysis import choose_analysis
from tracker.steps.core_lot import core_lot
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.end_sample import archive, cancel, dispose, give_back, lose
from tracker.steps.grind import grind
from tracker.steps.hand_over import cancel_transfer, refuse_transfer, relinquish, store, take_out
from tracker.steps.hold import hold, lift_hold
from tracker.steps.issue_tags import count_in, issue_tags
from tracker.steps.print_tags import print_tags, reprint_tag, void_run, void_tag
from tracker.steps.receive import break_seal, receive
from tracker.steps.record_results import record_results
from tracker.steps.release_results import release_results
from tracker.steps.undo import UNDOABLE, undo
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.custody import EventRow, StandingRow, events_of, projection
from tracker.storage.people import party
from tracker.storage.tags import PrintRun, Tag

T = TypeVar("T")
PERSONS = tuple(key for key, _, kind, *_ in PEOPLE if kind == "person")
PLACES = tuple(key for key, _, kind, *_ in PEOPLE if kind == "place")
ANYBODY = tuple(key for key, *_ in PEOPLE)
LONG_LIFE = 40
SIGNS = ("bagged", "sealed", "relinquished", "received", "stored", "taken out", "archived")


class Pick(Protocol):
    """Chooses one of several."""

    def __call__(self, options: Sequence[T], /) -> T: ...


@dataclass
class Crowd:
    """The session everybody acts in (an act each in a savepoint of its own), and what has come of it so far."""

    session: Session
    pick: Pick
    most_samples: int = 12
    minute: float = 2000.0
    last_seq: int = 0
    done: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    samples: list[int] = field(default_factory=list)
    number: int = 0

    def prepare(self) -> None:
        """Two sources of results and a roll of tags."""
        add_map(self.session, NIR, NIR_MAP)
        add_map(self.session, WET, WET_MAP, kind="laboratory")
        self.print_roll(self.by("tove"))

    def begin(self) -> None:
        """Look only at what comes from here on."""
        self.last_seq = self.session.scalar(select(func.max(EventRow.seq))) or 0

    def by(self, who: str, *, back: float = 0, **more: Any) -> Act:
        """An act of that person now, or so many minutes ago."""
        now = at(self.minute).astimezone(UTC)
        return Act(party(self.session, who), at(self.minute - back), now, **more)

    def one_more(self) -> None:
        """Somebody does something, sensible or not; then everything that must hold is looked at."""
        self.minute += self.pick((1, 2, 7, 30, 70, 600))
        self.number += 1
        if not self.samples or (len(self.samples) < self.most_samples and self.pick((True, False, False))):
            self.attempt("lot registered", None, self.new_sample)
        elif self.pick((True, *(False,) * 9)):
            name = self.pick(tuple(TAG_ACTS))
            self.attempt(name, None, lambda: TAG_ACTS[name](self, self.by(self.pick(PERSONS))))
        else:
            self.on_a_sample()

    def on_a_sample(self) -> None:
        sample = self.session.get_one(Sample, self.pick(self.samples))
        standing = fold(events_of(self.session, sample.id))
        sensible = [kind for kind in next_acts(standing) if kind in ACTS]
        # Most of the time somebody does what comes next, or hardly a sample would get past the desk.
        ends = self.pick((True, *(False,) * 15))
        likely = [kind for kind in sensible if ends or KINDS[kind].to not in ENDED] or ["lost"]
        onward = [
            kind for kind in likely if KINDS[kind].to not in (None, "in transfer", standing.state)
        ] or likely
        kind = self.pick(self.pick((onward, onward, onward, likely, likely, likely, tuple(ACTS))))
        who = self.whose_turn(standing) if self.pick((True, True, True, False)) else self.pick(PERSONS)
        late = self.pick((0, 0, 0, 0, 0, 0, 0, 45, 2000))
        act = self.by(who, back=late, late_reason=self.pick(("was without signal", "")) if late else "")
        if self.pick((True, *(False,) * 29)):
            act = Act(act.by, act.now.astimezone() + timedelta(days=2), act.now)
        self.attempt(kind, sample.id, lambda: ACTS[kind](self, sample, act))
        if kind in UNDOABLE and sample.id in self.samples and self.pick((True, False, False, False)):
            # A slip is seen within seconds.
            self.minute += 0.1
            self.attempt("undone", sample.id, lambda: ACTS["undone"](self, sample, self.by(who)))

    def whose_turn(self, standing: Standing) -> str:
        due = standing.transfer.to if standing.transfer else standing.holder
        if due is not None and due.party in PERSONS:
            return due.party
        return self.pick(PERSONS if standing.holder is None else ("carl", "ana", "lena"))

    def attempt(self, kind: str, sample: int | None, do: Callable[[], Any]) -> None:
        """Do it whole or not at all, as a command or a page does, and look at what is left behind."""
        try:
            with self.session.begin_nested():
                do()
                self.session.flush()
        except TrackerError as refused:
            assert refused.code and refused.remedy and refused.message
            self.refused[refused.code] += 1
        except IntegrityError as twice:
            assert "event.event_id" in str(twice.orig), twice
            self.refused["recorded-meanwhile"] += 1
        else:
            self.done[kind] += 1
        self.look(sample)

    def look(self, sample: int | None) -> None:
        """The log goes on without a hole, and every sample it tells of stands as its events say."""
        wanted = select(EventRow.seq, EventRow.sample_id).where(EventRow.seq > self.last_seq)
        new = self.session.execute(wanted.order_by(EventRow.seq)).all()
        assert [seq for seq, _ in new] == list(range(self.last_seq + 1, self.last_seq + 1 + len(new)))
        self.last_seq += len(new)
        for touched in {sample, *(one for _, one in new)} - {None}:
            events = events_of(self.session, touched)
            kept = self.session.get(StandingRow, touched)
            holds(events, {name: getattr(kept, name) for name in projection(Standing())} if kept else None)
            # A life that never ends is looked through again and again, and shows nothing new.
            over = len(events) > LONG_LIFE or (kept is not None and kept.state in ENDED)
            if over and touched in self.samples:
                self.samples.remove(touched)

    def new_sample(self) -> None:
        """One that is only planned, or one that somebody has brought further already."""
        made = self.pick((make_plan, make_plan, make_sealed, make_weighed, make_dried))
        load = {"load": f"B-{self.number}"} if made is make_dried else {}
        self.samples.append(made(self.session, field=f"Field {self.number}", **load).id)

    def print_roll(self, act: Act) -> None:
        print_tags(self.session, [None] * 20, act, base_url=BASE, layout={"stock": "roll"})

    def a_tag(self) -> str:
        """Most of the time a fresh one; else any that was ever printed."""
        wanted = select(Tag.code).order_by(Tag.id)
        if self.pick((True,) * 9 + (False,)):
            wanted = wanted.where(Tag.state.in_(("printed", "issued")))
        codes = self.session.scalars(wanted.limit(40)).all()
        if not codes:
            self.print_roll(self.by("tove"))
            return self.a_tag()
        return self.pick(codes)

    def a_run(self) -> int:
        return self.pick(
            self.session.scalars(select(PrintRun.id).order_by(PrintRun.id.desc()).limit(5)).all()
        )

    def an_entry(self, sample: Sample, kinds: Iterable[str], *, newest: bool = False) -> EventRow:
        of_kind = select(EventRow).where(EventRow.sample_id == sample.id, EventRow.kind.in_(tuple(kinds)))
        found = self.session.scalars(of_kind.order_by(EventRow.seq)).all()
        if not found:
            raise Refused("nothing-there", "There is no such entry.", remedy="Nothing to do.")
        return found[-1] if newest else self.pick(found)

    def accounted(self) -> bool:
        """Whether every tag that was ever printed is somewhere."""
        return all(roll.accounted for roll in rolls(self.session))


class AnyLife:
    """One sample and people who try anything on it, by the rules of custody alone. kind: of the last try."""

    def __init__(self, pick: Pick) -> None:
        self.pick, self.minute, self.kind = pick, 100, ""
        self.events = list(pick((bagged, bagged, at_desk, dried, scanned))().events)
        self.standing = fold(self.events)

    def one_more(self) -> str:
        """Somebody tries something; the code of the refusal, or nothing. Everything that must hold is looked at."""
        self.minute += self.pick((1, 7, 30, 70, 600))
        possible = [act for act in next_acts(self.standing) if KINDS[act].to not in ENDED] or ["lost"]
        self.kind = self.pick(self.pick((possible, possible, possible, tuple(KINDS))))
        # The step takes back nothing but the last entry, of some kinds.
        if self.kind == "undone" and self.events[-1].kind not in UNDOABLE:
            self.kind = "held"
        back = self.pick((0, 0, 0, 0, 0, 45, 2000))
        late = self.pick(("was without signal", "")) if back else ""
        new = make_event(
            len(self.events) + 1,
            self.kind,
            self.whose_turn(),
            minute=max(0, self.minute - back),
            late_reason=late,
            **self.more(),
        )
        code = ""
        try:
            self.standing = admit(self.events, new)
        except Refused as refused:
            assert refused.remedy
            code = refused.code
        else:
            self.events.append(new)
        holds(self.events, projection(self.standing))
        return code

    def whose_turn(self) -> Party:
        due = self.standing.transfer.to if self.standing.transfer else self.standing.holder
        named = [one for one in EVERYONE if due is not None and one.key == due.party]
        return self.pick(named or EVERYONE[2:5]) if self.pick((True, True, False)) else self.pick(EVERYONE)

    def more(self) -> dict[str, Any]:
        more: dict[str, Any] = {}
        if self.kind == "relinquished":
            more["to"] = self.pick((*EVERYONE, CARRIER, LOCKER)).as_data()
        if self.kind in ("stored", "archived"):
            more["place"] = self.pick((LOCKER, SHELF)).as_data()
        if self.kind == "received":
            more["unannounced"] = self.pick(("", "was left at the door"))
        if self.kind == "amended":
            more["target"] = self.pick(self.events).event_id
        if self.kind == "undone":
            more["target"] = self.events[-1].event_id
        if self.pick((True, *(False,) * 9)):
            more["hold"] = "The bag came torn."
        return more


def holds(events: Sequence[Event], kept: dict[str, Any] | None) -> None:
    """All that must hold of one sample, told once more from the bare events."""
    standing = fold(events)
    assert kept == projection(standing) if events else kept is None
    assert [event.seq for event in events] == sorted({event.seq for event in events})
    told = signed(events)
    assert (standing.holder.party if standing.holder else None) == (told[-1][1] if told else None)
    for when, holder in told[-3:]:
        found = holder_at(events, when)
        assert found is not None and found.party == holder, "one holder at any instant"
    if standing.state not in ENDED:
        assert (standing.state == "in transfer") is (standing.transfer is not None)
    said = [(gap.since, gap.until) for gap in gaps(events, {})]
    assert said == unaccounted(events), "a span without a keeper, and nothing said of it"


def signed(events: Sequence[Event]) -> list[tuple[datetime, str]]:
    """Told without the fold: who or where has it from each instant on."""
    found: dict[datetime, str] = {}
    for event in (one for one in corrected(events) if not one.undone):
        if event.kind in ("bagged", "received", "taken out"):
            found[event.occurred_at] = event.by
        elif event.kind in ("stored", "archived"):
            found[event.occurred_at] = str(event.data["place"]["party"])
    return list(found.items())


def unaccounted(events: Sequence[Event]) -> list[tuple[datetime, datetime]]:
    """Told without the standing: the spans in which nobody is known to have kept it."""
    found, since = [], None
    transfer: Event | None = None
    place: Any = None
    for event in (one for one in corrected(events) if not one.undone):
        open_place = place is not None and not place["secure"]
        if event.kind == "received":
            if transfer is not None:
                slow = event.occurred_at - transfer.occurred_at > timedelta(minutes=60)
                if transfer.data["to"]["kind"] != "carrier" and slow:
                    found.append((transfer.occurred_at, event.occurred_at))
            elif since is not None and (open_place or event.data.get("unannounced")):
                found.append((since, event.occurred_at))
        elif event.kind == "taken out" and open_place and since is not None:
            found.append((since, event.occurred_at))
        if event.kind == "relinquished":
            transfer = event
        elif event.kind in ("received", "transfer refused", "transfer cancelled"):
            transfer = None
        if event.kind in ("stored", "archived"):
            place = event.data["place"]
        elif event.kind in ("received", "taken out", "bagged"):
            place = None
        if event.kind in SIGNS:
            since = event.occurred_at
    return found


def _received(crowd: Crowd, sample: Sample, act: Act) -> None:
    kept = crowd.session.get_one(StandingRow, sample.id)
    seal = kept.seal if crowd.pick((True, True, False)) else "S-1"
    receive(
        crowd.session,
        sample,
        act,
        condition=crowd.pick((("dry",), ("dry",), ("damp",), ("dry", "damp"))),
        seal_state="intact" if seal else "none",
        seal_read=seal or "",
        unannounced=crowd.pick(("", "", "was left at the door")),
    )


def _scanned(crowd: Crowd, sample: Sample, act: Act) -> None:
    code = crowd.session.get_one(StandingRow, sample.id).code or "????"
    moment = f"{act.at + timedelta(seconds=crowd.number):%Y-%m-%d %H:%M:%S}"
    record_results(crowd.session, NIR, f"{crowd.number}.csv", written([row(code, Scanned=moment)]), act)


def _analysed(crowd: Crowd, sample: Sample, act: Act) -> None:
    code = crowd.session.get_one(StandingRow, sample.id).code or "????"
    protein = f"18{crowd.number % 10}.{crowd.number % 7}"
    record_results(crowd.session, WET, f"w{crowd.number}.csv", wet_written([wet_row(code, CP=protein)]), act)


def _reported(crowd: Crowd, sample: Sample, act: Act) -> None:
    body = report_body(crowd.session, sample_with_lot(crowd.session, sample.id), SETTINGS)
    release_results(crowd.session, sample, body, act, reason="anew")


def _amended(crowd: Crowd, sample: Sample, act: Act) -> None:
    target = crowd.an_entry(sample, (*AMENDABLE, "bagged"))
    changes = {"grams": crowd.pick(("250.0", "268.7", "1.0")), "seal": "S-7", "seal_read": "S-7"}
    wanted = crowd.pick(tuple(AMENDABLE.get(target.kind, {"code": None})))
    amend(crowd.session, target.seq, {wanted: changes.get(wanted, "2")}, act, reason="misread")


def _in_oven(crowd: Crowd, sample: Sample, act: Act) -> None:
    load_oven(crowd.session, f"L-{crowd.number}", [sample], act, oven="Oven 1", set_celsius="55")


def _out_of_oven(crowd: Crowd, sample: Sample, act: Act) -> None:
    load = crowd.an_entry(sample, ("oven in",)).data["load"]
    empty_oven(crowd.session, load, act)


def _weighed(what: str, *grams: str) -> Callable[[Crowd, Sample, Act], Any]:
    return lambda crowd, sample, act: weigh(
        crowd.session, sample, what, crowd.pick(grams), act, balance=crowd.pick(("B1", "B2"))
    )


ACTS: dict[str, Callable[[Crowd, Sample, Act], Any]] = {
    "cancelled": lambda c, s, a: cancel(c.session, s, a, reason="fed already"),
    "cored": lambda c, s, a: core_lot(c.session, s, a, started_at=a.at - timedelta(minutes=15)),
    "bagged": lambda c, s, a: bag_cores(c.session, s, c.a_tag(), a),
    "tag replaced": lambda c, s, a: replace_tag(c.session, s, c.a_tag(), a, reason="torn"),
    "sealed": lambda c, s, a: seal_bag(c.session, s, f"S-{c.number}", a),
    "relinquished": lambda c, s, a: relinquish(
        c.session, s, party(c.session, c.pick(ANYBODY)), a, waybill=c.pick(("", "W-12"))
    ),
    "received": _received,
    "transfer refused": lambda c, s, a: refuse_transfer(c.session, s, a, reason="not ours"),
    "transfer cancelled": lambda c, s, a: cancel_transfer(c.session, s, a, reason="he did not come"),
    "stored": lambda c, s, a: store(c.session, s, party(c.session, c.pick(PLACES)), a),
    "taken out": lambda c, s, a: take_out(c.session, s, a),
    "seal broken": lambda c, s, a: break_seal(c.session, s, c.pick(("S-1", "S-2")), a),
    "tare weighed": _weighed("tare", "18.6", "18.7", "0.0"),
    "fresh weighed": _weighed("fresh", "268.6", "268.6", "268.4", "250.3", "12.0"),
    "dry weighed": _weighed("dry", "251.1", "251.1", "250.8", "240.0", "300.0"),
    "dry weighed again": _weighed("dry again", "251.1", "251.0", "230.0"),
    "oven in": _in_oven,
    "oven out": _out_of_oven,
    "coarse ground": lambda c, s, a: grind(c.session, s, "coarse", a, mill="M1"),
    "fine ground": lambda c, s, a: grind(c.session, s, "fine", a, mill="M1"),
    "scanned": _scanned,
    "analysed outside": _analysed,
    "analysis chosen": lambda c, s, a: choose_analysis(c.session, s, 1, a, reason="the other cup was hot"),
    "reported": _reported,
    "amended": _amended,
    "undone": lambda c, s, a: undo(c.session, c.an_entry(s, UNDOABLE, newest=True).seq, a),
    "held": lambda c, s, a: hold(c.session, s, a, reason="smells"),
    "hold lifted": lambda c, s, a: lift_hold(c.session, s, a, reason="looked at"),
    "archived": lambda c, s, a: archive(c.session, s, party(c.session, c.pick(PLACES)), a),
    "disposed": lambda c, s, a: dispose(c.session, s, a, method="compost"),
    "returned": lambda c, s, a: give_back(c.session, s, a, reason="asked for it"),
    "lost": lambda c, s, a: lose(c.session, s, a, circumstances="fell off the trailer"),
    "sent twice": lambda c, s, a: hold(
        c.session, s, Act(a.by, a.at, a.now, event_id=c.an_entry(s, KINDS).event_id), reason="twice"
    ),
}
TAG_ACTS: dict[str, Callable[[Crowd, Act], Any]] = {
    "tags printed": lambda c, a: c.print_roll(a),
    "tags issued": lambda c, a: issue_tags(
        c.session, c.a_run(), c.pick((1, 5)), c.pick((3, 9)), party(c.session, c.pick(ANYBODY)), a
    ),
    "tag counted in": lambda c, a: count_in(c.session, [c.a_tag()], a),
    "tag voided": lambda c, a: void_tag(c.session, c.a_tag(), a, reason="torn"),
    "tag reprinted": lambda c, a: reprint_tag(
        c.session, c.a_tag(), a, reason="smeared", base_url=BASE, layout={"stock": "roll"}
    ),
    "run voided": lambda c, a: void_run(c.session, c.a_run(), a, reason="the ribbon ran out", first=18),
}
