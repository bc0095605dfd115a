"""`spinlab machines`: list the shipped profiles, or print one."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("machines")
@click.argument("profile", required=False, metavar="[NAME]")
def machines_command(profile: str | None) -> None:
    """List the machine profiles that ship, or print one as TOML to start from.

    \b
    spinlab machines belt-brushed-1400 > my-unit.toml

    makes a file to fill in; `spinlab machines my-unit.toml` checks it and prints it again.
    """
    from spinlab.machine import load_machine, profile_text, shipped

    if profile is None:
        width = max(len(name) for name in shipped())
        for name in shipped():
            click.echo(f"{name:<{width}}  {load_machine(name).description}")
    elif profile in shipped():
        click.echo(profile_text(profile), nl=False)
    else:
        load_machine(profile)  # one sentence about what is wrong, if anything is
        click.echo(Path(profile).read_text(encoding="utf-8-sig"), nl=False)
