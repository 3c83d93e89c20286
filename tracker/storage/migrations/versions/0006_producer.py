"""Links to results, what became of their tokens, who opened them, and messages to producers."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

APPEND_ONLY = (
    "result_link",
    "token_change",
    "opening",
    "message_choice",
    "message",
    "message_fate",
)


def upgrade() -> None:
    op.create_table(
        "result_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("producer_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("until", sa.Date(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("kind in ('adviser', 'message')", name=op.f("ck_result_link_kind")),
        sa.ForeignKeyConstraint(
            ["producer_id"], ["producer.id"], name=op.f("fk_result_link_producer_id_producer")
        ),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_result_link_lot_id_lot")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_result_link")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_result_link_token_hash")),
    )
    with op.batch_alter_table("result_link", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_result_link_producer_id"), ["producer_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_result_link_lot_id"), ["lot_id"], unique=False)

    op.create_table(
        "token_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("change", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("change in ('paused', 'resumed', 'revoked')", name=op.f("ck_token_change_change")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token_change")),
    )
    with op.batch_alter_table("token_change", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_token_change_token_hash"), ["token_hash"], unique=False)

    op.create_table(
        "opening",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("came_from", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint(
            "what in ('page', 'animals', 'pdf', 'csv', 'links', 'nothing')", name=op.f("ck_opening_what")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_opening")),
    )
    with op.batch_alter_table("opening", schema=None) as batch_op:
        batch_op.create_index("ix_opening_came_from_at", ["came_from", "at"], unique=False)
        batch_op.create_index("ix_opening_token_hash_at", ["token_hash", "at"], unique=False)
    _messages()
    only_grows(*APPEND_ONLY)


def _messages() -> None:
    op.create_table(
        "message_choice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("producer_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("choice", sa.Text(), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("channel in ('e-mail')", name=op.f("ck_message_choice_channel")),
        sa.CheckConstraint("choice in ('wanted', 'stopped')", name=op.f("ck_message_choice_choice")),
        sa.ForeignKeyConstraint(
            ["producer_id"], ["producer.id"], name=op.f("fk_message_choice_producer_id_producer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_message_choice")),
    )
    with op.batch_alter_table("message_choice", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_message_choice_producer_id"), ["producer_id"], unique=False)

    op.create_table(
        "message",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("producer_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("link_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("kind in ('ready', 'replaced', 'refused')", name=op.f("ck_message_kind")),
        sa.ForeignKeyConstraint(
            ["producer_id"], ["producer.id"], name=op.f("fk_message_producer_id_producer")
        ),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_message_sample_id_sample")),
        sa.ForeignKeyConstraint(["link_id"], ["result_link.id"], name=op.f("fk_message_link_id_result_link")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_message")),
        sa.UniqueConstraint("sample_id", "kind", "about", "attempt", name=op.f("uq_message_sample_id")),
    )
    with op.batch_alter_table("message", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_message_producer_id"), ["producer_id"], unique=False)

    op.create_table(
        "message_fate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("fate", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("fate in ('sent', 'failed')", name=op.f("ck_message_fate_fate")),
        sa.ForeignKeyConstraint(
            ["message_id"], ["message.id"], name=op.f("fk_message_fate_message_id_message")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_message_fate")),
        sa.UniqueConstraint("message_id", name=op.f("uq_message_fate_message_id")),
    )
