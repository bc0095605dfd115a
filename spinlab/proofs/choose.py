"""Which chart proves which finding."""

from __future__ import annotations

from collections.abc import Callable

from spinlab.finding import Finding
from spinlab.proofs import bearing, drive, shaking, speed
from spinlab.proofs.value import Chart
from spinlab.result import Analysed

_MAKERS: dict[str, Callable[[Finding, Analysed], Chart | None]] = {
    "stage": speed.stage_chart,
    "oscillation": speed.oscillation_chart,
    "bearing": bearing.envelope_chart,
    "imbalance": shaking.imbalance_chart,
    "suspension": shaking.passage_chart,
    "looseness": shaking.pattern_chart,
    "belt": drive.ratio_chart,
    "motor": drive.motor_chart,
}


def proofs(analysis: Analysed) -> tuple[Chart | None, ...]:
    """One chart for each finding, in the order of the findings.

    None where nothing was measured, or where a number or the spectrogram is the whole proof.
    """
    return tuple(_proof(finding, analysis) for finding in analysis.findings)


def _proof(finding: Finding, analysis: Analysed) -> Chart | None:
    maker = _MAKERS.get(finding.kind)
    if maker is None or finding.state == "not measurable":
        return None
    return maker(finding, analysis)
