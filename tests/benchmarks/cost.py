"""Time and memory of the whole way from file to result, against the length of the recording.

Every length runs in a fresh process of its own, one after the other, on one core.  The file repeats
a simulated spin test (48 kHz, mono, 16-bit WAV) until it is long enough.

    python -m tests.benchmarks.cost FILE    measures one file and prints one JSON object
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

Result = dict[str, Any]
RATE_HZ = 48_000
LENGTHS_S = (10, 30, 60, 180, 600, 1800, 7200)
FIT_FROM_S = 30
SEED = 17
PROFILE = "belt-brushed-1400"
LONGEST_WAIT_S = 4 * 3600
GOALS = {60: "goal: 3 s", 600: "goal: 600 MB"}
WARM_UP_S = 5.0


@dataclass(frozen=True, kw_only=True)
class Length:
    """A recording length to be timed."""

    seconds: int

    @property
    def key(self) -> str:
        """Its name in the cache."""
        return str(self.seconds)


def write_file(path: Path, seconds: int) -> None:
    """A spin test, repeated until the file is `seconds` long."""
    import soundfile

    from spinlab.simulate import load_scenario, simulate

    # The plainest of machines, so that no step is spared because the speed stays unknown.
    unit = load_scenario("healthy")
    unit = replace(unit, phone=replace(unit.phone, rate_hz=RATE_HZ, channels=1, codec="none"))
    piece = simulate(unit, SEED).recording.samples[0]
    wanted = seconds * RATE_HZ
    with soundfile.SoundFile(path, "w", RATE_HZ, 1, "PCM_16") as file:
        while wanted > 0:
            file.write(piece[:wanted])
            wanted -= len(piece)


def peak_memory_mb() -> float:
    """Largest memory that this process has held so far, MB."""
    status = Path("/proc/self/status")
    if status.exists():
        # Unlike getrusage it leaves out what the parent held before this program was loaded.
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return float(line.split()[1]) * 1024 / 1e6
    import resource

    unit = 1.0 if sys.platform == "darwin" else 1024.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6


def whole_way() -> tuple[str, Any]:
    """What is timed: the full analysis where there is one, otherwise the speed track."""
    from importlib.util import find_spec

    import spinlab

    machine = spinlab.load_machine(PROFILE)
    if find_spec("spinlab.analysis"):
        return "read and analyse", lambda recording: spinlab.analyse(recording, machine)
    return "read and track speed", lambda recording: spinlab.track_speed(recording, machine)


def measure_file(path: Path) -> Result:
    """Read and analyse one file in this very process."""
    import spinlab
    from spinlab.recording import Recording

    name, work = whole_way()
    noise = np.random.default_rng(1).standard_normal((1, int(WARM_UP_S * RATE_HZ)))
    work(Recording(kind="sound", samples=(0.1 * noise).astype(np.float32), rate_hz=RATE_HZ))
    before = peak_memory_mb()
    wall, cpu = time.perf_counter(), time.process_time()
    recording = spinlab.read(path)
    read_cpu = time.process_time() - cpu
    result = work(recording)
    track = getattr(result, "track", result)
    return {
        "what": name,
        "duration_s": recording.duration_s,
        "read_cpu_s": read_cpu,
        "cpu_s": time.process_time() - cpu,
        "wall_s": time.perf_counter() - wall,
        "peak_mb": peak_memory_mb(),
        "peak_before_mb": before,
        "known_share": float(np.mean(track.known)),
        "steps": [list(step) for step in getattr(result, "seconds", ())],
    }


def measure(length: Length) -> Result:
    """One length in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        write_file(path, length.seconds)
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-m", "tests.benchmarks.cost", str(path)],
            capture_output=True,
            text=True,
            timeout=LONGEST_WAIT_S,
            cwd=Path(__file__).resolve().parents[2],
        )
    if done.returncode != 0:
        raise RuntimeError(f"{length.seconds} s: {done.stderr.strip().splitlines()[-1:]}")
    result: Result = json.loads(done.stdout.splitlines()[-1])
    return result


def exponent(duration_s: Sequence[float], value: Sequence[float]) -> tuple[float, float]:
    """Exponent b of value ~ duration^b by least squares on logarithms of three or more."""
    x, y = np.log(duration_s), np.log(value)
    fit, covariance = np.polyfit(x, y, 1, cov="unscaled")
    residual = y - np.polyval(fit, x)
    scale = float(residual @ residual) / (len(x) - 2)
    return float(fit[0]), float(np.sqrt(covariance[0, 0] * scale))


HEADER = (
    "length",
    "CPU time",
    "wall time",
    "of it reading",
    "times real time",
    "peak memory",
    "speed known",
    "",
)


def row(result: Result) -> tuple[str, ...]:
    """One line of the table."""
    length = result["duration_s"]
    return (
        f"{length:.0f} s",
        f"{result['cpu_s']:.2f} s",
        f"{result['wall_s']:.2f} s",
        f"{result['read_cpu_s']:.2f} s",
        f"{length / result['cpu_s']:.0f}",
        f"{result['peak_mb']:.0f} MB",
        f"{100.0 * result['known_share']:.0f} %",
        GOALS.get(round(length), ""),
    )


def steps(result: Result) -> str:
    """Which steps took the time, the longest first."""
    longest = sorted(result["steps"], key=lambda step: -step[1])
    listed = ", ".join(f"{name} {spent:.1f} s" for name, spent in longest if spent >= 0.05)
    return f"Steps at {result['duration_s']:.0f} s (wall time): {listed}."


def section(options: Any) -> Any:
    """Run and report."""
    from tests.benchmarks.accuracy import Section
    from tests.benchmarks.runner import run
    from tests.benchmarks.tables import markdown

    results = run(
        "cost",
        measure,
        [Length(seconds=s) for s in LENGTHS_S if s <= options.longest_s],
        folder=options.folder,
        version=options.version,
        workers=1,
    )
    good = [r for r in results if "error" not in r]
    lines = [markdown(HEADER, [row(r) for r in good]), ""]
    if good:
        lines.append(
            f"Timed: {good[0]['what']}, 48 kHz mono WAV, on one core, after a warm-up of "
            f"{WARM_UP_S:.0f} s of noise that pays for imports; memory then: "
            f"{good[0]['peak_before_mb']:.0f} MB."
        )
    lines += [steps(r) for r in good if r["steps"] and round(r["duration_s"]) in GOALS]
    long = [r for r in good if r["duration_s"] >= FIT_FROM_S]
    for label, key in (("CPU time", "cpu_s"), ("Peak memory", "peak_mb")):
        if len(long) < 3:
            break
        power, error = exponent([r["duration_s"] for r in long], [r[key] for r in long])
        lines.append(f"{label} grows as duration^{power:.2f} (standard error {error:.2f}).")
    lines += [f"Error: {r['error']}" for r in results if "error" in r]
    return Section(title="Time and memory against length", text="\n".join(lines))


if __name__ == "__main__":
    print(json.dumps(measure_file(Path(sys.argv[1]))))
