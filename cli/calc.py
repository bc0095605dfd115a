"""`spinlab calc`: the standards' small sums, and the options by which meter readings come in.

Words and units only; the arithmetic is in `spinlab.reference`, the reading of notes in
`spinlab.meter`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from spinlab.meter import Reading

Command = TypeVar("Command", bound=Callable[..., Any])

READINGS_HELP = (
    "Meter readings from a CSV table (columns label, speed_rpm, voltage_v, current_a, power_w, "
    "resistance_ohm, time_s) or a TOML file."
)
READING_HELP = (
    "One meter reading, for instance '1200rpm 238V 1.6A 300W' or 'heat 236V 8.6A'; may be given "
    "several times. Caution: mains kills, the drum turns fast; only a person qualified for live "
    "parts reads there, with a rated meter. Prefer a plug-in meter; ohms only with the plug "
    "pulled. The maker's instructions come first."
)


def reading_options(command: Command) -> Command:
    """Give a command the options `--readings FILE` and `--reading TEXT` (both optional)."""
    command = click.option("--reading", "reading_lines", multiple=True, help=READING_HELP)(command)
    return click.option(
        "--readings",
        "readings_file",
        type=click.Path(path_type=Path, dir_okay=False),
        help=READINGS_HELP,
    )(command)


def collect_readings(
    readings_file: Path | None, reading_lines: Sequence[str]
) -> tuple[Reading, ...]:
    """Every reading from the file and from the command line, in this order.

    Raises:
        InputError: a file or a line makes no sense.
    """
    if readings_file is None and not reading_lines:
        return ()
    from spinlab.meter import load_readings, parse_reading

    loaded = load_readings(readings_file) if readings_file is not None else ()
    return loaded + tuple(parse_reading(line) for line in reading_lines)


def _say(*lines: tuple[str, str]) -> None:
    """Print names and values in two aligned columns."""
    width = max(len(name) for name, _ in lines)
    for name, value in lines:
        click.echo(f"{name:<{width}}  {value}")


_speed = click.option("--speed-rpm", type=float, required=True, help="Speed of the rotor, rpm.")
_rotor = click.option("--rotor-kg", type=float, required=True, help="Mass of the rotor, kg.")
_radius = click.option("--radius-m", type=float, required=True, help="Radius, m.")

_BALANCE_NOTE = (
    "ISO 21940-11: G = e x Omega, U = e x m. For a rigid rotor on a balancing machine; "
    "a phone recording cannot give grams."
)


@click.group("calc")
def calc_command() -> None:
    """Small sums of the trade, with their units and their source.

    The arithmetic is exact: a result is as good as the values put in.
    """


@calc_command.command("unbalance")
@click.option("--grade", type=float, required=True, help="Balance grade G, mm/s (e.g. 6.3).")
@_rotor
@_speed
def unbalance_command(grade: float, rotor_kg: float, speed_rpm: float) -> None:
    """Residual unbalance that a balance grade permits."""
    from spinlab import reference

    u = reference.permissible_unbalance_g_mm(grade, speed_rpm, rotor_mass_kg=rotor_kg)
    e = reference.permissible_eccentricity_um(grade, speed_rpm)
    _say(
        ("permissible residual unbalance", f"{u:.1f} g mm"),
        ("permissible eccentricity", f"{e:.2f} um"),
        ("source", _BALANCE_NOTE),
    )


@calc_command.command("grade")
@click.option("--unbalance-g-mm", type=float, required=True, help="Residual unbalance, g mm.")
@_rotor
@_speed
def grade_command(unbalance_g_mm: float, rotor_kg: float, speed_rpm: float) -> None:
    """Balance grade that a residual unbalance amounts to."""
    from spinlab import reference

    grade = reference.balance_grade_mm_s(unbalance_g_mm, speed_rpm, rotor_mass_kg=rotor_kg)
    step = reference.next_standard_grade_mm_s(grade)
    _say(
        ("balance grade", f"G {grade:.3g} (mm/s)"),
        ("meets standard grade", "none up to G 4000" if step is None else f"G {step:g}"),
        ("source", _BALANCE_NOTE),
    )


@calc_command.command("force")
@click.option("--mass-kg", type=float, required=True, help="Mass carried round, kg.")
@_radius
@_speed
def force_command(mass_kg: float, radius_m: float, speed_rpm: float) -> None:
    """Centrifugal force of a mass carried round."""
    from spinlab import reference

    force = reference.centrifugal_force_n(mass_kg, radius_m, speed_rpm)
    weight = mass_kg * reference.STANDARD_GRAVITY_M_S2
    _say(
        ("centrifugal force", f"{force:.0f} N"),
        ("times its weight", f"{force / weight:.0f}"),
        ("source", "m r omega^2"),
    )


@calc_command.command("rim")
@_radius
@_speed
def rim_command(radius_m: float, speed_rpm: float) -> None:
    """Acceleration at the drum's rim, in g."""
    from spinlab import reference

    _say(
        ("rim acceleration", f"{reference.rim_acceleration_g(radius_m, speed_rpm):.0f} g"),
        ("source", "r omega^2 / 9.80665 m/s2"),
    )


@calc_command.command("zone")
@click.option("--velocity-mm-s", type=float, required=True, help="Velocity, mm/s RMS, 10-1000 Hz.")
@click.option(
    "--machine-class",
    type=click.Choice(["I", "II", "III", "IV"]),
    default="I",
    show_default=True,
    help="Machine class of ISO 10816-1, annex B.",
)
def zone_command(velocity_mm_s: float, machine_class: Any) -> None:
    """Zone of ISO 10816-1 in which a vibration velocity would lie (orientation only)."""
    from spinlab import reference

    found = reference.zone(velocity_mm_s, machine_class)
    limits = " / ".join(f"{limit:g}" for limit in found.limits_mm_s)
    _say(
        ("zone", f"{found.letter} of A to D, class {found.machine_class}"),
        ("limits A/B, B/C, C/D", f"{limits} mm/s RMS (ISO 10816-1 annex B, from memory)"),
        ("scope", found.scope),
    )


@calc_command.command("heater")
@click.option("--rated-w", type=float, required=True, help="Rated power of the element, W.")
@click.option("--rated-v", type=float, required=True, help="Voltage of that rating, V.")
@click.option("--voltage-v", type=float, help="Voltage read at the element, V (default: rated).")
def heater_command(rated_w: float, rated_v: float, voltage_v: float | None) -> None:
    """Resistance of a heating element, and what it draws at a voltage."""
    from spinlab import reference

    load = reference.heater_load(rated_w, rated_v, voltage_v=voltage_v)
    _say(
        ("resistance", f"{load.resistance_ohm:.2f} ohm"),
        (f"current at {voltage_v or rated_v:g} V", f"{load.current_a:.2f} A"),
        (f"power at {voltage_v or rated_v:g} V", f"{load.power_w:.0f} W"),
        ("source", "Ohm's law; the wire's own change from cold to hot is left out"),
        ("caution", "measure ohms only with the plug pulled, the element cold and disconnected"),
    )


@calc_command.command("order")
@_speed
@click.option("--order", type=float, default=1.0, show_default=True, help="Multiple of the speed.")
def order_command(speed_rpm: float, order: float) -> None:
    """Frequency of an order at a speed."""
    from spinlab import reference

    _say(
        ("frequency", f"{reference.order_frequency_hz(order, speed_rpm):.4f} Hz"),
        ("source", "order x rpm / 60"),
    )
