"""A PostgreSQL server from Debian's package, started for one run of the tests and then gone.

    python -m tests.desk.postgres python -m tests.benchmarks.desk lists

runs a command with a desk's database of its own in the environment.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

# Debian keeps the server's programs beside the path, one folder per version.
_FOLDERS = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
BIN = next((folder for folder in _FOLDERS if (folder / "initdb").exists()), None)
_AS_POSTGRES = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []


def _missing():
    if BIN is None:
        return "Debian's postgresql is not installed: apt-get install postgresql"
    if _AS_POSTGRES and shutil.which("runuser") is None:
        return "PostgreSQL does not run as root, and runuser is not there to become someone else"
    return None


MISSING = _missing()


class Cluster:
    """A server that listens on a socket in a folder of its own and nowhere else."""

    def __enter__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="spinlab-pg-"))
        self.number = 0
        if _AS_POSTGRES:
            shutil.chown(self.folder, "postgres")
        data = self.folder / "data"
        self._run("initdb", "-D", data, "-U", "desk", "-A", "trust", "-E", "UTF8", "--no-sync")
        options = f"-c listen_addresses= -c unix_socket_directories={self.folder} -c fsync=off"
        log = self.folder / "log"
        self._run("pg_ctl", "-D", data, "-o", options, "-l", log, "-w", "start")
        return self

    def __exit__(self, *_):
        self._run("pg_ctl", "-D", self.folder / "data", "-m", "immediate", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)

    def new_database(self):
        """The address of an empty database."""
        self.number += 1
        name = f"desk{self.number}"
        self._run("createdb", "-h", self.folder, "-U", "desk", name)
        return f"postgresql://desk@/{name}?host={self.folder}"

    def _run(self, program, *arguments):
        command = [*_AS_POSTGRES, BIN / program, *map(str, arguments)]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=self.folder, timeout=60)


if __name__ == "__main__":
    with Cluster() as running:
        address = {"SPINLAB_DESK_DATABASE": running.new_database()}
        sys.exit(subprocess.run(sys.argv[1:], env=os.environ | address).returncode)
