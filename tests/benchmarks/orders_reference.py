"""Order amplitudes against direct least squares and an independent open library.

    python -m tests.benchmarks.orders_reference [--reference-python PATH]

The reference is rota-order (GPL-3, a development-only yardstick, never a dependency), installed in
an environment of its own whose interpreter is given by PATH; without it only the direct least
squares are compared.  The signal is made from closed forms: a run-up with orders 1 and 2 in noise.
"""

from __future__ import annotations

import json
import subprocess
from argparse import ArgumentParser
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from spinlab.vibration.tracking import track_orders
from spinlab.vibration.vold_kalman import vold_kalman
from tests.vibration.signals import coarse, log_of, ramp

RATE_HZ = 400.0
BANDWIDTH_HZ = 2.0
REFERENCE = """
import json, sys, numpy as np, rota
from importlib.metadata import version
from rota.extract import order_waveform, tracked_harmonics
data = np.load(sys.argv[1])
fs = float(data["rate"])
vk = order_waveform(data["x"], fs, data["rpm"], [1.0, 2.0], bandwidth=float(data["bandwidth"]))
th = tracked_harmonics(data["x"], fs, data["rpm"], [1.0, 2.0], window_revs=8.0)
def envelope(found):
    e = np.asarray(getattr(found, "envelopes", getattr(found, "envelope", None)))
    e = np.abs(np.squeeze(e))
    return e if e.shape[0] == 2 else e.T
np.savez(sys.argv[2], vk=envelope(vk), th=envelope(th))
print(json.dumps({"version": version("rota-order")}))
"""


def main() -> None:
    """Print the comparison."""
    parser = ArgumentParser()
    parser.add_argument("--reference-python", type=Path, default=None)
    options = parser.parse_args()
    rng = np.random.default_rng(0)
    t, speed, turns = ramp(30.0, 400.0, 1400.0, RATE_HZ)
    size_1, size_2 = 1e-6 * speed**2, 0.2 + 0.1 * np.sin(0.3 * t)
    x = size_1 * np.cos(2 * np.pi * turns + 0.4) + size_2 * np.cos(4 * np.pi * turns - 1.0)
    x += 0.1 * rng.standard_normal(len(t))
    found = track_orders(log_of(x, RATE_HZ), coarse(t, speed, uncertainty_rpm=0.1), (1.0, 2.0))
    phases = [2 * np.pi * turns, 4 * np.pi * turns]
    smooth = np.abs(vold_kalman(x, RATE_HZ, phases, bandwidth_hz=BANDWIDTH_HZ).envelope)
    inner = slice(round(RATE_HZ), -round(RATE_HZ))
    truth = np.stack([size_1, size_2])
    print("RMS difference in percent of the true amplitude (order 1, order 2)")
    at = [np.interp(found.time_s, t, size) for size in truth]
    ours = [found.size(1.0), found.size(2.0)]
    print("  window least squares against truth  ", _differ(ours, at))
    print("  Vold-Kalman against truth           ", _differ(smooth[:, inner], truth[:, inner]))
    print("  against direct least squares        ", _differ(ours, _direct(x, turns, t, found)))
    if options.reference_python is None:
        print("  no --reference-python given: the independent library was not compared")
        return
    vk, th, version = _reference(options.reference_python, x, speed)
    print(f"  reference: rota-order {version}")
    print("  its Vold-Kalman against truth       ", _differ(vk[:, inner], truth[:, inner]))
    print("  its demodulation against truth      ", _differ(th[:, inner], truth[:, inner]))
    print("  our Vold-Kalman against its         ", _differ(smooth[:, inner], vk[:, inner]))
    near = [np.interp(found.time_s, t, size) for size in th]
    print("  our windows against its demodulation", _differ(ours, near))


def _differ(a: object, b: object) -> str:
    shares = [
        100.0 * np.sqrt(np.mean((np.asarray(x) - np.asarray(y)) ** 2)) / np.mean(np.asarray(y))
        for x, y in zip(a, b, strict=True)
    ]
    return "  ".join(f"{share:6.3f}" for share in shares)


def _direct(x: np.ndarray, turns: np.ndarray, t: np.ndarray, found: object) -> list[np.ndarray]:
    """Unweighted least squares of both orders in the middle half of each window."""
    sizes = []
    for centre, length in zip(found.time_s, found.length_s, strict=True):
        inside = np.abs(t - centre) < 0.25 * length
        angle = 2 * np.pi * turns[inside]
        columns = [np.ones(inside.sum())]
        for order in (1.0, 2.0):
            columns += [np.cos(order * angle), np.sin(order * angle)]
        solution, *_ = np.linalg.lstsq(np.column_stack(columns), x[inside], rcond=None)
        sizes.append([np.hypot(*solution[1:3]), np.hypot(*solution[3:5])])
    return list(np.array(sizes).T)


def _reference(
    python: Path, x: np.ndarray, speed: np.ndarray
) -> tuple[np.ndarray, np.ndarray, str]:
    with TemporaryDirectory() as folder:
        source, target = Path(folder) / "in.npz", Path(folder) / "out.npz"
        np.savez(source, x=x, rpm=speed, rate=RATE_HZ, bandwidth=BANDWIDTH_HZ)
        run = subprocess.run(
            [str(python), "-c", REFERENCE, str(source), str(target)],
            capture_output=True,
            text=True,
            check=True,
        )
        data = np.load(target)
        return data["vk"], data["th"], json.loads(run.stdout.splitlines()[-1])["version"]


if __name__ == "__main__":
    main()
