"""The top speed of a course is that of its run-up, not of what was followed before it."""

from __future__ import annotations

import numpy as np
import pytest

from spinlab.speed.refine import Refined
from spinlab.speed.runup import top_of
from tests.speed.test_moving_evidence import refined_of


def course_of_levels(*levels_hz: float, carried: bool = True) -> Refined:
    """A course that climbs or falls between levels, each held for twelve seconds."""
    held, ramp = 40, 20
    parts = []
    for level, following in zip(levels_hz, [*levels_hz[1:], None], strict=True):
        parts.append(np.full(held, np.log(level)))
        if following is not None:
            parts.append(np.linspace(np.log(level), np.log(following), ramp))
    return refined_of(np.concatenate(parts), gain=20.0 if carried else 0.0)


@pytest.mark.parametrize(
    ("levels_hz", "top_hz"),
    # A test steps upwards (common practice, no published source).
    [
        ((7.0, 13.0, 20.0), 20.0),
        ((33.0, 7.0, 13.0, 20.0), 20.0),  # a sideband that falls before the spin
        ((7.0, 13.0, 20.0, 2.0), 20.0),  # coast-down
        ((7.0, 13.0, 2.0, 7.0, 13.0, 20.0), 20.0),  # given up and tried again
        ((20.0, 20.0), 20.0),
    ],
)
def test_the_top_is_that_of_the_longest_climb(levels_hz, top_hz):
    assert np.exp(top_of(course_of_levels(*levels_hz))) == pytest.approx(top_hz, rel=0.01)


def test_a_course_that_nothing_carries_has_the_top_of_all_its_frames():
    course = course_of_levels(33.0, 7.0, 13.0, 20.0, carried=False)
    assert np.exp(top_of(course)) == pytest.approx(33.0, rel=0.01)
