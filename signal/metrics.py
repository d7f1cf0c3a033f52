"""Time-domain metrics over the intervals that were kept.

Definitions of the Task Force of the European Society of Cardiology and the North American Society of Pacing and
Electrophysiology (1996), Circulation 93:1043-1065; SD1 and SD2 from SDNN and SDSD by Brennan, Palaniswami and Kamen
(2001), IEEE Trans Biomed Eng 48:1342-1347.
"""

from __future__ import annotations

import numpy as np

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
    bounds = np.zeros(len(intervals) + 1, dtype=np.bool_)
    bounds[:-1] |= kept
    bounds[1:] |= kept
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
        kept_beats=int(bounds.sum()),
        kept_share=float(kept.mean()),
    )
