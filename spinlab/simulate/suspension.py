"""The tub on its springs: three damped modes driven by the rotating unbalance.

    q'' + 2 z W q' + W^2 q + (F/M) sign(q') = (m r w^2 / M) cos or sin(angle)

Horizontal, vertical and nodding (about the rear), each solved exactly between samples for a
force linear in time, then the dry friction of the damper takes its share of the velocity
(operator splitting; Strang 1968).  What the tub does back to the drum's speed is left out: the
suspended mass is two orders above the unbalance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.dynamics import STATE_RATE_HZ, Motion
from spinlab.simulate.parameters import Parameters


@dataclass(frozen=True, kw_only=True, eq=False)
class TubMotion:
    """Displacement (m, m, rad) and acceleration of the tub, each of shape (3, n)."""

    displacement: NDArray[np.float64]
    acceleration: NDArray[np.float64]


def damped_mode(
    push: NDArray[np.float64],
    rate_hz: float,
    *,
    natural_hz: float,
    damping_ratio: float,
    friction: float = 0.0,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Displacement and acceleration of one mode under `push` (force per mass), shape (n,).

    `friction` is the dry friction force per mass.  The start is at rest.
    """
    from scipy.signal import cont2discrete

    pulse = 2.0 * np.pi * natural_hz
    a = np.array([[0.0, 1.0], [-(pulse**2), -2.0 * damping_ratio * pulse]])
    b, c = np.array([[0.0], [1.0]]), np.eye(2)
    step, drive, _, _, _ = cont2discrete((a, b, c, np.zeros((2, 1))), 1.0 / rate_hz, "zoh")
    (axx, axv), (avx, avv) = step.tolist()
    bx, bv = drive[:, 0].tolist()
    middle = 0.5 * (push + np.roll(push, -1))
    lost, x, v = friction / rate_hz, 0.0, 0.0
    displacement, velocity = np.empty(len(push)), np.empty(len(push))
    for n, f in enumerate(middle.tolist()):
        displacement[n], velocity[n] = x, v
        x, v = axx * x + axv * v + bx * f, avx * x + avv * v + bv * f
        if lost:
            v = v - lost if v > lost else v + lost if v < -lost else 0.0
    return displacement, np.gradient(velocity, 1.0 / rate_hz)


def shake(p: Parameters, motion: Motion) -> TubMotion:
    """The tub's motion under the unbalance of `motion`."""
    tub, force = p.tub, motion.unbalance_force_n
    angle = 2.0 * np.pi * motion.heavy_turns
    nod_push = force * np.cos(angle) * p.unbalance.lever_m / tub.nodding_inertia_kg_m2
    modes = [
        damped_mode(push, STATE_RATE_HZ, natural_hz=f, damping_ratio=z, friction=dry)
        for push, f, z, dry in (
            (
                force * np.cos(angle) / tub.mass_kg,
                tub.horizontal_hz,
                tub.damping_ratio,
                tub.friction_n / tub.mass_kg,
            ),
            (
                force * np.sin(angle) / tub.mass_kg,
                tub.vertical_hz,
                tub.damping_ratio,
                tub.friction_n / tub.mass_kg,
            ),
            (nod_push, tub.nodding_hz, tub.damping_ratio, 0.0),
        )
    ]
    return TubMotion(
        displacement=np.array([mode[0] for mode in modes]),
        acceleration=np.array([mode[1] for mode in modes]),
    )
