"""Beat kernels: power of short frames of envelopes at chosen rates, for all chirp rates.

For frames of a few hundred samples one matrix product beats resampling and transforming each
(`chirp.warped_kernels`).  A frame read backwards rises where it fell.  So the even and the odd
part of a frame about its centre, each half as long as the frame, are multiplied with those of the
kernels of the rising rates alone: the sums of what comes out are the rising rates, the differences
the falling ones, for half the work.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.chirp import Floats, warped_kernels


@dataclass(frozen=True, kw_only=True, eq=False)
class BeatKernels:
    """Even and odd halves of kernels, each of shape (chirp rates from 0 up, samples, cells)."""

    even_cosine: Floats
    odd_cosine: Floats
    even_sine: Floats
    odd_sine: Floats
    frame: int

    @staticmethod
    def of(
        frequency_hz: NDArray[np.float64],
        rising: NDArray[np.float64],
        *,
        frame: int,
        rate_hz: float,
    ) -> BeatKernels:
        """Kernels at `frequency_hz`, shape (cells,), for chirp rates (1/s) from 0 upward."""
        whole = warped_kernels(frequency_hz, rising, frame=frame, rate_hz=rate_hz)
        halves = []
        for kernels in whole:
            early, late = _halves(kernels.T.reshape(len(rising), len(frequency_hz), frame))
            even, odd = 0.5 * (early + late), 0.5 * (early - late)
            if frame % 2 == 0:
                even[..., -1] *= np.float32(0.5)  # the middle sample is its own mirror image
            halves += [np.ascontiguousarray(half.swapaxes(1, 2)) for half in (even, odd)]
        return BeatKernels(
            even_cosine=halves[0],
            odd_cosine=halves[1],
            even_sine=halves[2],
            odd_sine=halves[3],
            frame=frame,
        )

    def powers(self, signals: Floats, centres: NDArray[np.int64]) -> Iterator[tuple[int, Floats]]:
        """Power of frames around `centres`, chirp rate by chirp rate.

        Args:
            signals: shape (rows, n).
            centres: shape (frames,), sample indices; frames reach past the ends as zeros.

        Returns:
            the number of a chirp rate, negative for a falling one, and power (rows, frames, cells).
        """
        padded = np.pad(signals, ((0, 0), (self.frame, self.frame)))
        first = np.clip(centres, 0, signals.shape[1]) + self.frame - self.frame // 2
        frames = np.lib.stride_tricks.sliding_window_view(padded, self.frame, axis=1)[:, first]
        early, late = _halves(frames.reshape(-1, self.frame))
        even, odd = early + late, early - late
        shape = *frames.shape[:2], self.even_cosine.shape[2]
        for k in range(len(self.even_cosine)):
            cosine = even @ self.even_cosine[k], odd @ self.odd_cosine[k]
            sine = even @ self.even_sine[k], odd @ self.odd_sine[k]
            for sign in (1, -1) if k else (1,):
                real, imaginary = (one + sign * other for one, other in (cosine, sine))
                real *= real
                imaginary *= imaginary
                real += imaginary
                yield sign * k, real.reshape(shape)


def _halves(frames: Floats) -> tuple[Floats, Floats]:
    """Samples 1 to the middle of frames (..., samples), and the mirror image of each.

    The first sample has no mirror image; a Hann window makes nothing of it.
    """
    half = frames.shape[-1] // 2
    return frames[..., 1 : half + 1], frames[..., : -half - 1 : -1]
