"""What stands of a person in links, messages and what phones sent may be written anew once an event says so."""

from tracker.storage.migrations.guards import words_may_be_erased

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

# The table, what an event lists its rows under, the row's key, and what of it stays whatever an event says.
ERASABLE = (
    ("message_choice", "message_choices", "id", "id producer_id channel choice by at"),
    ("message", "messages", "id", "id producer_id sample_id link_id kind about attempt channel made_at"),
    ("message_fate", "messages", "message_id", "id message_id fate at"),
    ("result_link", "links", "id", "id token_hash kind producer_id lot_id until made_by made_at"),
    (
        "field_entry",
        "field_entries",
        "event_id",
        "event_id device number kind who by device_time offset_ms clock_jumped clock_basis "
        "clock_slow_ms clock_doubted clock_words occurred_at occurred_offset received_at "
        "source via replaces body_hash",
    ),
    ("field_answer", "field_entries", "event_id", "event_id answer at code field made contested"),
    ("field_contact", "field_contacts", "id", "id device via sent_at slow_ms unsent by at"),
)


def upgrade() -> None:
    for table, what, key, stays in ERASABLE:
        words_may_be_erased(table, stays.split(), what, f"old.{key}")
