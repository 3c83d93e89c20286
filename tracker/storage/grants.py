"""What the account that the pages run under may do on PostgreSQL: read and add everywhere, change only what changes.

The account that makes the tables owns them and could take their guards off; the one that serves pages need not be
the same. It may not change, empty or take away what only grows, whatever becomes of the triggers.
"""

from __future__ import annotations

from sqlalchemy import Connection, inspect, text

from tracker.errors import NotFound
from tracker.storage.schema import APPEND_ONLY, METADATA

VERSION_TABLE = "alembic_version"


def let(connection: Connection, account: str) -> None:
    """Give this account what the pages need and nothing more. Raises NotFound `unknown-account`."""
    if not connection.scalar(text("select 1 from pg_roles where rolname = :name"), {"name": account}):
        raise NotFound(
            "unknown-account",
            f"The database server knows no account {account!r}.",
            field="let",
            remedy="Make it first: `createuser NAME`, or have it made.",
        )
    to = connection.dialect.identifier_preparer.quote_identifier(account)
    connection.exec_driver_sql(f"grant usage on schema public to {to}")
    connection.exec_driver_sql(f"grant usage, select on all sequences in schema public to {to}")
    connection.exec_driver_sql(f"grant select on {VERSION_TABLE} to {to}")
    for table in METADATA.tables:
        connection.exec_driver_sql(f'revoke all on "{table}" from {to}')
        connection.exec_driver_sql(f'grant {", ".join(rights(table))} on "{table}" to {to}')


def let_again(connection: Connection) -> tuple[str, ...]:
    """Give the accounts that were let in before their rights on what a new version brought; their names."""
    if connection.dialect.name == "sqlite" or not inspect(connection).has_table(VERSION_TABLE):
        return ()
    known = connection.scalars(
        text(
            "select distinct grantee from information_schema.role_table_grants "
            "where table_name = :table and table_schema = 'public' and grantee not in (grantor, 'PUBLIC')"
        ),
        {"table": VERSION_TABLE},
    )
    found = tuple(sorted(known))
    for account in found:
        let(connection, account)
    return found


def rights(table: str) -> tuple[str, ...]:
    """What is granted on a table: of one that only grows no more than to read and to add."""
    return ("select", "insert") if table in APPEND_ONLY else ("select", "insert", "update", "delete")
