"""Guards: the database itself refuses to change or take away what is observed or has happened."""

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

APPEND_ONLY = (
    "event",
    "kept_refusal",
    "practice_value",
    "coring_plan",
    "print_run",
    "weighing",
    "source_map",
    "result_file",
    "analysis",
    "result_value",
    "parked_row",
    "parked_answer",
    "report_version",
)


def upgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        raise NotImplementedError(
            "the guards are written for SQLite; see docs/decisions for the server database"
        )
    for table in APPEND_ONLY:
        for change in ("update", "delete"):
            op.execute(
                f"create trigger {table}_no_{change} before {change} on {table} "
                f"begin select raise(abort, '{table} only grows'); end"
            )
