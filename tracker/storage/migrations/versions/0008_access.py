"""The second factor, the log of comings and refusals, and what may go once its disposal is recorded."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import goes_when_disposed, only_grows

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

APPEND_ONLY = ("access_entry",)
# What a recorded disposal lets go: the table, the kind of record it names, and when the row came about.
GOES_WHEN_DISPOSED = (
    ("access_entry", "sign-ins", "old.at"),
    ("kept_refusal", "refusals", "old.at"),
    ("photo", "photos", "(select recorded_at from event where event_id = old.event_id)"),
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
    for table, what, since in GOES_WHEN_DISPOSED:
        goes_when_disposed(table, what, since)
