"""Where a trace can be treated as one piece, and its values on an even grid.

Real cameras jitter, drop frames and change rate, so nothing here assumes a constant rate. A short hole is bridged
by the spline that resamples; a longer gap splits the trace, since nothing is known of what happened in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicSpline

from dawnbeat.shared.trace import FloatArray

# One grid for all rates that cameras have, so that filters and templates need no case of their own: above twice the
# rate of a common camera, a cubic spline loses nothing of a pulse wave below 8 Hz.
_GRID_HZ = 60.0


@dataclass(frozen=True)
class Piece:
    """An unbroken stretch of a trace on an even grid.

    start_s: time of the first grid point on the trace's clock. rate_hz: grid points a second.
    value: (n, channels) values on the grid. frame_rate_hz: median rate of the frames it came from.
    """

    start_s: float
    rate_hz: float
    value: FloatArray
    frame_rate_hz: float

    @property
    def time_s(self) -> FloatArray:
        """(n,) times of the grid points."""
        return self.start_s + np.arange(self.value.shape[0]) / self.rate_hz


def split_at_gaps(time_s: FloatArray, max_gap_s: float) -> list[slice]:
    """Rows of each stretch without a step longer than max_gap_s; no rows give no stretch."""
    if time_s.size == 0:
        return []
    # A step of exactly the limit belongs to the stretch; six decimals in files must not push it over.
    breaks = np.flatnonzero(np.diff(time_s) > max_gap_s + 1e-4) + 1
    edges = [0, *breaks.tolist(), time_s.size]
    return [slice(first, last) for first, last in pairwise(edges)]


def even_grid(time_s: FloatArray, value: FloatArray) -> Piece:
    """Resample one stretch to an even grid by a cubic spline through every frame.

    time_s: (n,) strictly increasing, n >= 4. value: (n, channels). The grid has at least the frames' own rate.
    """
    frame_rate_hz = 1.0 / float(np.median(np.diff(time_s)))
    rate_hz = max(_GRID_HZ, frame_rate_hz)
    count = int(np.floor((time_s[-1] - time_s[0]) * rate_hz + 1e-6)) + 1
    grid_s = time_s[0] + np.arange(count) / rate_hz
    return Piece(float(time_s[0]), rate_hz, CubicSpline(time_s, value)(grid_s), frame_rate_hz)
