"""Everything that shakes, measured in one call; what cannot be measured says why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.vibration.beats import Beat, beat
from spinlab.vibration.decay import Decay, free_decay
from spinlab.vibration.law import GrowthLaw, growth_law
from spinlab.vibration.loudness import Loudness
from spinlab.vibration.modulation import Modulation, modulation
from spinlab.vibration.pattern import OrderPattern, order_pattern
from spinlab.vibration.plateaus import PlateauLevel, Span, plateau_levels, plateau_spans
from spinlab.vibration.resonance import Passage, passages
from spinlab.vibration.sensor import SensorState, sensor_state
from spinlab.vibration.tracking import OrderTrack, track_orders
from spinlab.vibration.vold_kalman import vold_kalman

BEAT_RATE_HZ = 8.0
BEAT_BANDWIDTH_HZ = 3.0


@dataclass(frozen=True, kw_only=True)
class PlateauBeat:
    """Slow beats on one plateau: of the speed and of the amplitude (or loudness)."""

    span: Span
    speed: Beat
    amplitude: Beat


@dataclass(frozen=True, kw_only=True, eq=False)
class Vibration:
    """What was measured of the shaking; None where the kind of recording cannot give it.

    Attributes:
        kind: "sound" or "acceleration".
        orders: orders over time (acceleration).
        levels: first and second order on each plateau (acceleration).
        law: growth of the first order with speed (acceleration).
        passages, decays: the suspension's resonance (acceleration).
        sensor: tilt, walking, clipping (acceleration).
        modulation: depth and knocks (sound).
        pattern: whole and half orders (both).
        beats: slow beats on each plateau (both).
        reason: why nothing that needs the drum's own speed was measured; "" otherwise.
    """

    kind: str
    reason: str = ""
    orders: OrderTrack | None = None
    levels: tuple[PlateauLevel, ...] = ()
    law: GrowthLaw | None = None
    passages: tuple[Passage, ...] = ()
    decays: tuple[Decay, ...] = ()
    sensor: SensorState | None = None
    modulation: Modulation | None = None
    pattern: OrderPattern | None = None
    beats: tuple[PlateauBeat, ...] = ()


def measure(
    recording: Recording,
    track: SpeedTrack,
    *,
    sound: Loudness | None = None,
    belt_order: float | None = None,
    motor_ratio: float | None = None,
) -> Vibration:
    """Measure orders, resonance, pattern, beats, modulation as far as the recording allows.

    Args:
        recording: sound or acceleration.
        track: the drum's speed.
        sound: band powers of a sound recording (made here if not given).
        belt_order: belt passes per drum turn, so that it does not count as a half order.
        motor_ratio: motor turns per drum turn, likewise.
    """
    if track.scale == "relative":
        # Ratios of speeds are known, but not which line is the drum's: no order has a name.
        why = track.reason or "only ratios of speeds are known"
        sensor = sensor_state(recording) if recording.kind == "acceleration" else None
        return Vibration(
            kind=recording.kind,
            reason=say("the drum's own speed is not known: {why}", why=why),
            sensor=sensor,
        )
    spans = plateau_spans(track)
    others = _others(belt_order, motor_ratio)
    if recording.kind == "acceleration":
        return _of_log(recording, track, spans, others)
    from spinlab.vibration.loudness import loudness

    powers = sound if sound is not None else loudness(recording)
    return Vibration(
        kind="sound",
        modulation=modulation(powers, track),
        pattern=order_pattern(recording, track, others=others),
        beats=tuple(_sound_beat(powers, track, span) for span in spans),
    )


def _others(belt_order: float | None, motor_ratio: float | None) -> tuple[float, ...]:
    belt = tuple(k * belt_order for k in range(1, 10)) if belt_order else ()
    motor = (motor_ratio,) if motor_ratio else ()
    return belt + motor


def _of_log(
    recording: Recording, track: SpeedTrack, spans: tuple[Span, ...], others: tuple[float, ...]
) -> Vibration:
    orders = track_orders(recording, track)
    runs = passages(recording, track)
    return Vibration(
        kind="acceleration",
        orders=orders,
        levels=plateau_levels(orders, spans),
        law=growth_law(orders, above_rpm=_above_resonance(runs)),
        passages=runs,
        decays=tuple(free_decay(recording, stop) for stop in _stops(track)),
        sensor=sensor_state(recording),
        pattern=order_pattern(recording, track, others=others),
        beats=tuple(_log_beat(recording, track, span) for span in spans),
    )


def _above_resonance(runs: tuple[Passage, ...]) -> float:
    """Twice the highest resonance found, and 400 rpm at least: there the law is quadratic."""
    found = [60.0 * r.frequency_hz.value for r in runs if r.frequency_hz is not None]
    return max([400.0, *(2.0 * speed for speed in found)])


def _stops(track: SpeedTrack) -> tuple[float, ...]:
    """Times at which the drum comes to rest."""
    rest = track.motion == "rest"
    starts = np.flatnonzero(rest[1:] & ~rest[:-1]) + 1
    return tuple(float(track.time_s[k]) for k in starts[:20])


def _speed_beat(track: SpeedTrack, span: Span) -> Beat:
    inside = (track.time_s >= span.start_s) & (track.time_s <= span.end_s)
    return beat(track.time_s[inside], track.speed_rpm[inside])


def _log_beat(recording: Recording, track: SpeedTrack, span: Span) -> PlateauBeat:
    """Beat of the first order's size, from a Vold-Kalman filter 3 Hz wide."""
    piece = recording.cut(span.start_s, span.end_s)
    if piece.length < 40 or span.speed_rpm / 60.0 > 0.4 * recording.rate_hz:
        reason = "too few samples a turn"
        return PlateauBeat(span=span, speed=_speed_beat(track, span), amplitude=Beat(reason=reason))
    time = piece.start_s + np.arange(piece.length) / recording.rate_hz
    phase = 2.0 * np.pi * track.turns_at(time)
    square = np.zeros(piece.length)
    for row in piece.samples:
        x = row.astype(np.float64) - float(row.mean())
        found = vold_kalman(x, recording.rate_hz, [phase], bandwidth_hz=BEAT_BANDWIDTH_HZ)
        square += np.abs(found.envelope[0]) ** 2
    step = max(1, round(recording.rate_hz / BEAT_RATE_HZ))
    return PlateauBeat(
        span=span,
        speed=_speed_beat(track, span),
        amplitude=beat(time[::step], np.sqrt(square)[::step], band_hz=(0.05, 1.0)),
    )


def _sound_beat(sound: Loudness, track: SpeedTrack, span: Span) -> PlateauBeat:
    """Beat of the loudness above 180 Hz, where hum and handling do not reach."""
    inside = np.flatnonzero((sound.time_s >= span.start_s) & (sound.time_s <= span.end_s))
    high = sound.bands_hz[:, 0] >= 180.0
    rows = np.flatnonzero(high) if high.any() else np.arange(len(sound.power))
    step = max(1, round(sound.rate_hz / BEAT_RATE_HZ))
    count = len(inside) // step
    used = inside[: count * step]
    power: NDArray[np.float64] = sound.power[np.ix_(rows, used)].sum(axis=0, dtype=np.float64)
    level = np.sqrt(power.reshape(count, step).mean(axis=1)) if count else np.zeros(0)
    time = sound.time_s[used].reshape(count, step).mean(axis=1) if count else np.zeros(0)
    return PlateauBeat(
        span=span, speed=_speed_beat(track, span), amplitude=beat(time, level, band_hz=(0.05, 2.0))
    )
