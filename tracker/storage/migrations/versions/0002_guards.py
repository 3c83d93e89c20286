"""Guards: the database itself refuses to change or take away what is observed or has happened."""

from tracker.storage.migrations.guards import only_grows

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
    only_grows(*APPEND_ONLY)
