"""The programme describes its ovens, mills and instruments, and what was done on one remembers which version."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, make_dried, make_in_oven, make_weighed, refused
from tracker.steps.dry import load_oven
from tracker.steps.grind import grind
from tracker.steps.set_equipment import set_equipment
from tracker.storage.custody import events_of
from tracker.storage.engine import Database
from tracker.storage.equipment import EquipmentVersion, equipment_in_force, equipment_versions

GOOD = {"kind": "oven", "name": "oven 1", "facts": "240 litres, to 120 °C", "reason": "on its plate"}


def described(session: Session, **changes: object) -> EquipmentVersion:
    given = {**GOOD, **changes}
    kind, name = str(given.pop("kind")), str(given.pop("name"))
    return set_equipment(session, kind, name, act(session, "lena", 0), **given)  # type: ignore[arg-type]


def test_each_change_is_a_version_and_the_earlier_one_stays(season: Database) -> None:
    done(season, described)
    done(season, lambda s: described(s, facts="240 litres, new fan", reason="repaired"))
    done(season, lambda s: described(s, facts="240 litres, new fan", reason="sold", in_use=False))
    with season.read() as session:
        rows = [(row.version, row.facts, row.in_use, row.by) for row in equipment_versions(session)]
        now = equipment_in_force(session, "oven", "oven 1")
        assert now is not None and now.reason == "sold"
    assert rows == [
        (1, "240 litres, to 120 °C", True, "lena"),
        (2, "240 litres, new fan", True, "lena"),
        (3, "240 litres, new fan", False, "lena"),
    ]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"kind": "balance"}, "equipment-kind"),
        ({"name": "  "}, "name-missing"),
        ({"facts": " "}, "equipment-facts"),
        ({"reason": ""}, "reason-missing"),
    ],
)
def test_a_description_without_a_name_words_or_a_reason_is_refused(
    season: Database, changes: dict[str, str], code: str
) -> None:
    assert refused(season, lambda s: described(s, **changes)).code == code


def test_the_same_description_again_is_no_version(season: Database) -> None:
    done(season, described)
    assert refused(season, described).code == "nothing-changed"


def test_a_load_remembers_the_version_of_its_oven(season: Database) -> None:
    def baked(session: Session) -> list[dict[str, object]]:
        make_in_oven(session, field="Before", load="L-1")
        described(session)
        described(session, facts="new thermostat")
        sample = make_weighed(session, field="After")
        load_oven(session, "L-2", [sample], act(session, "carl", 600), oven="oven 1", set_celsius="55")
        return [dict(event.data) for event in events_of(session, sample.id) if event.kind == "oven in"]

    (data,) = done(season, baked)
    assert (data["oven"], data["oven_version"]) == ("oven 1", "2")


def test_a_grind_remembers_the_version_of_its_mill_and_one_on_an_unknown_mill_remembers_none(
    season: Database,
) -> None:
    def ground(session: Session) -> list[dict[str, object]]:
        described(session, kind="mill", name="mill 1", facts="2 mm screen")
        found = []
        for number, mill in enumerate(("mill 1", "mill 9")):
            sample = make_dried(session, field=f"F{number}", load=f"L-{number}")
            found.append(
                grind(session, sample, "coarse", act(session, "carl", 6000 + number), mill=mill).data
            )
        return found

    known, unknown = done(season, ground)
    assert known["mill_version"] == "1" and "mill_version" not in unknown
