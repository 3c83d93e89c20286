"""What a benchmark gives: a few figures, each with its goal, and how they are shown."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

Work = Callable[[], object]


@dataclass(frozen=True)
class Figure:
    """One measured figure. what: of what over what; goal: None where it is only told; most: less is better."""

    bench: str
    what: str
    value: float
    unit: str = "x"
    goal: float | None = None
    most: bool = True

    @property
    def met(self) -> bool | None:
        """Whether the goal is reached; None where there is none."""
        if self.goal is None:
            return None
        return self.value <= self.goal if self.most else self.value >= self.goal

    def as_row(self) -> str:
        """A line of the table in docs/speed.md."""
        goal = (
            "" if self.goal is None else f"{'at most' if self.most else 'at least'} {self.goal:g} {self.unit}"
        )
        verdict = {None: "", True: "yes", False: "**no**"}[self.met]
        return f"| {self.bench} | {self.what} | {self.value:,.4g} {self.unit} | {goal} | {verdict} |"


def in_turns(works: Mapping[str, Work], rounds: int, *, processor: bool = True) -> dict[str, float]:
    """The median time of each, all of them once in every round, so that a busy minute meets each alike.

    processor: seconds of this program's own work; else of the clock, which waiting for the disk is part of.
    """
    clock = time.process_time if processor else time.perf_counter
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, work in works.items():
            begun = clock()
            work()
            times[name].append(clock() - begun)
    return {name: median(taken) for name, taken in times.items()}


def table(figures: Sequence[Figure]) -> str:
    """All figures as the table that docs/speed.md holds."""
    head = "| what | figure | measured | goal | met |\n|---|---|---|---|---|\n"
    return head + "\n".join(figure.as_row() for figure in figures) + "\n"
