"""Samples that were analysed several times, and lots sampled so, are found without looking at all others."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

APPEND_ONLY = ("repeated_sample",)


def upgrade() -> None:
    op.create_table(
        "repeated_sample",
        sa.Column("sample_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_repeated_sample_sample_id_sample")
        ),
        sa.PrimaryKeyConstraint("sample_id", name=op.f("pk_repeated_sample")),
    )
    op.execute(
        "insert into repeated_sample select sample_id from analysis group by sample_id having count(*) > 1"
    )
    several = sa.text("number > 1")
    op.create_index("ix_sample_several", "sample", ["lot_id"], sqlite_where=several, postgresql_where=several)
    only_grows(*APPEND_ONLY)
