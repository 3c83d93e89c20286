"""Lots of other seasons and offices that were taken in as bundles."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

APPEND_ONLY = ("kept_bundle", "kept_paper")


def upgrade() -> None:
    op.create_table(
        "kept_bundle",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_kept_bundle_by_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_bundle")),
        sa.UniqueConstraint("sha256", name=op.f("uq_kept_bundle_sha256")),
    )
    op.create_table(
        "kept_paper",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bundle_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["bundle_id"], ["kept_bundle.id"], name=op.f("fk_kept_paper_bundle_id_kept_bundle")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_paper")),
        sa.UniqueConstraint("bundle_id", "name", name=op.f("uq_kept_paper_bundle_id")),
    )
    only_grows(*APPEND_ONLY)
