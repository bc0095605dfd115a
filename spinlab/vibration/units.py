"""One order's vibration in the three usual units, and its path as an orbit.

For a sine of frequency f: velocity = acceleration / (2 pi f), displacement = acceleration /
(2 pi f)^2 (ISO 2041).  Acceleration is stated as peak, velocity as RMS, displacement as peak.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.track import Estimate


@dataclass(frozen=True, kw_only=True)
class Level:
    """Size of one order at one speed."""

    frequency_hz: float
    acceleration_m_s2_peak: Estimate
    velocity_mm_s_rms: Estimate
    displacement_um_peak: Estimate


@dataclass(frozen=True, kw_only=True)
class Orbit:
    """The ellipse that the sensor's place runs through once per period.

    Attributes:
        major_m_s2, minor_m_s2: semi-axes, peak acceleration.
        roundness: minor over major: 1 a circle, 0 a straight line.
        direction: unit vector of the major axis on the recording's axes, shape (a,).
    """

    major_m_s2: float
    minor_m_s2: float
    roundness: float
    direction: NDArray[np.float64]


def level(
    acceleration_m_s2: float, uncertainty_m_s2: float, frequency_hz: float, frequency_u_hz: float
) -> Level:
    """Acceleration, velocity and displacement with their standard uncertainties."""
    w = 2.0 * np.pi * frequency_hz
    relative = frequency_u_hz / frequency_hz
    velocity = 1e3 * acceleration_m_s2 / w / np.sqrt(2.0)
    displacement = 1e6 * acceleration_m_s2 / w**2
    share = uncertainty_m_s2 / acceleration_m_s2 if acceleration_m_s2 > 0 else 0.0
    floor_v, floor_d = 1e3 * uncertainty_m_s2 / w / np.sqrt(2.0), 1e6 * uncertainty_m_s2 / w**2
    return Level(
        frequency_hz=frequency_hz,
        acceleration_m_s2_peak=Estimate(
            value=acceleration_m_s2, standard_uncertainty=uncertainty_m_s2
        ),
        velocity_mm_s_rms=Estimate(
            value=velocity,
            standard_uncertainty=max(velocity * float(np.hypot(share, relative)), floor_v),
        ),
        displacement_um_peak=Estimate(
            value=displacement,
            standard_uncertainty=max(
                displacement * float(np.hypot(share, 2.0 * relative)), floor_d
            ),
        ),
    )


def orbit(amplitude: NDArray[np.complex128]) -> Orbit:
    """Ellipse of a complex amplitude vector, shape (a,).

    Turning the common phase so that real and imaginary part are at right angles makes them the
    semi-axes: 2 phi = -arg(sum A^2).
    """
    turned = amplitude * np.exp(-0.5j * np.angle(np.sum(amplitude**2)))
    major, minor = np.real(turned), np.imag(turned)
    if np.linalg.norm(minor) > np.linalg.norm(major):
        major, minor = minor, major
    long, short = float(np.linalg.norm(major)), float(np.linalg.norm(minor))
    return Orbit(
        major_m_s2=long,
        minor_m_s2=short,
        roundness=short / long if long > 0 else 0.0,
        direction=major / long if long > 0 else major,
    )
