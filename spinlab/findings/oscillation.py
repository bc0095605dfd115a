"""Oscillation: hunting of the speed, slow beats of the amplitude, and retries.

The state says how sure the swing itself is; the probability is what is left for the first suspect
beside its rivals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from spinlab.finding import Finding, State
from spinlab.findings.judge import chance_above, not_measurable, numbers, shared, state_of
from spinlab.phrase import join, many, say
from spinlab.quality.value import Quality
from spinlab.speed.track import Estimate
from spinlab.stages import StageTable
from spinlab.vibration.beats import Beat
from spinlab.vibration.measure import PlateauBeat, Vibration

# Share of the speed's mean from which its swing is called hunting, and of the amplitude's mean
# from which its swing is called a beat; common practice, no published source.
HUNTING_PERCENT = 1.0
BEAT_PERCENT = 25.0
LINE_P = 1e-3
# Sound is loud in more ways than through the drum: it takes more to call its swing a beat.
SOUND_BEAT_PERCENT = 40.0
GAIN_SWING_DB = 3.0


def findings(
    vibration: Vibration, stages: StageTable | None = None, quality: Quality | None = None
) -> tuple[Finding, ...]:
    """Hunting, beats and retries."""
    if not vibration.beats:
        found = [
            not_measurable(
                "oscillation",
                "hunting of the speed",
                vibration.reason or "no plateau of two seconds or more with a known speed",
                "hold each plateau for ten seconds or more",
            )
        ]
    else:
        found = [_hunting(vibration.beats), _beating(vibration, quality)]
    retries = _retries(stages)
    return tuple(found) if retries is None else (*found, retries)


@dataclass(frozen=True, kw_only=True)
class _Line:
    """The strongest slow line that stands out, and the plateau it stands on."""

    plateau: PlateauBeat
    rate: Estimate
    depth: Estimate
    beat: Beat


def _strongest(beats: list[tuple[PlateauBeat, Beat]]) -> _Line | None:
    lines = [
        _Line(plateau=plateau, rate=beat.rate_hz, depth=beat.depth_percent, beat=beat)
        for plateau, beat in beats
        if beat.rate_hz is not None
        and beat.depth_percent is not None
        and beat.p_value is not None
        and beat.p_value < LINE_P
    ]
    return max(lines, key=lambda line: line.depth.value, default=None)


@dataclass(frozen=True, kw_only=True)
class _Swing:
    """A slow line held against its limit."""

    of: str
    limit_percent: float
    best: _Line

    @property
    def sign(self) -> float:
        """Probability that the swing is beyond its limit."""
        depth = self.best.depth
        return chance_above(depth.value, depth.standard_uncertainty, self.limit_percent)

    @property
    def state(self) -> State:
        """What swings is sure; the rivals share the cause, not the swing: never a fault."""
        state = state_of(self.sign)
        return "attention" if state == "fault" else state

    def finding(
        self, subject: str, *, rivals: Mapping[str, float], check: str, reason: str
    ) -> Finding:
        """The swing as a finding; `rivals` by weight."""
        probability, causes = shared(self.sign, rivals)
        return Finding(
            kind="oscillation",
            subject=subject,
            state=self.state,
            probability=probability,
            evidence=_numbers(self.of, self.best)
            | {"limit_percent": self.limit_percent, "sign_probability": self.sign},
            rivals=causes,
            next_step=check if self.state != "clear" else "",
            reason=reason,
        )


def _still(subject: str, beats: tuple[PlateauBeat, ...], reason: str) -> Finding:
    return Finding(
        kind="oscillation",
        subject=subject,
        state="clear",
        probability=0.02,
        reason=reason,
        evidence={"slowest_rate_hz": _slowest(beats)},
    )


def _why_not(beats: list[Beat]) -> str:
    return next((line.reason for line in beats if line.reason), "")


def _hunting(beats: tuple[PlateauBeat, ...]) -> Finding:
    subject = "hunting of the speed"
    if all(b.speed.depth_percent is None for b in beats):
        still = all("nothing swings" in b.speed.reason for b in beats)
        if not still:
            return not_measurable(
                "oscillation",
                subject,
                _why_not([b.speed for b in beats]) or "the speed is not known well enough",
                "hold each plateau for ten seconds or more",
            )
    best = _strongest([(b, b.speed) for b in beats])
    if best is None:
        return _still(subject, beats, "no slow line of the speed stands out on any plateau")
    follows = _same_rate(best.plateau)
    swing = _Swing(of="speed", limit_percent=HUNTING_PERCENT, best=best)
    reason = say("the speed swings by no more than {value:.2f} %", value=best.depth.value)
    if swing.state != "clear":
        reason = say(
            "the speed swings by {value:.2f} % at {rate:.2f} Hz on the "
            "{speed:.0f} rpm plateau; the controller is the first suspect",
            value=best.depth.value,
            rate=best.rate.value,
            speed=best.plateau.span.speed_rpm,
        )
    return swing.finding(
        subject,
        rivals={
            "tacho or its wiring": 0.4,
            "belt slipping and gripping": 0.3,
            "moving water or load that drags the speed": 0.5 if follows else 0.15,
        },
        check="check tacho, its magnet and plug, belt tension; compare with another unit",
        reason=reason,
    )


def _beating(vibration: Vibration, quality: Quality | None) -> Finding:
    sound = vibration.kind == "sound"
    subject = "slow beat of the loudness" if sound else "slow beat of the vibration"
    beats = vibration.beats
    swing = quality.gain_swing_db if quality is not None else None
    if sound and swing is not None and swing > GAIN_SWING_DB:
        return not_measurable(
            "oscillation",
            subject,
            say(
                "the phone's automatic gain swings by {swing:.0f} dB, which levels loudness",
                swing=swing,
            ),
            "record with a sound recorder whose automatic gain can be turned off",
        )
    if all(b.amplitude.depth_percent is None for b in beats):
        return not_measurable(
            "oscillation",
            subject,
            _why_not([b.amplitude for b in beats]) or "plateaus too short",
            "hold each plateau for ten seconds or more",
        )
    best = _strongest([(b, b.amplitude) for b in beats])
    limit = SOUND_BEAT_PERCENT if sound else BEAT_PERCENT
    if best is None:
        return _still(subject, beats, "no slow line stands out on any plateau")
    follows = _same_rate(best.plateau)
    return _Swing(of="amplitude", limit_percent=limit, best=best).finding(
        subject,
        rivals={
            "a ring of water in the drum or the balancing ring": 0.8,
            "ballast or object moving in the drum": 0.5,
            "hunting of the speed, which the amplitude follows": 2.0 if follows else 0.1,
            "a second machine or pump of nearly the same rate": 0.4,
        },
        check="drain, run the pump until it sucks air, and repeat; turn the drum by hand and "
        "listen for water or a loose weight",
        reason=say(
            "the amplitude swings by {value:.0f} % at {rate:.2f} Hz on the {speed:.0f} rpm plateau",
            value=best.depth.value,
            rate=best.rate.value,
            speed=best.plateau.span.speed_rpm,
        )
        + (", at the rate at which the speed hunts" if follows else ", while the speed holds"),
    )


def _same_rate(plateau: PlateauBeat) -> bool:
    """Whether speed and amplitude swing at one rate."""
    a, b = plateau.speed, plateau.amplitude
    if a.rate_hz is None or b.rate_hz is None or a.p_value is None or b.p_value is None:
        return False
    if a.p_value > LINE_P or b.p_value > LINE_P:
        return False
    u = (a.rate_hz.standard_uncertainty**2 + b.rate_hz.standard_uncertainty**2) ** 0.5
    return bool(abs(a.rate_hz.value - b.rate_hz.value) < 3.0 * u + 0.01)


def _slowest(beats: tuple[PlateauBeat, ...]) -> float | None:
    rates = [b.speed.lowest_rate_hz for b in beats if b.speed.lowest_rate_hz is not None]
    return min(rates) if rates else None


def _numbers(name: str, line: _Line) -> dict[str, Any]:
    return {
        "of": name,
        "plateau_rpm": line.plateau.span.speed_rpm,
        **numbers("rate_hz", line.rate),
        **numbers("depth_percent", line.depth),
        "p_value": line.beat.p_value,
        "slowest_rate_hz": line.beat.lowest_rate_hz,
    }


def _retries(stages: StageTable | None) -> Finding | None:
    if stages is None or not stages.retries:
        return None
    count = len(stages.retries)
    speeds = join(", ", (say("{speed:.0f}", speed=retry.speed_rpm) for retry in stages.retries))
    probability, rivals = shared(
        0.9, {"worn damper or suspension": 0.7, "water left in the drum": 0.4, "tacho lost": 0.3}
    )
    return Finding(
        kind="oscillation",
        subject="ramps given up and tried again",
        state="attention",
        probability=probability,
        evidence={
            "sign_probability": 0.9,
            "retries": count,
            "speeds_rpm": [retry.speed_rpm for retry in stages.retries],
            "times_s": [retry.time_s for retry in stages.retries],
        },
        rivals=rivals,
        next_step="empty drum? drained? feet level? then the suspension",
        reason=many(
            "{count} ramp was given up, at {speeds} rpm",
            "{count} ramps were given up, at {speeds} rpm",
            count=count,
            speeds=speeds,
        ),
    )
