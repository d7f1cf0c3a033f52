"""Which number each frame has on its camera's steady grid, from when frames arrived, so that lost ones can be counted.

A camera takes its frames on a steady grid; on the way a frame can only become late. A late frame is followed by others
that are early beside it, or by a burst that carries all; after a lost one all others stay a step later. So numbers are
judged over seconds, by the earliest frames that follow. Of the grids that could be, the one is taken that tells the
arrivals in the fewest words: how late each frame came (by chance, or nearly as late as the one before), where frames
were lost, and where the rate changed (minimum description length; Rissanen 1978, Automatica 14:465-471).
"""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
from scipy.ndimage import maximum_filter1d
from scipy.special import gammaln

from dawnbeat.shared.trace import FloatArray, IntArray

FEWEST_FRAMES = 24
# About half a second, which is longer than frames come in one burst.
_STALL_FRAMES = 15
# Steps beside the usual one that are tried, the shorter ones for where many frames are lost.
_SHORTEST, _LONGEST = 0.45, 1.2
_PEAKS, _PHASES, _LIKELY, _REFINED = 6, 8, 18, 6
_EARLY_STEPS = 0.1
# Resolution of what is looked for in the spectrum of the arrivals.
_BIN_S = 0.002
_SURER = 4
# Lateness has a long tail: that of a Pareto distribution of this shape, and its median beside its scale.
_TAIL = 3.0
_MEDIAN_OF_TAIL = 2.0 ** (1.0 / _TAIL) - 1.0
_LEAST_LATE_STEPS = 0.02
# What it takes to say that the rate changed, in natural units; and over how many frames it is looked for.
_CHANGE_COST = 20.0
_RATE_FRAMES, _OTHER_RATE, _MOST_CHANGES, _BURST_SHARE = 30, 0.12, 2, 0.2


# How long before and after a frame its number is judged by others. Most stalls, with what they held, are shorter.
_WINDOW_S, HOLD_S = 10.0, 2.5
_BESIDE = 60


class Numbering:
    """Numbers frames as they arrive, and settles a number once it can't change any more.

    lost: of all frames that are settled, how many before each were lost; only those of the last seconds are kept.
    """

    def __init__(self) -> None:
        self.arrived_s: list[float] = []
        self.lost: list[int] = []

    def settle(self, count: int, window_s: float = _WINDOW_S) -> int:
        """Settle the first count of the frames that are kept; how many were lost in all before the last of them."""
        settled = len(self.lost)
        if count <= settled:
            return self.lost[-1] if self.lost else 0
        arrived_s = np.asarray(self.arrived_s)
        first = int(np.searchsorted(arrived_s, arrived_s[count - 1] - window_s))
        last = int(np.searchsorted(arrived_s, arrived_s[count - 1] + 2.0 * HOLD_S, "right"))
        # A hole that is longer than the window is seen from both of its sides.
        first, last = max(0, min(first, settled - _BESIDE)), min(arrived_s.size, max(last, count + _BESIDE))
        seen = frame_numbers(arrived_s[first:last]) - np.arange(last - first)
        common = np.asarray(self.lost[first:]) - seen[: max(0, settled - first)]
        lost = self.lost[-1] if self.lost else 0
        offset = round(float(np.median(common))) if common.size else lost - int(seen[0])
        for one in seen[max(0, settled - first) : count - first]:
            lost = max(lost, int(one) + offset)
            self.lost.append(lost)
        return lost

    def forget(self) -> None:
        """Drop what lies further back than any window reaches."""
        old = int(np.searchsorted(self.arrived_s, self.arrived_s[-1] - 2.0 * (_WINDOW_S + HOLD_S)))
        old = min(old, len(self.lost) - 2 * _BESIDE)
        if old > 0:
            del self.arrived_s[:old], self.lost[:old]


def numbers_of_all(arrived_s: FloatArray) -> IntArray:
    """(n,) the number of each frame of a whole reading, as `frame_numbers` of its parts."""
    numbering = Numbering()
    numbering.arrived_s = arrived_s.tolist()
    count = 0
    while count < arrived_s.size and arrived_s[count] + _WINDOW_S < arrived_s[-1] - HOLD_S:
        # Some frames each time, however long the holes are.
        until = int(np.searchsorted(arrived_s, arrived_s[count] + _WINDOW_S))
        count = max(until, count + _BESIDE)
        numbering.settle(min(count, arrived_s.size), 2.0 * _WINDOW_S)
    numbering.settle(arrived_s.size, 2.0 * _WINDOW_S)
    return np.asarray(np.arange(arrived_s.size) + np.asarray(numbering.lost))


def mean_step(arrived_s: FloatArray) -> float:
    """The mean step over half a second or so, of the middle one of such stretches; at least two frames."""
    reach = min(_STALL_FRAMES, arrived_s.size - 1)
    return float(np.median(arrived_s[reach:] - arrived_s[:-reach])) / reach


def frame_numbers(arrived_s: FloatArray) -> IntArray:
    """(n,) the number of each frame, those that were lost counted; the first has 0.

    arrived_s: (n,) increasing, at most some tens of seconds, in which the rate may change twice. Fewer than 24 frames
    tell nothing. The last second or two is guesswork: whether these frames are late shows only afterwards.
    """
    order = np.arange(arrived_s.size)
    if arrived_s.size < FEWEST_FRAMES or _is_steady(arrived_s):
        return order
    best_cost, best = np.inf, order
    # Nothing says that the rate before a long hole goes on in it.
    holes = (np.flatnonzero(np.diff(arrived_s) > HOLD_S) + 1).tolist()
    at = [one for one in _changes(arrived_s) if one not in holes]
    fits: dict[tuple[int, int], tuple[float, IntArray, FloatArray]] = {}
    for count in range(len(at) + 1):
        for chosen in combinations(at, count):
            bounds = list(pairwise([0, *sorted([*holes, *chosen]), arrived_s.size]))
            if count and not _are_rates([arrived_s[slice(*part)] for part in bounds]):
                continue
            for part in bounds:
                if part not in fits:
                    fits[part] = _fit(arrived_s[slice(*part)])
            cost = sum(fits[part][0] for part in bounds) + _CHANGE_COST * count
            if cost < best_cost:
                best_cost, best = cost, _joined([fits[part] for part in bounds])
    return best


def _is_steady(arrived_s: FloatArray) -> bool:
    step_s = np.diff(arrived_s)
    usual_s = float(np.median(step_s))
    return bool(np.abs(step_s - usual_s).max() < 0.2 * usual_s)


def _are_rates(parts: list[FloatArray]) -> bool:
    """Whether stretches differ in their usual rate, and in none a stall and its burst only look like one."""
    if min(part.size for part in parts) < _RATE_FRAMES:
        return False
    steps_s = np.array([mean_step(part) for part in parts])
    if steps_s.min() < _BIN_S or np.abs(np.diff(np.log(steps_s))).min() < _OTHER_RATE:
        return False
    return all(
        np.mean(np.diff(part) < 0.2 * step_s) < _BURST_SHARE for part, step_s in zip(parts, steps_s, strict=True)
    )


def _joined(fits: list[tuple[float, IntArray, FloatArray]]) -> IntArray:
    """Numbers through all stretches; between two, frames may be lost at the slower of both rates."""
    number = fits[0][1]
    for (_, one, one_s), (_, more, more_s) in pairwise(fits):
        slower_s = max(float(s[-1] - s[0]) / max(int(m[-1] - m[0]), 1) for m, s in ((one, one_s), (more, more_s)))
        # Of frames that stand alone nobody knows the rate.
        between = max(1, round(float(more_s[0] - one_s[-1]) / slower_s)) if slower_s > 0 else 1
        number = np.append(number, number[-1] + between + more)
    return number


def _changes(arrived_s: FloatArray) -> list[int]:
    """First frames of stretches in which the rate may be another, most telling ones only."""
    step_s = np.diff(arrived_s)
    if step_s.size < 2 * _RATE_FRAMES:
        return []
    capped = np.minimum(step_s, 3.5 * mean_step(arrived_s))
    mean_s = np.convolve(capped, np.full(_RATE_FRAMES, 1.0 / _RATE_FRAMES), mode="valid")
    change = np.abs(np.log(np.maximum(mean_s[_RATE_FRAMES:], 1e-9) / np.maximum(mean_s[:-_RATE_FRAMES], 1e-9)))
    peak = np.flatnonzero((change >= maximum_filter1d(change, _RATE_FRAMES)) & (change > _OTHER_RATE))
    strongest = peak[np.argsort(change[peak])[::-1][:_MOST_CHANGES]]
    return sorted({int(at) + _RATE_FRAMES for at in strongest})


def _fit(arrived_s: FloatArray) -> tuple[float, IntArray, FloatArray]:
    """Cost, numbers and times of the one steady grid that tells these arrivals best."""
    order = np.arange(arrived_s.size)
    if arrived_s.size < 3:
        return 0.0, order, arrived_s
    plain_s = arrived_s.mean() + _slope(order, arrived_s) * (order - order.mean())
    number, taken_s = order[None], plain_s[None]
    steps = np.asarray(_possible_steps(arrived_s))
    if steps.size:
        # The phase is not known either.
        step_s = np.repeat(steps, _PHASES)
        phase_s = arrived_s[0] + step_s * np.tile(np.arange(_PHASES) / _PHASES, steps.size)
        tried = _numbers(arrived_s, step_s, phase_s)
        tried_s = phase_s[:, None] + step_s[:, None] * tried
        likely = np.argsort(_rough_costs(arrived_s, tried, tried_s))[:_LIKELY]
        likely = likely[np.argsort(_costs(arrived_s, tried[likely], tried_s[likely]))[:_REFINED]]
        number, taken_s = np.concatenate([number, tried[likely]]), np.concatenate([taken_s, tried_s[likely]])
        step_s, tried, tried_s = step_s[likely], tried[likely], tried_s[likely]
        for _ in range(2):
            late_s = arrived_s - tried_s
            near = np.abs(late_s - np.median(late_s, axis=1)[:, None]) < step_s[:, None]
            own_s = np.array([_slope(one[there], arrived_s[there]) for one, there in zip(tried, near, strict=True)])
            step_s = np.where(np.abs(own_s - step_s) < 0.1 * step_s, own_s, step_s)
            rest_s = np.where(near, arrived_s - step_s[:, None] * tried, arrived_s[-1])
            few = max(1, arrived_s.size // 50)
            phase_s = np.partition(rest_s, few, axis=1)[:, few]
            tried = _numbers(arrived_s, step_s, phase_s)
            tried_s = phase_s[:, None] + step_s[:, None] * tried
            number, taken_s = np.concatenate([number, tried]), np.concatenate([taken_s, tried_s])
    for step in _steady_steps(arrived_s):
        placed, placed_s = _lost_in_holes(arrived_s, step)
        number, taken_s = np.concatenate([number, placed[None]]), np.concatenate([taken_s, placed_s[None]])
    cost = _costs(arrived_s, number, taken_s)
    best = int(np.argmin(cost))
    return float(cost[best]), number[best] - number[best][0], taken_s[best]


def _possible_steps(arrived_s: FloatArray) -> list[float]:
    """Steps that the arrivals keep in time with, or would if none was lost."""
    # In one burst nothing is usual.
    usual_s = max(mean_step(arrived_s), 0.3 * float(arrived_s[-1] - arrived_s[0]) / (arrived_s.size - 1))
    if usual_s < _BIN_S:
        return []
    order = np.arange(arrived_s.size)
    steps = [usual_s, _slope(order, arrived_s), _slope_below(arrived_s)]
    step_s = np.diff(arrived_s)
    near = step_s[np.abs(step_s - np.median(step_s)) < 0.25 * np.median(step_s)]
    if near.size:
        steps.append(float(near.mean()))
    at = np.floor((arrived_s - arrived_s[0]) / _BIN_S).astype(np.int64)
    if 0 < at[-1] < 200_000:
        size = 1 << int(np.ceil(np.log2(_SURER * (at[-1] + 1))))
        strength = np.abs(np.fft.rfft(np.bincount(at), size))
        rate_hz = np.fft.rfftfreq(size, _BIN_S)
        inside = (rate_hz > 1.0 / (_LONGEST * usual_s)) & (rate_hz < 1.0 / (_SHORTEST * usual_s))
        peak = np.flatnonzero(inside & (strength >= maximum_filter1d(strength, 2 * _SURER + 1)))
        strongest = peak[np.argsort(strength[peak])[::-1][:_PEAKS]]
        steps.extend((1.0 / rate_hz[strongest]).tolist())
    return [step for step in steps if _SHORTEST * usual_s < step < 1.5 * usual_s]


def _slope_below(arrived_s: FloatArray) -> float:
    """Slope of the line that touches the arrivals from below and lies nearest to them."""
    hull: list[int] = []
    for i in range(arrived_s.size):
        while len(hull) > 1:
            a, b = hull[-2], hull[-1]
            if (arrived_s[b] - arrived_s[a]) * (i - a) < (arrived_s[i] - arrived_s[a]) * (b - a):
                break
            hull.pop()
        hull.append(i)
    middle = arrived_s.size / 2
    a, b = next((a, b) for a, b in pairwise(hull) if b >= middle)
    return float(arrived_s[b] - arrived_s[a]) / (b - a)


def _slope(number: IntArray, arrived_s: FloatArray) -> float:
    centred = number - number.mean() if number.size else np.zeros(0)
    spread = float(centred @ centred)
    return float(centred @ arrived_s) / spread if spread > 0 else 0.0


def _numbers(arrived_s: FloatArray, step_s: FloatArray, phase_s: FloatArray) -> IntArray:
    """(g, n) numbers on each grid; a frame that is late by whole steps has the number before the next one's."""
    order = np.arange(arrived_s.size)
    due = np.floor((arrived_s - phase_s[:, None]) / step_s[:, None] + _EARLY_STEPS).astype(np.int64) - order
    return np.asarray(np.minimum.accumulate(due[:, ::-1], axis=1)[:, ::-1] + order)


def _steady_steps(arrived_s: FloatArray) -> list[float]:
    """The usual step, where some steps are a multiple of it and most are nearly it."""
    step_s = np.diff(arrived_s)
    usual_s = float(np.median(step_s))
    near = step_s[np.abs(step_s - usual_s) < 0.25 * usual_s]
    # In bursts the usual step is none of the camera's.
    if near.size < 0.6 * step_s.size or step_s.max() < 1.5 * usual_s or usual_s < 0.7 * mean_step(arrived_s):
        return []
    return [float(near.mean())]


def _lost_in_holes(arrived_s: FloatArray, step_s: float) -> tuple[IntArray, FloatArray]:
    """(n,) numbers and times where frames were lost in the holes, as far as a grid allows.

    Where a delay of more than a step wanders, a grid alone knows how many were lost, but not just where.
    """
    number = np.cumsum(np.maximum(np.rint(np.diff(arrived_s, prepend=arrived_s[0]) / step_s), 1.0)).astype(np.int64)
    few = arrived_s.size // 50
    for _ in range(3):
        own_s = _slope(number, arrived_s)
        step_s = own_s if abs(own_s - step_s) < 0.1 * step_s else step_s
        phase_s = float(np.partition(arrived_s - step_s * number, few)[few])
        most = _numbers(arrived_s, np.array([step_s]), np.array([phase_s]))[0].tolist()
        steps = np.maximum(np.rint(np.diff(arrived_s) / step_s), 1.0).astype(np.int64).tolist()
        placed = [most[0]]
        for step, limit in zip(steps, most[1:], strict=True):
            last = placed[-1]
            placed.append(max(last + 1, limit - 1, min(last + step, limit)))
        number = np.asarray(placed)
    return number, np.asarray(phase_s + step_s * number)


def _costs(arrived_s: FloatArray, number: IntArray, taken_s: FloatArray) -> FloatArray:
    """(g,) how much there is to tell on each grid: how late each frame was, and where how many were lost."""
    frames = arrived_s.size
    least_s = _LEAST_LATE_STEPS * (taken_s[:, -1] - taken_s[:, 0]) / np.maximum(number[:, -1] - number[:, 0], 1)
    late_s = arrived_s - taken_s
    few = frames // 50
    late_s = np.abs(late_s - np.partition(late_s, few, axis=1)[:, few : few + 1])
    by_chance = _tail_cost(late_s, least_s)
    as_before = _tail_cost(np.abs(np.diff(late_s, axis=1)), least_s) + frames * np.log(2.0)
    lost = np.diff(number, axis=1) - 1
    times = (lost > 0).sum(axis=1)
    where = gammaln(frames + 1) - gammaln(times + 1) - gammaln(frames - times + 1)
    how_many = np.sum(np.where(lost > 0, 1.0 + 2.0 * np.log(np.maximum(lost, 1)), 0.0), axis=1)
    return np.asarray(np.minimum(by_chance, as_before) + where + how_many)


def _rough_costs(arrived_s: FloatArray, number: IntArray, taken_s: FloatArray) -> FloatArray:
    """(g,) as `_costs`, for lateness by chance with an exponential tail, which takes no logarithm of each frame."""
    frames = arrived_s.size
    late_s = arrived_s - taken_s
    late_s = np.abs(late_s - late_s[:, ::7].min(axis=1, keepdims=True))
    mean_s = np.maximum(np.minimum(late_s.mean(axis=1), 2.0 * np.abs(np.diff(late_s, axis=1)).mean(axis=1)), 1e-6)
    times = (np.diff(number, axis=1) > 1).sum(axis=1)
    where = gammaln(frames + 1) - gammaln(times + 1) - gammaln(frames - times + 1)
    return np.asarray(frames * np.log(mean_s) + where + times)


def _tail_cost(value_s: FloatArray, least_s: FloatArray) -> FloatArray:
    middle = value_s.shape[1] // 2
    # Where half of the frames are late and half are not, the median says either.
    by_median_s = np.partition(value_s, middle, axis=1)[:, middle] / _MEDIAN_OF_TAIL
    costs = []
    for scale_s in (np.maximum(by_median_s, least_s), np.maximum((_TAIL - 1.0) * value_s.mean(axis=1), least_s)):
        each = np.log1p(value_s / scale_s[:, None]).sum(axis=1)
        costs.append(value_s.shape[1] * np.log(scale_s / _TAIL) + (1.0 + _TAIL) * each)
    return np.asarray(np.minimum(*costs))
