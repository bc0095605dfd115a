"""The catalogue: every row with a source, users' rows first, slips of the pen explained."""

import pytest

from spinlab.bearings import catalogue
from spinlab.errors import InputError

ROW = """
[[bearing]]
designation = "own 1"
balls = 9
ball_diameter_mm = 8.0
pitch_diameter_mm = 40.0
"""


def written(tmp_path, text):
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


SIZES = """
    6203 6204 6205 6206 6207 6208 6303 6304 6305 6306 6307 6308 6309
    6000 6001 6002 6200 6201 6202 608
"""


@pytest.mark.parametrize("size", SIZES.split())
def test_the_usual_sizes_are_there_with_a_source_and_a_tolerance(size):
    for row in catalogue.variants(size):
        assert row.source
        assert 0 < row.tolerance <= 0.02


def test_only_rows_read_for_one_very_bearing_count_as_exact():
    exact = [row for row in catalogue.load() if row.exact]
    assert exact
    assert all("CWRU" in row.designation for row in exact)
    assert all(row.tolerance >= 0.015 for row in catalogue.load() if "memory" in row.source)


@pytest.mark.parametrize("name", ["6205", "6205-2RS", " 6205 zz c3 ", "6205-2Z/C3"])
def test_suffixes_for_seals_and_clearance_change_nothing(name):
    assert catalogue.lookup(name).designation == "6205"


def test_a_longer_number_is_not_taken_for_a_shorter_one():
    with pytest.raises(InputError, match="not in the catalogue"):
        catalogue.lookup("620512")


def test_sizes_with_two_ball_counts_give_both():
    assert {row.balls for row in catalogue.variants("6306")} == {7, 8}


def test_the_sources_tolerance_covers_the_other_published_geometry_of_a_6205():
    # CWRU's 6205 has 39.04 mm where a worked example has 38.5 mm
    usual = catalogue.lookup("6205")
    rig = catalogue.lookup("6205-2RS (CWRU drive end)")
    for fault in ("outer race", "inner race", "ball", "cage"):
        off = abs(rig.order(fault) / usual.order(fault) - 1)
        assert off <= usual.order_tolerance(fault)


def test_a_users_rows_come_first(tmp_path):
    own = ROW.replace("own 1", "6205").replace("8.0", "7.5")
    rows = catalogue.load(written(tmp_path, own))
    assert catalogue.lookup("6205-2RS", rows).ball_diameter_mm == 7.5
    assert len(rows) == len(catalogue.load()) + 1


def test_a_row_without_tolerance_gets_that_of_other_makers(tmp_path):
    row = catalogue.load(written(tmp_path, ROW))[0]
    assert row.tolerance == pytest.approx(0.006)
    assert not row.exact
    assert row.source == "row of own.toml"


def test_a_users_sources_may_be_named_once(tmp_path):
    text = '[sources]\nlist = "parts list, page 3"\n' + ROW + 'source = "list"\n'
    assert catalogue.load(written(tmp_path, text))[0].source == "parts list, page 3"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("not toml at all [", "not valid TOML"),
        ("x = 1", r"holds no \[\[bearing\]\] table"),
        (ROW.replace("balls", "bals"), "unknown key 'bals'; did you mean balls"),
        (ROW.replace("balls = 9\n", ""), "bearing 1 lacks balls"),
        (ROW.replace("= 9", "= 9.5"), "balls must be a whole number, not 9.5"),
        (ROW.replace("= 9", "= true"), "balls must be a whole number"),
        (ROW.replace("8.0", '"8"'), "ball_diameter_mm must be a number"),
        (ROW.replace("8.0", "80.0"), "must lie between 0 and pitch_diameter_mm"),
        (ROW.replace("8.0", "nan"), "must lie between 0 and pitch_diameter_mm"),
        (ROW + "tolerance = 3.0\n", "tolerance must lie between 0 and 0.2"),
        (ROW + 'fixed_ring = "both"\n', 'fixed_ring must be "outer" or "inner"'),
        (ROW + 'exact = "yes"\n', "exact must be true or false"),
        ("bearing = [1]", r"must be a \[\[bearing\]\] table"),
    ],
)
def test_a_slip_in_a_users_file_is_named_in_one_sentence(tmp_path, text, message):
    with pytest.raises(InputError, match=message) as caught:
        catalogue.load(written(tmp_path, text))
    assert "\n" not in str(caught.value)
    assert "own.toml" in str(caught.value)


def test_a_missing_file_is_an_input_error(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        catalogue.load(tmp_path / "none.toml")


def test_an_unknown_designation_names_the_closest():
    with pytest.raises(InputError, match="closest are"):
        catalogue.lookup("6209")
