"""How honest comparisons are: `python -m tests.benchmarks.comparison [--count N]`.

Put to recordings made by formula (`tests.comparison.made`), the drum's speed being the truth's:
how often is a change stated where there is none, and how often does the interval of a line hold the
change that was put there?  Each take is heard through its own draw of a room's tail, as a phone is
that was laid back to its place; the last column leaves out the rooms, and the take's own spread
with them, to show the law of sampling alone.
"""

from __future__ import annotations

import argparse
import math

from spinlab.analysis import Analysis
from spinlab.comparison import compare
from spinlab.comparison.align import speed_bins
from spinlab.comparison.lines import levels_at, place_at
from spinlab.comparison.look import look
from spinlab.comparison.measure import pooled
from spinlab.comparison.spectra import LEAST_TURNS
from spinlab.comparison.statistics import Interval, line_change
from spinlab.comparison.value import LineChange
from tests.comparison.made import modulated

LINE = 4.3
PLATEAUS = ((900.0, 8.0), (1200.0, 8.0))
DEPTHS = ((0.6, 0.15), (0.2, 0.4), (0.3, 0.3), (0.9, 0.4), (0.9, 0.9))


def pair_of(first: float, second: float, seed: int, *, rooms: bool) -> list[Analysis]:
    """Two takes of one line, whose depth may have changed."""
    return [
        modulated(
            [(1.0, 0.1), (LINE, depth)],
            seed=2 * seed + k,
            plateaus=PLATEAUS,
            room=2 * seed + k if rooms else None,
        )
        for k, depth in enumerate((first, second))
    ]


def unchanged(count: int) -> tuple[int, float]:
    """Pairs with a stated change where nothing changed, and tests in a pair."""
    pairs = [compare(pair_of(0.5, 0.5, seed, rooms=True)).pairs[0] for seed in range(count)]
    return sum(one.state == "attention" for one in pairs), sum(one.tests for one in pairs) / count


def covered(count: int, before: float, after: float) -> tuple[int, int, int]:
    """Intervals at 95 % of the line's change, how many hold it, and pairs that state a change."""
    true_db = 20.0 * math.log10(after / before)
    held, stated = [], 0
    for seed in range(5000, 5000 + count):
        got = compare(pair_of(before, after, seed, rooms=True)).pairs[0]
        stated += got.state == "attention"
        held += [
            _holds(line, true_db)
            for line in got.lines
            if line.measure == "envelope" and abs(line.order - LINE) <= 0.1
        ]
    return len(held), sum(held), stated


def sampled(count: int, before: float, after: float) -> tuple[int, int]:
    """The same without rooms, and with the intervals that sampling alone makes."""
    true_db = 20.0 * math.log10(after / before)
    held = []
    for seed in range(7000, 7000 + count):
        pair = pair_of(before, after, seed, rooms=False)
        bins = speed_bins([one.track for one in pair], gaps=[(), ()], least_turns=LEAST_TURNS / 2)
        for one in look(*pair, bins, (0, 1))[0]:
            place = place_at(one.both, LINE)
            if one.measure == "envelope" and place is not None:
                level = pooled(one, levels_at(one.both, place), place)
                sides = (level.like_before, level.like_after)
                held.append(_holds(line_change(*sides, take_db=0.0, confidence=0.95), true_db))
    return len(held), sum(held)


def _holds(one: Interval | LineChange, true_db: float) -> bool:
    return (one.low_db is None or one.low_db <= true_db) and (
        one.high_db is None or true_db <= one.high_db
    )


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=20, help="pairs of each kind")
    count = parser.parse_args().count
    stated, tests = unchanged(count)
    print(f"unchanged: {stated} of {count} pairs state a change; {tests:.0f} tests a pair")
    for before, after in DEPTHS:
        total, held, stated = covered(count, before, after)
        alone, by_sampling = sampled(count, before, after)
        print(
            f"depth {before:g} to {after:g} ({20 * math.log10(after / before):+.1f} dB): "
            f"{held} of {total} intervals hold it; {stated} of {count} pairs state a change; "
            f"sampling alone {by_sampling} of {alone}",
            flush=True,
        )


if __name__ == "__main__":
    main()
