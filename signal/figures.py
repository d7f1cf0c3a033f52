"""Time-domain metrics over the intervals that were kept.

Definitions of the Task Force of the European Society of Cardiology and the North American Society of Pacing and
Electrophysiology (1996), Circulation 93:1043-1065; SD1 and SD2 from SDNN and SDSD by Brennan, Palaniswami and Kamen
(2001), IEEE Trans Biomed Eng 48:1342-1347.

Their 95 % intervals say where the heart's own figures lie, given what two minutes can say of the morning, what the
timing of the beats adds, and what the pulse adds on its way to the finger.

Beats lean on one another (breathing, slow waves), so the spread of a mean is taken from batches of successive values
rather than from single ones (batch means; Schmeiser 1982, Oper Res 30:556-568, who finds 10 to 30 batches enough and
the interval by Student's t). Independent timing errors with standard deviation s add 6 s^2 to RMSSD^2 and 2 s^2 to
SDNN^2.

The way from heart to finger takes a little longer or shorter with each beat. In nine recordings of healthy people with
electrocardiogram and finger sensor the differences of this way from beat to beat had a root mean square d of 13.5 to
16 ms and leaned on the heart's own by a correlation c of -0.16 to 0.27, so that RMSSD at the finger was 1.03 to 1.25
times the heart's: RMSSD^2 = h^2 + 2 c h d + d^2 + 6 s^2. The lower end takes off the timing and what the way adds at
the least (d = 10 ms, c = 0), and reaches on as far as d = 15 ms with c = 0.1 would bring it, below which h may be
anything. The upper end leaves all of this away, and the figure itself is never corrected.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.special import stdtrit

from dawnbeat.shared.reading import Intervals, Metrics
from dawnbeat.shared.trace import BoolArray, FloatArray

_CONFIDENCE = 0.95
# Of the way from heart to finger, see above; and the least share of a variance that an interval reaches down to.
WAY_MS, _WAY_LEANING, _USUAL_WAY = 15.0, 0.1, 2.0 / 3.0
_LEAST_SHARE = 0.02


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


def intervals_95(
    intervals: Intervals, timing_error_ms: float | None, way_ms: float = WAY_MS
) -> dict[str, tuple[float, float]]:
    """95 % intervals by the names of Metrics; empty where fewer than 20 intervals are kept.

    timing_error_ms: standard deviation of a beat's time. way_ms: root mean square of the differences from beat to
    beat of the way from the heart to the finger; 0 for a series of the heart itself.
    """
    kept = intervals.kept
    nn_ms = intervals.interval_ms[kept]
    if nn_ms.size < 20:
        return {}
    found: dict[str, tuple[float, float]] = {}
    error_ms = timing_error_ms or 0.0
    mean_ms = float(nn_ms.mean())
    spread_ms, quantile = spread_of_mean(nn_ms, batches=8)
    half_ms = quantile * spread_ms
    found["mean_hr_bpm"] = (60000.0 / (mean_ms + half_ms), 60000.0 / max(mean_ms - half_ms, 1.0))
    variance = float(nn_ms.var(ddof=1))
    # The way moves a beat's time by a sixth of what it adds to RMSSD^2, and SDNN^2 by a third of that.
    usual = variance - 2.0 * error_ms**2 - (_USUAL_WAY * way_ms) ** 2 / 3.0
    found["sdnn_ms"] = _root_interval((nn_ms - mean_ms) ** 2, variance, usual, usual - way_ms**2 / 3.0, batches=10)
    both = np.flatnonzero(kept[1:] & kept[:-1])
    if both.size >= 16:
        squared = np.diff(intervals.interval_ms)[both] ** 2
        variance = float(squared.mean())
        timed = variance - 6.0 * error_ms**2
        usual, least = timed - (_USUAL_WAY * way_ms) ** 2, _least_variance(timed, way_ms)
        low, high = _root_interval(squared, variance, usual, least, batches=16)
        if low > 0.0:
            found["ln_rmssd"] = (float(np.log(low)), float(np.log(high)))
        found["rmssd_ms"] = (low, high)
    return found


def _least_variance(variance: float, way_ms: float) -> float:
    """RMSSD^2 of the heart where the way to the finger adds the most and leans on the heart's own differences."""
    rest = variance - way_ms**2 * (1.0 - _WAY_LEANING**2)
    return max(float(np.sqrt(max(rest, 0.0))) - _WAY_LEANING * way_ms, 0.0) ** 2


def _root_interval(
    squared: FloatArray, variance: float, usual: float, least: float, batches: int
) -> tuple[float, float]:
    """Interval of the square root of a mean of squares, on a logarithmic scale.

    usual: what is left of the mean without what measuring adds for certain; least: without what it may add. The latter
    and the chance of sampling have nothing to do with one another, so that their squares add. Both only reach down.
    """
    if variance <= 0.0:
        return 0.0, 0.0
    spread, quantile = spread_of_mean(squared, batches)
    sampling = 0.5 * quantile * spread / variance
    usual = max(usual, _LEAST_SHARE * variance)
    certain = 0.5 * float(np.log(variance / usual))
    possible = 0.5 * float(np.log(usual / np.clip(least, _LEAST_SHARE * usual, usual)))
    low = np.sqrt(variance) * np.exp(-certain - np.hypot(sampling, possible))
    return float(low), float(np.sqrt(variance) * np.exp(sampling))


def spread_of_mean(value: FloatArray, batches: int, confidence: float = _CONFIDENCE) -> tuple[float, float]:
    """Standard error of the mean of leaning values from batch means, and Student's quantile that goes with it.

    value: (n,) n >= 8. confidence: of an interval that reaches as far on both sides.
    """
    batches = min(batches, value.size // 4)
    edge = np.linspace(0, value.size, batches + 1).astype(int)
    means = np.array([value[low:high].mean() for low, high in pairwise(edge)])
    spread = float(means.std(ddof=1) / np.sqrt(batches))
    quantile = float(stdtrit(batches - 1, 0.5 + confidence / 2.0))
    return spread, quantile
