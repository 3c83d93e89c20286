"""Guards of the tables that only grow: the database itself refuses to change or take away a row.

A migration that makes such a table names it in its own APPEND_ONLY and ends with `only_grows(*APPEND_ONLY)`; the
table is entered in `tracker.storage.schema.APPEND_ONLY` too. On PostgreSQL a table can also be emptied at one
stroke (TRUNCATE), and whoever owns it can take its guards off; the second is what grants are for (grants.py).
"""

from __future__ import annotations

from alembic import op

# One function for all tables; 23000 is the class of broken integrity, as SQLite calls it too.
REFUSE = """
create or replace function only_grows() returns trigger language plpgsql as $$
begin raise exception using errcode = '23000', message = tg_table_name || ' only grows'; end $$
"""


def only_grows(*tables: str) -> None:
    """Put the guards on these tables, in the words of the database that is being made."""
    if op.get_bind().dialect.name == "sqlite":
        for table in tables:
            for change in ("update", "delete"):
                op.execute(
                    f"create trigger {table}_no_{change} before {change} on {table} "
                    f"begin select raise(abort, '{table} only grows'); end"
                )
        return
    op.execute(REFUSE)
    for table in tables:
        for change, each in (("update", "row"), ("delete", "row"), ("truncate", "statement")):
            op.execute(
                f"create trigger {table}_no_{change} before {change} on {table} "
                f"for each {each} execute function only_grows()"
            )
