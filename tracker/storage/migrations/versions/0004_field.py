"""What phones sent, the office's answers, and tags that two bags carry."""

import sqlalchemy as sa
from alembic import op

from tracker.storage.migrations.guards import only_grows

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

APPEND_ONLY = ("field_contact", "field_entry", "field_answer", "tag_contest", "tag_settled")


def upgrade() -> None:
    op.create_table(
        "field_contact",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("called", sa.Text(), nullable=False),
        sa.Column("via", sa.Text(), nullable=False),
        sa.Column("sent_at", sa.Text(), nullable=True),
        sa.Column("slow_ms", sa.BigInteger(), nullable=True),
        sa.Column("unsent", sa.Integer(), nullable=True),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("via in ('sent', 'pack', 'file')", name=op.f("ck_field_contact_via")),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_field_contact_by_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_field_contact")),
    )
    with op.batch_alter_table("field_contact", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_field_contact_device"), ["device"], unique=False)

    op.create_table(
        "field_entry",
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("device_time", sa.Text(), nullable=False),
        sa.Column("offset_ms", sa.BigInteger(), nullable=True),
        sa.Column("clock_jumped", sa.Boolean(), nullable=False),
        sa.Column("clock_basis", sa.Text(), nullable=False),
        sa.Column("clock_slow_ms", sa.BigInteger(), nullable=True),
        sa.Column("clock_doubted", sa.Boolean(), nullable=False),
        sa.Column("clock_words", sa.Text(), nullable=False),
        sa.Column("occurred_at", sa.DateTime(), nullable=False),
        sa.Column("occurred_offset", sa.Integer(), nullable=False),
        sa.Column("received_at", sa.DateTime(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("via", sa.Text(), nullable=False),
        sa.Column("paper", sa.Text(), nullable=True),
        sa.Column("replaces", sa.Text(), nullable=True),
        sa.Column("body_hash", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.CheckConstraint("source in ('phone', 'paper')", name=op.f("ck_field_entry_source")),
        sa.CheckConstraint("via in ('sent', 'file')", name=op.f("ck_field_entry_via")),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_field_entry_by_party")),
        sa.PrimaryKeyConstraint("event_id", name=op.f("pk_field_entry")),
    )
    with op.batch_alter_table("field_entry", schema=None) as batch_op:
        batch_op.create_index("ix_field_entry_device_number", ["device", "number"], unique=False)
        batch_op.create_index(batch_op.f("ix_field_entry_replaces"), ["replaces"], unique=False)

    op.create_table(
        "field_answer",
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("field", sa.Text(), nullable=True),
        sa.Column("remedy", sa.Text(), nullable=True),
        sa.Column("made", sa.Text(), nullable=True),
        sa.Column("contested", sa.Boolean(), nullable=False),
        sa.Column("notices", sa.Text(), nullable=False),
        sa.CheckConstraint("answer in ('accepted', 'refused')", name=op.f("ck_field_answer_answer")),
        sa.ForeignKeyConstraint(
            ["event_id"], ["field_entry.event_id"], name=op.f("fk_field_answer_event_id_field_entry")
        ),
        sa.PrimaryKeyConstraint("event_id", name=op.f("pk_field_answer")),
    )
    op.create_table(
        "tag_contest",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tag_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_tag_contest_sample_id_sample")),
        sa.ForeignKeyConstraint(["tag_id"], ["tag.id"], name=op.f("fk_tag_contest_tag_id_tag")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tag_contest")),
        sa.UniqueConstraint("event_id", name=op.f("uq_tag_contest_event_id")),
    )
    with op.batch_alter_table("tag_contest", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tag_contest_sample_id"), ["sample_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_tag_contest_tag_id"), ["tag_id"], unique=False)

    op.create_table(
        "tag_settled",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tag_id", sa.Integer(), nullable=False),
        sa.Column("keeps_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_tag_settled_by_party")),
        sa.ForeignKeyConstraint(["keeps_id"], ["sample.id"], name=op.f("fk_tag_settled_keeps_id_sample")),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_tag_settled_sample_id_sample")),
        sa.ForeignKeyConstraint(["tag_id"], ["tag.id"], name=op.f("fk_tag_settled_tag_id_tag")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tag_settled")),
    )
    with op.batch_alter_table("tag_settled", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tag_settled_sample_id"), ["sample_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_tag_settled_tag_id"), ["tag_id"], unique=False)

    only_grows(*APPEND_ONLY)
