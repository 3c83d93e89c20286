"""The season's papers: tags, sack labels, coring cards, oven sheets, reports, and the ways as pictures."""

from __future__ import annotations

import json

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.demo.bench import runs
from tracker.demo.season import SETTINGS, Progress, Season
from tracker.lookups.issued_reports import issued_report
from tracker.lookups.oven_load import load_named
from tracker.lookups.planned import planned
from tracker.papers.coring_card import card_of, coring_card
from tracker.papers.lot_report import lot_report
from tracker.papers.oven_sheet import oven_sheet
from tracker.papers.tag_sheet import Layout, Office, write_sack_labels, write_tags, write_test_page
from tracker.storage.intake import OvenLoad
from tracker.storage.results import ReportVersion

OFFICE = Office(SETTINGS.programme, SETTINGS.phone, SETTINGS.base_url)
PAPERS = ("phone", "a5", "half-letter")


def write_papers(season: Season, progress: Progress) -> None:
    """Write everything into the season's folder."""
    for name in ("cards", "oven", "reports", "results"):
        (season.folder / name).mkdir(exist_ok=True)
    for name, _, content in runs(season):
        (season.folder / "results" / name).write_bytes(content)
    tags = season.folder / "tags.pdf"
    write_tags(
        tags,
        OFFICE,
        season.run,
        season.printed,
        Layout("a4-2x4"),
        lambda done, of: progress("Tags", done, of),
    )
    write_test_page(season.folder / "test-page.pdf", Layout("a4-2x4"))
    with season.database.read() as session:
        _cards(season, session, progress)
        _oven(season, session)
        _reports(season, session, progress)


def _cards(season: Season, session: Session, progress: Progress) -> None:
    sacks: list[tuple[str, tuple[str, ...]]] = []
    keys = [row["lot"] for row in season.rows("coring.csv")]
    codes = {row["lot"]: row["code"] for row in season.rows("coring.csv")}
    for done, key in enumerate(keys, start=1):
        found = planned(session, season.sample(session, key))
        card = card_of(found)
        paper = PAPERS[done % len(PAPERS)]
        coring_card(season.folder / "cards" / f"lot-{found.lot:02d}-{paper}.pdf", card, paper)
        if codes[key]:
            sacks.append(
                (
                    codes[key],
                    (f"lot {found.lot}", f"{found.facts.forage_kind}, cutting {found.facts.cutting}"),
                )
            )
        progress("Coring cards", done, len(keys))
    write_sack_labels(season.folder / "sack-labels.pdf", OFFICE, sacks, Layout("a4-2x7"))


def _oven(season: Season, session: Session) -> None:
    for name in session.scalars(select(OvenLoad.name).order_by(OvenLoad.id)).all():
        oven_sheet(season.folder / "oven" / f"load-{name}.pdf", load_named(session, name))


def _reports(season: Season, session: Session, progress: Progress) -> None:
    wanted = select(ReportVersion.sample_id, ReportVersion.version).order_by(ReportVersion.id)
    issued = session.execute(wanted).all()
    for done, (sample_id, version) in enumerate(issued, start=1):
        report = issued_report(session, sample_id, version)
        path = season.folder / "reports" / report.number
        lot_report(path.with_name(f"{path.name}.pdf"), report.body, report.proof)
        text = json.dumps(report.body, ensure_ascii=False, indent=1)
        path.with_name(f"{path.name}.json").write_text(text, encoding="utf-8")
        progress("Reports", done, len(issued))
