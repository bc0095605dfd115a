"""The database: SQLite in write-ahead mode, or PostgreSQL, behind the same two doors.

`read` opens a look at one moment, `write` a change that happens whole or not at all.  SQLite lets
one process write at a time, so a writing transaction takes its turn when it begins ("BEGIN
IMMEDIATE"): one that begins as a reader and turns writer can fail instead of waiting
(https://www.sqlite.org/isolation.html).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.exc import SQLAlchemyError

from spinlab.desk.settings import Settings
from spinlab.errors import InputError

# How long a writer waits for its turn in SQLite.
_BUSY_MS = 20_000
# Connections beyond the eight that are kept: together more than the server has threads, forty for
# pages and at most eight for uploads, so that none waits for a connection.
_MORE = 48
_WRITES = "spinlab_writes"


class Database:
    """One engine and its two doors."""

    def __init__(self, settings: Settings) -> None:
        settings.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self.engine = _engine(settings.database_url)

    @property
    def embedded(self) -> bool:
        """Whether this is SQLite."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One consistent look at the tables."""
        level: dict[str, Any] = {} if self.embedded else {"isolation_level": "REPEATABLE READ"}
        with self.engine.connect().execution_options(**level) as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """One change, made whole or not at all."""
        writes = {_WRITES: True}
        with self.engine.connect().execution_options(**writes) as connection, connection.begin():
            yield connection

    def migrate(self, revision: str = "head") -> None:
        """Bring the tables to a form; `head` is the newest.

        Raises:
            InputError: the database cannot be reached or its form is not known.
        """
        from alembic import command
        from alembic.util import CommandError

        try:
            with self.write() as connection:
                if not self.embedded:
                    connection.execute(text("SELECT pg_advisory_xact_lock(7301)"))
                config = _alembic(connection)
                command.upgrade(config, revision)
        except CommandError as error:
            raise InputError(
                "The desk's database was written by a newer spinlab; install that version."
            ) from error
        except SQLAlchemyError as error:
            raise InputError(
                f"The desk's database cannot be used ({type(error).__name__}); check its address, "
                "its rights and the room on its disk."
            ) from error

    def revision(self) -> str:
        """The form that the tables have now; empty for a database without tables."""
        from alembic.runtime.migration import MigrationContext

        with self.read() as connection:
            return MigrationContext.configure(connection).get_current_revision() or ""

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()


def _alembic(connection: Connection) -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "spinlab.desk:migrations")
    config.attributes["connection"] = connection
    return config


def _engine(url: str) -> Engine:
    size = {"pool_size": 8, "max_overflow": _MORE}
    if not url.startswith("sqlite"):
        # Each query is planned for its own values: a plan made for any words walks the whole list
        # for a search that only one job fits.
        planned: dict[str, Any] = {"prepare_threshold": None}
        return create_engine(url, **size, pool_pre_ping=True, connect_args=planned)
    engine = create_engine(url, **size, connect_args={"timeout": 20})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: Any, _record: Any) -> None:
    connection.isolation_level = None
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        # What is deleted is overwritten, not merely forgotten.
        "secure_delete=ON",
        f"busy_timeout={_BUSY_MS}",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
