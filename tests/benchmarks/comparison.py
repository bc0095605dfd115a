"""How honest comparisons are: `python -m tests.benchmarks.comparison [--count N]`.

Two questions, put to recordings made by formula (`tests.comparison.made`): how often is a change
stated where there is none, and how often does the interval of a line hold the change that was put
there?  The drum's speed is the truth's, so that the comparison is judged by itself.
"""

from __future__ import annotations

import argparse
import math

from spinlab.comparison import compare
from tests.comparison.made import modulated

LINE = 4.3
PLATEAUS = ((900.0, 8.0), (1200.0, 8.0))
DEPTHS = ((0.6, 0.15), (0.2, 0.4), (0.3, 0.3), (0.5, 0.05))


def unchanged(count: int) -> tuple[int, int, int]:
    """Pairs, pairs with a stated change, and tests in all of them."""
    stated = tests = 0
    for seed in range(count):
        pair = [
            modulated([(1.0, 0.2), (LINE, 0.3)], seed=2 * seed + k, plateaus=PLATEAUS)
            for k in (0, 1)
        ]
        got = compare(pair).pairs[0]
        stated += got.state == "attention"
        tests += got.tests
    return count, stated, tests


def covered(count: int, before: float, after: float) -> tuple[int, int, int]:
    """Intervals at 95 % of the line's change, how many hold it, and pairs that state a change."""
    true_db = 20.0 * math.log10(after / before)
    total = held = stated = 0
    for seed in range(count):
        pair = [
            modulated([(LINE, depth)], seed=5000 + 2 * seed + k, plateaus=PLATEAUS)
            for k, depth in enumerate((before, after))
        ]
        got = compare(pair).pairs[0]
        stated += got.state == "attention"
        for line in got.lines:
            if line.measure != "envelope" or abs(line.order - LINE) > 0.1:
                continue
            total += 1
            held += (line.low_db is None or line.low_db <= true_db) and (
                line.high_db is None or true_db <= line.high_db
            )
    return total, held, stated


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=20, help="pairs of each kind")
    count = parser.parse_args().count
    pairs, stated, tests = unchanged(count)
    print(f"unchanged: {stated} of {pairs} pairs state a change; {tests / pairs:.0f} tests a pair")
    for before, after in DEPTHS:
        total, held, stated = covered(count, before, after)
        print(
            f"depth {before:g} to {after:g} ({20 * math.log10(after / before):+.1f} dB): "
            f"{held} of {total} intervals hold it; {stated} of {count} pairs state a change",
            flush=True,
        )


if __name__ == "__main__":
    main()
