"""What can be wrong with a bag at the desk, what is usually done then, and what the producer is told.

The list is ours; that a laboratory keeps such a list, and says on the report under which remark it tested, is the
usage of receiving desks (ISO/IEC 17025:2017, 7.4.3). What is tested in spite of a doubt carries the doubt.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tracker.errors import Refused

ACCEPT, REMARK, HOLD, REFUSE = "accept", "accept with remark", "hold", "refuse"
ACTIONS = (ACCEPT, REMARK, HOLD, REFUSE)


@dataclass(frozen=True)
class Reason:
    """One thing that can be wrong. action: what is usually done then; sentence: what the producer is told."""

    name: str
    action: str
    sentence: str


_ALL = (
    Reason(
        "unlabelled",
        REFUSE,
        "A bag came without a tag, so we cannot say whose hay it is. Please send a new sample.",
    ),
    Reason(
        "tag unreadable", HOLD, "The tag on your bag could not be read. We are making sure which hay it is."
    ),
    Reason(
        "tag void or unknown", HOLD, "The tag on your bag is not in use. We are making sure which hay it is."
    ),
    Reason(
        "two tags on a bag", HOLD, "Your bag carries two tags. We are making sure which of them is right."
    ),
    Reason(
        "bag without paper",
        REMARK,
        "Your bag came without its paper. We test it; please send the paper after it.",
    ),
    Reason("paper without bag", HOLD, "The paper came and the bag did not. Please tell us where the bag is."),
    Reason(
        "count differs from the list",
        REMARK,
        "The box held another number of bags than was written. Yours was in it.",
    ),
    Reason(
        "wet bag or condensation", HOLD, "Your bag came wet inside. Its moisture may not be that of your hay."
    ),
    Reason(
        "torn or spilled", HOLD, "Your bag came torn. Leaf may be missing, and then the protein reads low."
    ),
    Reason(
        "mould or heating smell",
        HOLD,
        "Your sample smells of mould or heat. Please look at the stack, and call us.",
    ),
    Reason(
        "small: under 100 g",
        HOLD,
        "Your sample is small. It may not speak for the whole lot; a new one is better.",
    ),
    Reason("too small: under 50 g", REFUSE, "Your sample is too small to test. Please core the lot again."),
    Reason(
        "grab sample, not cored", HOLD, "Your sample was pulled by hand. It may not speak for the whole lot."
    ),
    Reason(
        "fewer cores than planned", REMARK, "Fewer bales were cored than planned, so the margin is wider."
    ),
    Reason("mixed lots", REFUSE, "Hay of more than one lot is in the bag. Please send one bag for each lot."),
    Reason(
        "foreign matter",
        HOLD,
        "There is soil or twine in your sample. Please tell us if the stack has it too.",
    ),
    Reason(
        "sampled more than 7 days ago",
        REMARK,
        "Your sample is more than a week old, and may have changed since.",
    ),
    Reason(
        "wrong programme",
        REFUSE,
        "Your bag is meant for another programme. Please call us, and we give it back.",
    ),
)
REASONS = {reason.name: reason for reason in _ALL}
# What the desk may find wrong with a label, of the reasons for which a bag is doubted and of what a bag looks like.
LABEL_REASONS = ("unlabelled", "tag unreadable", "tag void or unknown", "two tags on a bag")
LABEL_CONDITIONS = ("label damaged",)


def decided(name: str, action: str = "") -> tuple[Reason, str]:
    """The reason and what is done: the action chosen, or the usual one.

    Raises Refused `unknown-reason` or `unknown-action`.
    """
    reason = REASONS.get(name)
    if reason is None:
        raise Refused(
            "unknown-reason",
            f"{name!r} is not in the list of reasons.",
            field="reason",
            remedy="Choose from the list; say anything else in your own words.",
        )
    if action and action not in ACTIONS:
        raise Refused(
            "unknown-action",
            f"{action!r} is not something that is done with a bag.",
            field="action",
            remedy=f"Choose from {', '.join(ACTIONS)}.",
        )
    return reason, action or reason.action


# By these events something can be found wrong with a label.
LABEL_EVENTS = ("received", "transfer refused", "tag replaced", "tag contested")


def label_error(kind: str, data: Mapping[str, Any]) -> str:
    """What was wrong with a label, as this event of a bag says; empty where nothing was."""
    if kind == "tag replaced":
        return f"tag replaced: {data.get('reason', '')}"
    if kind == "tag contested":
        return "bound to two bags"
    if kind not in LABEL_EVENTS:
        return ""
    if data.get("reason") in LABEL_REASONS:
        return str(data["reason"])
    return next((one for one in LABEL_CONDITIONS if one in (data.get("condition") or ())), "")
