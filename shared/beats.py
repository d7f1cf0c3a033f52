"""Beats, and the intervals between them with what counts and what does not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from dawnbeat.shared.trace import BoolArray, FloatArray

Reason = Literal["movement", "missed beat", "extra beat", "irregular beat", "gap", "weak pulse"]
REASONS: tuple[Reason, ...] = get_args(Reason)


@dataclass(frozen=True)
class Beats:
    """Beat times with how well each was timed.

    time_s: (k,) the steepest moment of each beat's fall in brightness, on the trace's own clock, increasing.
    error_ms: (k,) standard deviation of each beat's own timing error, estimated from its fit.
    likeness: (k,) correlation of each beat's edge with the recording's own median beat, -1 to 1.
    """

    time_s: FloatArray
    error_ms: FloatArray
    likeness: FloatArray

    def __len__(self) -> int:
        return int(self.time_s.size)


@dataclass(frozen=True)
class Intervals:
    """The k - 1 intervals between k successive beats, kept or left out.

    start_s: (m,) time of the beat that begins each interval.
    interval_ms: (m,) its length in milliseconds.
    left_out: m entries, None for an interval that counts, else the reason why it does not.
    """

    start_s: FloatArray
    interval_ms: FloatArray
    left_out: tuple[Reason | None, ...]

    def __len__(self) -> int:
        return int(self.interval_ms.size)

    @property
    def kept(self) -> BoolArray:
        """(m,) True for each interval that counts."""
        return np.array([reason is None for reason in self.left_out], dtype=np.bool_)

    @property
    def bounding(self) -> BoolArray:
        """(m + 1,) True for each beat that bounds an interval that counts."""
        return bounding(self.kept)

    @property
    def end_s(self) -> FloatArray:
        """(m,) time of the beat that ends each interval."""
        return self.start_s + self.interval_ms / 1000.0

    @property
    def kept_ms(self) -> FloatArray:
        """The lengths of the intervals that count, in order, in milliseconds."""
        return self.interval_ms[self.kept]


def bounding(kept: BoolArray) -> BoolArray:
    """(m + 1,) which beats bound at least one of the intervals that (m,) kept marks."""
    return np.asarray(np.append(kept, False) | np.append(False, kept))
