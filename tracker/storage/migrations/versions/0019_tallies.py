"""What the programme's figures count, kept where it happens and made for what is there already."""

import json
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from itertools import islice
from types import SimpleNamespace
from typing import Any

import sqlalchemy as sa
from alembic import op

from tracker.domain.coring import CoringPlan
from tracker.domain.receipt_reasons import label_error
from tracker.storage.hay_counts import CODES
from tracker.storage.search_words import BY_CODE_POINT
from tracker.storage.tallies import coring_counted, weighed_twice

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None

# Rows that are in memory at a time.
AT_ONCE = 5_000


def upgrade() -> None:
    _make_counts()
    _make_tallies()
    _make_indexes()
    connection = op.get_bind()
    _count_hay(connection)
    for table, rows in (
        ("coring_tally", _corings(connection)),
        ("label_tally", _labels(connection)),
        ("answer_time", _answers(connection)),
        ("dry_again", _twice(connection)),
    ):
        into = sa.Table(table, sa.MetaData(), autoload_with=connection)
        while some := list(islice(rows, AT_ONCE)):
            connection.execute(into.insert(), some)


def _make_counts() -> None:
    for table, last, kind in (("hay_count", "value", sa.Text()), ("hay_share", "producer_id", sa.Integer())):
        told = sa.Column(last, kind, autoincrement=False, nullable=False)
        more = () if last == "value" else (_points("hay_share", "producer_id", "producer.id"),)
        op.create_table(
            table,
            sa.Column("grouped", sa.Text(), nullable=False),
            sa.Column("season", sa.Integer(), autoincrement=False, nullable=False),
            sa.Column("code", sa.Text(), nullable=False),
            sa.Column("name", sa.Text(), nullable=False),
            told,
            sa.Column("lots", sa.Integer(), nullable=False),
            *more,
            sa.PrimaryKeyConstraint("grouped", "season", "code", "name", last, name=op.f(f"pk_{table}")),
        )
    op.create_index("ix_hay_share_most", "hay_share", ["grouped", "season", "code", "name", "lots"])


def _make_tallies() -> None:
    op.create_table(
        "coring_tally",
        sa.Column("season", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("cores", sa.Integer(), nullable=False),
        sa.Column("few", sa.Boolean(), nullable=False),
        sa.Column("turned", sa.Boolean(), nullable=False),
        sa.Column("otherwise", sa.Boolean(), nullable=False),
        sa.Column("margin", sa.Text(), nullable=False),
        _points("coring_tally", "seq", "event.seq"),
        sa.PrimaryKeyConstraint("season", "seq", name=op.f("pk_coring_tally")),
    )
    op.create_table(
        "label_tally",
        sa.Column("season", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("wrong", sa.Boolean(), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        _points("label_tally", "seq", "event.seq"),
        sa.PrimaryKeyConstraint("season", "wrong", "seq", name=op.f("pk_label_tally")),
    )
    op.create_table(
        "answer_time",
        sa.Column("sample_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("season", sa.Integer(), nullable=False),
        sa.Column("cored_at", sa.DateTime(), nullable=False),
        sa.Column("received_at", sa.DateTime(), nullable=True),
        sa.Column("reported_at", sa.DateTime(), nullable=False),
        sa.Column("from_coring", sa.Integer(), nullable=False),
        sa.Column("from_receipt", sa.Integer(), nullable=True),
        _points("answer_time", "sample_id", "sample.id"),
        sa.PrimaryKeyConstraint("sample_id", name=op.f("pk_answer_time")),
    )
    op.create_table(
        "dry_again",
        sa.Column("sample_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("season", sa.Integer(), nullable=False),
        sa.Column("first", sa.Text(), nullable=False),
        sa.Column("second", sa.Text(), nullable=False),
        sa.Column("hay", sa.Text(), nullable=True),
        sa.Column("balance", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("apart", BY_CODE_POINT, nullable=False),
        sa.Column("percent", BY_CODE_POINT, nullable=True),
        _points("dry_again", "sample_id", "sample.id"),
        sa.PrimaryKeyConstraint("sample_id", name=op.f("pk_dry_again")),
    )


def _points(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    name = f"fk_{table}_{column}_{target.partition('.')[0]}"
    return sa.ForeignKeyConstraint([column], [target], name=op.f(name))


def _make_indexes() -> None:
    counted = ["season", "cores", "few", "turned", "otherwise", "margin"]
    op.create_index("ix_coring_tally_counted", "coring_tally", counted)
    op.create_index("ix_answer_time_from_coring", "answer_time", ["season", "from_coring", "sample_id"])
    op.create_index("ix_answer_time_from_receipt", "answer_time", ["season", "from_receipt"])
    op.create_index("ix_dry_again_apart", "dry_again", ["season", "apart", "sample_id"])
    op.create_index("ix_dry_again_percent", "dry_again", ["season", "percent"])
    op.create_index("ix_lot_season", "lot", ["season"])
    op.create_index("ix_kept_refusal_code", "kept_refusal", ["code", "id", "at"])
    _some("ix_weighing_again", "weighing", ["sample_id"], "what = 'dry again'")
    ended = "'reported', 'archived', 'cancelled', 'disposed', 'returned', 'lost'"
    under_way = ["last_at", "sample_id", "state", "hold"]
    _some("ix_standing_under_way", "standing", under_way, f"(state not in ({ended}) or hold is not null)")


def _some(name: str, table: str, columns: list[str], which: str) -> None:
    of = sa.text(which)
    op.create_index(name, table, columns, sqlite_where=of, postgresql_where=of)


def _count_hay(connection: sa.Connection) -> None:
    codes = ", ".join(f"'{code}'" for code in CODES)
    newest = (
        "select max(v.sample_id) from released_value v join sample s on s.id = v.sample_id group by s.lot_id"
    )
    values = (
        "select l.season, l.forage, l.cutting, p.place, p.id as producer_id, v.code, v.value "
        f"from (select sample_id, code, value from released_value where code in ({codes}) "
        "union all select distinct sample_id, '', '' from released_value) v "
        "join sample s on s.id = v.sample_id join lot l on l.id = s.lot_id "
        "join field f on f.id = l.field_id join producer p on p.id = f.producer_id "
        f"where v.sample_id in ({newest})"
    )
    for table, last in (("hay_count", "value"), ("hay_share", "producer_id")):
        for grouped, name in (
            ("all", "''"),
            ("forage", "forage"),
            ("cutting", "cast(cutting as text)"),
            ("area", "place"),
        ):
            connection.execute(
                sa.text(
                    f"insert into {table} (grouped, season, code, name, {last}, lots) "
                    f"select '{grouped}', season, code, {name}, {last}, count(*) from ({values}) counted "
                    "group by 2, 3, 4, 5"
                )
            )


def _corings(connection: sa.Connection) -> Iterator[dict[str, Any]]:
    corings = connection.execute(
        sa.text(
            "select l.season, e.seq, e.sample_id, e.data from event e join lot l on l.id = e.lot_id "
            "where e.kind = 'cored' order by e.seq"
        )
    )
    plan = sa.text("select body from coring_plan where sample_id = :sample and version = :version")
    for season, seq, sample, text in corings.all():
        done = json.loads(text)
        body = connection.scalar(plan, {"sample": sample, "version": int(done["plan"])})
        yield {
            "season": season,
            "seq": seq,
            **coring_counted(done, CoringPlan.from_dict(json.loads(body or "{}"))),
        }


def _labels(connection: sa.Connection) -> Iterator[dict[str, Any]]:
    told = connection.execute(
        sa.text(
            "select l.season, e.seq, e.kind, e.data from event e join lot l on l.id = e.lot_id where e.kind in "
            "('bagged', 'tag replaced', 'tag contested', 'received', 'transfer refused') order by e.seq"
        )
    )
    for season, seq, kind, text in told.all():
        wrong = bool(label_error(kind, json.loads(text)))
        if wrong or kind == "bagged":
            yield {"season": season, "seq": seq, "wrong": wrong}


def _answers(connection: sa.Connection) -> Iterator[dict[str, Any]]:
    when = "select min(e.occurred_at) from event e where e.sample_id = r.sample_id and e.kind"
    found = connection.execute(
        sa.text(
            f"select r.sample_id, l.season, ({when} = 'cored') as cored_at, "
            f"({when} = 'received' and e.role <> 'technician') as received_at, r.issued_at as reported_at "
            "from report_version r join sample s on s.id = r.sample_id join lot l on l.id = s.lot_id "
            "where r.version = 1"
        )
    )
    for row in found.mappings().all():
        cored, received, reported = (
            _moment(row[name]) for name in ("cored_at", "received_at", "reported_at")
        )
        if cored is None or reported is None:
            continue
        times = {"cored_at": cored, "received_at": received, "reported_at": reported}
        yield {
            **row,
            **times,
            "from_coring": int((reported - cored).total_seconds()),
            "from_receipt": None if received is None else int((reported - received).total_seconds()),
        }


def _twice(connection: sa.Connection) -> Iterator[dict[str, Any]]:
    found = connection.execute(
        sa.text(
            "select w.sample_id, l.season, w.what, w.grams, w.zeroed, w.balance, w.weighed_at "
            "from weighing w join sample s on s.id = w.sample_id join lot l on l.id = s.lot_id "
            "where w.sample_id in (select sample_id from weighing where what = 'dry again') "
            "and not exists (select 1 from weighing c where c.corrects_id = w.id) "
            "and not exists (select 1 from undone u where u.event_id = w.event_id) order by w.id"
        )
    )
    mine: dict[tuple[int, int], dict[str, Any]] = {}
    for sample, season, what, grams, zeroed, balance, at in found.all():
        read = SimpleNamespace(grams=Decimal(grams), zeroed=zeroed, balance=balance, weighed_at=_moment(at))
        mine.setdefault((sample, season), {})[what] = read
    for (sample, season), weighed in mine.items():
        row = weighed_twice(weighed)
        if row:
            digits = {name: None if row[name] is None else format(row[name], "f") for name in _DIGITS}
            yield {"sample_id": sample, "season": season, **row, **digits}


_DIGITS = ("first", "second", "hay")


def _moment(kept: Any) -> datetime | None:
    """A moment as either database gives it; SQLite gives text."""
    return datetime.fromisoformat(kept) if isinstance(kept, str) else kept
