"""Nothing is lost and nothing is doubled, whoever is killed and when."""

import pytest

from tests.desk.killing import campaign


def check(tally, kills):
    assert sum(tally.kills.values()) == kills
    assert tally.sent >= 0.6 * (kills - 1)
    assert (tally.lost, tally.doubled, tally.wrong) == (0, 0, 0), tally


def test_a_few_kills_lose_and_double_nothing(tmp_path):
    check(campaign(tmp_path, 4), 4)


@pytest.mark.slow
def test_two_hundred_kills_at_random_points_lose_and_double_nothing(tmp_path):
    check(campaign(tmp_path, 200, seed=2), 200)
