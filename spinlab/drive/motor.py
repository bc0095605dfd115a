"""Families of motor orders: what a healthy motor has, what a lost phase or a bad sensor adds.

Orders of the motor's shaft with p pole pairs (handbook knowledge, value from memory): torque
ripple 6 p k of a fed three-phase machine; slot passing; cogging at the least common multiple of
slots and poles; commutator bars.  A lost phase makes the torque pulse at twice the electrical
frequency, order 2 p, and at twice that: three equal phases cancel both (6 p k alone is left).  A
misplaced position sensor jerks once per electrical turn, order p and its odd multiples too.

Between the motor and the microphone stand panels that raise one order by 20 dB at one speed and
another at the next.  A fault stands out at nearly every speed, a resonance at some: the level of a
fault family is the lower quartile over the speeds, ramps included.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.drive.order_levels import levels, speed_groups, strongest
from spinlab.drive.spectra import OrderSpectra
from spinlab.phrase import say

SIGNIFICANT_P = 1e-4
NATURAL_SHAFT_ORDERS = (1, 2, 3)  # unbalance, misalignment and oval journals of any shaft


@dataclass(frozen=True, kw_only=True)
class MotorLine:
    """One order of the motor's shaft.

    Attributes:
        order: multiple of the motor's rate.
        names: the families it belongs to.
        level_db: mean power over the plateaus, dB relative to the strongest motor order.
        above_noise_db: over the noise around it.
        p_value: chance of as much in noise alone, on the median plateau.
    """

    order: int
    names: tuple[str, ...]
    level_db: float
    above_noise_db: float
    p_value: float

    @property
    def heard(self) -> bool:
        """Whether it stands out of the noise."""
        return self.p_value < SIGNIFICANT_P


@dataclass(frozen=True, kw_only=True)
class MotorOrders:
    """The motor's orders, and how strong the fault families are beside the usual ones.

    Attributes:
        lines: every order that has a name, heard or not, and unnamed ones that are heard.
        twice_electrical_db: order 2 p over the strongest usual order (ripple, slots), lower
            quartile over the speeds; None where it is not heard.
        four_times_electrical_db: order 4 p likewise; three equal phases have none.
        three_over_four_db: order 3 p over order 4 p, median over the speeds, where 4 p is heard: a
            position sensor makes both, a lost phase the even one alone.
        once_electrical_db: strongest heard odd multiple of p that no healthy shaft has, likewise.
        speeds: how many speeds, plateaus and pieces of ramps, these rest on.
        usual_heard: whether an order is heard that every sound motor of these counts has; if not,
            there is nothing to hold the fault families against.
        reason: why there is nothing; "" otherwise.
    """

    lines: tuple[MotorLine, ...] = ()
    twice_electrical_db: float | None = None
    four_times_electrical_db: float | None = None
    three_over_four_db: float | None = None
    once_electrical_db: float | None = None
    usual_heard: bool = False
    speeds: int = 0
    reason: str = ""


def family_names(
    *, pole_pairs: int | None, slots: int | None, commutator_bars: int | None
) -> dict[int, tuple[str, ...]]:
    """Names of the orders that a motor with these counts can have."""
    names: dict[int, list[str]] = {}

    def add(order: int, name: str) -> None:
        names.setdefault(order, []).append(name)

    for k in NATURAL_SHAFT_ORDERS:
        add(k, say("{k} x shaft", k=k))
    if commutator_bars:
        add(commutator_bars, "commutator bars")
        add(2 * commutator_bars, "2 x commutator bars")
    if slots:
        add(slots, "slot passing")
        if pole_pairs:
            add(math.lcm(slots, 2 * pole_pairs), "cogging, lcm of slots and poles")
    if pole_pairs and not commutator_bars:
        add(pole_pairs, "once per electrical turn")
        for k in (3, 5):
            add(k * pole_pairs, say("{k} x electrical", k=k))
        add(2 * pole_pairs, "2 x electrical, pole passing")
        add(4 * pole_pairs, "4 x electrical")
        for k in (1, 2, 3):
            add(6 * k * pole_pairs, say("torque ripple {k} x electrical", k=6 * k))
    return {order: tuple(found) for order, found in sorted(names.items())}


def motor_orders(
    spectra: OrderSpectra,
    names: dict[int, tuple[str, ...]],
    *,
    ratio: float,
    pole_pairs: int | None = None,
    plateaus_rpm: Sequence[float] = (),
) -> MotorOrders:
    """Measure every named order of the motor's shaft over the plateaus.

    Args:
        spectra: order spectra on the drum's angle.
        names: from `family_names`.
        ratio: motor turns per drum turn.
        pole_pairs: for the two fault families.
        plateaus_rpm: mean speeds of the plateaus; all windows form one if empty.
    """
    speeds = speed_groups(spectra)
    # Of a plateau too short for three windows, the ramps beside it tell as much.
    groups = _plateau_windows(spectra, plateaus_rpm) or speeds
    if not groups:
        return MotorOrders(reason="no plateau is long enough")
    top = int(spectra.highest / ratio - 1.0)
    # Every order of the motor up to a few times its electrical turn shows what has no name.
    orders = sorted({m for m in names if m <= top} | set(range(1, min(top, 12) + 1)))
    if not orders:
        return MotorOrders(reason="the recording's band ends below the motor's orders")
    lines = [_line(spectra, groups, m, names.get(m, ()), ratio) for m in orders]
    loudest = max(line.level_db for line in lines)
    lines = [_relative(line, loudest) for line in lines]
    lines = [line for line in lines if line.names or line.heard]
    usual = _usual(lines, pole_pairs)
    twice = four = once = odd = None
    if pole_pairs is not None and usual:
        beside = levels(spectra, speeds, [line.order for line in usual], ratio).max(axis=0)
        twice, four, once = (
            _over(spectra, speeds, family, ratio, beside)
            for family in _fault_families(lines, pole_pairs)
        )
        if four is not None:
            three_four = levels(spectra, speeds, [3 * pole_pairs, 4 * pole_pairs], ratio)
            odd = float(np.median(three_four[0] - three_four[1]))
    return MotorOrders(
        lines=tuple(lines),
        twice_electrical_db=twice,
        four_times_electrical_db=four,
        three_over_four_db=odd,
        once_electrical_db=once,
        usual_heard=any(line.heard for line in usual),
        speeds=len(speeds),
    )


def _plateau_windows(
    spectra: OrderSpectra, plateaus_rpm: Sequence[float]
) -> list[NDArray[np.int64]]:
    if not len(plateaus_rpm):
        every = np.arange(len(spectra.time_s))
        return [every] if len(every) >= 3 else []
    groups = []
    for speed in plateaus_rpm:
        inside = np.flatnonzero(
            (np.abs(spectra.speed_rpm - speed) < 15.0) & (np.abs(spectra.slope_rpm_per_s) < 6.0)
        )
        if len(inside) >= 3:
            groups.append(inside)
    return groups


def _line(
    spectra: OrderSpectra,
    groups: list[NDArray[np.int64]],
    order: int,
    names: tuple[str, ...],
    ratio: float,
) -> MotorLine:
    """Median over the plateaus, so that a tone that one plateau happens to meet does not count."""
    from scipy.stats import gamma

    excess, power, chance = [], [], []
    for inside in groups:
        white, own_power = strongest(spectra, inside, order * ratio)
        excess.append(white)
        power.append(own_power)
        independent = 2.0 * len(inside) / 3.0
        p = float(gamma.sf(white, independent, scale=1.0 / independent))
        chance.append(min(1.0, 4.0 * p))  # about four independent cells were looked at
    middle = int(np.argsort(excess)[(len(excess) - 1) // 2])
    own = np.array(power) * np.maximum(1.0 - 1.0 / np.array(excess), 1e-3)
    return MotorLine(
        order=order,
        names=names,
        level_db=10.0 * float(np.log10(np.median(own) + 1e-30)),
        above_noise_db=10.0 * float(np.log10(excess[middle] + 1e-30)),
        p_value=chance[middle],
    )


def _relative(line: MotorLine, loudest_db: float) -> MotorLine:
    return MotorLine(
        order=line.order,
        names=line.names,
        level_db=line.level_db - loudest_db,
        above_noise_db=line.above_noise_db,
        p_value=line.p_value,
    )


def _over(
    spectra: OrderSpectra,
    speeds: list[NDArray[np.int64]],
    family: Sequence[int],
    ratio: float,
    beside: NDArray[np.float64],
) -> float | None:
    """Lower quartile over the speeds of the family's strongest order over the usual ones."""
    if not family or not speeds:
        return None
    over = levels(spectra, speeds, family, ratio) - beside
    return float(np.quantile(over, 0.25, axis=1).max())


def _fault_families(
    lines: list[MotorLine], pole_pairs: int
) -> tuple[list[int], list[int], list[int]]:
    """Orders 2 p, 4 p, and the odd multiples of p that no healthy shaft has, where they are heard.

    A line that is not heard has no level: what is read at its place is noise.
    """
    heard = {line.order for line in lines if line.heard}
    slots = next((line.order for line in lines if "slot passing" in line.names), None)

    def own(order: int) -> bool:
        natural = order in NATURAL_SHAFT_ORDERS or (slots is not None and order % slots == 0)
        return order in heard and not natural

    odd = [k * pole_pairs for k in (1, 3, 5) if own(k * pole_pairs)]
    twice = [order for order in (2 * pole_pairs,) if order in heard]
    return twice, [order for order in (4 * pole_pairs,) if own(order)], odd


def _usual(lines: list[MotorLine], pole_pairs: int | None) -> list[MotorLine]:
    """Orders that a healthy fed motor has.

    Unless one of them is heard there is no reference: high orders are smeared by the speed's own
    error, and every other order would then seem to tower over them.
    """
    if pole_pairs is None:
        return []
    return [
        line for line in lines if line.order % (6 * pole_pairs) == 0 or "slot passing" in line.names
    ]
