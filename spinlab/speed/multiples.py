"""Multiples: a run that was followed at a simple fraction of the drum's speed is put right.

A break in the path may leave the next run on the wrong line of the family: its shape is right and
its speed is off by a simple fraction.  Where noise beats at another multiple of the run's speed,
far better than at the speed itself, and at no third one nearly as well, the run is moved there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.speed.drumlock import MULTIPLES, Lock
from spinlab.speed.refine import Refined
from spinlab.speed.runs import LEAST_SPREAD, carried, linked, run_numbers
from spinlab.speed.shown import beats_of, foreign_beats, nats_for, own_evidence

# Nats by which one multiple must beat the run's own speed, and every other multiple.
LEAST_NATS = 25.0
# Share of the run's evidence at its own speed that must be outweighed as well.
OWN_SHARE = 0.5


def at_multiples(refined: Refined, lock: Lock) -> Refined | None:
    """The course with such runs moved; None where there are none.

    Args:
        refined: a course.
        lock: the drum's own evidence along it.
    """
    if not lock.kin.shape[1]:
        return None
    own = own_evidence(lock, refined.time_s)
    run = run_numbers(refined.time_s, refined.log_hz, carried(refined, own.support))
    log_hz = refined.log_hz.copy()
    joined = linked(refined, run)
    for number in np.unique(joined):
        inside = joined == number
        if np.ptp(refined.log_hz[inside]) < LEAST_SPREAD:
            continue
        part = own.part(inside)
        kin, near = beats_of(part), nats_for(part.support)
        foreign = foreign_beats(part, share=float(inside.mean()))
        best = int(np.argmax(np.where(np.array(MULTIPLES) > part.room.min(), 0.0, foreign)))
        others = max(float(np.delete(kin, best).max()), 0.0)
        if kin[best] > others + LEAST_NATS + OWN_SHARE * near:
            log_hz[inside] += np.log(MULTIPLES[best])
    if (log_hz == refined.log_hz).all():
        return None
    return replace(refined, log_hz=log_hz)
