"""A lesson from recordings made by formula: fair clips, a hidden order, a provable answer."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.errors import InputError
from spinlab.lesson import make_lesson
from spinlab.lesson.make import LOUDNESS
from spinlab.recording import Recording
from tests.comparison.made import modulated

PLATEAUS = ((900.0, 8.0), (1200.0, 8.0))


@pytest.fixture(scope="module")
def good():
    return modulated([(4.3, 0.05)], seed=1, plateaus=PLATEAUS)


@pytest.fixture(scope="module")
def worn():
    return modulated([(4.3, 0.8)], seed=2, plateaus=PLATEAUS, gain=0.2)


@pytest.fixture(scope="module")
def made(good, worn):
    return make_lesson(good, worn)


@pytest.fixture(scope="module")
def equal(good):
    return make_lesson(good, modulated([(4.3, 0.05)], seed=3, plateaus=PLATEAUS))


def test_every_shared_speed_makes_a_question(made):
    assert [round(one.speed_rpm, -2) for one in made.questions] == [900, 1200]


def test_the_answer_is_the_clip_in_which_the_line_was_made_deeper(made):
    for one in made.questions:
        right = one.clips[0 if one.answer == "clip 1" else 1]
        assert one.answer != "no difference"
        assert right.subject == 1
        assert all(abs(line.order - 4.3) < 0.1 for line in one.proof)


def test_loudness_does_not_tell(made):
    for one in made.questions:
        for clip in one.clips:
            loud = np.sqrt(np.mean(clip.samples.astype(float) ** 2))
            assert loud == pytest.approx(LOUDNESS, rel=0.05)
        lengths = {round(clip.end_s - clip.start_s, 3) for clip in one.clips}
        assert len(lengths) == 1, "nor does length"


def test_the_question_does_not_tell(made, equal):
    assert len({one.asked for one in made.questions}) == 1
    assert {one.asked for one in equal.questions} == {made.questions[0].asked}


def test_two_takes_of_one_machine_have_no_answer_to_find(equal):
    assert {one.answer for one in equal.questions} == {"no difference"}


def test_the_order_is_dealt_and_the_same_files_deal_the_same(good, worn, made):
    again = make_lesson(good, worn)
    assert [one.answer for one in again.questions] == [one.answer for one in made.questions]
    dealt = {one.answer for one in made.questions}
    for seed in range(6):  # enough that chance leaves none alike
        if len(dealt) == 1:
            again = make_lesson(good, worn, rng=np.random.default_rng(seed))
            dealt |= {one.answer for one in again.questions}
    assert dealt == {"clip 1", "clip 2"}


def test_the_proof_can_be_heard_apart_and_slower(made):
    one = made.questions[-1]
    low, high = one.band_hz
    assert [clip.subject for clip in one.apart] == [0, 1]
    for clip in one.apart:
        spectrum = np.abs(np.fft.rfft(clip.samples)) ** 2
        pitch_hz = np.fft.rfftfreq(len(clip.samples), 0.25 / clip.rate_hz)
        inside = (pitch_hz > 0.9 * low) & (pitch_hz < 1.1 * high)
        assert spectrum[inside].sum() > 0.95 * spectrum.sum()


def test_a_log_makes_no_lesson(good):
    log = replace(
        good,
        recording=Recording(
            kind="acceleration", samples=good.recording.samples, rate_hz=good.recording.rate_hz
        ),
    )
    with pytest.raises(InputError, match="sound to listen to"):
        make_lesson(log, good)


def test_no_shared_speed_makes_no_lesson(good):
    with pytest.raises(InputError, match="share no speed"):
        make_lesson(good, modulated([], seed=4, plateaus=((700.0, 8.0),)))
