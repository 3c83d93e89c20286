"""The signed log: entries as hashed, the tree over them, signed heads, and the salts of the words."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

APPEND_ONLY = ("log_entry", "log_node", "log_head")


def upgrade() -> None:
    op.create_table(
        "log_entry",
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["seq"], ["event.seq"], name=op.f("fk_log_entry_seq_event")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_log_entry")),
    )
    op.create_table(
        "log_node",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("hash", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_log_node")),
    )
    op.create_table(
        "log_head",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_log_head")),
    )
    with op.batch_alter_table("log_head", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_log_head_size"), ["size"], unique=False)

    # The words of a person may have to be taken out one day; without its salt the entry proves nothing of them.
    op.create_table(
        "entry_salt",
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("salt", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["seq"], ["event.seq"], name=op.f("fk_entry_salt_seq_event")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_entry_salt")),
    )
    only_grows(*APPEND_ONLY)
