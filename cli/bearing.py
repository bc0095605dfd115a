"""`spinlab bearing`: at which orders, and at which frequencies, a bearing would be heard.

Words and columns only; the geometry is in `spinlab.bearings`.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from spinlab.report.language import tell

if TYPE_CHECKING:
    from spinlab.bearings import BearingGeometry

_NAMES = (
    ("outer race", "BPFO", "balls pass a place on the outer ring"),
    ("inner race", "BPFI", "balls pass a place on the inner ring"),
    ("ball", "2xBSF", "a damaged ball hits a ring, twice per turn of its own"),
    ("cage", "FTF", "turn of the cage"),
)


@click.command("bearing")
@click.argument("designation", required=False)
@click.option("--rpm", type=float, help="Speed of its shaft in rpm: frequencies are added.")
@click.option(
    "--catalogue",
    "catalogue_file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A TOML file with [[bearing]] rows of your own, looked at first.",
)
@click.option(
    "--fixed-ring",
    type=click.Choice(["outer", "inner"]),
    default="outer",
    help="The ring that does not turn; the outer one in drums and motors.",
)
def bearing_command(
    designation: str | None, rpm: float | None, catalogue_file: Path | None, fixed_ring: str
) -> None:
    """Show at which orders a bearing's damage would be heard, and how well they are known.

    Without a designation, list the catalogue.  Suffixes for seals, shields and clearance are
    ignored: 6205-2RS C3 is a 6205.
    """
    from dataclasses import replace

    from spinlab.bearings import catalogue

    if rpm is not None and not 0 < rpm <= 200_000:
        raise click.BadParameter(tell("must be above 0 and at most 200000."), param_hint="--rpm")
    rows = catalogue.load(catalogue_file)
    if designation is None:
        _list(rows)
        return
    for number, row in enumerate(catalogue.variants(designation, rows)):
        if number:
            click.echo()
        _show(replace(row, fixed_ring="inner" if fixed_ring == "inner" else "outer"), rpm)


def _list(rows: tuple[BearingGeometry, ...]) -> None:
    width = max(len(row.designation) for row in rows)
    click.echo(f"{'bearing':<{width}}  balls  {'BPFO':>6}  {'BPFI':>6}  {'2xBSF':>6}  within")
    for row in rows:
        click.echo(
            f"{row.designation:<{width}}  {row.balls:5d}  {row.outer_race_order:6.3f}  "
            f"{row.inner_race_order:6.3f}  {row.ball_hit_order:6.3f}  {_within(row)}"
        )
    click.echo("\nOrders are multiples of the shaft's rate, outer ring fixed.")


def _show(row: BearingGeometry, rpm: float | None) -> None:
    click.echo(
        f"{row.designation}: {row.balls} balls of {row.ball_diameter_mm:g} mm on a "
        f"{row.pitch_diameter_mm:g} mm circle, contact angle {row.contact_angle_deg:g} degrees, "
        f"{row.fixed_ring} ring fixed"
    )
    heads = f"{'damage':<11} {'line':<6} {'order':>7} {'within':>8}"
    click.echo(heads + (f" {f'at {rpm:g} rpm':>14}" if rpm else "") + "  what repeats")
    for fault, name, meaning in _NAMES:
        order = row.order(fault)  # type: ignore[arg-type]
        spread = f"{100 * row.order_tolerance(fault):.1f} %"  # type: ignore[arg-type]
        line = f"{fault:<11} {name:<6} {order:7.4f} {spread:>8}"
        line += f" {order * rpm / 60.0:11.2f} Hz" if rpm else ""
        click.echo(f"{line}  {meaning}")
    click.echo(
        f"A ball's own turning (BSF) is {row.ball_spin_order:.4f}; tables that print it as the "
        "rate of hits mean half of 2xBSF."
    )
    click.echo("In use, slip moves lines by up to 2 % down or 1 % up.")
    exact = "exact for this very bearing" if row.exact else "other makers may differ"
    click.echo(f"Source ({exact}): {row.source}")


def _within(row: BearingGeometry) -> str:
    return "exact" if row.exact else f"{100 * row.tolerance:.1f} %"
