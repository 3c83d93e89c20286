"""Whether a lot's hay carries the animals, and what to add."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.domain.animals import COATS, KINDS, checked
from tracker.lookups.feeding_answer import answer_for
from tracker.web.api.entry import question
from tracker.web.api.fields import Strict, digits, one_of, whole

if TYPE_CHECKING:
    from sqlalchemy.orm import Session


class Animals(Strict):
    """The animals that the hay is for."""

    kind = one_of("the kind of animals", KINDS)
    weight_lb = digits("mean full weight, lb")
    head = whole("how many", needed=False, least=1, most=100_000)
    days_since_calving = whole("days since calving, for cows with a calf", needed=False, most=365)
    days_to_calving = whole("days to calving, for cows that carry", needed=False, most=365)
    peak_milk_lb = digits("lb of milk a day at the peak, if known", needed=False)
    condition = digits("body condition, 1 (thin) to 9 (fat)", needed=False)
    effective_f = digits("degrees Fahrenheit with the wind in it", needed=False)
    coat = one_of("the coat, where it is cold", COATS, needed=False)


class Told(Schema):
    """The answer as docs/feeding.md explains it: verdict, what is short, what to add, cautions, and the basis."""

    answer = fields.Dict(required=True)


def _answer(session: Session, lot: int, **given: Any) -> dict[str, Any]:
    return {"answer": answer_for(session, lot, checked(**given)).as_dict()}


question(
    "feeding",
    "/lots/<int:lot>/feeding",
    "Whether the hay carries these animals, from its latest report.",
    _answer,
    Told,
    asked=Animals,
)
