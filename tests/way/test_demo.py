"""The invented season from end to end: what it leaves can be read, decoded and recomputed from the fixtures."""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Decimal
from math import sqrt
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from sqlalchemy import func, select

from labels.payload import prefix, token_hash
from tracker.cli import main
from tracker.custody_check import check
from tracker.demo import play
from tracker.demo.bench import runs
from tracker.demo.feeding import BUYER, MONTHS, WINTER
from tracker.demo.season import SETTINGS, Season, fixtures_folder
from tracker.errors import Refused
from tracker.files.heads_file import read_heads
from tracker.lookups.bench_queue import waiting
from tracker.lookups.kept_refusals import parked_rows, refusals
from tracker.lookups.log_audit import audit
from tracker.lookups.lots import lots
from tracker.lookups.season_plan import season_of
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.schema import METADATA
from tracker.storage.tags import Tag

DPI = 203
WALK = Path(__file__).parents[2] / "docs" / "walk-through.md"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Season]:
    season = play(tmp_path_factory.mktemp("season") / "demo", lambda what, done, total: None)
    yield season
    season.database.close()


def rows(name: str) -> list[dict[str, str]]:
    with (fixtures_folder() / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def reports(demo: Season) -> dict[str, dict[str, Any]]:
    paths = (demo.folder / "reports").glob("*.json")
    return {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in paths}


def counts(season: Season) -> dict[str, int]:
    with season.database.read() as session:
        return {
            name: session.scalar(select(func.count()).select_from(table)) or 0
            for name, table in METADATA.tables.items()
        }


def test_the_season_has_forty_lots_of_three_shapes_and_several_forages(demo: Season) -> None:
    with demo.database.read() as session:
        found = lots(session)
    assert len(found) >= 40
    assert {lot.bale_shape for lot in found} == {"round", "large square", "small square"}
    assert len({lot.forage for lot in found}) >= 6


def test_the_mishaps_of_the_season_left_their_traces(demo: Season) -> None:
    with demo.database.read() as session:
        kept = [refusal.code for refusal in refusals(session)]
        parked = parked_rows(session, answered=True)
        states = Counter(session.scalars(select(StandingRow.state)))
        holds = [hold for hold in session.scalars(select(StandingRow.hold)) if hold]
        events = session.scalars(select(EventRow.data)).all()
    assert demo.refused == []
    assert kept == ["lot-too-large"]
    problems = sorted(problem["code"] for row in parked for problem in row.problems)
    assert problems == ["code-check", "not-a-number", "sample-twice-in-file", "unknown-tag"]
    assert all(row.answer for row in parked)
    assert states["lost"] == 1
    assert any("dry hay weighs" in hold for hold in holds) and any("GH 3.42" in hold for hold in holds)
    said = json.dumps(events)
    for words in ("LM004685", "broken", "12 h it may not be dry", "set to 65 C"):
        assert words in said


def test_what_waits_at_the_end_waits_where_the_fixtures_left_it(demo: Season) -> None:
    with demo.database.read() as session:
        left = Counter(one.waits_for for one in waiting(session))
    assert left == {
        "coring": 1,
        "hand-over": 1,
        "weighing in": 1,
        "the oven": 1,
        "the end of drying": 2,
        "the fine grind": 1,
        "a decision on its hold": 2,
    }


def test_the_log_has_no_holes(demo: Season) -> None:
    with demo.database.read() as session:
        numbers = session.scalars(select(EventRow.seq).order_by(EventRow.seq)).all()
    assert list(numbers) == list(range(1, len(numbers) + 1))


def decoded(path: Path) -> list[str]:
    """Every QR text in the PDF, read by an independent reader from its pages at 203 dpi."""
    document = pypdfium2.PdfDocument(path)
    found = []
    for page in document:
        image = page.render(scale=DPI / 72, grayscale=True).to_numpy()
        found += [
            symbol.text for symbol in zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode)
        ]
        page.close()
    document.close()
    return found


def test_every_tag_of_the_season_decodes_to_its_own_address(demo: Season) -> None:
    start = prefix(SETTINGS.base_url)
    read = Counter(decoded(demo.folder / "tags.pdf"))
    expected = Counter({f"{start}{code}": 2 for code, _ in demo.printed})
    expected.update({f"{start}{token}": 1 for _, token in demo.printed})
    assert read == expected
    with demo.database.read() as session:
        kept = {tag.code: tag.token_hash for tag in session.scalars(select(Tag))}
    assert {code: token_hash(token) for code, token in demo.printed} == kept


def test_every_sack_label_decodes_to_its_bag(demo: Season) -> None:
    codes = {row["code"] for row in rows("coring.csv") if row["code"]}
    assert {text.rsplit("/", 1)[1] for text in decoded(demo.folder / "sack-labels.pdf")} == codes


def shown(value: Decimal | float, places: int) -> str:
    return str(Decimal(value).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP))


def test_every_reported_dry_matter_follows_from_the_fixtures_by_hand(
    reports: dict[str, dict[str, Any]],
) -> None:
    weights = {row["lot"]: row for row in rows("bench.csv")}
    keys = {row["code"]: row["lot"] for row in rows("coring.csv")}
    keys["9MQBN5YX"] = "L24"
    lab = {row["Sample"]: row["Dry matter %"] for row in reversed(rows("results_bench_nir.csv"))}
    # The code that was mistyped at the instrument, and put right in the office.
    lab["YR1FXWS6"] = lab["YR10XWS6"]
    assert len(reports) >= 32
    for number, body in reports.items():
        code = number.split("-")[1]
        row = weights[keys[code]]
        tare, fresh, dry = (Decimal(row[name]) for name in ("tare_g", "fresh_gross_g", "dry_gross_g"))
        said = body["dry_matter"]
        total = (dry - tare) / (fresh - tare) * Decimal(lab[code])
        places = len(said["total"].partition(".")[2])
        assert said["total"] == shown(total, places), number
        for result in body["results"]:
            if result["ar"] is not None and result["basis_given"] == "dry matter" and not result["outside"]:
                by_hand = Decimal(result["value_given"]) * total / 100
                assert result["ar"] == shown(by_hand, result["decimals"]), (number, result["code"])


def test_the_walk_through_adds_up_and_the_report_says_so(reports: dict[str, dict[str, Any]]) -> None:
    lines = re.findall(r"^    (.+?) = (.+) = ([0-9.]+)$", WALK.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(lines) >= 18
    for what, sum_, result in lines:
        places = len(result.partition(".")[2])
        # Nothing but digits, operators and sqrt may stand in the document's sums.
        assert re.fullmatch(r"[0-9+\-*/(). ]+", sum_.replace("sqrt", "")), what
        value = eval(sum_, {"__builtins__": {}}, {"sqrt": sqrt})
        assert shown(Decimal(repr(value)), places) == result, what
    told = {what: result for what, _, result in lines}
    body = reports["R-M2R19MBS-v1"]
    results = {row["code"]: row for row in body["results"]}
    derived = {row["code"]: row["value"] for row in body["derived"]}
    dm = body["dry_matter"]
    assert told == {
        "fresh hay, g": dm["fresh_net_g"],
        "dry hay, g": dm["dry_net_g"],
        "partial dry matter, %": dm["partial"],
        "total dry matter, %": dm["total"],
        "margin of the partial dry matter, 95 %": dm["partial_margin"],
        "from the dry weight": told["from the dry weight"],
        "from the fresh weight": told["from the fresh weight"],
        "from the tare": told["from the tare"],
        "CP as received, %": results["CP"]["ar"],
        "ADF as received, %": results["ADF"]["ar"],
        "NDF as received, %": results["NDF"]["ar"],
        "margin of the total dry matter, 95 %": dm["total_margin"],
        "sampling error of ADF": told["sampling error of ADF"],
        "sampling error of NDF": told["sampling error of NDF"],
        "margin of RFV, 95 %": next(row["margin"] for row in body["derived"] if row["code"] == "RFV"),
        "margin of CP, 95 %": results["CP"]["margin"],
        "margin of NDF, 95 %": results["NDF"]["margin"],
        "NFC": derived["NFC"],
        "DDM": derived["DDM"],
        "DMI": derived["DMI"],
        "RFV": derived["RFV"],
        "TDN for RFQ": derived["TDN-RFQ-legume"],
        "DMI for RFQ": derived["DMI-RFQ-legume"],
        "RFQ": derived["RFQ"],
    }


def text_of(path: Path) -> list[str]:
    document = pypdfium2.PdfDocument(path)
    texts = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    return texts


def test_every_report_has_its_number_on_each_page_and_an_end(demo: Season) -> None:
    for path in (demo.folder / "reports").glob("*.pdf"):
        pages = text_of(path)
        for number, text in enumerate(pages, start=1):
            assert path.stem in text and f"page {number} of {len(pages)}" in text, path.name
        assert f"End of report {path.stem}" in pages[-1]


def test_the_cautions_of_the_season_reach_the_reports(reports: dict[str, dict[str, Any]]) -> None:
    topics = {caution["topic"] for body in reports.values() for caution in body["cautions"]}
    assert {"nitrate", "heat damage"} <= topics


def test_a_night_on_an_unlocked_porch_is_said_on_the_report(reports: dict[str, dict[str, Any]]) -> None:
    (gap,) = reports["R-F11P12SC-v1"]["gaps"]
    assert "17 h 5 min" in gap and "not kept locked" in gap


def test_a_second_version_names_the_first_and_marks_what_is_new(reports: dict[str, dict[str, Any]]) -> None:
    body = reports["R-7VKVM4Q2-v2"]
    assert body["report"]["replaces"] == "R-7VKVM4Q2-v1"
    changed = {row["code"] for row in body["results"] if row["changed"]}
    assert changed == {"NO3-N"}


def test_taking_in_every_file_again_changes_nothing(demo: Season, capsys: pytest.CaptureFixture[str]) -> None:
    before = counts(demo)
    for name, _, _ in runs(demo):
        path = demo.folder / "results" / name
        asked = ["import-analyses", "bench NIR 1", str(path), "--by", "maud-ashgrove", "--json"]
        assert main([*asked, "--database", demo.database.url]) == 0
        assert json.loads(capsys.readouterr().out)["known"] is True
    assert counts(demo) == before


def test_the_demonstration_makes_its_own_folder_anew_and_touches_no_other(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine")
    with pytest.raises(Refused) as refused:
        play(tmp_path, lambda what, done, total: None)
    assert refused.value.code == "folder-not-empty" and (tmp_path / "letters.txt").exists()


# From excellent to unfit, on 15 December: lot, group, and the verdict. L22 is mostly straw with 2,670 mg/kg NO3-N.
ANSWERED = (
    ("L01", "spring cows", "enough"),
    ("L03", "fall cows", "enough-if-eaten"),
    ("L04", "fall cows", "add"),
    ("L13", "fall cows", "add"),
    ("L15", "spring cows", "not-alone"),
    ("L22", "spring cows", "not-this"),
)


@pytest.mark.parametrize(("lot", "group", "verdict"), ANSWERED)
def test_the_season_answers_from_excellent_to_unfit(demo: Season, lot: str, group: str, verdict: str) -> None:
    path = demo.folder / "answers" / f"lot-{demo.lots[lot]:02d}.json"
    found = json.loads(path.read_text(encoding="utf-8"))[group]
    assert found["verdict"] == verdict
    if verdict == "add":
        assert found["cheapest"]["parts"] and found["cost"] and "$" in found["what_to_add"]
        assert any(one["safe"] for one in found["supplements"])
    elif verdict.startswith("not"):
        assert found["reasons"] and found["supplements"] == []


def test_every_released_lot_of_a_producer_with_animals_has_its_answers(demo: Season) -> None:
    producers = {row["producer"] for row in rows("groups.csv")}
    with demo.database.read() as session:
        owned = {
            line.lot for line in lots(session) if line.producer in producers and line.state == "reported"
        }
    answered = {int(path.stem.removeprefix("lot-")) for path in (demo.folder / "answers").glob("*.json")}
    assert owned and answered == owned


def test_every_report_of_the_season_proves_itself_and_the_log_is_clean(demo: Season) -> None:
    reports = sorted((demo.folder / "reports").glob("*.pdf"))
    assert len(reports) >= 30
    key_file = demo.database.key_file
    assert key_file is not None
    key = key_file.key()
    assert key is not None
    for path in reports:
        assert check(path.read_bytes(), str(key.public))["report"] == path.stem
    with demo.database.read() as session:
        found = audit(
            session, key.known, [(path.name, read_heads(path.name, path.read_bytes())[0]) for path in reports]
        )
    assert found.faults == []
    assert found.outside == len(reports)


def test_twelve_lots_four_groups_and_six_months_are_planned_and_printed(demo: Season) -> None:
    # Two plans of one problem: whole lots can only be worse, and what is eaten, lost and left is what was baled.
    offers = {demo.lots[row["lot"]]: Decimal(row["price_ton"]) for row in rows("hay_offers.csv")}
    with demo.database.read() as session:
        asked = season_of(session, BUYER, WINTER, MONTHS, offers)
    assert (len(asked.stacks), len(asked.groups), len(asked.months)) == (12, 4, 6)
    shares, whole = asked.plan(), asked.plan(one_lot=True)
    assert shares.short == whole.short == ()
    costs = [plan.supplement_cost + plan.hay_cost for plan in (shares, whole)]
    assert 0 < costs[0] <= costs[1]
    for use in shares.lots:
        parts = use.eaten + use.lost_in_feeding + use.lost_in_store + use.left
        assert float(parts) == pytest.approx(float(use.stack.tons), abs=1e-3)
    assert (demo.folder / "season-plan.pdf").read_bytes().startswith(b"%PDF")
