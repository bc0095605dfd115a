"""A desk on SQLite and one on PostgreSQL; a test that takes `rig` runs on both."""

import pytest

from spinlab.desk.database import Database
from spinlab.desk.settings import Settings
from tests.desk.postgres import MISSING, Cluster
from tests.desk.rig import Rig

needs_postgres = pytest.mark.skipif(MISSING is not None, reason=str(MISSING))


@pytest.fixture(scope="session")
def cluster(tmp_path_factory):
    """A PostgreSQL server of this run's own."""
    with Cluster() as running:
        yield running


def _settings(folder, **options):
    return Settings(folder=folder, hosts=("desk.example",), **options)


def _rig(settings):
    database = Database(settings)
    database.migrate()
    return Rig(settings=settings, database=database)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=needs_postgres)])
def rig(request, tmp_path):
    """A desk, once per kind of database."""
    address = ""
    if request.param == "postgresql":
        address = request.getfixturevalue("cluster").new_database()
    made = _rig(_settings(tmp_path / "desk", database=address))
    yield made
    made.database.close()


@pytest.fixture
def embedded(tmp_path):
    """A desk on SQLite, for what has nothing to do with the database."""
    made = _rig(_settings(tmp_path / "desk"))
    yield made
    made.database.close()
