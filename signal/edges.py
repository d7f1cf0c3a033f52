"""Candidates for beats: every moment at which blood volume rises fastest, and the path through them.

A beat is not the tallest crest but the edge that fits: steep enough beside its neighbours, at a plausible distance
from the beat before. Choosing all beats together (dynamic programming) keeps one premature beat, one jolt or a
second wave in each beat from deciding alone.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from dawnbeat.shared.trace import FloatArray, IntArray

SHORTEST_S = 0.24
LONGEST_S = 2.6
# What a leap over a stretch without any plausible beat costs, in units of one good beat.
_LEAP_COST = 1.0
_FOOT_S = 0.12
_SWING_WINDOW_S = 4.0


def rising_edges(wave: FloatArray, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Every local maximum of the slope: (k,) times in seconds from the first sample, and (k,) how strong an edge.

    The strength is the slope, and up to twice that where the edge begins deep below the middle of the wave. A beat
    begins at the foot of the wave and its second, dicrotic wave half-way up, however steep it is: with a strong one
    the two can't be told apart by slope alone.
    """
    slope = np.gradient(wave) * rate_hz
    inner = slope[1:-1]
    at = np.flatnonzero((inner > slope[:-2]) & (inner >= slope[2:]) & (inner > 0)) + 1
    bend = slope[at - 1] - 2.0 * slope[at] + slope[at + 1]
    shift = 0.5 * (slope[at - 1] - slope[at + 1]) / np.where(bend == 0, 1.0, bend)
    swing = np.sqrt(np.maximum(uniform_filter1d(wave**2, max(3, int(_SWING_WINDOW_S * rate_hz))), 0.0))
    foot = wave[np.maximum(at - int(_FOOT_S * rate_hz), 0)]
    depth = np.clip(-foot / np.maximum(1.2 * swing[at], 1e-12), 0.0, 1.0)
    return (at + np.clip(shift, -0.5, 0.5)) / rate_hz, slope[at] * (1.0 + depth)


def usual_strength(time_s: FloatArray, strength: FloatArray, period_s: float) -> FloatArray:
    """(k,) how strong a beat's edge is around each candidate: the median of the strongest edges nearby."""
    if time_s.size == 0:
        return np.zeros(0)
    beat = (time_s / (1.3 * period_s)).astype(int)
    first = np.flatnonzero(np.diff(beat, prepend=-1))
    strongest = np.maximum.reduceat(strength, first)
    half = 6
    padded = np.pad(strongest, half, mode="reflect" if strongest.size > half else "edge")
    median = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    return np.asarray(np.interp(time_s, time_s[first], np.maximum(median, 1e-12)), dtype=np.float64)


def best_path(time_s: FloatArray, reward: FloatArray, period_s: FloatArray, rhythm_cost: float) -> IntArray:
    """Which candidates are beats: the path with the highest sum of rewards less the cost of odd intervals.

    time_s: (k,) increasing. reward: (k,) positive for what looks like a beat. period_s: (k,) expected interval.
    An interval costs rhythm_cost times the square of the logarithm of its ratio to the expected one, so that
    breathing costs little, a premature beat something and a doubled or halved rate much.
    Returns indices of the chosen candidates; none where no candidate is worth choosing.
    """
    count = time_s.size
    best = np.zeros(count)
    before = np.full(count, -1, dtype=np.int64)
    expected = np.log(period_s)
    first = np.searchsorted(time_s, time_s - LONGEST_S)
    last = np.searchsorted(time_s, time_s - SHORTEST_S, side="right")
    settled, settled_at, passed = 0.0, -1, 0
    for k in range(count):
        low, high = int(first[k]), int(last[k])
        if low > passed:
            span = best[passed:low]
            top = int(span.argmax())
            if span[top] > settled:
                settled, settled_at = float(span[top]), passed + top
            passed = low
        score, origin = 0.0, -1
        if settled > _LEAP_COST:
            score, origin = settled - _LEAP_COST, settled_at
        if high > low:
            odd = np.log(time_s[k] - time_s[low:high]) - expected[k]
            reached = best[low:high] - rhythm_cost * odd * odd
            top = int(reached.argmax())
            if reached[top] > score:
                score, origin = float(reached[top]), low + top
        best[k] = score + reward[k]
        before[k] = origin
    chosen = []
    k = int(best.argmax()) if count and best.max() > 0 else -1
    while k >= 0:
        chosen.append(k)
        k = int(before[k])
    return np.array(chosen[::-1], dtype=np.int64)
