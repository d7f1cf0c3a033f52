"""Two series of beats of one heart held against each other: two hands, or a recording and its reference.

Beats match within 150 ms, the window of ANSI/AAMI EC57 (Testing and reporting performance results of cardiac rhythm
and ST segment measurement algorithms). Differences are shown after Bland and Altman (1986), Lancet 1:307-310.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.reading import bounding
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.signal.figures import successive_differences

MATCH_WINDOW_S = 0.150
_LAG_STEP_S = 0.01
# Half the width in which two beats support a lag: about what a fair detector's times scatter.
_LAG_SUPPORT_S = 0.04
_LAG_CANDIDATES = 5


@dataclass(frozen=True)
class Series:
    """Beats with what is known of the intervals between them.

    time_s: (k,) increasing, on any clock. kept: (k - 1,) which intervals count.
    Raises DawnbeatError for fewer than three beats, times that don't increase, or lengths that don't fit.
    """

    time_s: FloatArray
    kept: BoolArray

    def __post_init__(self) -> None:
        if self.time_s.size < 3:
            raise DawnbeatError(f"only {self.time_s.size} beats to compare: at least 3 are needed")
        if not np.isfinite(self.time_s).all() or np.diff(self.time_s).min() <= 0:
            raise DawnbeatError("beat times must be finite and increase: sort the list and remove repeated beats")
        if self.kept.size != self.time_s.size - 1:
            raise DawnbeatError(f"{self.time_s.size} beats have {self.time_s.size - 1} intervals, not {self.kept.size}")

    @classmethod
    def of_beats(cls, time_s: FloatArray) -> Series:
        """A reference: every interval counts."""
        return cls(np.asarray(time_s, dtype=np.float64), np.ones(max(np.size(time_s) - 1, 0), dtype=np.bool_))

    @property
    def counting(self) -> BoolArray:
        """(k,) beats that bound at least one interval that counts."""
        return bounding(self.kept)


class Comparison:
    """How well two series agree, over the time that both cover.

    lag_s: what is added to the first clock to get the second. pairs: (p, 2) indices of matched beats.
    matched_a, matched_b: share of each series' counting beats with a partner within 150 ms.
    interval_a_ms, interval_b_ms: (m,) the intervals that both keep. The rest are figures over these.
    """

    def __init__(self, a: Series, b: Series, lag_s: float) -> None:
        self.a = a
        self.b = b
        self.lag_s = lag_s
        shifted_s = a.time_s + lag_s
        self.pairs = match(shifted_s, b.time_s)
        self.matched_a = _matched_share(shifted_s, a.counting, b.time_s)
        self.matched_b = _matched_share(b.time_s, b.counting, shifted_s)
        first, second = self.pairs[:-1], self.pairs[1:]
        neighbours = (second - first == 1).all(axis=1)
        both = neighbours & a.kept[np.minimum(first[:, 0], a.kept.size - 1)]
        both &= b.kept[np.minimum(first[:, 1], b.kept.size - 1)]
        self._interval_of_a = first[both, 0]
        self.interval_a_ms = np.diff(a.time_s)[self._interval_of_a] * 1000.0
        self.interval_b_ms = np.diff(b.time_s)[first[both, 1]] * 1000.0

    @property
    def difference_ms(self) -> FloatArray:
        """(m,) first less second."""
        return np.asarray(self.interval_a_ms - self.interval_b_ms, dtype=np.float64)

    @property
    def mean_absolute_ms(self) -> float | None:
        """Mean absolute difference of the intervals; None without any."""
        return float(np.abs(self.difference_ms).mean()) if self.difference_ms.size else None

    @property
    def spread_ms(self) -> float | None:
        """Standard deviation of the differences."""
        return float(self.difference_ms.std(ddof=1)) if self.difference_ms.size > 1 else None

    @property
    def p95_ms(self) -> float | None:
        """95th percentile of the absolute differences."""
        return float(np.percentile(np.abs(self.difference_ms), 95)) if self.difference_ms.size else None

    @property
    def rmssd_ms(self) -> tuple[float, float] | None:
        """RMSSD of both over the same neighbouring intervals; None where there are none."""
        kept = np.zeros(self.a.kept.size, dtype=np.bool_)
        kept[self._interval_of_a] = True
        values = []
        for interval_ms in (self.interval_a_ms, self.interval_b_ms):
            row = np.zeros(self.a.kept.size)
            row[self._interval_of_a] = interval_ms
            differences = successive_differences(row, kept)
            if not differences.size:
                return None
            values.append(float(np.sqrt(np.mean(differences**2))))
        return values[0], values[1]

    @property
    def mean_hr_bpm(self) -> tuple[float, float] | None:
        """Mean pulse of both over the intervals that both keep."""
        if not self.difference_ms.size:
            return None
        return 60000.0 / float(self.interval_a_ms.mean()), 60000.0 / float(self.interval_b_ms.mean())

    @property
    def limits_of_agreement_ms(self) -> tuple[float, float, float] | None:
        """Bias and the limits of agreement, bias -+ 1.96 standard deviations (Bland and Altman 1986)."""
        if self.spread_ms is None:
            return None
        bias = float(self.difference_ms.mean())
        return bias, bias - 1.96 * self.spread_ms, bias + 1.96 * self.spread_ms


def compare(a: Series, b: Series, max_lag_s: float = 60.0, lag_s: float | None = None) -> Comparison:
    """Hold two series against each other, finding the lag of their clocks (up to max_lag_s) where it isn't given.

    Raises DawnbeatError when no two beats come together at any lag.
    """
    if lag_s is None:
        lag_s = find_lag(a, b, max_lag_s)
    found = Comparison(a, b, lag_s)
    if found.pairs.shape[0] < 2:
        raise DawnbeatError("the two series have no beats in common: are they of one heart and at the same time?")
    return found


def match(a_s: FloatArray, b_s: FloatArray) -> IntArray:
    """(p, 2) pairs of beats that are each other's nearest and at most 150 ms apart."""
    to_b, to_a = _nearest(a_s, b_s), _nearest(b_s, a_s)
    rows = np.arange(a_s.size)
    mutual = (to_a[to_b] == rows) & (np.abs(b_s[to_b] - a_s) <= MATCH_WINDOW_S)
    return np.column_stack([rows[mutual], to_b[mutual]])


def find_lag(a: Series, b: Series, max_lag_s: float) -> float:
    """What to add to the first clock: the lag that most pairs of beats support, and then the best intervals.

    A steady heart fits almost as well one beat further on; the intervals, which are a heart's handwriting, decide
    between the best few.
    """
    low = np.searchsorted(b.time_s, a.time_s - max_lag_s)
    high = np.searchsorted(b.time_s, a.time_s + max_lag_s, side="right")
    apart_s = np.concatenate([b.time_s[i:j] - t for t, i, j in zip(a.time_s, low, high, strict=True)])
    if apart_s.size == 0:
        raise DawnbeatError(f"the two series lie more than {max_lag_s:.0f} s apart: give the lag with --lag")
    bins = int(np.ceil(2.0 * max_lag_s / _LAG_STEP_S)) + 1
    count = np.histogram(apart_s, bins=bins, range=(-max_lag_s, max_lag_s + _LAG_STEP_S))[0].astype(np.float64)
    half = int(_LAG_SUPPORT_S / _LAG_STEP_S)
    kernel = np.concatenate([np.arange(1, half + 2), np.arange(half, 0, -1)])
    support = np.convolve(count, kernel, mode="same")
    candidates = []
    for _ in range(_LAG_CANDIDATES):
        best = int(support.argmax())
        candidates.append(-max_lag_s + (best + 0.5) * _LAG_STEP_S)
        support[max(0, best - 20) : best + 21] = -1.0
    return min((_refined(a, b, lag_s) for lag_s in candidates), key=lambda found: found[0])[1]


def _refined(a: Series, b: Series, lag_s: float) -> tuple[float, float]:
    """Cost of a lag (unmatched beats and interval errors), and the lag moved to the median of its pairs."""
    for _ in range(3):
        pairs = match(a.time_s + lag_s, b.time_s)
        if pairs.shape[0] == 0:
            return np.inf, lag_s
        lag_s = float(np.median(b.time_s[pairs[:, 1]] - a.time_s[pairs[:, 0]]))
    found = Comparison(a, b, lag_s)
    error_ms = float(np.median(np.abs(found.difference_ms))) if found.difference_ms.size else 1000.0
    overlap = found.pairs.shape[0] / min(a.time_s.size, b.time_s.size)
    return (error_ms + 1.0) / max(overlap, 1e-6), lag_s


def _nearest(a_s: FloatArray, b_s: FloatArray) -> IntArray:
    after = np.clip(np.searchsorted(b_s, a_s), 1, b_s.size - 1)
    return np.where(np.abs(b_s[after - 1] - a_s) <= np.abs(b_s[after] - a_s), after - 1, after)


def _matched_share(a_s: FloatArray, counting: BoolArray, b_s: FloatArray) -> float:
    both = counting & (a_s >= b_s[0] - MATCH_WINDOW_S) & (a_s <= b_s[-1] + MATCH_WINDOW_S)
    if not both.any():
        return 0.0
    apart_s = np.abs(b_s[_nearest(a_s, b_s)] - a_s)
    return float(np.mean(apart_s[both] <= MATCH_WINDOW_S))
