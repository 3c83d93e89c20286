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


def goes_when_disposed(table: str, what: str, since: str) -> None:
    """Let rows go whose disposal is recorded: `what` is the kind of record the event names, `since` when a row began.

    since: an expression over `old`. The guard against deletion is put anew; the others stay.
    """
    sqlite = op.get_bind().dialect.name == "sqlite"
    part = "json_extract(data, '$.{}')" if sqlite else "(data::json ->> '{}')"
    before = part.format("before") if sqlite else f"{part.format('before')}::timestamp"
    recorded = (
        f"select 1 from event where kind = 'data disposed' and {part.format('what')} = '{what}' "
        f"and {since} < {before}"
    )
    if sqlite:
        op.execute(f"drop trigger if exists {table}_no_delete")
        op.execute(
            f"create trigger {table}_no_delete before delete on {table} when not exists ({recorded}) "
            f"begin select raise(abort, '{table} only grows'); end"
        )
        return
    op.execute(
        f"create or replace function {table}_may_go() returns trigger language plpgsql as $$ "
        f"begin if exists ({recorded}) then return old; end if; "
        "raise exception using errcode = '23000', message = tg_table_name || ' only grows'; end $$"
    )
    op.execute(f"drop trigger if exists {table}_no_delete on {table}")
    op.execute(
        f"create trigger {table}_no_delete before delete on {table} for each row execute function {table}_may_go()"
    )
