"""What a phone sent, its answer and what it is called may be written anew, once an event says it is erased."""

from tracker.storage.migrations.guards import words_may_be_erased

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

# What never changes of it: whose it was, when, and the hash by which it is known again.
FIELD_ENTRY = (
    "event_id",
    "device",
    "number",
    "kind",
    "who",
    "by",
    "device_time",
    "offset_ms",
    "clock_jumped",
    "clock_basis",
    "clock_slow_ms",
    "clock_doubted",
    "clock_words",
    "occurred_at",
    "occurred_offset",
    "received_at",
    "source",
    "via",
    "replaces",
    "body_hash",
)
FIELD_ANSWER = ("event_id", "answer", "at", "code", "field", "made", "contested")
FIELD_CONTACT = ("id", "device", "via", "sent_at", "slow_ms", "unsent", "by", "at")


def upgrade() -> None:
    words_may_be_erased("field_entry", FIELD_ENTRY, "field_entries", "old.event_id")
    words_may_be_erased("field_answer", FIELD_ANSWER, "field_entries", "old.event_id")
    words_may_be_erased("field_contact", FIELD_CONTACT, "field_contacts", "old.id")
