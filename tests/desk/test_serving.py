"""Starting, stopping and what the command line says."""

import json
import re
import signal
import subprocess
import sys
import time

import pytest
from spinlab_cli.run import main

from spinlab.desk.serving import Door
from spinlab.errors import InputError
from tests.desk.processes import PROJECT, free_port, wait_until_open

COMMAND = [sys.executable, "-W", "ignore", "-m", "spinlab_cli", "desk"]


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.1", "::"])
def test_beyond_this_computer_the_desk_does_not_open_without_encryption(host, tmp_path):
    with pytest.raises(InputError, match="--certificate"):
        Door(host=host).check()
    Door(host=host, certificate=tmp_path / "cert.pem").check()
    Door(host=host, behind_proxy=True).check()


def test_one_command_starts_everything_and_stops_it(tmp_path):
    port = free_port()
    command = [*COMMAND, "--folder", str(tmp_path), "--port", str(port)]
    started = subprocess.Popen(
        command, cwd=PROJECT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        wait_until_open(port)
        started.send_signal(signal.SIGTERM)
        told = started.communicate(timeout=60)[0]
    finally:
        started.kill()
    assert started.returncode == 0
    for role in ("technician", "support", "trainer"):
        assert f"demo-{role}" in told
    # Whoever was started with it is gone with it.
    with pytest.raises(TimeoutError):
        wait_until_open(port, patience_s=1)


def test_a_server_ends_when_its_keeper_is_killed(tmp_path):
    port = free_port()
    command = [*COMMAND, "--folder", str(tmp_path), "serve", "--port", str(port), "--with-parent"]
    running = subprocess.Popen(
        command, cwd=PROJECT, stdin=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    try:
        wait_until_open(port)
        running.stdin.close()
        assert running.wait(timeout=60) in (0, -signal.SIGTERM)
    finally:
        running.kill()


def run(capsys, folder, *arguments):
    """(exit code, standard output, standard error) of one command, run in this process."""
    code = main(["desk", "--folder", str(folder), *arguments])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_accounts_backup_and_trail_from_the_command_line(tmp_path, capsys):
    folder, again, backup = tmp_path / "desk", tmp_path / "again", str(tmp_path / "desk.tar")
    code, out, _ = run(capsys, folder, "account", "add", "kim", "--role", "support")
    assert (code, "kim may come in as support; first password: " in out) == (0, True)
    password = out.split()[-1]
    assert run(capsys, folder, "backup", backup)[0] == 0
    _, out, _ = run(capsys, again, "restore", backup)
    assert re.search(r"^account +1$", out, re.M)
    trail = [json.loads(line) for line in run(capsys, again, "audit")[1].splitlines()]
    assert trail[-1]["action"] == "account added"
    assert password not in str(trail)
    assert run(capsys, again, "account", "list")[1].split() == ["kim", "support", "open"]
    assert password not in run(capsys, again, "account", "reset", "kim")[1]
    run(capsys, again, "account", "close", "kim")
    assert run(capsys, again, "account", "list")[1].split()[-1] == "closed"
    assert "0 jobs" in run(capsys, again, "sweep")[1]
    code, _, err = run(capsys, folder, "restore", backup)
    assert (code, err.count("\n")) == (20, 1)


def test_a_process_that_dies_is_started_again(tmp_path):
    import threading

    from spinlab.desk.serving import keep_running

    told, stop = tmp_path / "starts", threading.Event()
    script = f"import os; open({str(told)!r}, 'a').write(str(os.getpid()) + chr(10)); os.abort()"
    keeper = threading.Thread(
        target=keep_running, args=({"it": [sys.executable, "-c", script]}, stop)
    )
    keeper.start()
    until = time.monotonic() + 60
    while time.monotonic() < until and (
        not told.exists() or len(told.read_text().splitlines()) < 3
    ):
        time.sleep(0.1)
    stop.set()
    keeper.join()
    starts = told.read_text().splitlines()
    assert len(starts) == len(set(starts)) >= 3
