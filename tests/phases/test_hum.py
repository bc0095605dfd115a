"""Open recordings of household hum: nobody can say what hums from first to last."""

import pytest

from spinlab.phases import cut_phases
from spinlab.reading import read
from tests.vibration.signals import SHARED


@pytest.mark.parametrize("name", ["washing-machine.mp3", "dryer.mp3"])
def test_a_hum_from_first_to_last_is_not_called_a_pump(name):
    # README of the open sounds: steady hum at 120 and 240 Hz, no truth; a dryer has no drain pump
    path = SHARED / "data/appliance_audio" / name
    if not path.exists():
        pytest.skip(f"open recording not at {path}")
    (only,) = cut_phases(read(path)).phases
    assert only.label == "running, not identified"
    assert "pump" in [rival.cause for rival in only.rivals]
