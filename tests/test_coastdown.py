"""Coast-downs made from closed forms."""

import numpy as np
import pytest

from spinlab.coastdown import coast_downs
from tests.vibration.signals import track_of


def constant(rng, *, rate=40.0, noise=1.0, seconds=20.0):
    """Dry friction alone: speed falls in a straight line."""
    t = np.arange(0, seconds, 0.1)
    speed = 1000.0 - rate * t
    return track_of(
        t,
        speed + noise * rng.standard_normal(len(t)),
        uncertainty_rpm=max(noise, 0.2),
        motion=np.full(len(t), "coasting"),
    )


def test_dry_friction_is_a_constant_deceleration():
    (found,) = coast_downs(constant(np.random.default_rng(0), noise=0.0), inertia_kg_m2=0.3)
    assert found.deceleration_rpm_per_s.value == pytest.approx(40.0, rel=1e-3)
    assert found.dry_share.value == pytest.approx(1.0, abs=0.02)
    # J dw/dt by hand: 0.3 * 40 * 2 pi / 60 = 1.2566 N m
    assert found.torque_nm.value == pytest.approx(1.2566, rel=1e-3)


def test_windage_has_the_closed_form_of_a_hyperbola():
    # dn/dt = -c n^2 / n0 gives n = n0 / (1 + c t)
    t = np.arange(0, 30, 0.1)
    track = track_of(
        t, 1200.0 / (1 + 0.05 * t), uncertainty_rpm=0.2, motion=np.full(len(t), "coasting")
    )
    (found,) = coast_downs(track)
    n = found.reference_rpm
    assert found.deceleration_rpm_per_s.value == pytest.approx(0.05 * n * n / 1200, rel=0.01)
    assert found.dry_share.value < 0.05
    assert found.torque_nm is None


def test_the_deceleration_covers_the_truth_in_95_percent_of_trials():
    inside = 0
    for seed in range(60):
        (found,) = coast_downs(constant(np.random.default_rng(seed)))
        error = abs(found.deceleration_rpm_per_s.value - 40.0)
        inside += error <= 1.96 * found.deceleration_rpm_per_s.standard_uncertainty
    assert inside >= 54


def test_a_recording_that_ends_early_has_no_number_but_a_reason():
    (found,) = coast_downs(constant(np.random.default_rng(1), seconds=3.0))
    assert found.deceleration_rpm_per_s is None
    assert "less than a quarter" in found.reason
