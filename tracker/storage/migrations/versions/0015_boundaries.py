"""Where fields lie, beyond one point: their boundaries, each as it was brought in."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows, words_may_be_erased

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

APPEND_ONLY = ("field_boundary",)


def upgrade() -> None:
    op.create_table(
        "field_boundary",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_id", sa.Integer(), nullable=False),
        sa.Column("polygons", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_field_boundary_by_party")),
        sa.ForeignKeyConstraint(["field_id"], ["field.id"], name=op.f("fk_field_boundary_field_id_field")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_field_boundary")),
    )
    op.create_index(op.f("ix_field_boundary_field_id"), "field_boundary", ["field_id"])
    only_grows(*APPEND_ONLY)
    words_may_be_erased("field_boundary", ("id", "field_id", "by", "at"), "boundaries", "old.id")
