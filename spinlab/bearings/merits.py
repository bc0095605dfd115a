"""How far each band is trusted: its share of the error budget, and why.

Impulsive bands (spectral kurtosis) weigh more; bands whose envelope is locked to the mains, or
moves like syllables and knocks, weigh less.  The weights add up to one, so that the correction
for many bands (weighted Bonferroni) stays exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spinlab.bearings.spectra import EnvelopeSpectra
from spinlab.envelope.bands import BandEnvelopes, BandMerit, interference_db
from spinlab.envelope.kurtosis import Kurtogram

# Band weights: kurtosis counts up to this, interference above these levels counts against.
_KURTOSIS_COUNTS_TO = 4.0
_MAINS_FROM_DB = 15.0
_SLOW_FROM_DB = 6.0
_LEAST_PENALTY = 0.1


def band_merits(
    longest: Sequence[BandEnvelopes],
    kurtogram: Kurtogram | None,
    spectra: EnvelopeSpectra,
    mains_hz: float | None,
) -> tuple[BandMerit, ...]:
    """The bands with kurtosis, cyclic content, interference and weight.

    Args:
        longest: envelopes of the longest stretch, from which interference is read.
        kurtogram: spectral kurtosis, None counts as none.
        spectra: order spectra with competing lines set aside.
        mains_hz: mains frequency, both are tried if None.
    """
    merits, raw = [], []
    read = [interference_db(part.values, part.rate_hz, mains_hz=mains_hz) for part in longest]
    mains, slow = (np.concatenate(each) for each in zip(*read, strict=True))
    for i, band in enumerate(band for part in longest for band in part.bands):
        mains_db, slow_db = float(mains[i]), float(slow[i])
        kurtosis = 0.0 if kurtogram is None else kurtogram.at(band)
        merits.append(
            BandMerit(
                band=band,
                kurtosis=kurtosis,
                cyclic_depth=float(np.sqrt(spectra.cyclic_power(i))),
                mains_db=mains_db,
                slow_db=slow_db,
                weight=0.0,
            )
        )
        raw.append((1.0 + float(np.clip(kurtosis, 0.0, _KURTOSIS_COUNTS_TO))) * trust(merits[-1]))
    # Short and long windows share the budget alike, however many bands each has.
    sizes = [len(part.bands) for part in longest]
    shares = np.concatenate([each / each.sum() for each in np.split(raw, np.cumsum(sizes)[:-1])])
    return tuple(
        replace(merit, weight=float(share) / len(sizes))
        for merit, share in zip(merits, shares, strict=True)
    )


def trust(merit: BandMerit) -> float:
    """What interference leaves of a band's weight, up to 1: mains, and syllables or knocks."""
    return _penalty(merit.mains_db - _MAINS_FROM_DB) * _penalty(merit.slow_db - _SLOW_FROM_DB)


def _penalty(above_db: float) -> float:
    """1 where interference is below its onset, falling to a tenth 10 dB above it."""
    return float(np.clip(10.0 ** (-above_db / 10.0), _LEAST_PENALTY, 1.0))
