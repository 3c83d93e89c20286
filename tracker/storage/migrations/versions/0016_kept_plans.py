"""Season plans are kept as they were made, with what they rest on."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows, words_may_be_erased

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

APPEND_ONLY = ("kept_plan",)


def upgrade() -> None:
    op.create_table(
        "kept_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("producer_id", sa.Integer(), nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("rests_on", sa.Text(), nullable=False),
        sa.Column("told", sa.Text(), nullable=False),
        sa.Column("paper", sa.LargeBinary(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_kept_plan_by_party")),
        sa.ForeignKeyConstraint(
            ["producer_id"], ["producer.id"], name=op.f("fk_kept_plan_producer_id_producer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_plan")),
    )
    op.create_index(op.f("ix_kept_plan_producer_id"), "kept_plan", ["producer_id"])
    only_grows(*APPEND_ONLY)
    words_may_be_erased("kept_plan", ("id", "producer_id", "by", "at"), "plans", "old.id")
