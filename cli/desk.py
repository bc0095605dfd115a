"""`spinlab desk`: the support service, its accounts, its backups."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .desk_keeping import KEEPING, open_database

if TYPE_CHECKING:
    from spinlab.desk.database import Database
    from spinlab.desk.serving import Door
    from spinlab.desk.settings import Settings

_path = click.Path(path_type=Path)
_EXTRA = (
    "alembic",
    "argon2",
    "fastapi",
    "python_multipart",
    "prometheus_client",
    "sqlalchemy",
    "uvicorn",
)


def door_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Where to listen."""
    for option in reversed(
        (
            click.option("--host", default="127.0.0.1", show_default=True, help="Address."),
            click.option("--port", default=8790, show_default=True, type=click.IntRange(1, 65535)),
            click.option("--certificate", type=_path, help="TLS certificate (PEM)."),
            click.option("--key", type=_path, help="Its private key (PEM)."),
            click.option(
                "--behind-proxy", is_flag=True, help="A proxy on this computer speaks TLS."
            ),
        )
    ):
        command = option(command)
    return command


@click.group("desk", invoke_without_command=True)
@click.option(
    "--folder",
    type=_path,
    default=Path("spinlab-desk"),
    show_default=True,
    help="Where everything is kept.",
)
@click.option("--name", "names", multiple=True, help="Host name under which the desk is called.")
@click.option(
    "--retention-days", type=click.FloatRange(1, 3650), default=180.0, show_default=True,
    help="Jobs are deleted after so long.",
)  # fmt: skip
@click.option(
    "--max-upload-mib", type=click.IntRange(1, 4096), default=200, show_default=True,
    help="Largest recording.",
)  # fmt: skip
@door_options
@click.pass_context
def desk_command(
    context: click.Context,
    /,
    folder: Path,
    names: tuple[str, ...],
    retention_days: float,
    max_upload_mib: int,
    **door: Any,
) -> None:
    """Run the desk: technicians hand in recordings, support answers them.

    Without a command below it starts a server and a worker on this computer and keeps both alive.
    The database is SQLite in the folder, or PostgreSQL if SPINLAB_DESK_DATABASE holds its address.
    """
    _need_extra()
    from spinlab.desk.settings import Settings, from_environment

    settings = from_environment(
        folder,
        hosts=(*Settings.hosts, *names),
        retention_days=retention_days,
        max_upload_bytes=max_upload_mib * 2**20,
    )
    context.obj = settings
    if context.invoked_subcommand is None:
        _start(settings, _door(door))


def _need_extra() -> None:
    missing = [name for name in _EXTRA if find_spec(name) is None]
    if missing:
        raise click.UsageError(
            f'The desk needs {", ".join(missing)} too; run: pip install "spinlab[desk]"'
        )


def _door(options: dict[str, Any]) -> Door:
    from spinlab.desk.serving import Door

    door = Door(**options)
    door.check()
    return door


def _start(settings: Settings, door: Door) -> None:
    import signal

    from spinlab.desk import logs
    from spinlab.desk.serving import LOOPBACK, keep_running

    database = open_database(settings)
    if door.host in LOOPBACK and not door.behind_proxy:
        _show_demo(database)
    database.close()
    scheme = "https" if door.certificate else "http"
    click.echo(f"The desk opens at {scheme}://{door.host}:{door.port} (Ctrl-C stops it).")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    logs.set_up()
    options = _shared(settings)
    keep_running(
        {
            "server": [*options, "serve", *_door_words(door), "--with-parent"],
            "worker": [*options, "work", "--with-parent"],
        },
        stop,
    )


def _shared(settings: Settings) -> list[str]:
    """The command line of a process of this desk, up to its own command."""
    from spinlab.desk.settings import MEBIBYTE

    words = [sys.executable, "-m", "spinlab_cli", "desk", "--folder", str(settings.folder)]
    words += ["--retention-days", str(settings.retention_days)]
    words += ["--max-upload-mib", str(settings.max_upload_bytes // MEBIBYTE)]
    return [*words, *(word for name in settings.hosts for word in ("--name", name))]


def _door_words(door: Door) -> list[str]:
    words = ["--host", door.host, "--port", str(door.port)]
    if door.certificate is not None:
        words += ["--certificate", str(door.certificate)]
    if door.key is not None:
        words += ["--key", str(door.key)]
    return [*words, *(["--behind-proxy"] if door.behind_proxy else [])]


def _show_demo(database: Database) -> None:
    from spinlab.desk.demo import demo_accounts

    made = demo_accounts(database)
    if made:
        click.echo("Accounts to try it with, shown once (spinlab desk account --help for more):")
        for name, password in made.items():
            click.echo(f"  {name:<16} {password}")


@desk_command.command("serve")
@door_options
@click.option("--with-parent", is_flag=True, hidden=True)
@click.pass_obj
def serve_command(settings: Settings, /, with_parent: bool, **door: Any) -> None:
    """Run the server alone."""
    from spinlab.desk import serving

    if with_parent:
        serving.end_with_parent()
    serving.serve(settings, _door(door))


@desk_command.command("work")
@click.option("--with-parent", is_flag=True, hidden=True)
@click.pass_obj
def work_command(settings: Settings, /, with_parent: bool) -> None:
    """Run one worker alone; there may be several."""
    from spinlab.desk import serving

    if with_parent:
        serving.end_with_parent()
    serving.run_worker(settings)


for _command in KEEPING:
    desk_command.add_command(_command)
