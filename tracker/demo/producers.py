"""What the season's producers hold: the addresses behind their stubs, and a sheet for each lot with a report.

In a real season nobody has such a list: the tokens are known to the paper alone.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from labels import payload
from tracker.demo.season import SETTINGS, Progress, Season
from tracker.domain.animals import COW, animals_at
from tracker.domain.units import positive
from tracker.files.out import write_csv
from tracker.lookups.hay_advice import advice_on
from tracker.lookups.hay_page import hay_page
from tracker.lookups.tag_owner import tag_owner
from tracker.papers.hay_sheet import hay_sheet

# The animals of the sheets: the usual cow at the stage that needs most, as on the page before anybody has chosen.
STAGE, POUNDS = "early-milk", "1200"


def write_stubs(season: Season, progress: Progress) -> None:
    """Write stubs.csv, and a sheet for each lot with a report, into the season's folder."""
    folder = season.folder / "producers"
    folder.mkdir(exist_ok=True)
    rows: list[tuple[object, ...]] = [("lot", "producer", "field", "cutting", "path", "what the page says")]
    with season.database.read() as session:
        for done, (code, token) in enumerate(season.printed, start=1):
            owner = tag_owner(session, payload.shown(code))
            if owner.lot is not None:
                said = _sheet(season, session, owner.lot)
                rows.append((owner.lot, owner.producer, owner.field, owner.cutting, f"/T/{token}", said))
            progress("Producers' sheets", done, len(season.printed))
    (folder / "stubs.csv").write_bytes(write_csv(rows))


def _sheet(season: Season, session: Session, lot: int) -> str:
    shown = hay_page(session, lot, season.clock())
    animals = animals_at(COW, STAGE, positive(POUNDS, field="weight"))
    advice, why_none = advice_on(session, shown.report, animals)
    if shown.report is not None:
        path = season.folder / "producers" / f"hay-lot-{lot:02d}.pdf"
        hay_sheet(path, shown, advice, SETTINGS.programme, SETTINGS.phone)
    return advice.sentence if advice else why_none or shown.standing.words
