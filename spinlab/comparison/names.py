"""What is known to stand at an order: the drum, the motor, the belt, parts of a bearing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from spinlab.analysis import Analysis
from spinlab.bearings import FAULTS, Fault, MountedBearing, mounted
from spinlab.errors import InputError
from spinlab.machine.value import Machine
from spinlab.phrase import Phrase, join, say

# A multiple of the drum's turn is recognised this near to it (orders): within a line's own width.
_NEAR_DRUM = 0.08
_DRUM_MULTIPLES = 12
_MOTOR_MULTIPLES = 4
_RACE_HARMONICS = 5
# Sidebands are given to the first few harmonics only; farther up, everything lies near one.
_HARMONICS_WITH_SIDEBANDS = 3


@dataclass(frozen=True, kw_only=True)
class Named:
    """A place that something is known to make lines at.

    Attributes:
        label: in plain words.
        family: what makes it and its fellows.
        order: where it is expected, on the drum's scale.
        low, high: where it may lie.
        rank: lower ones are preferred.
        chosen: whether its change is told even where it is none.
    """

    label: str
    family: str
    order: float
    low: float
    high: float
    rank: int
    chosen: bool = False


def known_lines(machine: Machine | None, first: Analysis, second: Analysis) -> tuple[Named, ...]:
    """Every named place.

    Args:
        machine: the profile; without one only the drum's and the motor's lines have names.
        first, second: for the motor's ratio, where it was measured.
    """
    return (*_drum(), *_bearings(machine, first), *_motor(first, second))


def name_of(order: float, names: Sequence[Named]) -> Named | None:
    """The named place that an order falls into: of the best rank, then the nearest."""
    fits = [name for name in names if name.low <= order <= name.high]
    return min(fits, key=lambda name: (name.rank, abs(order / name.order - 1.0)), default=None)


def _times(k: int, what: str) -> Phrase:
    return Phrase("{k} × {what}", {"k": k, "what": what})


def _drum() -> list[Named]:
    return [
        Named(
            label=_times(k, "drum"),
            family="drum",
            order=float(k),
            low=k - _NEAR_DRUM,
            high=k + _NEAR_DRUM,
            rank=0,
            chosen=k <= 2,
        )
        for k in range(1, _DRUM_MULTIPLES + 1)
    ]


def _bearings(machine: Machine | None, analysis: Analysis) -> list[Named]:
    if machine is None:
        return []
    try:
        fitted = mounted(machine, analysis.track).bearings
    except InputError:
        return []
    return [
        name
        for bearing in fitted
        for fault in FAULTS
        for k in range(1, _RACE_HARMONICS + 1)
        for name in _race(bearing, fault, k)
    ]


def _race(bearing: MountedBearing, fault: Fault, k: int) -> Iterator[Named]:
    family = join(", ", [bearing.name, fault])
    low, high = bearing.search_range(fault)
    order = k * bearing.order(fault)
    yield Named(
        label=family if k == 1 else _times(k, family),
        family=family,
        order=order,
        low=k * low,
        high=k * high,
        rank=1,
        chosen=k == 1 and fault != "cage",
    )
    if k > _HARMONICS_WITH_SIDEBANDS or fault == "cage":
        return
    turn = say("one turn of the cage") if fault == "ball" else say("one turn of its shaft")
    for sign, pattern in ((-1, "{line}, less {turn}"), (1, "{line}, plus {turn}")):
        aside = sign * bearing.sideband_order(fault)
        if k * low + aside <= 0:
            continue
        yield Named(
            label=say(pattern, line=_times(k, family), turn=turn),
            family=family,
            order=order + aside,
            low=k * low + aside,
            high=k * high + aside,
            rank=2,
        )


def _motor(first: Analysis, second: Analysis) -> list[Named]:
    found = []
    for analysis in (first, second):
        ratio = analysis.track.motor_ratio
        if ratio is None or ratio.value <= 1.5:
            continue
        for k in range(1, _MOTOR_MULTIPLES + 1):
            reach = max(_NEAR_DRUM, 2.0 * k * ratio.standard_uncertainty)
            found.append(
                Named(
                    label=_times(k, "motor"),
                    family="motor",
                    order=k * ratio.value,
                    low=k * ratio.value - reach,
                    high=k * ratio.value + reach,
                    rank=0,
                )
            )
    return found
