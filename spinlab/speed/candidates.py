"""Candidates: the readings of the scale that a scan leaves, and how sure each of them is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.scale import APART, ScaleScan

# Share of the whole likelihood that the best reading must hold for the scale to be absolute, and
# the nats of measurement, not programme, by which it must stand above the usual factor.
LEAST_WEIGHT = 0.95
LEAST_MEASURED = 8.0
# What a beat that is cut off leaves open lies this close (ln).
ONE_SCALE = 0.04


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """One reading of the scale: weight among all, and how far it stands out (nats).

    `measured_standout` counts the drum's own turns alone, neither profile nor programme;
    `by_programme` says that without the programme another reading would have won or too little
    would have stood out; `sigma` is the standard uncertainty of ln(factor) within the reading.
    """

    factor: float
    weight: float
    standout: float
    measured_standout: float = 0.0
    by_programme: bool = False
    sigma: float = 0.0


def candidates(scan: ScaleScan, *, most: int = 5) -> tuple[Candidate, ...]:
    """Separate readings, best first, each with its share of the whole likelihood."""
    from scipy.special import logsumexp

    median, usual = float(np.median(scan.total)), float(np.median(scan.heard))
    logs = np.log(scan.factors)
    total, measured = (
        sharpened(score, scan.sharper, logs) for score in (scan.total, scan.measured)
    )
    everything = float(logsumexp(total))
    left = np.ones(len(logs), bool)
    picked: list[tuple[int, float, float, float]] = []
    while len(picked) < most and left.any():
        best = int(np.argmax(np.where(left, total, -np.inf)))
        near = left & (np.abs(logs - logs[best]) < APART)
        share = np.exp(total[near] - everything)
        mean = np.average(logs[near], weights=share)
        spread = np.sqrt(np.average((logs[near] - mean) ** 2, weights=share))
        picked.append((best, float(np.exp(mean)), float(share.sum()), float(spread)))
        left &= ~near
    without = int(np.argmax(measured))
    return tuple(
        Candidate(
            factor=factor,
            weight=weight,
            standout=float(scan.total[k] - median),
            measured_standout=float(scan.heard[k] - usual),
            by_programme=bool(
                abs(logs[k] - logs[without]) > APART or _share(measured, logs, k) < LEAST_WEIGHT
            ),
            sigma=sigma,
        )
        for k, factor, weight, sigma in picked
    )


def sharpened(
    score: NDArray[np.float64], sharper: NDArray[np.float64], logs: NDArray[np.float64]
) -> NDArray[np.float64]:
    """A score whose best reading keeps its likelihood, gathered where strong beats place it."""
    from scipy.special import logsumexp

    near = np.abs(logs - logs[np.argmax(score)]) < ONE_SCALE
    placed = score[near] + sharper[near]
    out = score.copy()
    out[near] = placed + logsumexp(score[near]) - logsumexp(placed)
    return out


def _share(score: NDArray[np.float64], logs: NDArray[np.float64], k: int) -> float:
    """Share of the whole likelihood that lies within one reading of place `k`."""
    from scipy.special import logsumexp

    near = np.abs(logs - logs[k]) < APART
    return float(np.exp(logsumexp(score[near]) - logsumexp(score)))
