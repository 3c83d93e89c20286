"""The programme describes an oven, a mill or an instrument of its bench."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import Refused
from tracker.steps.add_people import named
from tracker.steps.print_tags import require_reason
from tracker.storage.equipment import EquipmentVersion, equipment_in_force

KINDS = ("oven", "mill", "instrument")


def set_equipment(
    session: Session, kind: str, name: str, act: Act, *, facts: str, reason: str, in_use: bool = True
) -> EquipmentVersion:
    """Keep what is known of it from now on as its next version; what stood before stays for what rests on it.

    name: as people write it beside a load or a grind. Raises Refused `equipment-kind`, `name-missing`,
    `equipment-facts`, `reason-missing`, `nothing-changed`.
    """
    if kind not in KINDS:
        raise Refused(
            "equipment-kind",
            f"{kind!r} is no kind of equipment that is described here.",
            field="kind",
            remedy=f"Choose from {', '.join(KINDS)}; a balance is described on the page Balances.",
        )
    name, facts = named(name), facts.strip()
    if not facts:
        raise Refused(
            "equipment-facts",
            f"Nothing is said of {name}.",
            field="facts",
            remedy="Write what stands on its plate and what matters for the work: size, range, screens.",
        )
    require_reason(reason)
    before = equipment_in_force(session, kind, name)
    if before is not None and (before.facts, before.in_use) == (facts, in_use):
        raise Refused(
            "nothing-changed",
            f"{name} is described so already.",
            field="facts",
            remedy="Nothing needs doing.",
        )
    row = EquipmentVersion(
        kind=kind,
        name=name,
        version=before.version + 1 if before else 1,
        facts=facts,
        in_use=in_use,
        reason=reason.strip(),
        by=act.by.key,
        at=act.now,
    )
    session.add(row)
    session.flush()
    return row
