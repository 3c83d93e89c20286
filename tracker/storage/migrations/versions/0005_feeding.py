"""The programme's own values of feeds, and the producers' groups of animals."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

APPEND_ONLY = ("feed_version", "group_version")


def upgrade() -> None:
    op.create_table(
        "feed_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("values", sa.Text(), nullable=False),
        sa.Column("given", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_feed_version_by_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_feed_version")),
        sa.UniqueConstraint("key", "version", name=op.f("uq_feed_version_key")),
    )
    op.create_table(
        "group_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("producer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("head", sa.Integer(), nullable=False),
        sa.Column("weight_lb", sa.Text(), nullable=False),
        sa.Column("calving", sa.Date(), nullable=True),
        sa.Column("peak_milk_lb", sa.Text(), nullable=True),
        sa.Column("condition", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("head >= 0", name=op.f("ck_group_version_head")),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_group_version_by_party")),
        sa.ForeignKeyConstraint(
            ["producer_id"], ["producer.id"], name=op.f("fk_group_version_producer_id_producer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_group_version")),
        sa.UniqueConstraint("producer_id", "name", "version", name=op.f("uq_group_version_producer_id")),
    )
    only_grows(*APPEND_ONLY)
