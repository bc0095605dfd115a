"""Findings that explain the same evidence, held against each other."""

from dataclasses import replace

import pytest

from spinlab.finding import Cause, Finding
from spinlab.findings.reconcile import reconcile


def statement(subject, probability, kind="imbalance"):
    return Finding(kind=kind, subject=subject, state="fault", probability=probability)


def test_causes_of_the_same_sign_become_rivals_whose_weights_add_up_to_one():
    found = reconcile(
        [
            statement("imbalance of the drum", 0.9),
            statement("dampers and springs of the tub", 0.9, "suspension"),
            statement("rear drum bearing, outer race", 0.9, "bearing"),
        ]
    )
    assert found[0].probability == pytest.approx(0.5)
    assert found[0].rivals == (Cause(cause="dampers and springs of the tub", probability=0.5),)
    assert found[1].rivals[0].cause == "imbalance of the drum"
    assert found[2].probability == 0.9


def test_a_cause_that_has_a_finding_of_its_own_is_not_counted_twice():
    worn, water = Cause(cause="worn damper", probability=0.3), Cause(cause="water", probability=0.2)
    shaking = replace(statement("imbalance of the drum", 0.5), rivals=(worn, water))
    dampers = statement("dampers and springs of the tub", 0.8, "suspension")
    first, second = reconcile([shaking, dampers])
    assert [str(rival.cause) for rival in first.rivals] == [dampers.subject, "water"]
    # 0.5 + 0.8 + 0.2 = 1.5 is scaled to 1 in both findings alike
    assert first.probability == pytest.approx(0.5 / 1.5)
    assert second.probability == pytest.approx(0.8 / 1.5)
    for found in (first, second):
        assert found.probability + sum(r.probability for r in found.rivals) <= 1.001


def test_findings_that_do_not_compete_are_left_alone():
    alone = (statement("belt slip", 0.9, "belt"), statement("lost phase", 0.4, "motor"))
    assert reconcile(alone) == alone


def test_a_stage_that_was_missed_names_what_was_found_that_would_cause_it():
    missed = Finding(
        kind="stage",
        subject="1400 rpm stage never reached",
        state="fault",
        probability=0.86,
        evidence={"missed_rpm": [1400.0]},
        reason="The drum stayed at 1000 rpm.",
    )
    slip = statement("belt slip", 0.6, "belt")
    told, beside = reconcile([missed, slip])
    assert told.probability == missed.probability
    assert "belt slip" in told.reason
    assert told.evidence["explained_by"] == [{"subject": "belt slip", "probability": 0.6}]
    assert beside == slip
    assert reconcile([missed]) == (missed,)
