"""The words that fields, producers and tags are found by, made for those that are there."""

import sqlalchemy as sa
from alembic import op

from tracker.domain.search_text import words_of

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

BY_CODE_POINT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def upgrade() -> None:
    table = op.create_table(
        "search_word",
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("word", BY_CODE_POINT, nullable=False),
        sa.Column("subject_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.CheckConstraint("kind in ('field', 'producer', 'tag')", name=op.f("ck_search_word_kind")),
        sa.PrimaryKeyConstraint("kind", "word", "subject_id", name=op.f("pk_search_word")),
    )
    op.create_index("ix_search_word_kind_subject_id_word", "search_word", ["kind", "subject_id", "word"])
    found = op.get_bind()
    rows = []
    for producer in found.execute(sa.text("select id, name, place from producer")):
        rows += _rows("producer", producer.id, words_of(producer.name, producer.place))
    fields = "select f.id, f.name, p.name, p.place from field f join producer p on p.id = f.producer_id"
    for field_id, *names in found.execute(sa.text(fields)):
        rows += _rows("field", field_id, words_of(*names))
    for tag in found.execute(sa.text("select id, code from tag")):
        rows += _rows("tag", tag.id, {tag.code[4:]})
    if rows:
        op.bulk_insert(table, rows)


def _rows(kind: str, subject_id: int, words: set[str] | frozenset[str]) -> list[dict[str, object]]:
    return [{"kind": kind, "word": word, "subject_id": subject_id} for word in words]
