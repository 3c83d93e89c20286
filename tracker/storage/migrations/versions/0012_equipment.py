"""What is known of ovens, mills and instruments, in versions, and why a balance changed."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

APPEND_ONLY = ("equipment_version",)


def upgrade() -> None:
    op.create_table(
        "equipment_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.Column("in_use", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("kind in ('oven', 'mill', 'instrument')", name=op.f("ck_equipment_version_kind")),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_equipment_version_by_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_equipment_version")),
        sa.UniqueConstraint("kind", "name", "version", name=op.f("uq_equipment_version_kind")),
    )
    op.add_column("balance", sa.Column("reason", sa.Text(), server_default="", nullable=False))
    only_grows(*APPEND_ONLY)
