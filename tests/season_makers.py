"""A season of feeding in the tests: a producer's released lots, groups and prices."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tests.makers import act
from tests.result_files import Bench, done, release, row, taken_in, written
from tracker.steps.keep_group import keep_group
from tracker.steps.set_feed import set_feed

GROUPS = {
    "spring cows": {"kind": "cow", "head": "2", "weight_lb": "1275", "calving": "2027-03-01"},
    "bulls": {"kind": "bull", "head": "1", "weight_lb": "1900"},
}
PRICES = {"soybean-hulls": "220", "distillers-grains": "240", "corn": "190"}


def make_season(bench: Bench, lots: int = 3) -> None:
    """Oda Meadow's first lots released, her groups put down, three feeds priced."""

    def line(place: int, code: str) -> dict[str, str]:
        share = {"CP": 9 + 3 * place, "ADF": 42 - 3 * place, "NDF": 66 - 4 * place}
        return row(code, **{f"{name}_pc_DM": f"{value}.0" for name, value in share.items()})

    taken_in(bench, written([line(place, code) for place, code in enumerate(bench.codes[:lots])]))

    def step(session: Session) -> None:
        for sample in bench.samples[:lots]:
            release(session, sample)
        for name, values in GROUPS.items():
            keep_group(session, "Oda Meadow", name, values, act(session, "lena", 1600), reason="told")
        for key, price in PRICES.items():
            set_feed(session, key, {"price_ton": price}, act(session, "lena", 1600), reason="this week")

    done(bench.season, step)
