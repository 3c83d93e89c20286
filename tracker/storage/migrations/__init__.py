"""How the tables came to be what they are: one file per change, applied in order, never edited afterwards."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection


def config(connection: Connection) -> Config:
    """Alembic's settings for one open connection."""
    settings = Config()
    settings.set_main_option("script_location", str(Path(__file__).parent))
    settings.attributes["connection"] = connection
    return settings


def upgrade(connection: Connection, to: str = "head") -> None:
    """Apply what has not been applied yet."""
    command.upgrade(config(connection), to)
