"""What either decoder hands back, and the signal that it does not know a file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Gap, Remark

# Shorter than this, not even one slow turn of a drum fits in.
MINIMUM_DURATION_S = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Decoded:
    """Samples, float32 of shape (channels, n), with all that the decoder knows of them.

    `broken` says that the decoder gave up: another one may get further.
    """

    samples: NDArray[np.float32]
    rate_hz: float
    container: str
    codec: str
    bits: int | None = None
    start_s: float = 0.0
    gaps: tuple[Gap, ...] = ()
    remarks: tuple[Remark, ...] = ()
    broken: bool = False


class UnknownFormatError(Exception):
    """The decoder does not know this kind of file: the next one may.

    Its text, where there is one, is a reason that the user can act on.
    """


def shortfall(declared_s: float, found_s: float) -> Remark:
    """The remark for a file that ends early."""
    return Remark(
        what=f"The file breaks off after {found_s:.2f} s of {declared_s:.2f} s announced.",
        consequence="Only the part that could be read is analysed; what came later is not judged.",
    )
