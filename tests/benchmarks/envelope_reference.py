"""Pre-whitening and kurtogram against independent open libraries.

    python -m tests.benchmarks.envelope_reference [--reference-python PATH]

The references are general-purpose libraries in an environment of their own, whose interpreter is
given by PATH (`pip install nitime librosa pygsk obspy`): development-only yardsticks, never
dependencies, and nothing is taken from them.

- nitime (BSD): the autoregressive model from the Yule-Walker equations.
- librosa (ISC): the same model by Burg's method, another estimator.
- pygsk (MIT): the generalised spectral kurtosis estimator of power spectra (radio astronomy).
- ObsPy (LGPL-3): Butterworth bands and Hilbert envelopes (seismology), for the kurtogram's bands.

The cepstrum has no reference library here; it is held against its definition.  The signal is made
from closed forms: two tones and rung impacts in noise.
"""

from __future__ import annotations

import json
import subprocess
from argparse import ArgumentParser
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from spinlab.envelope.kurtosis import Kurtogram, excess_kurtosis, fast_kurtogram
from spinlab.envelope.whitening import cepstrum_prewhitened, linear_prediction_residual

Array = NDArray[np.float64]
RATE_HZ, SECONDS, RING_HZ, ORDER, FRAME = 16000.0, 8.0, 4300.0, 100, 256
REFERENCE = """
import json, sys, warnings
import numpy as np
warnings.simplefilter("ignore")
from importlib.metadata import version
from scipy.signal import lfilter
import librosa, nitime.algorithms, pygsk.core, obspy.signal.filter as bands
data = np.load(sys.argv[1])
x, rate, order = data["x"], float(data["rate"]), int(data["order"])
x = x - x.mean()
walker, _ = nitime.algorithms.AR_est_YW(x, order)
burg = librosa.lpc(x, order=order)
power = data["power"]
kurtosis = pygsk.core.get_sk(power.sum(axis=0), (power**2).sum(axis=0), M=len(power))
tree = []
for low, high in data["bands"]:
    high = min(high, 0.499 * rate)
    part = bands.bandpass(x, low, high, rate, corners=4, zerophase=True)
    square = bands.envelope(part) ** 2
    tree.append(np.mean(square**2) / np.mean(square) ** 2 - 2.0)
np.savez(sys.argv[2], walker=lfilter(np.r_[1.0, -walker], [1.0], x), burg=lfilter(burg, [1.0], x),
         kurtosis=kurtosis, tree=tree)
print(json.dumps({name: version(name) for name in ("nitime", "librosa", "pygsk", "obspy")}))
"""


def signal(rng: np.random.Generator) -> Array:
    """Tones at 400 and 1234.5 Hz, impacts 60 times a second that ring, and noise."""
    t = np.arange(int(RATE_HZ * SECONDS)) / RATE_HZ
    x = np.sin(2 * np.pi * 400.0 * t) + 0.6 * np.sin(2 * np.pi * 1234.5 * t)
    x += 0.3 * rng.standard_normal(len(t))
    ring = np.exp(-600.0 * t[:400]) * np.sin(2 * np.pi * RING_HZ * t[:400])
    starts = np.cumsum(RATE_HZ / 60.0 * (1.0 + 0.01 * rng.standard_normal(int(60 * SECONDS))))
    for start in starts[starts < len(t) - 400].astype(int):
        x[start : start + 400] += 2.0 * ring
    return x


def main() -> None:
    """Print the comparison."""
    parser = ArgumentParser()
    parser.add_argument("--reference-python", type=Path, default=None)
    options = parser.parse_args()
    x = signal(np.random.default_rng(0))
    residual = linear_prediction_residual(x, ORDER)
    print("RMS difference in percent of the signal compared with")
    print(
        f"  cepstrum against its definition       {_differ(cepstrum_prewhitened(x), _cepstral(x))}"
    )
    kurtogram = fast_kurtogram(x, RATE_HZ, least_width_hz=240.0)
    cells = _cells(x)
    if options.reference_python is None:
        print("  no --reference-python given: the independent libraries were not compared")
        return
    found, versions = _reference(options.reference_python, x, np.abs(cells) ** 2, kurtogram)
    print("  references: " + ", ".join(f"{name} {number}" for name, number in versions.items()))
    inner = slice(ORDER, None)
    print(
        "  residual against nitime, Yule-Walker  "
        + _differ(residual[inner], found["walker"][inner])
    )
    print(
        "  residual against librosa, Burg        " + _differ(residual[inner], found["burg"][inner])
    )
    _print_kurtosis(cells, kurtogram, found)


def _print_kurtosis(cells: NDArray[np.complex128], kurtogram: Kurtogram, found: dict) -> None:
    count = len(cells)
    ours = np.array([excess_kurtosis(column) for column in cells.T])
    # Their estimator is (M+1)/(M-1) (M S2/S1^2 - 1), unbiased for noise; ours is M S2/S1^2 - 2.
    theirs = found["kurtosis"] * (count - 1) / (count + 1) - 1.0
    print("Excess kurtosis")
    print(f"  cells against pygsk, largest difference      {np.abs(ours - theirs).max():.1e}")
    off = kurtogram.kurtosis - found["tree"]
    width = kurtogram.best.width_hz
    theirs_best = kurtogram.bands[int(np.argmax(found["tree"]))]
    print(
        f"  {len(off)} bands against ObsPy's filters: root mean square "
        f"{np.sqrt(np.mean(off**2)):.2f}, largest {np.abs(off).max():.2f}, correlation "
        f"{np.corrcoef(kurtogram.kurtosis, found['tree'])[0, 1]:.3f}"
    )
    print(
        f"  best band: ours {kurtogram.best.centre_hz:.0f} Hz, {width:.0f} wide, "
        f"{kurtogram.kurtosis.max():.1f}; theirs {theirs_best.centre_hz:.0f} Hz, "
        f"{theirs_best.width_hz:.0f} wide, {found['tree'].max():.1f}; it rings at {RING_HZ:.0f} Hz"
    )


def _cepstral(x: Array) -> Array:
    """All of the real cepstrum but its zeroth coefficient taken out, scale dropped."""
    spectrum = fft.fft(x)
    cepstrum = fft.ifft(np.log(np.abs(spectrum))).real
    cepstrum[0] = 0.0
    whitened: Array = fft.ifft(spectrum / np.exp(fft.fft(cepstrum).real)).real
    return whitened / np.exp(np.mean(np.log(np.abs(spectrum))))


def _cells(x: Array) -> NDArray[np.complex128]:
    window = np.hanning(FRAME + 1)[:-1]
    frames = x[: len(x) // FRAME * FRAME].reshape(-1, FRAME)
    cells: NDArray[np.complex128] = fft.rfft(frames * window, axis=1)[:, 1:-1]
    return cells


def _differ(a: Array, b: Array) -> str:
    return f"{100.0 * np.sqrt(np.mean((a - b) ** 2) / np.mean(b**2)):.2g}"


def _reference(
    python: Path, x: Array, power: Array, kurtogram: Kurtogram
) -> tuple[dict[str, Array], dict[str, str]]:
    with TemporaryDirectory() as folder:
        source, target = Path(folder) / "in.npz", Path(folder) / "out.npz"
        bands = [(max(band.low_hz, 5.0), band.high_hz) for band in kurtogram.bands]
        np.savez(source, x=x, rate=RATE_HZ, order=ORDER, power=power, bands=bands)
        run = subprocess.run(
            [str(python), "-c", REFERENCE, str(source), str(target)],
            capture_output=True,
            text=True,
            check=True,
        )
        with np.load(target) as data:
            found = {name: np.asarray(data[name]) for name in data.files}
        return found, json.loads(run.stdout.splitlines()[-1])


if __name__ == "__main__":
    main()
