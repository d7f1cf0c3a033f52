"""Which intervals the heart's own rhythm can't explain.

After Lipponen and Tarvainen (2019), J Med Eng Technol 43(3):173-181: intervals are judged by their difference from the
one before and from the median around, both beside thresholds that grow with the spread of these differences over
91 beats, so that a strongly breathing heart is not cut and a steady one is watched closely.
Three things differ. Only intervals that were well measured take part, so that an already doubtful one can't stretch the
thresholds. A threshold stays between two shares of the interval itself: with a very steady heart the published ones
shrink to the timing error of a camera, and a sigh would be called irregular; with few and widely spread beats they grow
beyond what breathing does (up to a fifth either way), and a premature beat would pass. And an interval counts as odd
at one and a half thresholds from the median, where the paper waits for three: leaving out a good interval costs little
here, keeping a bad one spoils RMSSD.
"""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.beats import Reason
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray

_SPREAD_WINDOW = 91
_MEDIAN_WINDOW = 11
_SPREADS = 5.2
_EARLY_JUMP, _EARLY_HEIGHT = 0.34, 0.87
_SLOPE, _INTERCEPT = 0.13, 0.17
# Shares of the interval: a difference below the first is never remarkable, one above the second always is.
_LEAST_CHANGE, _MOST_CHANGE = 0.06, 0.45
_LEAST_APART, _MOST_APART = 0.15, 0.60
_THRESHOLDS_APART = 1.5


def odd_intervals(interval_ms: FloatArray, measured: BoolArray, height: FloatArray) -> list[Reason | None]:
    """For each interval None, or why the rhythm can't explain it.

    interval_ms: (m,) in order. measured: (m,) False for what is left out already; these get None here.
    height: (m + 1,) heights of the beats that bound the intervals, in any unit.
    """
    found: list[Reason | None] = [None] * interval_ms.size
    rows = np.flatnonzero(measured)
    if rows.size < 4:
        return found
    nn = interval_ms[rows]
    around = _running_median(nn, _MEDIAN_WINDOW)
    change = _changes(nn, rows, around)
    # A beat can come late only so far, but early by half: the paper doubles what lies below the median.
    apart_ms = np.where(nn < around, 2.0, 1.0) * (nn - around)
    apart_limit_ms = np.clip(_THRESHOLDS_APART * _spread_limit(apart_ms), _LEAST_APART * around, _MOST_APART * around)
    apart = apart_ms / apart_limit_ms
    change_before = np.concatenate([[0.0], change[:-1]])
    change_after = np.concatenate([change[1:], [0.0]])
    # Long: the change up is taken back within the next two intervals.
    change_later = np.concatenate([change[2:], [0.0, 0.0]])[: change.size]
    up = (change > 1.0) & (np.maximum(change_before, change_after) < -_SLOPE * change - _INTERCEPT)
    down = (change < -1.0) & (np.minimum(change_before, change_after) > -_SLOPE * change + _INTERCEPT)
    long = ((change > 1.0) & (np.minimum(change_after, change_later) < -1.0)) | (apart > 1.0)
    short = ((change < -1.0) & (np.maximum(change_after, change_later) > 1.0)) | (apart < -1.0)
    next_ms = np.concatenate([nn[1:], [np.inf]])
    follows = np.concatenate([np.diff(rows) == 1, [False]])
    missed = long & (nn > 1.6 * around)
    extra = short & follows & (np.abs(nn + next_ms - around) < 0.2 * around) & (np.maximum(nn, next_ms) < 0.85 * around)
    up |= _early_and_faint(nn, around, height[rows], np.concatenate([[np.inf], height[rows[1:] - 1]]), height[rows + 1])
    for k in np.flatnonzero(up | down):
        # The turn lies between two intervals, and both are of the odd beat.
        found[rows[k]] = "irregular beat"
        if k and rows[k] - rows[k - 1] == 1:
            found[rows[k - 1]] = "irregular beat"
    for k in np.flatnonzero(long | short):
        found[rows[k]] = "irregular beat"
    for k in np.flatnonzero(extra):
        found[rows[k]] = found[rows[k] + 1] = "extra beat"
    for k in np.flatnonzero(missed):
        found[rows[k]] = "missed beat"
    return found


def _early_and_faint(
    nn: FloatArray,
    around: FloatArray,
    height: FloatArray,
    height_before: FloatArray,
    height_after: FloatArray,
) -> BoolArray:
    """Where an interval follows a premature beat: the one before short, this one long, and the beat between them faint.

    The heart had less time to fill, so a premature beat drives a smaller pulse and the next one a larger; breathing
    alone does not do both at once within one beat.
    """
    jump = np.diff(nn, prepend=nn[0]) > _EARLY_JUMP * around
    return np.asarray(jump & (height < _EARLY_HEIGHT * np.minimum(height_before, height_after)))


def _changes(nn: FloatArray, rows: IntArray, around: FloatArray) -> FloatArray:
    """Each interval's change from its neighbour before, over its limit; 0 where that neighbour is left out."""
    change_ms = np.diff(nn, prepend=nn[0])
    adjacent = np.diff(rows, prepend=-9) == 1
    limit_ms = np.full(nn.size, np.inf)
    if adjacent.any():
        spread_ms = _spread_limit(change_ms[adjacent])
        usual_ms = around[adjacent]
        limit_ms[adjacent] = np.clip(spread_ms, _LEAST_CHANGE * usual_ms, _MOST_CHANGE * usual_ms)
    return np.asarray(change_ms / limit_ms)


def _spread_limit(value: FloatArray) -> FloatArray:
    """5.2 times the quartile deviation in a window of 91 around each value."""
    if value.size <= _SPREAD_WINDOW:
        low, high = np.percentile(value, [25, 75])
        return np.full(value.size, _SPREADS * (high - low) / 2.0)
    windows = np.lib.stride_tricks.sliding_window_view(value, _SPREAD_WINDOW)
    low, high = np.percentile(windows, [25, 75], axis=1)
    half = _SPREAD_WINDOW // 2
    return np.pad(_SPREADS * (high - low) / 2.0, (half, half), mode="edge")


def _running_median(value: FloatArray, width: int) -> FloatArray:
    half = width // 2
    padded = np.pad(value, half, mode="reflect" if value.size > half else "edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))
