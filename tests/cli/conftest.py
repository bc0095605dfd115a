"""The command line, run in this process with an invented analysis, and as a real command."""

import os
import subprocess
import sys
import types

import numpy as np
import pytest
import soundfile
from spinlab_cli.run import main

from tests.invented import make_invented, make_nothing_known


@pytest.fixture(scope="session")
def invented():
    return make_invented()


@pytest.fixture(scope="session")
def nothing_known():
    return make_nothing_known()


@pytest.fixture
def answer(monkeypatch):
    """Let `analyse` answer with a given (invented) analysis, or raise a given error."""

    def give(value):
        def analyse(recording, machine=None, *, progress=None, readings=(), corrections=()):
            if isinstance(value, BaseException):
                raise value
            return value

        fake = types.ModuleType("spinlab.analysis")
        fake.analyse = analyse
        monkeypatch.setitem(sys.modules, "spinlab.analysis", fake)

    return give


@pytest.fixture
def tone(tmp_path):
    """A readable file: two seconds of an invented tone."""
    path = tmp_path / "tone.wav"
    soundfile.write(path, 0.1 * np.sin(np.arange(16000) * 0.3), 8000)
    return path


@pytest.fixture
def spinlab(capsys):
    """Run the command line; gives (exit code, standard output, standard error)."""

    def run(*arguments):
        code = main([str(argument) for argument in arguments])
        caught = capsys.readouterr()
        return code, caught.out, caught.err

    return run


@pytest.fixture
def process(tmp_path):
    """Run the command as a process of its own in an empty folder."""

    def run(*arguments, **options):
        environment = {**os.environ, "OMP_NUM_THREADS": "1"} | options.pop("env", {})
        return subprocess.run(
            [sys.executable, "-m", "spinlab_cli", *map(str, arguments)],
            capture_output=True,
            text=True,
            timeout=120,
            cwd=tmp_path,
            env=environment,
            **options,
        )

    return run
