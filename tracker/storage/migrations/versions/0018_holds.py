"""The samples on hold are few, and found without looking at all that is done and over."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    held = sa.text("hold is not null")
    op.create_index("ix_standing_held", "standing", ["sample_id"], sqlite_where=held, postgresql_where=held)
