"""`spinlab desk`: accounts, backups, the trail, and what else keeps a desk in order."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from spinlab.desk.database import Database
    from spinlab.desk.settings import Settings

_path = click.Path(path_type=Path)


def open_database(settings: Settings) -> Database:
    """The desk's database, in its newest form."""
    from spinlab.desk.database import Database
    from spinlab.desk.vault import Vault

    Vault(settings.folder)
    database = Database(settings)
    database.migrate()
    return database


@click.group("account")
def account_group() -> None:
    """Let people in, or no longer."""


@account_group.command("add")
@click.argument("name")
@click.option("--role", type=click.Choice(["technician", "support", "trainer"]), required=True)
@click.pass_obj
def account_add(settings: Settings, name: str, role: str) -> None:
    """Add an account; its first password is shown once and must be changed within a week."""
    from spinlab.desk.accounts import add_account, draw_password

    password = draw_password()
    with open_database(settings).write() as connection:
        add_account(connection, name, role, password, initial=True)
    click.echo(f"{name} may come in as {role}; first password: {password}")


@account_group.command("reset")
@click.argument("name")
@click.pass_obj
def account_reset(settings: Settings, name: str) -> None:
    """Draw a new first password, open the account again, end all its sign-ins."""
    from spinlab.desk.accounts import reset_password

    with open_database(settings).write() as connection:
        password = reset_password(connection, name)
    click.echo(f"{name} is signed out everywhere; new first password: {password}")


@account_group.command("close")
@click.argument("name")
@click.pass_obj
def account_close(settings: Settings, name: str) -> None:
    """Close an account; what it did stays on record."""
    from spinlab.desk.accounts import close_account

    with open_database(settings).write() as connection:
        close_account(connection, name)
    click.echo(f"{name} is closed.")


@account_group.command("list")
@click.pass_obj
def account_list(settings: Settings) -> None:
    """List the accounts."""
    from spinlab.desk.accounts import accounts

    with open_database(settings).read() as connection:
        for row in accounts(connection):
            click.echo(f"{row.name:<24} {row.role:<12} {'open' if row.active else 'closed'}")


@click.command("backup")
@click.argument("target", type=_path)
@click.pass_obj
def backup_command(settings: Settings, target: Path) -> None:
    """Write everything into one tar file while the desk goes on running.

    It holds recordings and password hashes: keep it as safe as the desk, and no longer than you
    promised to keep recordings.
    """
    from spinlab.desk.backup import back_up

    open_database(settings).close()
    _show_counts(back_up(settings, target))


@click.command("restore")
@click.argument("source", type=_path)
@click.option(
    "--erased",
    type=_path,
    metavar="FILE",
    help="erased.txt of the desk that was: what was deleted since is deleted again.",
)
@click.pass_obj
def restore_command(settings: Settings, source: Path, erased: Path | None) -> None:
    """Make the desk anew from a backup, in an empty folder and an empty database."""
    from spinlab.desk.backup import restore

    _show_counts(restore(settings, source, erased=erased))


def _show_counts(counts: dict[str, int]) -> None:
    for name, count in counts.items():
        click.echo(f"{name:<12} {count:>8}")


@click.command("sweep")
@click.pass_obj
def sweep_command(settings: Settings) -> None:
    """Delete what is due now; the worker does so by itself every ten minutes."""
    from spinlab.desk import serving
    from spinlab.desk.vault import Vault

    gone = serving.sweep(settings, open_database(settings), Vault(settings.folder))
    click.echo(f"{gone} jobs were deleted.")


@click.command("audit")
@click.option("--subject", default="", help="Of one job or account.")
@click.option("--most", default=200, show_default=True, type=click.IntRange(1, 1_000_000))
@click.pass_obj
def audit_command(settings: Settings, subject: str, most: int) -> None:
    """Print the audit trail as lines of JSON, the newest first."""
    import json

    from spinlab.desk.audit import trail

    with open_database(settings).read() as connection:
        for row in trail(connection, subject=subject, most=most):
            click.echo(json.dumps(dict(row._mapping)))


@click.command("labels")
@click.pass_obj
def labels_command(settings: Settings) -> None:
    """Print every label as lines of JSON, for calibration; they name no person and no job."""
    import json

    from spinlab.desk.review import labels_for_calibration

    with open_database(settings).read() as connection:
        for told in labels_for_calibration(connection):
            click.echo(json.dumps(told))


KEEPING = (
    account_group,
    backup_command,
    restore_command,
    sweep_command,
    audit_command,
    labels_command,
)
