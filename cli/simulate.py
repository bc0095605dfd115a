"""`spinlab simulate`: an invented machine's recording, with the truth beside it.

Words only; the physics is in `spinlab.simulate`.
"""

from __future__ import annotations

from pathlib import Path

import click

from spinlab.report.language import tell

EPILOG = (
    "Nothing that this command writes was measured. Use it to train ears and eyes, and to see "
    "what a finding looks like before you meet it at a machine."
)


def _list_scenarios() -> None:
    """Name and sentence of every shipped scenario, aligned."""
    from spinlab.simulate import load_scenario, scenario_names

    names = scenario_names()
    width = max(len(name) for name in names)
    for name in names:
        click.echo(f"{name:<{width}}  {load_scenario(name).description}")


@click.command("simulate", epilog=EPILOG)
@click.argument("scenario", required=False)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the recording and its truth; made if missing.",
)
@click.option(
    "--seed",
    type=click.IntRange(0, 2**53),
    default=1,
    show_default=True,
    help="The same scenario and seed give the same files.",
)
@click.option(
    "--format",
    "sound_format",
    type=click.Choice(["flac", "wav"]),
    default="flac",
    show_default=True,
    help="For sound that the scenario does not put through a lossy codec.",
)
@click.option("--list", "show", is_flag=True, help="Print the shipped scenarios and stop.")
def simulate_command(
    scenario: str | None, out: Path | None, seed: int, sound_format: str, show: bool
) -> None:
    """Make the recording of an invented machine, with its true speed and faults beside it.

    SCENARIO is a shipped scenario's name (see --list) or a TOML file of parameters. Two files
    appear: the recording (FLAC, WAV, a lossy format or CSV) and NAME.truth.json, which holds
    the true speed, angle, stages, faults, every parameter and the seed.
    """
    if show:
        _list_scenarios()
        return
    if scenario is None:
        raise click.UsageError(tell("Name a scenario or a TOML file; --list prints the scenarios."))
    if out is None:
        raise click.UsageError(tell("Say where to write: --out FOLDER."))
    from spinlab.simulate import load_scenario, simulate, write_simulated

    made = simulate(load_scenario(scenario), seed)
    stem = f"{Path(scenario).stem}-{seed}"
    recording, truth = write_simulated(
        made, out, stem, sound_format="wav" if sound_format == "wav" else "flac"
    )
    click.echo(f"{recording}  {made.recording.duration_s:.1f} s, simulated, seed {seed}")
    click.echo(f"{truth}  its truth")
    faults = made.truth.faults
    named = ", ".join(f"{name} ({severity:.2g})" for name, severity in faults.items())
    click.echo(f"Built-in faults: {named or 'none'}")
