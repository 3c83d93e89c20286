"""Programs that talk to the office, and the first answers to their acts."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

APPEND_ONLY = ("api_client", "api_client_end", "api_answer")


def upgrade() -> None:
    op.create_table(
        "api_client",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("party_key", sa.Text(), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["party_key"], ["party.key"], name=op.f("fk_api_client_party_key_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_client")),
        sa.UniqueConstraint("name", name=op.f("uq_api_client_name")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_api_client_token_hash")),
    )
    with op.batch_alter_table("api_client", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_client_party_key"), ["party_key"], unique=False)
    op.create_table(
        "api_client_end",
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"], ["api_client.id"], name=op.f("fk_api_client_end_client_id_api_client")
        ),
        sa.PrimaryKeyConstraint("client_id", name=op.f("pk_api_client_end")),
    )
    op.create_table(
        "api_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("body_hash", sa.Text(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"], ["api_client.id"], name=op.f("fk_api_answer_client_id_api_client")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_answer")),
        sa.UniqueConstraint("client_id", "key", name=op.f("uq_api_answer_client_id")),
    )
    only_grows(*APPEND_ONLY)
