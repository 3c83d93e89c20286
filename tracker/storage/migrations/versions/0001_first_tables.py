"""The tables of the first season: people, lots, plans, tags, the log, the bench, analyses and reports."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "kept_refusal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("given", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("remedy", sa.Text(), nullable=False),
        sa.Column("field", sa.Text(), nullable=True),
        sa.Column("line", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_refusal")),
    )
    op.create_table(
        "oven_load",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("oven", sa.Text(), nullable=False),
        sa.Column("set_celsius", sa.Text(), nullable=False),
        sa.Column("in_at", sa.DateTime(), nullable=False),
        sa.Column("out_at", sa.DateTime(), nullable=True),
        sa.Column("offset_minutes", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oven_load")),
        sa.UniqueConstraint("name", name=op.f("uq_oven_load_name")),
    )
    op.create_table(
        "party",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("secure", sa.Boolean(), nullable=False),
        sa.Column("added_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("kind in ('person', 'place', 'carrier')", name=op.f("ck_party_kind")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_party")),
        sa.UniqueConstraint("key", name=op.f("uq_party_key")),
    )
    op.create_table(
        "practice_value",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_practice_value")),
    )
    with op.batch_alter_table("practice_value", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_practice_value_rule"), ["rule"], unique=False)

    op.create_table(
        "print_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("layout", sa.Text(), nullable=False),
        sa.Column("base_url", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("printed_by", sa.Text(), nullable=False),
        sa.Column("printed_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_print_run")),
    )
    op.create_table(
        "producer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("email", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("added_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_producer")),
        sa.UniqueConstraint("name", name=op.f("uq_producer_name")),
    )
    op.create_table(
        "source",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("added_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("kind in ('instrument', 'laboratory')", name=op.f("ck_source_kind")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_source")),
        sa.UniqueConstraint("name", name=op.f("uq_source_name")),
    )
    op.create_table(
        "field",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("producer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("latitude", sa.Text(), nullable=True),
        sa.Column("longitude", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["producer_id"], ["producer.id"], name=op.f("fk_field_producer_id_producer")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_field")),
        sa.UniqueConstraint("producer_id", "name", name=op.f("uq_field_producer_id")),
    )
    op.create_table(
        "source_map",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_source_map_by_party")),
        sa.ForeignKeyConstraint(["source_id"], ["source.id"], name=op.f("fk_source_map_source_id_source")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_source_map")),
        sa.UniqueConstraint("source_id", "version", name=op.f("uq_source_map_source_id")),
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_id", sa.Integer(), nullable=False),
        sa.Column("season", sa.Integer(), nullable=False),
        sa.Column("cutting", sa.Integer(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("forage", sa.Text(), nullable=False),
        sa.Column("harvested", sa.Date(), nullable=False),
        sa.Column("bale_shape", sa.Text(), nullable=False),
        sa.Column("bale_count", sa.Integer(), nullable=False),
        sa.Column("bale_mass", sa.Text(), nullable=True),
        sa.Column("bale_mass_unit", sa.Text(), nullable=False),
        sa.Column("storage", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("registered_at", sa.DateTime(), nullable=False),
        sa.Column("registered_by", sa.Text(), nullable=False),
        sa.CheckConstraint("bale_count > 0", name=op.f("ck_lot_bales")),
        sa.CheckConstraint("cutting > 0", name=op.f("ck_lot_cutting")),
        sa.ForeignKeyConstraint(["field_id"], ["field.id"], name=op.f("fk_lot_field_id_field")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("field_id", "season", "cutting", "part", name=op.f("uq_lot_field_id")),
    )
    op.create_table(
        "result_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("map_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sheet", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_result_file_by_party")),
        sa.ForeignKeyConstraint(["map_id"], ["source_map.id"], name=op.f("fk_result_file_map_id_source_map")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_result_file")),
        sa.UniqueConstraint("sha256", "map_id", "sheet", name=op.f("uq_result_file_sha256")),
    )
    op.create_table(
        "parked_row",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("sample_text", sa.Text(), nullable=False),
        sa.Column("cells", sa.Text(), nullable=False),
        sa.Column("problems", sa.Text(), nullable=False),
        sa.Column("suggestions", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["file_id"], ["result_file.id"], name=op.f("fk_parked_row_file_id_result_file")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_parked_row")),
        sa.UniqueConstraint("file_id", "line", name=op.f("uq_parked_row_file_id")),
    )
    op.create_table(
        "sample",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_sample_lot_id_lot")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sample")),
        sa.UniqueConstraint("lot_id", "number", name=op.f("uq_sample_lot_id")),
    )
    op.create_table(
        "coring_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("issued_at", sa.DateTime(), nullable=False),
        sa.Column("issued_by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_coring_plan_sample_id_sample")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coring_plan")),
        sa.UniqueConstraint("sample_id", "version", name=op.f("uq_coring_plan_sample_id")),
    )
    with op.batch_alter_table("coring_plan", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_coring_plan_sample_id"), ["sample_id"], unique=False)

    op.create_table(
        "oven_place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["load_id"], ["oven_load.id"], name=op.f("fk_oven_place_load_id_oven_load")),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_oven_place_sample_id_sample")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oven_place")),
        sa.UniqueConstraint("load_id", "position", name=op.f("uq_oven_place_load_id")),
        sa.UniqueConstraint("sample_id", "load_id", name=op.f("uq_oven_place_sample_id")),
    )
    with op.batch_alter_table("oven_place", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_oven_place_sample_id"), ["sample_id"], unique=False)

    op.create_table(
        "standing",
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("holder", sa.Text(), nullable=True),
        sa.Column("transfer_to", sa.Text(), nullable=True),
        sa.Column("hold", sa.Text(), nullable=True),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("seal", sa.Text(), nullable=True),
        sa.Column("last_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["holder"], ["party.key"], name=op.f("fk_standing_holder_party")),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_standing_sample_id_sample")),
        sa.ForeignKeyConstraint(["transfer_to"], ["party.key"], name=op.f("fk_standing_transfer_to_party")),
        sa.PrimaryKeyConstraint("sample_id", name=op.f("pk_standing")),
    )
    with op.batch_alter_table("standing", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_standing_code"), ["code"], unique=False)
        batch_op.create_index("ix_standing_state_last_at", ["state", "last_at"], unique=False)

    op.create_table(
        "tag",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("sample_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("issued_to", sa.Text(), nullable=True),
        sa.CheckConstraint("state in ('printed', 'issued', 'bound', 'void')", name=op.f("ck_tag_state")),
        sa.ForeignKeyConstraint(["issued_to"], ["party.key"], name=op.f("fk_tag_issued_to_party")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_tag_lot_id_lot")),
        sa.ForeignKeyConstraint(["run_id"], ["print_run.id"], name=op.f("fk_tag_run_id_print_run")),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_tag_sample_id_sample")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tag")),
        sa.UniqueConstraint("code", name=op.f("uq_tag_code")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_tag_token_hash")),
    )
    with op.batch_alter_table("tag", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tag_issued_to"), ["issued_to"], unique=False)
        batch_op.create_index(batch_op.f("ix_tag_lot_id"), ["lot_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_tag_run_id"), ["run_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_tag_sample_id"), ["sample_id"], unique=False)

    op.create_table(
        "event",
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("sample_id", sa.Integer(), nullable=True),
        sa.Column("tag_id", sa.Integer(), nullable=True),
        sa.Column("occurred_at", sa.DateTime(), nullable=False),
        sa.Column("occurred_offset", sa.Integer(), nullable=False),
        sa.Column("device_at", sa.Text(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("late_reason", sa.Text(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_event_by_party")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_event_lot_id_lot")),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_event_sample_id_sample")),
        sa.ForeignKeyConstraint(["tag_id"], ["tag.id"], name=op.f("fk_event_tag_id_tag")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_event")),
        sa.UniqueConstraint("event_id", name=op.f("uq_event_event_id")),
    )
    with op.batch_alter_table("event", schema=None) as batch_op:
        batch_op.create_index("ix_event_lot_id_seq", ["lot_id", "seq"], unique=False)
        batch_op.create_index("ix_event_sample_id_seq", ["sample_id", "seq"], unique=False)
        batch_op.create_index(batch_op.f("ix_event_tag_id"), ["tag_id"], unique=False)

    op.create_table(
        "analysis",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("scanned_at", sa.Text(), nullable=True),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["event_id"], ["event.event_id"], name=op.f("fk_analysis_event_id_event")),
        sa.ForeignKeyConstraint(
            ["file_id"], ["result_file.id"], name=op.f("fk_analysis_file_id_result_file")
        ),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_analysis_sample_id_sample")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_analysis")),
        sa.UniqueConstraint("event_id", name=op.f("uq_analysis_event_id")),
    )
    with op.batch_alter_table("analysis", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_analysis_file_id"), ["file_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_analysis_sample_id"), ["sample_id"], unique=False)

    op.create_table(
        "report_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("issued_at", sa.DateTime(), nullable=False),
        sa.Column("issued_by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["event_id"], ["event.event_id"], name=op.f("fk_report_version_event_id_event")
        ),
        sa.ForeignKeyConstraint(["issued_by"], ["party.key"], name=op.f("fk_report_version_issued_by_party")),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_report_version_sample_id_sample")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_report_version")),
        sa.UniqueConstraint("event_id", name=op.f("uq_report_version_event_id")),
        sa.UniqueConstraint("number", name=op.f("uq_report_version_number")),
        sa.UniqueConstraint("sample_id", "version", name=op.f("uq_report_version_sample_id")),
    )
    op.create_table(
        "weighing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("grams", sa.Text(), nullable=False),
        sa.Column("zeroed", sa.Boolean(), nullable=False),
        sa.Column("step", sa.Text(), nullable=True),
        sa.Column("batch_n", sa.Integer(), nullable=True),
        sa.Column("batch_sd", sa.Text(), nullable=True),
        sa.Column("balance", sa.Text(), nullable=False),
        sa.Column("weighed_at", sa.DateTime(), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "what in ('tare', 'fresh', 'dry', 'dry again', 'composite')", name=op.f("ck_weighing_what")
        ),
        sa.ForeignKeyConstraint(
            ["corrects_id"], ["weighing.id"], name=op.f("fk_weighing_corrects_id_weighing")
        ),
        sa.ForeignKeyConstraint(["event_id"], ["event.event_id"], name=op.f("fk_weighing_event_id_event")),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_weighing_sample_id_sample")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weighing")),
        sa.UniqueConstraint("corrects_id", name=op.f("uq_weighing_corrects_id")),
        sa.UniqueConstraint("event_id", name=op.f("uq_weighing_event_id")),
    )
    with op.batch_alter_table("weighing", schema=None) as batch_op:
        batch_op.create_index("ix_weighing_balance_id", ["balance", "id"], unique=False)
        batch_op.create_index(batch_op.f("ix_weighing_sample_id"), ["sample_id"], unique=False)

    op.create_table(
        "parked_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("parked_id", sa.Integer(), nullable=False),
        sa.Column("analysis_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["analysis_id"], ["analysis.id"], name=op.f("fk_parked_answer_analysis_id_analysis")
        ),
        sa.ForeignKeyConstraint(["by"], ["party.key"], name=op.f("fk_parked_answer_by_party")),
        sa.ForeignKeyConstraint(
            ["parked_id"], ["parked_row.id"], name=op.f("fk_parked_answer_parked_id_parked_row")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_parked_answer")),
        sa.UniqueConstraint("parked_id", name=op.f("uq_parked_answer_parked_id")),
    )
    op.create_table(
        "result_value",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("analysis_id", sa.Integer(), nullable=False),
        sa.Column("constituent", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("calibration", sa.Text(), nullable=False),
        sa.Column("qualifier", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["analysis_id"], ["analysis.id"], name=op.f("fk_result_value_analysis_id_analysis")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_result_value")),
        sa.UniqueConstraint("analysis_id", "constituent", name=op.f("uq_result_value_analysis_id")),
    )
