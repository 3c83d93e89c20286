"""Who may sign in, what was taken back, balances and their checks, instrument runs, check samples, uploads."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

APPEND_ONLY = (
    "undone",
    "balance",
    "balance_check",
    "run_list",
    "check_limit",
    "check_reading",
    "set_aside",
    "load_closed",
    "tare_batch",
    "photo",
)


def upgrade() -> None:
    op.create_table(
        "attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attempt")),
    )
    with op.batch_alter_table("attempt", schema=None) as batch_op:
        batch_op.create_index("ix_attempt_key_at", ["key", "at"], unique=False)

    op.create_table(
        "upload",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_upload")),
    )
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("party_key", sa.Text(), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["party_key"], ["party.key"], name=op.f("fk_account_party_key_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("party_key", name=op.f("uq_account_party_key")),
    )
    op.create_table(
        "balance",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("route", sa.Text(), nullable=False),
        sa.Column("profile", sa.Text(), nullable=False),
        sa.Column("check_weight", sa.Text(), nullable=False),
        sa.Column("limit", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("route in ('typed', 'keyboard', 'serial')", name=op.f("ck_balance_route")),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_balance_by_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_balance")),
    )
    with op.batch_alter_table("balance", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_balance_name"), ["name"], unique=False)

    op.create_table(
        "check_limit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source_id", sa.Integer(), nullable=False),
        sa.Column("check_name", sa.Text(), nullable=False),
        sa.Column("constituent", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("mean", sa.Text(), nullable=False),
        sa.Column("sigma", sa.Text(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_check_limit_by_party")),
        sa.ForeignKeyConstraint(["source_id"], ["source.id"], name=op.f("fk_check_limit_source_id_source")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_limit")),
        sa.UniqueConstraint(
            "source_id", "check_name", "constituent", "version", name=op.f("uq_check_limit_source_id")
        ),
    )
    op.create_table(
        "run_list",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("source_id", sa.Integer(), nullable=False),
        sa.Column("check_name", sa.Text(), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_run_list_by_party")),
        sa.ForeignKeyConstraint(["source_id"], ["source.id"], name=op.f("fk_run_list_source_id_source")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run_list")),
        sa.UniqueConstraint("name", name=op.f("uq_run_list_name")),
    )
    op.create_table(
        "access_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.Column("used_at", sa.DateTime(), nullable=True),
        sa.CheckConstraint("purpose in ('invite', 'reset')", name=op.f("ck_access_link_purpose")),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_access_link_account_id_account")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_access_link")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_access_link_token_hash")),
    )
    with op.batch_alter_table("access_link", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_access_link_account_id"), ["account_id"], unique=False)

    op.create_table(
        "balance_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("balance_id", sa.Integer(), nullable=False),
        sa.Column("zero", sa.Text(), nullable=False),
        sa.Column("shown", sa.Text(), nullable=False),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["balance_id"], ["balance.id"], name=op.f("fk_balance_check_balance_id_balance")
        ),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_balance_check_by_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_balance_check")),
    )
    with op.batch_alter_table("balance_check", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_balance_check_balance_id"), ["balance_id"], unique=False)

    op.create_table(
        "signed_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("begun_at", sa.DateTime(), nullable=False),
        sa.Column("seen_at", sa.DateTime(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_signed_in_account_id_account")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signed_in")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_signed_in_token_hash")),
    )
    with op.batch_alter_table("signed_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_signed_in_account_id"), ["account_id"], unique=False)

    op.create_table(
        "check_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("source_id", sa.Integer(), nullable=False),
        sa.Column("check_name", sa.Text(), nullable=False),
        sa.Column("constituent", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("limit_id", sa.Integer(), nullable=True),
        sa.Column("rules", sa.Text(), nullable=False),
        sa.Column("level", sa.Text(), nullable=False),
        sa.Column("scanned_at", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "level in ('none', 'in control', 'warning', 'reject')", name=op.f("ck_check_reading_level")
        ),
        sa.ForeignKeyConstraint(
            ["file_id"], ["result_file.id"], name=op.f("fk_check_reading_file_id_result_file")
        ),
        sa.ForeignKeyConstraint(
            ["limit_id"], ["check_limit.id"], name=op.f("fk_check_reading_limit_id_check_limit")
        ),
        sa.ForeignKeyConstraint(["source_id"], ["source.id"], name=op.f("fk_check_reading_source_id_source")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_reading")),
        sa.UniqueConstraint("file_id", "line", "constituent", name=op.f("uq_check_reading_file_id")),
    )
    with op.batch_alter_table("check_reading", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_check_reading_check_name"), ["check_name"], unique=False)

    op.create_table(
        "undone",
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("by_event_id", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["by_event_id"], ["event.event_id"], name=op.f("fk_undone_by_event_id_event")
        ),
        sa.ForeignKeyConstraint(["event_id"], ["event.event_id"], name=op.f("fk_undone_event_id_event")),
        sa.PrimaryKeyConstraint("event_id", name=op.f("pk_undone")),
        sa.UniqueConstraint("by_event_id", name=op.f("uq_undone_by_event_id")),
    )
    op.create_table(
        "set_aside",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_set_aside_by_party")),
        sa.ForeignKeyConstraint(
            ["place_id"], ["oven_place.id"], name=op.f("fk_set_aside_place_id_oven_place")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_set_aside")),
        sa.UniqueConstraint("place_id", name=op.f("uq_set_aside_place_id")),
    )
    op.create_table(
        "load_closed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_load_closed_by_party")),
        sa.ForeignKeyConstraint(["load_id"], ["oven_load.id"], name=op.f("fk_load_closed_load_id_oven_load")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_closed")),
        sa.UniqueConstraint("load_id", name=op.f("uq_load_closed_load_id")),
    )
    op.create_table(
        "tare_batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("readings", sa.Text(), nullable=False),
        sa.Column("balance", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_tare_batch_by_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tare_batch")),
    )
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("kind in ('image/jpeg', 'image/png')", name=op.f("ck_photo_kind")),
        sa.ForeignKeyConstraint(["event_id"], ["event.event_id"], name=op.f("fk_photo_event_id_event")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
    )
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photo_event_id"), ["event_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_photo_sha256"), ["sha256"], unique=False)

    only_grows(*APPEND_ONLY)
