"""The tables: what the migrations make is what the code speaks of, on both databases."""

import threading

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import text

from spinlab.desk.database import Database
from spinlab.desk.settings import Settings
from spinlab.desk.tables import account, metadata
from spinlab.errors import InputError


def test_the_migrations_make_the_tables_that_the_code_speaks_of(rig):
    def ours(name, _kind, _parents):
        """All but the index of searches, which each database makes by means of its own."""
        return name is None or not name.startswith("job_search")

    with rig.database.read() as connection:
        context = MigrationContext.configure(connection, opts={"include_name": ours})
        assert compare_metadata(context, metadata) == []


def test_migrating_again_changes_nothing(rig):
    before = rig.database.revision()
    rig.database.migrate()
    assert rig.database.revision() == before != ""


def test_a_database_of_a_newer_spinlab_is_refused_with_what_to_do(rig):
    with rig.database.write() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(InputError, match="newer spinlab"):
        rig.database.migrate()


def test_a_database_that_is_not_there_is_refused_with_what_to_do(tmp_path):
    address = "postgresql://desk@127.0.0.1:1/none"
    database = Database(Settings(folder=tmp_path, database=address))
    with pytest.raises(InputError, match="check its address"):
        database.migrate()


def test_sqlite_writes_ahead_and_overwrites_what_it_deletes(embedded):
    with embedded.database.read() as connection:
        found = {
            name: connection.execute(text(f"PRAGMA {name}")).scalar()
            for name in ("journal_mode", "foreign_keys", "secure_delete", "synchronous")
        }
    # https://www.sqlite.org/pragma.html: synchronous 2 is FULL.
    assert found == {"journal_mode": "wal", "foreign_keys": 1, "secure_delete": 1, "synchronous": 2}


def test_a_change_that_fails_half_way_leaves_nothing(rig):
    row = {"role": "support", "password_hash": "x", "active": True, "created_s": 0.0}

    def change():
        with rig.database.write() as connection:
            connection.execute(account.insert().values(id="1", name="half", **row))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        change()
    with rig.database.read() as connection:
        assert connection.execute(account.select()).all() == []


def test_writers_at_once_wait_for_one_another(rig):
    row = {"role": "support", "password_hash": "x", "active": True, "created_s": 0.0}

    def write(number):
        with rig.database.write() as connection:
            connection.execute(account.insert().values(id=f"{number}", name=f"{number}", **row))

    threads = [threading.Thread(target=write, args=(number,)) for number in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with rig.database.read() as connection:
        assert len(connection.execute(account.select()).all()) == 20
