"""Which held speed answers which expected one."""

import pytest

from spinlab.stages.match import match

USUAL = [400, 800, 1000, 1200, 1400]


@pytest.mark.parametrize(
    ("held", "pairs"),
    [
        ([400, 800, 1000, 1200, 1400], {0: 0, 1: 1, 2: 2, 3: 3, 4: 4}),
        ([400, 800, 1000, 1200, 1330], {0: 0, 1: 1, 2: 2, 3: 3, 4: 4}),
        ([400, 800, 1000, 1180], {0: 0, 1: 1, 2: 2, 3: 3}),
        ([400, 800, 1200, 1400], {0: 0, 1: 1, 3: 2, 4: 3}),
        ([1000, 1200], {2: 0, 3: 1}),
        ([400, 600, 800, 1000, 1200, 1400], {0: 0, 1: 2, 2: 3, 3: 4, 4: 5}),
        ([400, 400, 800], {0: 0, 1: 2}),
        ([100, 700, 300], {}),
        ([], {}),
    ],
    ids=lambda value: "-".join(map(str, value)) if isinstance(value, list) else "",
)
def test_held_speeds_are_paired_in_order_with_the_nearest_expected(held, pairs):
    assert match(USUAL, held) == pairs


def test_a_speed_far_off_answers_nothing():
    assert match([1400], [1220]) == {}
    assert match([1400], [1240]) == {0: 0}


def test_order_wins_over_nearness():
    # 800 after 1200 cannot be the programme's 800, which comes before
    assert match([400, 800, 1200], [400, 1200, 800]) == {0: 0, 2: 1}


def test_of_two_contradicting_speeds_the_surer_one_counts():
    # 1200 before 800 cannot both be the programme's
    assert match([800, 1200, 1400], [1200, 800, 1400], confidence=[0.7, 0.98, 1]) == {0: 1, 2: 2}
    assert match([800, 1200, 1400], [1200, 800, 1400], confidence=[0.98, 0.7, 1]) == {1: 0, 2: 2}


def test_of_several_spins_the_first_is_taken():
    spins = [400, 800, 1200] * 3
    sure = [0.9, 0.95, 0.9, 1, 1, 1, 0.99, 0.99, 0.99]
    assert match([400, 800, 1200], spins, confidence=sure) == {0: 0, 1: 1, 2: 2}
