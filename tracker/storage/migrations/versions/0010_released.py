"""The numbers of each sample's latest report, made for the reports that are there."""

import json

import sqlalchemy as sa
from alembic import op

from tracker.storage.released import numbers_of

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    table = op.create_table(
        "released_value",
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_released_value_sample_id_sample")
        ),
        sa.PrimaryKeyConstraint("sample_id", "code", name=op.f("pk_released_value")),
    )
    latest = sa.text(
        "select r.sample_id, r.body from report_version r where r.version ="
        " (select max(v.version) from report_version v where v.sample_id = r.sample_id)"
    )
    for sample_id, body in op.get_bind().execute(latest).all():
        rows = [
            {"sample_id": sample_id, "code": code, "value": format(value, "f")}
            for code, value in numbers_of(json.loads(body))
        ]
        if rows:
            op.bulk_insert(table, rows)
