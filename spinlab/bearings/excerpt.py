"""Spectral kurtosis of an excerpt at the steadiest, fastest turning, before bands are chosen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from spinlab.bearings.group import Whitened, top_speed_hz
from spinlab.envelope.kurtosis import Kurtogram, fast_kurtogram
from spinlab.speed.track import SpeedTrack

_EXCERPT_S = 8.0


def steady_kurtogram(
    stretches: Sequence[Whitened],
    track: SpeedTrack,
    carrier_hz: tuple[float, float],
    *,
    fastest_hz: float,
) -> Kurtogram | None:
    """Spectral kurtosis over the seconds around the highest speed; None if under half a second.

    Args:
        stretches: pre-whitened.
        track: the drum's speed.
        carrier_hz: range of the tree.
        fastest_hz: impact rate; bands are at least four times as wide.
    """
    home = max(stretches, key=lambda stretch: top_speed_hz(track, [stretch.span]))
    inside = (track.time_s >= home.span.start_s) & (track.time_s <= home.span.end_s) & track.known
    speed = np.where(inside, np.nan_to_num(track.speed_rpm), 0.0)
    middle = float(np.median(track.time_s[speed >= 0.98 * speed.max()]))
    size = round(_EXCERPT_S * home.rate_hz)
    first = round((middle - home.span.start_s) * home.rate_hz) - size // 2
    row = home.samples[0]
    row = row[max(0, min(first, len(row) - size)) :][:size]
    if len(row) < 0.5 * home.rate_hz:
        return None
    return fast_kurtogram(
        row,
        home.rate_hz,
        least_width_hz=4.0 * fastest_hz,
        low_hz=carrier_hz[0],
        high_hz=carrier_hz[1],
    )
