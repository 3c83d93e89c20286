"""Who has the sample: hand over, receive, store, take out, hold and lift, and the end of its way."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from tracker.domain.intake import CONDITIONS, SEAL_STATES
from tracker.lookups.find import sample_named
from tracker.steps.end_sample import archive, cancel, dispose, give_back, lose
from tracker.steps.hand_over import cancel_transfer, refuse_transfer, relinquish, store, take_out
from tracker.steps.hold import hold, lift_hold
from tracker.steps.receive import break_seal, receive
from tracker.storage.people import party
from tracker.web.api.entry import Doing, Nothing, act
from tracker.web.api.fields import Strict, digits, key, one_of, several, text
from tracker.web.api.shapes import Stands, stands
from tracker.web.shared.access import LAB, STAFF

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class Because(Doing):
    """A reason."""

    reason = text("why")


class Over(Doing):
    """Who takes the sample."""

    to = key("who takes it")
    waybill = text("the carrier's number", needed=False, most=60)


class Place(Doing):
    """Where the sample is kept."""

    place = key("where it is kept")


class Seen(Strict):
    """What is seen of a bag."""

    condition = several(one_of("one", CONDITIONS), "what is seen on the bag", most=len(CONDITIONS))
    seal_state = one_of("the seal; none unless said", SEAL_STATES, needed=False)
    seal_read = text("the number on the seal", needed=False, most=60)
    temperature_c = digits("degrees Celsius of the hay", needed=False)
    discrepancy = text("anything else that differs", needed=False)
    unannounced = text("why it came without being signed away", needed=False)


class Received(Seen, Doing):
    """What is seen when the sample is signed for."""


class Opened(Doing):
    """The seal as it was read."""

    seal_read = text("the number on the seal as read", most=60)


class Thrown(Doing):
    """How the rest was thrown away."""

    method = text("how")


class Lost(Doing):
    """What is known of a loss."""

    circumstances = text("what is known")


def on_sample(step: Callable[..., Any], *first: str) -> Callable[..., Any]:
    """Do a step on the sample of the address. first: what the step takes by place, between sample and act.

    What is called `to` or `place` is a party's key.
    """

    def do(session: Session, act: Act, sample: str, **given: Any) -> dict[str, Any]:
        found = sample_named(session, sample)
        for name in ("to", "place"):
            if name in given:
                given[name] = party(session, given[name], field=name)
        event = step(session, found, *(given.pop(name) for name in first), act, **given)
        return stands(session, found, event)

    return do


def _sample_act(
    name: str, words: str, scope: str, do: Callable[..., Any], given: type[Doing], roles: Any = STAFF
) -> None:
    act(name, f"/samples/<sample>/{name}", words, scope, do, Stands, given=given, roles=roles)


_sample_act("hand-over", "Sign a sample away.", "intake", on_sample(relinquish, "to"), Over)
_sample_act(
    "refuse-hand-over", "Decline a sample signed away to you.", "intake", on_sample(refuse_transfer), Because
)
_sample_act("cancel-hand-over", "Call off a hand-over.", "intake", on_sample(cancel_transfer), Because)
_sample_act("receive", "Sign for a sample.", "intake", on_sample(receive), Received)
_sample_act(
    "break-seal", "Read the seal and open the bag.", "intake", on_sample(break_seal, "seal_read"), Opened, LAB
)
_sample_act("store", "Put a sample in a place that holds it.", "intake", on_sample(store, "place"), Place)
_sample_act("take-out", "Take a sample out of its place.", "intake", on_sample(take_out), Nothing)
_sample_act("hold", "Stop testing until somebody decides.", "lab", on_sample(hold), Because)
_sample_act("lift-hold", "Decide that it may go on.", "lab", on_sample(lift_hold), Because, LAB)
_sample_act("archive", "Keep what remains.", "lab", on_sample(archive, "place"), Place, LAB)
_sample_act("dispose", "Throw away what remains.", "lab", on_sample(dispose), Thrown, LAB)
_sample_act("give-back", "Give what remains back to its owner.", "lab", on_sample(give_back), Because, LAB)
_sample_act("lost", "Say that a sample is lost.", "intake", on_sample(lose), Lost)
_sample_act(
    "cancel", "Call off a sample that was planned and not cored.", "field", on_sample(cancel), Because
)
