"""A brushed motor whose speed sensor fails: full torque, a cut, and the programme anew.

Without pulses the controller reads standstill and asks for all the torque there is, until it has
waited for a pulse long enough and cuts the motor; when the drum stands it starts again, and after
a few attempts it gives up.  The times are common practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.dynamics import STATE_RATE_HZ, Motion, integrate
from spinlab.simulate.parameters import Parameters, Step
from spinlab.simulate.programme import COMMAND_RATE_HZ, Command, Span, command

ATTEMPTS = 3
WATCH_S = 2.0  # under power without a pulse, until the motor is cut
STANDSTILL = 0.5  # rad/s of the drum
PAUSE_S = 2.0  # with the drum at rest
LONGEST_RUN_OUT_S = 60.0


@dataclass
class _Course:
    """A command under construction, sample by sample at `COMMAND_RATE_HZ`."""

    speed: list[NDArray[np.float64]] = field(default_factory=list)
    powered: list[NDArray[np.bool_]] = field(default_factory=list)
    pulses: list[NDArray[np.bool_]] = field(default_factory=list)

    def add(self, speed: NDArray[np.float64], *, powered: bool, pulses: bool = True) -> None:
        """Append a stretch."""
        self.speed.append(speed)
        self.powered.append(np.full(len(speed), powered))
        self.pulses.append(np.full(len(speed), pulses))

    @property
    def count(self) -> int:
        """Samples so far."""
        return sum(len(part) for part in self.speed)

    def command(self, spans: tuple[Span, ...] = ()) -> Command:
        """What was built."""
        return Command(
            speed_rad_s=np.concatenate(self.speed),
            powered=np.concatenate(self.powered),
            pulses=np.concatenate(self.pulses),
            spans=spans,
        )


def run(p: Parameters, seed: int) -> tuple[Command, Motion]:
    """The programme as it was commanded, and what the drum did.

    With `drive.tachometer_loss` the pulses fail from a drum speed up: 1 is a sensor that never
    gives one, 0.25 one that fails above three quarters of the programme's fastest speed.
    """
    asked = command(p.programme)
    loss = p.drive.tachometer_loss
    if not loss:
        return asked, integrate(p, asked, seed)
    last_rate = (1.0 - loss) * float(np.abs(asked.speed_rad_s).max())
    moving = next((s for s in asked.spans if s.step.kind != "rest"), asked.spans[0])
    restart = round(moving.start_s * COMMAND_RATE_HZ)
    course, given_up = _Course(), []
    course.add(asked.speed_rad_s[:restart], powered=True)
    for _ in range(ATTEMPTS):
        begin = course.count
        lost = _lost(p, course, asked, restart, last_rate, seed)
        if lost is None:
            course.add(asked.speed_rad_s[restart:], powered=True)
            final = course.command(asked.spans)
            return final, integrate(p, final, seed)
        blind = asked.speed_rad_s[restart + lost :][: round(WATCH_S * COMMAND_RATE_HZ)]
        course.add(asked.speed_rad_s[restart : restart + lost], powered=True)
        course.add(blind, powered=True, pulses=False)
        cut_s = course.count / COMMAND_RATE_HZ
        given_up.append(Span(step=_GIVEN_UP, start_s=cut_s, hold_start_s=cut_s, end_s=cut_s))
        course.add(np.zeros(_run_out(p, course, seed)), powered=False)
    spans = (*_cut_short(asked.spans, begin - restart, given_up[-1].end_s), *given_up)
    final = course.command(spans)
    return final, integrate(p, final, seed)


_GIVEN_UP = Step(kind="abandon")


def _rate(p: Parameters, course: _Course, more: _Course, seed: int) -> NDArray[np.float64]:
    """The drum's rate in rad/s at every sample that `more` adds to `course`."""
    whole = _Course(
        course.speed + more.speed, course.powered + more.powered, course.pulses + more.pulses
    )
    motion = integrate(p, whole.command(), seed)
    step = round(STATE_RATE_HZ / COMMAND_RATE_HZ)
    return np.asarray(2.0 * np.pi * np.abs(motion.rate_hz[::step][course.count :]))


def _lost(
    p: Parameters, course: _Course, asked: Command, restart: int, last_rate: float, seed: int
) -> int | None:
    """Samples of one more attempt until the pulses fail, None if they do not."""
    more = _Course()
    more.add(asked.speed_rad_s[restart:], powered=True)
    rate = _rate(p, course, more, seed)
    failed = (rate >= last_rate) & (np.abs(asked.speed_rad_s[restart:][: len(rate)]) > 0.0)
    return int(np.argmax(failed)) if failed.any() else None


def _run_out(p: Parameters, course: _Course, seed: int) -> int:
    """Samples until the drum has run out and the pause is over."""
    more = _Course()
    more.add(np.zeros(round(LONGEST_RUN_OUT_S * COMMAND_RATE_HZ)), powered=False)
    still = _rate(p, course, more, seed) < STANDSTILL
    standing = int(np.argmax(still)) if still.any() else len(still)
    return standing + round(PAUSE_S * COMMAND_RATE_HZ)


def _cut_short(spans: tuple[Span, ...], later: int, cut_s: float) -> tuple[Span, ...]:
    """The programme's spans at their place in the last attempt; none holds after the cut."""
    out = []
    for span in spans:
        shift = later / COMMAND_RATE_HZ
        start, held, end = (t + shift for t in (span.start_s, span.hold_start_s, span.end_s))
        if held > cut_s - 1.0:  # never come to: the drum runs out instead
            start = held = cut_s
            end = cut_s + span.step.hold_s
        out.append(replace(span, start_s=start, hold_start_s=held, end_s=min(end, cut_s + PAUSE_S)))
    return tuple(out)
