"""Evidence: numbers with their uncertainty, rows as tables, names in plain words."""

import pytest

from spinlab.report.evidence import (
    evidence_facts,
    evidence_label,
    evidence_tables,
    evidence_value,
)


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("slip_percent", ("slip", "%")),
        ("rise_rpm_per_s", ("rise", "rpm/s")),
        ("line_hz", ("line", "Hz")),
        ("level_m_s2", ("level", "m/s²")),
        ("turns", ("turns", "")),
    ],
)
def test_the_unit_in_a_name_becomes_a_unit_sign(name, label):
    assert evidence_label(name) == label


def test_a_long_list_is_cut_and_says_how_much_was_left_out():
    assert evidence_value(list(range(9))) == "0, 1, 2, 3, 4, 5 and 3 more"


def test_evidence_inside_evidence_keeps_its_units():
    assert evidence_value({"line_hz": 161.7, "level_db": 48.0}) == "line 161.7 Hz, level 48 dB"


def test_a_number_carries_its_uncertainty_instead_of_standing_beside_it():
    facts = evidence_facts(
        {
            "speed_rpm": 1331.2,
            "standard_uncertainty_rpm": 0.4,
            "damping_ratio": 0.081,
            "damping_ratio_standard_uncertainty": 0.011,
            "p_value": 0.25,
        }
    )
    assert facts == (
        ("speed", "1331.20 ± 0.80 rpm"),
        ("damping ratio", "0.081 ± 0.022"),
        ("p value", "0.25"),
    )


def test_rows_of_numbers_become_a_table_with_units_in_its_heads():
    (table,) = evidence_tables(
        {
            "plateaus": [
                {"speed_rpm": 800.0, "ratio": 10.0, "ratio_standard_uncertainty": 0.05},
                {"speed_rpm": 1400.0, "ratio": 10.2, "ratio_standard_uncertainty": None},
            ]
        }
    )
    assert table.name == "plateaus"
    assert table.heads == ("speed (rpm)", "ratio")
    assert table.rows == (("800", "10.00 ± 0.10"), ("1400", "10.2"))


def test_an_entry_without_a_number_is_left_out():
    assert evidence_facts({"voltage_v": None, "gaps": []}) == ()
