"""Time-domain metrics over the intervals that were kept.

Definitions of the Task Force of the European Society of Cardiology and the North American Society of Pacing and
Electrophysiology (1996), Circulation 93:1043-1065; SD1 and SD2 from SDNN and SDSD by Brennan, Palaniswami and Kamen
(2001), IEEE Trans Biomed Eng 48:1342-1347.

Their 95 % intervals say what two minutes can say of the morning, and what the camera's timing adds.

Beats lean on one another (breathing, slow waves), so the spread of a mean is taken from batches of successive values
rather than from single ones (batch means; Schmeiser 1982, Oper Res 30:556-568, who finds 10 to 30 batches enough and
the interval by Student's t). Independent timing errors with standard deviation s add 6 s^2 to RMSSD^2 and 2 s^2 to
SDNN^2, which is taken off the lower end.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.special import stdtrit

from dawnbeat.shared.beats import Intervals
from dawnbeat.shared.reading import Metrics
from dawnbeat.shared.trace import BoolArray, FloatArray


def successive_differences(interval_ms: FloatArray, kept: BoolArray) -> FloatArray:
    """Differences between neighbours that are both kept; never across an interval that was left out.

    interval_ms: (m,) all intervals in order. kept: (m,). Returns (d,) in ms, d <= m - 1.
    """
    if interval_ms.size < 2:
        return np.zeros(0)
    both = kept[1:] & kept[:-1]
    return np.asarray(np.diff(interval_ms)[both])


def metrics_of(intervals: Intervals) -> Metrics:
    """All metrics that the kept intervals allow; the others are None.

    Standard deviations divide by n - 1. pNN50 is the share of NN50 in all kept intervals, as the Task Force has it.
    """
    kept = intervals.kept
    nn_ms = intervals.interval_ms[kept]
    if nn_ms.size == 0:
        return Metrics(kept_share=0.0 if len(intervals) else None)
    mean_ms = float(nn_ms.mean())
    sdnn_ms = float(nn_ms.std(ddof=1)) if nn_ms.size > 1 else None
    difference_ms = successive_differences(intervals.interval_ms, kept)
    rmssd_ms = float(np.sqrt(np.mean(difference_ms**2))) if difference_ms.size else None
    sdsd_ms = float(difference_ms.std(ddof=1)) if difference_ms.size > 1 else None
    nn50 = int(np.sum(np.abs(difference_ms) > 50.0)) if difference_ms.size else None
    sd2_ms = None
    if sdnn_ms is not None and sdsd_ms is not None:
        sd2_ms = float(np.sqrt(max(2.0 * sdnn_ms**2 - 0.5 * sdsd_ms**2, 0.0)))
    return Metrics(
        mean_hr_bpm=60000.0 / mean_ms,
        mean_nn_ms=mean_ms,
        sdnn_ms=sdnn_ms,
        rmssd_ms=rmssd_ms,
        ln_rmssd=float(np.log(rmssd_ms)) if rmssd_ms else None,
        sdsd_ms=sdsd_ms,
        nn50=nn50,
        pnn50_pct=None if nn50 is None else 100.0 * nn50 / nn_ms.size,
        cv_nn_pct=None if sdnn_ms is None else 100.0 * sdnn_ms / mean_ms,
        min_nn_ms=float(nn_ms.min()),
        max_nn_ms=float(nn_ms.max()),
        sd1_ms=None if sdsd_ms is None else sdsd_ms / float(np.sqrt(2.0)),
        sd2_ms=sd2_ms,
        kept_beats=int(intervals.bounding.sum()),
        kept_share=float(kept.mean()),
    )


_CONFIDENCE = 0.95


def intervals_95(intervals: Intervals, timing_error_ms: float | None) -> dict[str, tuple[float, float]]:
    """95 % intervals by the names of Metrics; empty where fewer than 20 intervals are kept."""
    kept = intervals.kept
    nn_ms = intervals.interval_ms[kept]
    if nn_ms.size < 20:
        return {}
    found: dict[str, tuple[float, float]] = {}
    error_ms = timing_error_ms or 0.0
    mean_ms = float(nn_ms.mean())
    spread_ms, quantile = _spread_of_mean(nn_ms, batches=8)
    half_ms = quantile * spread_ms
    found["mean_hr_bpm"] = (60000.0 / (mean_ms + half_ms), 60000.0 / max(mean_ms - half_ms, 1.0))
    variance = float(nn_ms.var(ddof=1))
    low, high = _variance_interval((nn_ms - mean_ms) ** 2, variance, 2.0 * error_ms**2, batches=10)
    found["sdnn_ms"] = (low, high)
    both = np.flatnonzero(kept[1:] & kept[:-1])
    if both.size >= 16:
        squared = np.diff(intervals.interval_ms)[both] ** 2
        low, high = _variance_interval(squared, float(squared.mean()), 6.0 * error_ms**2, batches=16)
        if low > 0.0:
            found["ln_rmssd"] = (float(np.log(low)), float(np.log(high)))
        found["rmssd_ms"] = (low, high)
    return found


def _variance_interval(squared: FloatArray, variance: float, timing: float, batches: int) -> tuple[float, float]:
    """Interval of the square root of a mean of squares, on a logarithmic scale, with the timing's part off below."""
    if variance <= 0.0:
        return 0.0, 0.0
    spread, quantile = _spread_of_mean(squared, batches)
    factor = float(np.exp(quantile * spread / variance))
    lower = max(variance - timing, 0.05 * variance)
    return float(np.sqrt(lower / factor)), float(np.sqrt(variance * factor))


def _spread_of_mean(value: FloatArray, batches: int) -> tuple[float, float]:
    """Standard error of the mean of leaning values from batch means, and Student's quantile that goes with it."""
    batches = min(batches, value.size // 4)
    edge = np.linspace(0, value.size, batches + 1).astype(int)
    means = np.array([value[low:high].mean() for low, high in pairwise(edge)])
    spread = float(means.std(ddof=1) / np.sqrt(batches))
    quantile = float(stdtrit(batches - 1, 0.5 + _CONFIDENCE / 2.0))
    return spread, quantile
