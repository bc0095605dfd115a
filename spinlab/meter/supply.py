"""What the readings say of the supply: power factor, voltage, source impedance.

Power factor is real power over apparent power, P / (V I), and cannot exceed 1 (IEC 60050-131,
131-11-46); a reading above that is a misread digit, a mixed-up range or a meter on two circuits.
The source impedance is the slope of voltage against current over the readings: Ohm's law, the
supply taken as stiff behind one resistance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spinlab.meter.readings import MeterAccuracy, Reading
from spinlab.phrase import say
from spinlab.speed.track import Estimate


@dataclass(frozen=True, kw_only=True)
class PowerFactor:
    """Power factor of one reading that has volts, amperes and watts."""

    name: str
    apparent_power_va: float
    factor: Estimate


@dataclass(frozen=True, kw_only=True)
class SourceImpedance:
    """Slope of voltage against current, or the reason why there is none.

    Attributes:
        ohm: source impedance seen at the machine.
        no_load_v: voltage with no current drawn.
        drop_percent: fall of the voltage at the largest current read.
        reason: why it could not be had.
    """

    ohm: Estimate | None = None
    no_load_v: Estimate | None = None
    drop_percent: Estimate | None = None
    largest_current_a: float | None = None
    reason: str = ""


def power_factors(
    readings: Sequence[Reading], *, accuracy: MeterAccuracy | None = None
) -> tuple[PowerFactor, ...]:
    """Power factor with its uncertainty of every reading with V, A and W above zero."""
    accuracy = accuracy or MeterAccuracy()
    found = []
    for reading in readings:
        v, a, w = reading.voltage_v, reading.current_a, reading.power_w
        if not (v and a and w):
            continue
        relative = np.linalg.norm(
            [
                accuracy.standard_uncertainty(v, accuracy.voltage_v) / v,
                accuracy.standard_uncertainty(a, accuracy.current_a) / a,
                accuracy.standard_uncertainty(w, accuracy.power_w) / w,
            ]
        )
        factor = w / (v * a)
        found.append(
            PowerFactor(
                name=reading.name,
                apparent_power_va=v * a,
                factor=Estimate(value=factor, standard_uncertainty=float(factor * relative)),
            )
        )
    return tuple(found)


def source_impedance(
    readings: Sequence[Reading], *, accuracy: MeterAccuracy | None = None
) -> SourceImpedance:
    """Fit V = V0 - Z I over the readings that have both.

    The voltmeter's share error is common to all readings of one meter and cancels in the slope;
    only its digits count, which is why the drop is known better than the voltage.
    """
    accuracy = accuracy or MeterAccuracy()
    pairs = [
        (r.voltage_v, r.current_a)
        for r in readings
        if r.voltage_v is not None and r.current_a is not None
    ]
    if len(pairs) < 2:
        return SourceImpedance(
            reason="volts and amperes at two different loads are needed, say with the drum at "
            "rest and with the heater on"
        )
    v, a = np.array(pairs, dtype=float).T
    spread = float(np.ptp(a))
    if spread < 2.0:
        return SourceImpedance(
            reason=say(
                "the readings differ by {spread:.1f} A only; a load step of 2 A or "
                "more is needed, for instance the heater",
                spread=spread,
            )
        )
    digit = accuracy.voltage_v / np.sqrt(3.0)
    design = np.column_stack([np.ones_like(a), -a])
    solution, *_ = np.linalg.lstsq(design, v, rcond=None)
    spare = len(v) - 2
    scatter = float(np.sqrt(np.sum((v - design @ solution) ** 2) / spare)) if spare > 0 else 0.0
    covariance = max(digit, scatter) ** 2 * np.linalg.inv(design.T @ design)
    share = accuracy.share / np.sqrt(3.0)
    no_load, ohm = float(solution[0]), float(solution[1])
    largest = float(a.max())
    ohm_u = float(np.hypot(np.sqrt(covariance[1, 1]), share * ohm))
    return SourceImpedance(
        ohm=Estimate(value=ohm, standard_uncertainty=ohm_u),
        no_load_v=Estimate(
            value=no_load,
            standard_uncertainty=float(np.hypot(np.sqrt(covariance[0, 0]), share * no_load)),
        ),
        drop_percent=Estimate(
            value=100.0 * ohm * largest / no_load,
            standard_uncertainty=100.0 * ohm_u * largest / no_load,
        ),
        largest_current_a=largest,
    )
