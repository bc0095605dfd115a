"""Run by the interpreter of another environment, where a copyleft order tracker is installed.

That library (distribution `rota-order`, GPL-3.0-or-later) is a reference for this comparison only:
the project neither imports it nor ships it, and nothing here is taken from it.

    PYTHON other_environment.py SOUND.npy RATE_HZ ORDERS    prints frames as one JSON object
"""

import json
import sys
import time
import warnings

import numpy as np

# Chosen among six settings on the tuning range: equal weights, 1 s, the motor's lines alone.
SPEED_RPM = (300.0, 1700.0)
LEAST_CONFIDENCE = 0.1
HEADROOM = 1.3  # between the highest line and half the rate


def main() -> None:
    """Read, track, print."""
    import rota

    warnings.simplefilter("ignore")
    sound, rate, orders = np.load(sys.argv[1]), float(sys.argv[2]), json.loads(sys.argv[3])
    orders = [order for order in orders if HEADROOM * order * SPEED_RPM[1] / 60.0 < 0.5 * rate]
    began = time.process_time()
    found = rota.speed.rpm_from_ridge(
        sound, rate, SPEED_RPM, orders=orders, window=1.0, hop=0.1, weights=[1.0] * len(orders)
    )
    spent = time.process_time() - began
    sure = found.confidence >= LEAST_CONFIDENCE
    speed = [float(v) if ok else None for v, ok in zip(found.rpm, sure, strict=True)]
    print(json.dumps({"time_s": found.t.tolist(), "speed_rpm": speed, "cpu_s": spent}))


if __name__ == "__main__":
    main()
