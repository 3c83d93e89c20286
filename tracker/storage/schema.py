"""Every table, for whoever needs the whole: the migrations, and the test that holds them against these rows."""

from __future__ import annotations

from tracker.storage import (
    access,
    analysis,
    bundles,
    coring,
    custody,
    equipment,
    intake,
    kept,
    log,
    lots,
    people,
    results,
    runs,
    tags,
)
from tracker.storage.base import Base

METADATA = Base.metadata
ROOMS = (
    kept,
    people,
    access,
    bundles,
    equipment,
    lots,
    coring,
    tags,
    custody,
    log,
    intake,
    analysis,
    runs,
    results,
)

# What is observed or has happened is added and never changed or taken away; the migrations put a guard on each.
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
    "undone",
    "balance",
    "balance_check",
    "run_list",
    "check_limit",
    "check_reading",
    "set_aside",
    "load_closed",
    "tare_batch",
    "photo",
    "log_entry",
    "log_node",
    "log_head",
    "kept_bundle",
    "kept_paper",
)
