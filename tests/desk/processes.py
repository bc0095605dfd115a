"""A desk's server and worker as processes of their own, as in service but for the examiner.

python -m tests.desk.processes serve FOLDER PORT
python -m tests.desk.processes work FOLDER
"""

import http.client
import multiprocessing
import os
import random
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

from spinlab.desk.settings import from_environment
from tests.desk.examiners import quick_examine, unhurried_examine

PROJECT = Path(__file__).parent.parent.parent
HOST = "127.0.0.1"


def settings_of(folder):
    """Settings with a short lease, and with patience for workers that are killed all the time."""
    return from_environment(Path(folder), lease_s=2.0, attempts=1000)


def free_port():
    """A port that nobody listens on, below those that the kernel gives to callers.

    Among those, a caller that tries again and again to reach a server that is down is at last
    given the very port it calls, reaches itself, and keeps the server from opening.
    """
    rng = random.SystemRandom()
    while True:
        port = rng.randrange(20_000, 30_000)
        with socket.socket() as listener:
            try:
                listener.bind((HOST, port))
            except OSError:
                continue
            return port


class Process:
    """One process that can be killed as the kernel kills."""

    def __init__(self, *arguments):
        command = [sys.executable, "-W", "ignore", "-m", "tests.desk.processes", *arguments]
        self.running = subprocess.Popen(
            command,
            cwd=PROJECT,
            env={**os.environ, "PYTHONPATH": str(PROJECT)},
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    def kill(self):
        """SIGKILL: nothing is tidied up, nobody is asked."""
        os.killpg(self.running.pid, signal.SIGKILL)
        self.running.wait()


_NURSERY = multiprocessing.get_context("forkserver")
_NURSERY.set_forkserver_preload(["tests.desk.nursery"])


class Forked:
    """One process that can be killed as the kernel kills, and begun anew in no time."""

    def __init__(self, *arguments):
        self.arguments = arguments
        self.begin()

    def begin(self):
        """Begin, for the first time or after a kill."""
        self.running = _NURSERY.Process(target=_become, args=(self.arguments,))
        self.running.start()

    def kill(self):
        """SIGKILL: nothing is tidied up, nobody is asked."""
        self.running.kill()
        self.running.join()


def _become(arguments):
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    main(arguments, unhurried_examine)


def wait_until_open(port, *, patience_s=900.0):
    """Wait until the server answers."""
    until = time.monotonic() + patience_s
    while time.monotonic() < until:
        try:
            connection = http.client.HTTPConnection(HOST, port, timeout=5)
            connection.request("GET", "/healthz")
            if connection.getresponse().status == 200:
                return
        except OSError:
            time.sleep(0.05)
    raise TimeoutError("the server did not open")


def main(arguments, examiner=quick_examine):
    """Become a server or a worker."""
    from spinlab.desk import serving

    settings = settings_of(arguments[1])
    if arguments[0] == "serve":
        serving.serve(settings, serving.Door(host=HOST, port=int(arguments[2])))
    else:
        serving.run_worker(settings, examiner=examiner)


if __name__ == "__main__":
    main(sys.argv[1:])
