"""Angular resampling and order spectra: what is locked to the shaft keeps its order and size."""

import numpy as np
import pytest

from spinlab.orders import Span, order_spectrum, resample, to_turns, turning_spans
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from tests.shared_data import shared


def track(time_s, speed_rpm):
    n = len(time_s)
    return SpeedTrack(
        time_s=np.asarray(time_s, float),
        speed_rpm=np.asarray(speed_rpm, float),
        standard_uncertainty_rpm=np.full(n, 0.1),
        confidence=np.ones(n),
        motion=np.full(n, "plateau"),
        carried_by=np.full(n, "given"),
    )


def ramp(first_rpm, last_rpm, seconds, *, step_s=0.1):
    time = np.arange(0.0, seconds + step_s / 2, step_s)
    return track(time, np.linspace(first_rpm, last_rpm, len(time)))


def locked(orders_and_peaks, rate_hz, seconds, first_rpm, last_rpm):
    """Sines locked to a shaft whose speed changes evenly (phase in closed form)."""
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    turns = (first_rpm * t + 0.5 * (last_rpm - first_rpm) / seconds * t**2) / 60.0
    return sum(a * np.sin(2 * np.pi * o * turns) for o, a in orders_and_peaks)


def recording(values, rate_hz, **more):
    return Recording(
        kind="acceleration",
        samples=np.asarray(values, np.float32)[None, :],
        rate_hz=rate_hz,
        **more,
    )


def peak(spectrum, order):
    near = np.abs(spectrum.order - order) < spectrum.resolution_orders
    return float(spectrum.amplitude[near].max())


@pytest.mark.parametrize(("first", "last"), [(1200.0, 1200.0), (400.0, 1400.0), (1400.0, 300.0)])
def test_a_locked_sine_keeps_its_amplitude_at_any_speed(first, last):
    values = locked([(1.0, 2.0), (3.58, 0.5)], 4000.0, 20.0, first, last)
    signal = resample(recording(values, 4000.0), ramp(first, last, 20.0), cells_per_turn=64)
    whole = int(signal.turns)
    spectrum = order_spectrum(signal, turns_per_segment=whole)
    assert peak(spectrum, 1.0) == pytest.approx(2.0, rel=0.01)
    assert peak(spectrum, 3.58) == pytest.approx(0.5, rel=0.15)  # between two lines: Hann, -1.4 dB


def test_a_log_of_a_hundred_readings_a_second_keeps_the_first_order_to_a_percent():
    values = locked([(1.0, 3.0)], 100.0, 30.0, 1200.0, 1200.0)
    signal = resample(recording(values, 100.0), ramp(1200.0, 1200.0, 30.0), cells_per_turn=16)
    assert peak(order_spectrum(signal), 1.0) == pytest.approx(3.0, rel=0.01)


def test_a_tone_that_does_not_turn_is_smeared_by_a_ramp():
    t = np.arange(80_000) / 4000.0
    signal = resample(recording(np.sin(2 * np.pi * 50 * t), 4000.0), ramp(400.0, 1400.0, 20.0))
    assert float(order_spectrum(signal).amplitude.max()) < 0.3


def test_no_cell_lies_in_a_stretch_whose_speed_is_unknown():
    time = np.arange(0.0, 30.01, 0.1)
    speed = np.where((time > 10) & (time < 20), np.nan, 600.0)
    values = np.where((np.arange(3000) / 100 > 10.3) & (np.arange(3000) / 100 < 19.7), 9.0, 1.0)
    signal = to_turns(values, 100.0, track(time, speed), start_s=0.0, cells_per_turn=8)
    assert signal.turns == pytest.approx(200.0, abs=2.5)
    assert float(signal.values.max()) < 1.5


def test_turning_spans_are_the_known_stretches_above_a_speed():
    time = np.arange(0.0, 40.01, 0.1)
    speed = np.interp(time, [0, 10, 12, 20, 22, 40], [0, 0, 600, 600, 0, 0])
    speed[(time > 15.95) & (time < 16.05)] = np.nan
    spans = turning_spans(track(time, speed), least_rpm=500.0, least_turns=10.0)
    assert [tuple(np.round(s, 1)) for s in spans] == [(11.7, 15.9), (16.1, 20.3)]


def test_times_are_on_the_files_own_clock():
    values = locked([(1.0, 1.0)], 1000.0, 10.0, 600.0, 600.0)
    late = track(np.arange(5.0, 15.01, 0.1), np.full(101, 600.0))
    signal = resample(recording(values, 1000.0, start_s=5.0), late, span=Span(7.0, 9.0))
    assert signal.turns == pytest.approx(20.0, abs=0.1)
    assert signal.span == Span(7.0, 9.0)


def test_the_published_sweep_shows_orders_1_to_9_with_the_fourth_strongest():
    # OTA_MLE plateVib.txt: 1280 Hz; column 1 the plate, column 2 one cycle per turn.  That the
    # fourth order is strongest stands in the data's own description.
    plate, reference = np.loadtxt(shared("data/sweep_reference/plateVib.txt")).T[:2]
    from scipy.signal import hilbert

    phase = np.unwrap(np.angle(hilbert(reference - reference.mean()))) / (2 * np.pi)
    time = np.arange(len(plate)) / 1280.0
    frames = np.arange(1.0, time[-1] - 1.0, 0.05)
    speed = np.gradient(np.interp(frames, time, phase), 0.05) * 60.0
    signal = resample(recording(plate, 1280.0), track(frames, speed), cells_per_turn=64)
    spectrum = order_spectrum(signal, turns_per_segment=100.0)
    sizes = [peak(spectrum, order) for order in range(1, 10)]
    between = [peak(spectrum, order + 0.5) for order in range(1, 10)]
    assert int(np.argmax(sizes)) + 1 == 4
    assert min(sizes) > 1.5 * float(np.median(between))


def test_wrong_shapes_and_short_stretches_are_refused():
    with pytest.raises(ValueError, match="one row of samples"):
        to_turns(np.zeros((2, 5)), 10.0, ramp(60, 60, 1.0), start_s=0.0, cells_per_turn=4)
    signal = resample(recording(np.zeros(1000), 100.0), ramp(600.0, 600.0, 10.0))
    with pytest.raises(ValueError, match="as long as one segment"):
        order_spectrum(signal, turns_per_segment=1000.0)
    with pytest.raises(ValueError, match="at least one stretch"):
        order_spectrum([])
