"""Make every demo recording anew: `python -m recordings_demo.make [FOLDER]`.

Each unit's parameters stand in units/NAME.toml; the seeds stand here.  Written are the
recording and its truth, by default into this folder.
"""

from __future__ import annotations

import sys
from pathlib import Path

from spinlab.simulate import load_scenario, simulate, write_simulated

HERE = Path(__file__).resolve().parent
SEEDS = {
    "healthy": 1,
    "stage-missed": 2,
    "gives-up-and-retries": 3,
    "speech-and-pump": 4,
    "lid-log": 1,
    "unbalanced": 5,
    "worn-rear-bearing": 6,
    "direct-drive-call": 7,
}


def make(folder: Path, names: tuple[str, ...] = tuple(SEEDS)) -> list[Path]:
    """Write the recordings called `names` and their truths; returns the recordings' paths."""
    paths = []
    for name in names:
        made = simulate(load_scenario(HERE / "units" / f"{name}.toml"), SEEDS[name])
        path, _ = write_simulated(made, folder, name)
        print(f"{path.name}: {made.recording.duration_s:.1f} s, {path.stat().st_size // 1000} kB")
        paths.append(path)
    return paths


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
