"""Measured bearings at constant speed: open test rigs, whose damage is known.

The rigs' accelerometers are taken as microphones of unknown gain, so that nothing but what no gain
touches is compared.  Each file lacks a standstill; its quietest moments bound the background.
"""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.comparison import compare
from tests.bearings import open_data
from tests.comparison.made import of
from tests.shared_data import shared

CWRU = "data/cwru"


def record(name):
    """The drive end's channel of a CWRU file."""
    found = open_data.cwru_records(shared(f"{CWRU}/{name}.npz"))
    return next(one for one in found if "DE" in one.name.split()[-1])


def take(one, share=(0.0, 1.0), gain=0.01):
    """A part of a record as an analysis of a sound at the rig's own speed."""
    source = one.recording
    first, last = (round(part * source.length) for part in share)
    part = replace(source, kind="sound", samples=(gain * source.samples[:, first:last]))
    return of(part, open_data.constant_track(one.speed_rpm, part.duration_s))


def stated_orders(got):
    return np.array([x.order for x in got.pairs[0].lines if x.claimed and x.measure == "envelope"])


@pytest.mark.parametrize(
    ("worn", "order"),
    # 6205-2RS JEM SKF: 5.4152 and 3.5848 turns of the shaft (CWRU Bearing Data Center's own table).
    [("1797_IR_7_DE12", 5.4152), ("1797_OR@6_7_DE12", 3.5848)],
)
def test_a_damaged_race_stands_out_against_the_sound_bearing(worn, order):
    got = compare([take(record("1797_Normal")), take(record(worn), gain=0.002)])
    assert got.state == "attention"
    orders = stated_orders(got)
    assert np.min(np.abs(orders - order)) < 0.06
    assert next(s.direction for s in got.pairs[0].statements) == 1


@pytest.mark.parametrize("name", ["1797_Normal", "1797_IR_7_DE12", "1797_OR@6_7_DE12"])
def test_the_halves_of_one_record_are_not_called_changed(name):
    one = record(name)
    got = compare([take(one, (0.0, 0.5)), take(one, (0.5, 1.0), gain=0.003)])
    assert got.state == "clear", got.sentence
