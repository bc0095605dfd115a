"""How one desk is set up: a frozen value, made once when a process starts."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from spinlab.contained import Limits

# The database's address may hold a password, so it comes in the environment, never on the command
# line, where every user of the computer could read it.
DATABASE_VARIABLE = "SPINLAB_DESK_DATABASE"
METRICS_VARIABLE = "SPINLAB_DESK_METRICS_TOKEN"

MEBIBYTE = 2**20
DAY_S = 86400.0

# What one analysis may use: set by judgement to leave room for ten minutes of sound on a slow
# computer, not derived from a measurement.
LIMITS = Limits(
    wall_s=1200.0, cpu_s=900.0, memory_bytes=4 * 2**30, file_bytes=2 * 2**30, niceness=5
)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """One desk.

    Attributes:
        folder: where originals, results and the embedded database lie.
        database: address of the database; empty for SQLite in the folder.
        max_upload_bytes: the largest recording that is taken.
        max_part_bytes: the most that one request of an upload may carry.
        open_uploads: unfinished uploads that one account may have.
        spare_bytes: free room on the disk below which uploads are refused.
        upload_hours: an upload untouched for so long is thrown away.
        retention_days: a job is deleted so long after it came in.
        hand_back_days: how long a link for the technician opens.
        session_hours, idle_hours: a sign-in ends after the first, or unused after the second.
        lease_s: a worker that does not report for so long has lost its job to the next one.
        attempts: how often an analysis is tried before the job is set aside.
        hosts: names under which the service may be called.
        metrics_token: lets a collector on another computer read the metrics; empty: loopback only.
        limits: what one analysis may use.
    """

    folder: Path
    database: str = ""
    max_upload_bytes: int = 200 * MEBIBYTE
    max_part_bytes: int = 8 * MEBIBYTE
    open_uploads: int = 10
    spare_bytes: int = 512 * MEBIBYTE
    upload_hours: float = 48.0
    retention_days: float = 180.0
    hand_back_days: float = 30.0
    session_hours: float = 12.0
    idle_hours: float = 2.0
    lease_s: float = 30.0
    attempts: int = 3
    hosts: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")
    metrics_token: str = ""
    limits: Limits = LIMITS

    @property
    def database_url(self) -> str:
        """Address of the database in SQLAlchemy's form."""
        if not self.database:
            return f"sqlite:///{self.folder.absolute() / 'desk.sqlite3'}"
        for short in ("postgresql://", "postgres://"):
            if self.database.startswith(short):
                return "postgresql+psycopg://" + self.database.removeprefix(short)
        return self.database


def from_environment(folder: Path, **options: object) -> Settings:
    """Settings of the desk in `folder`, with what the environment says about secrets."""
    secrets = {
        "database": os.environ.get(DATABASE_VARIABLE, ""),
        "metrics_token": os.environ.get(METRICS_VARIABLE, ""),
    }
    return Settings(folder=folder, **(secrets | options))  # type: ignore[arg-type]
