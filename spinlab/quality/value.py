"""The quality record: what a recording is good for, as a frozen value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from spinlab.recording import Gap, Kind, Remark

Suspicion = Literal["suspected", "not seen", "not measurable"]


@dataclass(frozen=True, kw_only=True)
class Quality:
    """What a recording can carry, and what stands in the way.

    Levels are in dB re full scale (a full-scale square wave is 0 dB) for sound and in m/s2 for
    acceleration; the fields of the other kind are None.  None always means "not measurable".

    Attributes:
        kind: "sound" or "acceleration".
        duration_s: length.
        rate_hz: samples per second.
        rate_standard_uncertainty_hz: of that rate: the phone's quartz, and a log's jitter.
        usable_band_hz: lowest and highest frequency at which the recording holds more than the
            floor of its own filter, codec and word length; None if it holds nothing.
        level_dbfs: root mean square of the loudest channel.
        level_m_s2: root mean square of the strongest axis about its mean (gravity left out).
        noise_floor_dbfs: level of the quietest twentieth of the recording: an upper bound of the
            floor where the recording holds no quiet moment.
        noise_floor_m_s2: the same for acceleration.
        clipped_share: share of samples held at an end of their range, in the worst channel; a
            lower bound after a lossy codec, whose ripple moves flat tops.
        dropouts: stretches with nothing usable in them, the reader's gaps included.
        gain_swing_db: size of automatic gain changes; None where nothing lets it be told.
        gain_evidence: how the gain changes were told, or why they could not be.
        noise_suppression: whether the phone seems to have thinned out steady noise.
        spectral_holes: share of short-time spectrum cells far below their neighbours in time;
            0.002 is expected of noise.
        speech_share: share of the time in which somebody seems to speak, about as loud as the
            machine or louder; fainter speech is not told.
        jitter_s: standard deviation of a log's steps.
        held_share: share of a log's readings that only repeat the one before.
        usable: False where nothing at all can be concluded.
        reason: why not; empty otherwise.
        remarks: each problem with its consequence.
    """

    kind: Kind
    duration_s: float
    rate_hz: float
    rate_standard_uncertainty_hz: float
    usable_band_hz: tuple[float, float] | None
    level_dbfs: float | None = None
    level_m_s2: float | None = None
    noise_floor_dbfs: float | None = None
    noise_floor_m_s2: float | None = None
    clipped_share: float = 0.0
    dropouts: tuple[Gap, ...] = ()
    gain_swing_db: float | None = None
    gain_evidence: str = ""
    noise_suppression: Suspicion = "not measurable"
    spectral_holes: float | None = None
    speech_share: float | None = None
    jitter_s: float | None = None
    held_share: float | None = None
    usable: bool = True
    reason: str = ""
    remarks: tuple[Remark, ...] = ()
