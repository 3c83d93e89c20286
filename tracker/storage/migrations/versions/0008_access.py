"""The second factor, the log of comings and refusals, and what may go once its disposal is recorded."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import goes_when_disposed, only_grows, words_may_be_erased

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

APPEND_ONLY = ("access_entry",)
# Of an event whose words an event says are erased, the words may be written anew; of these nothing ever changes.
EVENT = (
    "seq",
    "event_id",
    "kind",
    "lot_id",
    "sample_id",
    "tag_id",
    "occurred_at",
    "occurred_offset",
    "recorded_at",
    "by",
    "role",
)
# What a recorded disposal lets go: the table, the kind of record it names, when the row came about, and what an event
# that erases words lists such rows under.
GOES_WHEN_DISPOSED = (
    ("access_entry", "sign-ins", "old.at", ""),
    ("kept_refusal", "refusals", "old.at", "refusals"),
    ("photo", "photos", "(select recorded_at from event where event_id = old.event_id)", ""),
)


def upgrade() -> None:
    op.create_table(
        "second_factor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("confirmed_at", sa.DateTime(), nullable=True),
        sa.Column("last_step", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_second_factor_account_id_account")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_second_factor")),
        sa.UniqueConstraint("account_id", name=op.f("uq_second_factor_account_id")),
    )
    op.create_table(
        "recovery_code",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("code_hash", sa.Text(), nullable=False),
        sa.Column("used_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_recovery_code_account_id_account")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recovery_code")),
        sa.UniqueConstraint("code_hash", name=op.f("uq_recovery_code_code_hash")),
    )
    with op.batch_alter_table("recovery_code", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recovery_code_account_id"), ["account_id"], unique=False)
    op.create_table(
        "access_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_access_entry")),
    )
    with op.batch_alter_table("access_entry", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_access_entry_at"), ["at"], unique=False)
    only_grows(*APPEND_ONLY)
    words_may_be_erased("event", EVENT, "entries", "old.seq")
    for table, what, since, erased in GOES_WHEN_DISPOSED:
        goes_when_disposed(table, what, since, erased)
