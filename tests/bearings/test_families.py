"""Lines at simple fractions of a turn: a comb is several of them, each on its place."""

import numpy as np
import pytest

from spinlab.bearings.families import simple_fraction
from spinlab.bearings.spectra import EnvelopeSpectra

STEP = 0.0185
RACE = 5.463  # an inner race of nine balls, slip included; two lines from 11 halves at this step


def spectra(*orders):
    """Noise at its mean but for a Hann line at each of these orders; whole orders set aside."""
    count = int(12.0 / STEP)
    level = np.ones((1, count))
    for order in orders:
        place = round(order / STEP)
        level[0, place - 1 : place + 2] = [60.0, 240.0, 60.0]
    plain = EnvelopeSpectra(
        step=STEP,
        level=level,
        floor=np.full((1, count), 1e-4),
        floor_shape=np.full(count, 1e6),
        free=np.ones(count, dtype=bool),
        highest_order=count * STEP,
    )
    return plain.without([(whole, 0.0) for whole in range(13)])


@pytest.mark.parametrize(
    ("orders", "parts"),
    [
        ((0.5, 1.5, 2.5), 2),  # a speed read at twice the true one
        ((1 / 3, 2 / 3, 4 / 3), 3),
        ((RACE, RACE + 1.0), 1),  # a race and its sideband, as the shaft carries it
        ((5.5,), 1),  # any line lies near some fraction
        ((), 1),
    ],
)
def test_fractions_are_a_comb_of_several_places_and_each_is_met(orders, parts):
    assert simple_fraction(spectra(*orders), 0, 1.0, least_share=0.9) == parts
