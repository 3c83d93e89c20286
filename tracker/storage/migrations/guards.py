"""Guards of the tables that only grow: the database itself refuses to change or take away a row.

A migration that makes such a table names it in its own APPEND_ONLY and ends with `only_grows(*APPEND_ONLY)`; the
table is entered in `tracker.storage.schema.APPEND_ONLY` too. On PostgreSQL a table can also be emptied at one
stroke (TRUNCATE), and whoever owns it can take its guards off; the second is what grants are for (grants.py).
"""

from __future__ import annotations

from collections.abc import Sequence

from alembic import op

# One function for all tables; 23000 is the class of broken integrity, as SQLite calls it too.
REFUSE = """
create or replace function only_grows() returns trigger language plpgsql as $$
begin raise exception using errcode = '23000', message = tg_table_name || ' only grows'; end $$
"""


def only_grows(*tables: str) -> None:
    """Put the guards on these tables, in the words of the database that is being made."""
    if _on_sqlite():
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


def goes_when_disposed(table: str, what: str, since: str, erased: str = "") -> None:
    """Let rows go whose disposal is recorded: `what` is the kind of record the event names, `since` when a row began.

    since: an expression over `old`; erased: what a `words erased` event lists rows of this table under, if it does.
    The guard against deletion is put anew; the others stay.
    """
    part = _part("data")
    before = part.format("before") if _on_sqlite() else f"{part.format('before')}::timestamp"
    may = (
        f"exists (select 1 from event where kind = 'data disposed' and {part.format('what')} = '{what}' "
        f"and {since} < {before})"
    )
    _let(table, "delete", f"{may} or {_erased(erased, 'old.id')}" if erased else may, "old")


def words_may_be_erased(table: str, stays: Sequence[str], what: str, of: str) -> None:
    """Let the words of a row be written anew once an event says that they are erased; what `stays` never changes."""
    same = "is" if _on_sqlite() else "is not distinct from"
    unchanged = " and ".join(f'old."{name}" {same} new."{name}"' for name in stays)
    _let(table, "update", f"{unchanged} and {_erased(what, of)}", "new")


def _erased(what: str, of: str) -> str:
    each = (
        f"json_each(event.data, '$.{what}') as one"
        if _on_sqlite()
        else f"json_array_elements_text(event.data::json -> '{what}') as one(value)"
    )
    return (
        f"exists (select 1 from event, {each} "
        f"where event.kind = 'words erased' and one.value = cast({of} as text))"
    )


def _let(table: str, change: str, may: str, back: str) -> None:
    """Put the guard against this change anew, with what may be; back: the row that a change that may be leaves."""
    name = f"{table}_no_{change}"
    if _on_sqlite():
        op.execute(f"drop trigger if exists {name}")
        op.execute(
            f"create trigger {name} before {change} on {table} when not ({may}) "
            f"begin select raise(abort, '{table} only grows'); end"
        )
        return
    op.execute(
        f"create or replace function {table}_may_{change}() returns trigger language plpgsql as $$ "
        f"begin if {may} then return {back}; end if; "
        "raise exception using errcode = '23000', message = tg_table_name || ' only grows'; end $$"
    )
    op.execute(f"drop trigger if exists {name} on {table}")
    op.execute(
        f"create trigger {name} before {change} on {table} for each row execute function {table}_may_{change}()"
    )


def _part(column: str) -> str:
    """A pattern for one text of a column that holds JSON."""
    return f"json_extract({column}, '$.{{}}')" if _on_sqlite() else f"({column}::json ->> '{{}}')"


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"
