"""Things that a stranger may try only so often, counted by what and from where."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING

from tracker.errors import TrackerError
from tracker.steps.sign_in import note_attempt, refuse_if_tried_too_often
from tracker.web.shared.access import signed_in
from tracker.web.shared.noted import here
from tracker.web.shared.season import asking, now, season

if TYPE_CHECKING:
    from tracker.storage.questions import Asking


def refuse_too_many(tries: Mapping[str, int]) -> None:
    """Nothing, while each key was tried less often than its number; else Refused `too-many-tries`."""
    with asking() as asked:
        _refuse_too_many(asked, tries)


def _refuse_too_many(asked: Asking, tries: Mapping[str, int]) -> None:
    for key, most in tries.items():
        refuse_if_tried_too_often(asked, key, now(), most)


@contextmanager
def guesses_counted(most: int) -> Iterator[Asking]:
    """For what a stranger asks; what there is not is counted by his address, and after so many he is told
    nothing at all.

    A right tag is never counted: a household may look at its hay as often as it likes. Raises `too-many-tries`.
    """
    tries = {} if signed_in() else {f"guess from {here()}": most}
    try:
        with asking() as asked:
            _refuse_too_many(asked, tries)
            yield asked
    except TrackerError:
        if tries:
            # One who had too many before is refused again, and not counted.
            count_try("look up a tag", tries)
        raise


def count_try(name: str, tries: Mapping[str, int]) -> None:
    """Count a try under each key, whatever becomes of it; one too many is refused, and not even kept."""
    refuse_too_many(tries)
    with season().act(name, "", {}) as counting:
        for key, most in tries.items():
            note_attempt(counting, key, now(), most)
