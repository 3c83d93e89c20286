"""Whatever anybody does to any sample, in whatever order and at what hour: the log is whole and no bag is without a
keeper unsaid.

Twenty thousand acts with fixed seeds, some by the real steps on tables and the rest by the rules of custody alone,
which the steps ask; and Hypothesis, which looks for a shorter way to fail.
"""

from __future__ import annotations

import atexit
import functools
import shutil
import tempfile
from collections import Counter
from contextlib import ExitStack
from pathlib import Path
from random import Random
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule

from tests.anybody import ACTS, LONG_LIFE, TAG_ACTS, AnyLife, Crowd
from tests.makers import at, make_people
from tracker.domain.custody import ENDED, KINDS
from tracker.lookups.log_check import check_log
from tracker.steps.count_again import count_again
from tracker.storage.engine import Database

BY_STEPS, BY_RULES = 2_000, 18_000


@functools.cache
def prepared() -> Path:
    """A season with its people, two sources of results and a roll of tags, built once."""
    folder = Path(tempfile.mkdtemp(prefix="any-season-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    season = Database(f"sqlite:///{folder / 'season.db'}", clock=lambda: at(0))
    season.migrate()
    with season.act("prepare", "", {}) as session:
        make_people(session)
        Crowd(session, Random(0).choice).prepare()
    season.close()
    return folder / "season.db"


def test_acts_by_the_real_steps_leave_a_whole_log_and_every_bag_with_its_keeper(
    tmp_path: Path,
) -> None:
    season = Database(f"sqlite:///{shutil.copy(prepared(), tmp_path / 'any.db')}", clock=lambda: at(0))
    rng = Random(20260620)
    with season.act("anybody", "", {}) as session:
        crowd = Crowd(session, rng.choice)
        crowd.begin()
        for number in range(BY_STEPS):
            crowd.one_more()
            if number % 500 == 0:
                assert crowd.accounted()
                session.expunge_all()
        assert crowd.accounted()
    with season.read() as session:
        found = check_log(session)
    with season.act("count", "", {}) as session:
        beside = count_again(session)
    season.close()
    assert found.whole, found.faults
    # What was kept beside the log while it went on is what all of the log says in the end.
    assert not any(one.wrong for one in beside) and all(one.rows for one in beside[:3]), beside
    # A slip taken back is an act of its own.
    assert crowd.done.total() + crowd.refused.total() >= BY_STEPS
    # A run that refuses everything, or never gets past the desk, would prove nothing.
    assert crowd.done.total() > BY_STEPS // 3 and found.events > BY_STEPS // 2
    never = (set(ACTS) | set(TAG_ACTS)) - set(crowd.done)
    assert never <= {"sent twice", "analysis chosen"}, f"never done at all: {never}"
    assert len(crowd.refused) > 30, "hardly anything was refused"


def test_acts_by_the_rules_alone_leave_every_bag_with_its_keeper() -> None:
    pick = Random(20260621).choice
    done: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    life = AnyLife(pick)
    for _ in range(BY_RULES):
        code = life.one_more()
        done[life.kind] += not code
        refused[code] += bool(code)
        # A life that never ends is looked through again and again, and shows nothing new.
        if life.standing.state in ENDED or len(life.events) > LONG_LIFE:
            life = AnyLife(pick)
    assert done.total() + refused.total() == BY_RULES and done.total() > BY_RULES // 2
    # Every life begins with a bag.
    never = set(KINDS) - {kind for kind, count in done.items() if count}
    assert never <= {"cancelled", "plan issued", "cored", "bagged"}
    assert len([code for code, count in refused.items() if count]) >= 8, refused


class AnySeason(RuleBasedStateMachine):
    """The same crowd, with every choice made by Hypothesis."""

    def __init__(self) -> None:
        super().__init__()
        self.closing = ExitStack()
        folder = Path(self.closing.enter_context(tempfile.TemporaryDirectory(prefix="any-season-")))
        season = Database(f"sqlite:///{shutil.copy(prepared(), folder / 'any.db')}", clock=lambda: at(0))
        self.closing.callback(season.close)
        session = self.closing.enter_context(season.act("anybody", "", {}))
        self.crowd = Crowd(session, lambda options: options[0], most_samples=3)
        self.crowd.begin()

    @rule(data=st.data())
    def somebody_does_something(self, data: st.DataObject) -> None:
        def chosen(options: Any) -> Any:
            return data.draw(st.sampled_from(options))

        self.crowd.pick = chosen
        self.crowd.one_more()

    def teardown(self) -> None:
        assert self.crowd.accounted()
        found = check_log(self.crowd.session)
        assert found.whole, found.faults
        self.closing.close()


TestAnySeason = AnySeason.TestCase
TestAnySeason.settings = settings(
    max_examples=6, stateful_step_count=30, deadline=None, suppress_health_check=list(HealthCheck)
)
