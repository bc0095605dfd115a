"""Recordings made by formula, with their analyses: noise whose envelope turns with the drum.

The truth is the formula's own: no room, no phone, no model of a machine.
"""

import numpy as np

from spinlab.analysis import Analysis
from spinlab.finding import Verdict
from spinlab.quality import assess
from spinlab.recording import Recording, Source
from spinlab.simulate.parameters import Room
from spinlab.simulate.room import room_response
from spinlab.stages import stage_table
from tests.courses import track_of

RATE_HZ = 8000
HOP_S = 0.3
REST_S = 2.0
PLATEAUS = ((600.0, 9.0), (900.0, 9.0), (1200.0, 9.0))  # rpm, s
VERDICT = Verdict(state="clear", sentence="Made by formula; nothing was judged.")


def course(plateaus=PLATEAUS):
    """Speed over time at the recording's rate: rest, then the plateaus with 1 s ramps between."""
    corners = [(0.0, 0.0), (REST_S, 0.0)]
    for rpm, length_s in plateaus:
        start = corners[-1][0] + 1.0
        corners += [(start, rpm), (start + length_s, rpm)]
    corner = np.array(corners)
    time_s = np.arange(0.0, corner[-1, 0], 1.0 / RATE_HZ)
    return time_s, np.interp(time_s, corner[:, 0], corner[:, 1])


def modulated(depths, *, seed, plateaus=PLATEAUS, gain=1.0, background=0.0, tones=(), room=None):
    """Noise whose power is 1 + depth cos(order x angle), louder with speed, and its analysis.

    Args:
        depths: (order, depth) of every line of the squared envelope.
        seed: of the noise.
        plateaus: (rpm, s) each.
        gain: of the whole recording, as a phone's.
        background: amplitude of steady noise that does not move with the drum.
        tones: (order, amplitude) of sines that turn with the drum.
        room: seed of a room's response, half a metre from the source; each is as good as another
            place of the phone within a hand's breadth, since its tail is made anew.
    """
    rng = np.random.default_rng(seed)
    time_s, rpm = course(plateaus)
    angle = 2.0 * np.pi * np.cumsum(rpm / 60.0) / RATE_HZ
    power = np.ones(len(time_s))
    for order, depth in depths:
        power += depth * np.cos(order * angle + rng.uniform(0.0, 2.0 * np.pi))
    loud = np.maximum(rpm / 1200.0, 0.0)
    sound = loud * np.sqrt(np.maximum(power, 0.0)) * rng.standard_normal(len(time_s))
    for order, amplitude in tones:
        sound += loud * amplitude * np.sin(order * angle + rng.uniform(0.0, 2.0 * np.pi))
    sound = sound if room is None else _heard(sound, room)
    sound += background * rng.standard_normal(len(time_s))
    return analysed(0.05 * gain * sound, time_s, rpm)


def logged(amplitudes, *, seed, plateaus=PLATEAUS):
    """An acceleration log of 200 Hz: (order, m/s2) of sines that turn with the drum, and noise."""
    rng = np.random.default_rng(seed)
    time_s, rpm = course(plateaus)
    time_s, rpm = (values[:: RATE_HZ // 200] for values in (time_s, rpm))
    angle = 2.0 * np.pi * np.cumsum(rpm / 60.0) / 200.0
    axes = 0.05 * rng.standard_normal((3, len(time_s)))
    for order, amplitude in amplitudes:
        axes[0] += amplitude * (rpm / 1200.0) ** 2 * np.sin(order * angle + rng.uniform(0.0, 6.0))
    axes[2] += 9.81
    recording = Recording(
        kind="acceleration",
        samples=axes.astype(np.float32),
        rate_hz=200.0,
        channel_names=("x", "y", "z"),
        source=Source(file="made.csv", sha256="0" * 64),
    )
    frames_s = np.arange(0.5 * HOP_S, time_s[-1] - 0.5 * HOP_S, HOP_S)
    speed = np.interp(frames_s, time_s, rpm)
    return of(recording, track_of(frames_s, speed, np.full(len(speed), 0.2)))


def _heard(sound, seed):
    """A sound through a room, no louder than before."""
    from scipy.signal import fftconvolve

    response = room_response(
        Room(distance_m=0.5, reverberation_s=0.4), np.random.default_rng([77, seed]), float(RATE_HZ)
    )
    return fftconvolve(sound, response)[: len(sound)] / np.linalg.norm(response)


def analysed(sound, time_s, rpm, *, name="made.wav"):
    """A sound with its true speed as an analysis that judged nothing."""
    recording = Recording(
        kind="sound",
        samples=sound[np.newaxis].astype(np.float32),
        rate_hz=float(RATE_HZ),
        channel_names=("mono",),
        source=Source(file=name, sha256="0" * 64),
    )
    frames_s = np.arange(0.5 * HOP_S, time_s[-1] - 0.5 * HOP_S, HOP_S)
    speed = np.interp(frames_s, time_s, rpm)
    track = track_of(frames_s, speed, np.full(len(speed), 0.2))
    return of(recording, track)


def of(recording, track, *, machine=None, **more):
    """An analysis of a recording whose speed is known, without findings."""
    return Analysis(
        recording=recording,
        quality=assess(recording),
        machine=machine,
        track=track,
        stages=stage_table(track, machine),
        findings=(),
        verdict=VERDICT,
        **more,
    )
