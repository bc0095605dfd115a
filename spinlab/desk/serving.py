"""The two kinds of process of a desk, and the one that keeps both alive."""

from __future__ import annotations

import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from spinlab.desk import erasure, logs
from spinlab.desk.database import Database
from spinlab.desk.intake import Intake
from spinlab.desk.settings import Settings
from spinlab.desk.signing import sweep_sessions
from spinlab.desk.vault import Vault
from spinlab.desk.worker import Bench, work
from spinlab.errors import InputError

LOG = logging.getLogger("spinlab.desk.serving")
LOOPBACK = ("127.0.0.1", "::1", "localhost")
# A process that ends is started again after this long, and longer each time it ends at once.
_RESTART_S, _LONGEST_RESTART_S, _SOUND_S = 0.2, 10.0, 20.0
_TO_STOP_S = 10.0
# Python's own 5 ms add up to long pages while many uploads arrive.
_TURN_S = 0.0005


@dataclass(frozen=True, kw_only=True)
class Door:
    """Where the server listens; `behind_proxy` says that a proxy on this computer speaks TLS."""

    host: str = "127.0.0.1"
    port: int = 8790
    certificate: Path | None = None
    key: Path | None = None
    behind_proxy: bool = False

    def check(self) -> None:
        """Refuse to carry passwords and recordings over a network in the clear.

        Raises:
            InputError: the address is not this computer's own and nothing encrypts.
        """
        encrypted = self.certificate is not None or self.behind_proxy
        if self.host not in LOOPBACK and not encrypted:
            raise InputError(
                f"On {self.host} others could read passwords and recordings on their way; give "
                "--certificate and --key, or put a proxy that speaks TLS in front and say "
                "--behind-proxy."
            )


def serve(settings: Settings, door: Door) -> None:
    """Answer requests until told to stop."""
    import uvicorn

    # Loaded before the door opens: a module that the first upload's readings bring in would hold up
    # every page that is asked for meanwhile.
    import spinlab.meter  # noqa: F401
    from spinlab.desk.web import render
    from spinlab.desk.web.app import create_app

    door.check()
    render.prepare()
    logs.set_up()
    database = Database(settings)
    database.migrate()
    # The thread that reads the network gives way at every packet, and gets its turn back that soon.
    sys.setswitchinterval(_TURN_S)
    uvicorn.run(
        create_app(settings, database),
        host=door.host,
        port=door.port,
        ssl_certfile=door.certificate,
        ssl_keyfile=door.key,
        http="httptools",
        log_config=None,
        access_log=False,
        server_header=False,
        # Only a proxy on this computer is believed what it says about the caller.
        proxy_headers=door.behind_proxy,
        forwarded_allow_ips="127.0.0.1",
        timeout_keep_alive=30,
        limit_concurrency=500,
        timeout_graceful_shutdown=5,
    )
    database.close()


def run_worker(settings: Settings, **options: Any) -> None:
    """Work off jobs until told to stop; `options` go to `Bench`."""
    logs.set_up()
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    database = Database(settings)
    database.migrate()
    vault = Vault(settings.folder)
    bench = Bench(settings=settings, database=database, vault=vault, **options)
    try:
        work(bench, stop, sweep=lambda: sweep(settings, database, vault))
    finally:
        database.close()


def sweep(settings: Settings, database: Database, vault: Vault) -> int:
    """Delete what is due, and what was left lying; returns how many jobs went."""
    Intake(settings, database, vault).sweep()
    with database.write() as connection:
        sweep_sessions(connection, settings)
    return erasure.sweep(database, vault)


def end_with_parent() -> None:
    """Stop this process when its standard input closes, that is, when its keeper is gone."""

    def watch() -> None:
        while sys.stdin.buffer.read(4096):
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=watch, daemon=True).start()


class _Kept:
    """One process that is started again whenever it ends."""

    def __init__(self, name: str, command: Sequence[str]) -> None:
        self.name, self.command = name, list(command)
        self.process: subprocess.Popen[bytes] | None = None
        self.started, self.wait_s, self.next_s = 0.0, _RESTART_S, 0.0

    def look(self) -> None:
        """Start it if it is due."""
        now = time.monotonic()
        if self.process is not None and self.process.poll() is not None:
            lasted = now - self.started
            self.wait_s = (
                _RESTART_S if lasted > _SOUND_S else min(2 * self.wait_s, _LONGEST_RESTART_S)
            )
            LOG.warning("ended", extra={"kept": self.name, "code": self.process.returncode})
            self.process, self.next_s = None, now + self.wait_s
        if self.process is None and now >= self.next_s:
            self.started = now
            self.process = subprocess.Popen(self.command, stdin=subprocess.PIPE)

    def stop(self) -> None:
        """End it, gently first."""
        if self.process is None:
            return
        self.process.terminate()
        try:
            self.process.wait(_TO_STOP_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


def keep_running(commands: dict[str, Sequence[str]], stop: threading.Event) -> None:
    """Run one process of each command, and start it again whenever it ends, until told to stop."""
    kept = [_Kept(name, command) for name, command in commands.items()]
    try:
        while not stop.is_set():
            for each in kept:
                each.look()
            stop.wait(0.1)
    finally:
        for each in kept:
            each.stop()
