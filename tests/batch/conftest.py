"""A folder of invented recordings, and a batch over it whose analysis is a stand-in."""

import csv
import io
import json

import pytest

from spinlab.batch import run_batch
from spinlab.contained import Limits
from tests.batch.stubs import calls, invented


@pytest.fixture
def uploads(tmp_path):
    """A folder to be filled."""
    folder = tmp_path / "uploads"
    folder.mkdir()
    return folder


@pytest.fixture
def put(uploads, tmp_path):
    """Put an invented recording, which tells the stand-in what to make of it, into the folder."""

    def write(name, **wishes):
        path = uploads / name
        path.parent.mkdir(parents=True, exist_ok=True)
        words = {"log": str(tmp_path / "calls"), "name": name} | wishes
        path.write_text(json.dumps(words))
        return path

    return write


@pytest.fixture
def out(tmp_path):
    return tmp_path / "out"


@pytest.fixture
def batch(uploads, out):
    """Run a batch over the folder."""

    def run(source=uploads, **options):
        options = {"work": invented, "workers": 2, "limits": Limits(wall_s=60)} | options
        return run_batch(source, out, **options)

    return run


@pytest.fixture
def made(tmp_path):
    """Names of files and how often the stand-in has finished each."""

    def count(what="made"):
        found = calls(tmp_path / "calls")[what]
        return {path.rpartition("/")[2]: number for path, number in found.items()}

    return count


@pytest.fixture
def table(out):
    """The rows of results.csv."""

    def rows():
        text = (out / "results.csv").read_text("utf-8-sig")
        return list(csv.DictReader(io.StringIO(text)))

    return rows
