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
from scipy.fft import next_fast_len
from scipy.ndimage import maximum_filter1d, minimum_filter1d
from scipy.special import gammaln

from dawnbeat.shared.trace import FloatArray, IntArray

FEWEST_FRAMES = 24
# About half a second, which is longer than frames come in one burst.
_STALL_FRAMES = 15
# Steps beside the usual one that are tried, the shorter ones for where many frames are lost.
_SHORTEST, _LONGEST = 0.45, 1.2
_PEAKS, _PHASES, _LIKELY, _REFINED = 6, 8, 18, 6
_EARLY_STEPS = 0.1
_LEAST_STEP_S = 0.002
# Bins to the usual step, from which the spectrum of the arrivals is computed: more than two to the shortest step that
# is looked for. How many times finer than its length tells it is read, and how long it may be.
_BINS, _SURER, _MOST_STEPS = 5, 4, 20_000
# How many times stronger than others a rhythm is where it is the only one (its own double is nearly as strong where
# frames are hardly late), and of how many neighbours the earliest is hardly late.
_ALONE, _EARLIEST_OF = 1.5, 13
# Lateness has a long tail: that of a Pareto distribution of this shape, and its median beside its scale.
_TAIL = 3.0
_MEDIAN_OF_TAIL = 2.0 ** (1.0 / _TAIL) - 1.0
_LEAST_LATE_STEPS = 0.02
_FACTORS = 8
# Frames on one line lie off it by what rounding makes.
_ROUNDING_S = 1e-9
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
    if arrived_s.size < FEWEST_FRAMES or _is_steady(arrived_s) or _is_whole(arrived_s):
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


def _is_whole(arrived_s: FloatArray) -> bool:
    """Whether frames plainly keep one rhythm and no other, and by it a dozen frames never all come late.

    After a lost one, all others would. Spares the search of `_fit`, which comes to the same.
    """
    step_s = _slope_below(arrived_s)
    earliest_s = minimum_filter1d(arrived_s - step_s * np.arange(arrived_s.size), _EARLIEST_OF)
    if np.ptp(earliest_s) >= 0.5 * step_s:
        return False
    rhythm_s, strength = _rhythms(arrived_s, _usual_step(arrived_s))
    if not strength.size:
        return False
    # How many steps more or fewer another rhythm makes in the whole length.
    apart = np.abs((arrived_s[-1] - arrived_s[0]) * (1.0 / rhythm_s - 1.0 / step_s))
    own, others = strength[apart < 0.5], strength[apart > 2.5]
    return bool(own.size and others.size and own.max() > _ALONE * others.max())


def _usual_step(arrived_s: FloatArray) -> float:
    # In one burst nothing is usual.
    return max(mean_step(arrived_s), 0.3 * float(arrived_s[-1] - arrived_s[0]) / (arrived_s.size - 1))


def _are_rates(parts: list[FloatArray]) -> bool:
    """Whether stretches differ in their usual rate, and in none a stall and its burst only look like one."""
    if min(part.size for part in parts) < _RATE_FRAMES:
        return False
    steps_s = np.array([mean_step(part) for part in parts])
    if steps_s.min() < _LEAST_STEP_S or np.abs(np.diff(np.log(steps_s))).min() < _OTHER_RATE:
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
    grids = [(order[None].astype(np.float64), plain_s[None])]
    steps = np.asarray(_possible_steps(arrived_s))
    if steps.size:
        step_s, number, taken_s = _likely_grids(arrived_s, steps)
        best = np.argsort(_costs(arrived_s, number, taken_s))[:_REFINED]
        likely = step_s[best], number[best], taken_s[best]
        once = _refined(arrived_s, *likely)
        grids += [likely[1:], once[1:], _refined(arrived_s, *once)[1:]]
    for step in _steady_steps(arrived_s):
        grids += [(placed[None], placed_s[None]) for placed, placed_s in _lost_in_holes(arrived_s, step)]
    number, taken_s = (np.concatenate(rows) for rows in zip(*grids, strict=True))
    cost = _costs(arrived_s, number, taken_s)
    cheapest = int(np.argmin(cost))
    # Grids that differ by a constant lateness cost the same; the one below the arrivals is meant.
    few, best, best_s = arrived_s.size // 50, number[cheapest], taken_s[cheapest]
    late_s = float(np.partition(arrived_s - best_s, few)[few])
    return float(cost[cheapest]), (best - best[0]).astype(np.int64), best_s + late_s


def _likely_grids(arrived_s: FloatArray, steps: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(g,) steps, (g, n) numbers and (g, n) times of the likeliest grids of these steps, at whatever phase.

    steps: (s,) in seconds.
    """
    order = np.arange(arrived_s.size)
    phase = np.arange(_PHASES) / _PHASES
    # Single precision tells a thousandth of a step by far.
    beyond = ((arrived_s - arrived_s[0]) / steps[:, None] - order).astype(np.float32)[:, None]
    shift = phase.astype(np.float32)[:, None]
    # Rounding down changes no order, so that all phases share the least of what follows.
    lost = np.floor(np.minimum.accumulate(beyond[..., ::-1], axis=2)[..., ::-1] + np.float32(_EARLY_STEPS) - shift)
    likely = np.argsort(_rough_costs(beyond - shift, lost, steps[:, None]).ravel())[:_LIKELY]
    step_s = steps[likely // _PHASES]
    phase_s = arrived_s[0] + step_s * phase[likely % _PHASES]
    number = lost.reshape(-1, order.size)[likely] + order
    return step_s, number, phase_s[:, None] + step_s[:, None] * number


def _refined(
    arrived_s: FloatArray, step_s: FloatArray, number: FloatArray, taken_s: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """As `_likely_grids`, with step and phase of each grid from the frames that lie near it."""
    middle, few = arrived_s.size // 2, max(1, arrived_s.size // 50)
    late_s = arrived_s - taken_s
    near = np.abs(late_s - np.partition(late_s, middle, axis=1)[:, middle, None]) < step_s[:, None]
    centred = near * (number - ((number * near).sum(axis=1) / np.maximum(near.sum(axis=1), 1))[:, None])
    spread = np.sum(centred**2, axis=1)
    own_s = centred @ arrived_s / np.where(spread > 0, spread, 1.0)
    step_s = np.where(np.abs(own_s - step_s) < 0.1 * step_s, own_s, step_s)
    rest_s = np.where(near, arrived_s - step_s[:, None] * number, arrived_s[-1])
    phase_s = np.partition(rest_s, few, axis=1)[:, few]
    number = _numbers(arrived_s, step_s, phase_s)
    return step_s, number, phase_s[:, None] + step_s[:, None] * number


def _possible_steps(arrived_s: FloatArray) -> list[float]:
    """Steps that the arrivals keep in time with, or would if none was lost."""
    usual_s = _usual_step(arrived_s)
    if usual_s < _LEAST_STEP_S:
        return []
    order = np.arange(arrived_s.size)
    steps = [usual_s, _slope(order, arrived_s), _slope_below(arrived_s)]
    step_s = np.diff(arrived_s)
    near = step_s[np.abs(step_s - np.median(step_s)) < 0.25 * np.median(step_s)]
    if near.size:
        steps.append(float(near.mean()))
    rhythm_s, strength = _rhythms(arrived_s, usual_s)
    peak = np.flatnonzero(strength >= maximum_filter1d(strength, 2 * _SURER + 1)) if strength.size else np.arange(0)
    steps.extend(rhythm_s[peak[np.argsort(strength[peak])[::-1][:_PEAKS]]].tolist())
    return [step for step in steps if _SHORTEST * usual_s < step < 1.5 * usual_s]


def _rhythms(arrived_s: FloatArray, usual_s: float) -> tuple[FloatArray, FloatArray]:
    """(k,) steps near the usual one, in seconds, and (k,) how strong each is in the spectrum of the arrivals.

    None where that would take too long. The lengths that are tried double, so that windows which overlap try the same.
    """
    length_s = float(arrived_s[-1] - arrived_s[0])
    if length_s < _LEAST_STEP_S or length_s / usual_s > _MOST_STEPS:
        return np.zeros(0), np.zeros(0)
    span_s = _LEAST_STEP_S * 2.0 ** np.ceil(np.log2(_SURER * (length_s / _LEAST_STEP_S + 1.0)))
    size = next_fast_len(int(_BINS * span_s / usual_s), real=True)
    place = (arrived_s - arrived_s[0]) * (size / span_s)
    before = place.astype(np.int64)
    # Each frame is shared by the bins around it, else their width would beat with the step.
    share = place - before
    frames = np.bincount(before, 1.0 - share, size) + np.bincount(before + 1, share, size)
    first, last = int(span_s / (_LONGEST * usual_s)) + 1, int(np.ceil(span_s / (_SHORTEST * usual_s)))
    return span_s / np.arange(first, last), np.abs(np.fft.rfft(frames)[first:last])


def _slope_below(arrived_s: FloatArray) -> float:
    """Slope of the line that touches the arrivals from below and lies nearest to them."""
    order = np.arange(arrived_s.size)
    middle = arrived_s.size / 2
    a, b = 0, arrived_s.size - 1
    slope_s = 0.0
    # Cutting planes (Kelley 1960, J SIAM 8:703-712): each line through two frames, until none lies below it. A frame
    # that was left is not met again, but for rounding.
    for _ in order:
        slope_s = float(arrived_s[b] - arrived_s[a]) / (b - a)
        above_s = arrived_s - slope_s * order
        lowest = int(np.argmin(above_s))
        if lowest in (a, b) or above_s[lowest] > min(above_s[a], above_s[b]) - _ROUNDING_S:
            break
        a, b = (lowest, b) if lowest < middle else (a, lowest)
    return slope_s


def _slope(number: FloatArray | IntArray, arrived_s: FloatArray) -> float:
    centred = number - number.mean() if number.size else np.zeros(0)
    spread = float(centred @ centred)
    return float(centred @ arrived_s) / spread if spread > 0 else 0.0


def _numbers(arrived_s: FloatArray, step_s: FloatArray, phase_s: FloatArray) -> FloatArray:
    """(g, n) numbers on each grid; a frame that is late by whole steps has the number before the next one's."""
    order = np.arange(arrived_s.size)
    due = (arrived_s - phase_s[:, None]) / step_s[:, None] - order
    return np.asarray(np.floor(np.minimum.accumulate(due[:, ::-1], axis=1)[:, ::-1] + _EARLY_STEPS) + order)


def _steady_steps(arrived_s: FloatArray) -> list[float]:
    """The usual step, where some steps are a multiple of it and most are nearly it."""
    step_s = np.diff(arrived_s)
    usual_s = float(np.median(step_s))
    near = step_s[np.abs(step_s - usual_s) < 0.25 * usual_s]
    # In bursts the usual step is none of the camera's.
    if near.size < 0.6 * step_s.size or step_s.max() < 1.5 * usual_s or usual_s < 0.7 * mean_step(arrived_s):
        return []
    return [float(near.mean())]


def _lost_in_holes(arrived_s: FloatArray, step_s: float) -> list[tuple[FloatArray, FloatArray]]:
    """(n,) numbers and times where frames were lost in the holes: in all of them, and as far as a grid allows.

    Where a delay of more than a step wanders, a grid alone knows how many were lost, but not just where.
    """
    order = np.arange(arrived_s.size)
    gap_s = np.diff(arrived_s, prepend=arrived_s[0])
    number = in_all = np.cumsum(np.maximum(np.rint(gap_s / step_s), 1.0)) - 1.0
    in_all_s = arrived_s.mean() + _slope(in_all, arrived_s) * (in_all - in_all.mean())
    few = arrived_s.size // 50
    for _ in range(3):
        own_s = _slope(number, arrived_s)
        step_s = own_s if abs(own_s - step_s) < 0.1 * step_s else step_s
        phase_s = float(np.partition(arrived_s - step_s * number, few)[few])
        most = _numbers(arrived_s, np.array([step_s]), np.array([phase_s]))[0] - order
        # Outside of holes the grid alone makes a number rise, and only to one below what it allows.
        lost = most - 1.0
        lost[0] = most[0]
        missing = np.maximum(np.rint(gap_s / step_s), 1.0) - 1.0
        before = most[0]
        for hole in np.flatnonzero(missing).tolist():
            before = max(before, lost[hole - 1])
            before = max(before, most[hole] - 1.0, min(before + missing[hole], most[hole]))
            lost[hole] = before
        number = np.maximum.accumulate(lost) + order
    return [(in_all, np.asarray(in_all_s)), (number, np.asarray(phase_s + step_s * number))]


def _costs(arrived_s: FloatArray, number: FloatArray, taken_s: FloatArray) -> FloatArray:
    """(g,) how much there is to tell on each grid: how late each frame was, and where how many were lost."""
    frames = arrived_s.size
    least_s = _LEAST_LATE_STEPS * (taken_s[:, -1] - taken_s[:, 0]) / np.maximum(number[:, -1] - number[:, 0], 1)
    late_s = arrived_s - taken_s
    few = frames // 50
    late_s = np.abs(late_s - np.partition(late_s, few, axis=1)[:, few, None])
    by_chance = _tail_cost(late_s, least_s)
    more_s = np.abs(np.diff(late_s, axis=1))
    as_before = np.minimum(_tail_cost(more_s, least_s), _smooth_cost(more_s, least_s)) + frames * np.log(2.0)
    lost = np.diff(number, axis=1).ravel() - 1.0
    at = np.flatnonzero(lost)
    row = at // (frames - 1)
    times = np.bincount(row, None, late_s.shape[0])
    how_many = np.bincount(row, 1.0 + 2.0 * np.log(lost[at]), late_s.shape[0])
    return np.asarray(np.minimum(by_chance, as_before) + _where_cost(frames, times) + how_many)


def _where_cost(frames: int, times: IntArray) -> FloatArray:
    """(g,) what it takes to say at which of the frames something was lost so many times."""
    return np.asarray(gammaln(frames + 1) - gammaln(times + 1) - gammaln(frames - times + 1))


def _rough_costs(beyond: FloatArray, lost: FloatArray, step_s: FloatArray) -> FloatArray:
    """(...) as `_costs`, for lateness by chance with an exponential tail, which takes no logarithm of each frame.

    beyond: (..., n) steps by which each frame came after its place, were none lost. lost: (..., n) how many were, in
    all, before it. step_s: broadcasts against the result.
    """
    frames = beyond.shape[-1]
    late = beyond - lost
    late -= late[..., ::7].min(axis=-1, keepdims=True)
    usual = np.abs(late, out=late).mean(axis=-1)
    lost_here = np.diff(lost)
    apart = np.diff(beyond) - lost_here
    mean_s = np.maximum(step_s * np.minimum(usual, 2.0 * np.abs(apart, out=apart).mean(axis=-1)), 1e-6)
    times = np.count_nonzero(lost_here, axis=-1)
    return np.asarray(frames * np.log(mean_s) + _where_cost(frames, times) + times)


def _smooth_cost(more_s: FloatArray, least_s: FloatArray) -> FloatArray:
    """(g,) for a delay that wanders and never jumps: exponentially distributed, so that a whole step hardly happens."""
    mean_s = more_s.mean(axis=1)
    scale_s = np.maximum(mean_s, least_s)
    return np.asarray(more_s.shape[1] * (np.log(scale_s) + mean_s / scale_s))


def _tail_cost(value_s: FloatArray, least_s: FloatArray) -> FloatArray:
    frames = value_s.shape[1]
    middle = frames // 2
    # Where half of the frames are late and half are not, the median says either.
    by_median_s = np.partition(value_s, middle, axis=1)[:, middle] / _MEDIAN_OF_TAIL
    costs = []
    rest = frames % _FACTORS
    for scale_s in (np.maximum(by_median_s, least_s), np.maximum((_TAIL - 1.0) * value_s.mean(axis=1), least_s)):
        # A product's logarithm takes less than the logarithm of each, and a product of a few can't be too large.
        factors = 1.0 + value_s * (1.0 / scale_s)[:, None]
        product = factors[:, rest:].reshape(scale_s.size, _FACTORS, -1).prod(axis=1)
        each = np.log(product).sum(axis=1) + np.log(factors[:, :rest]).sum(axis=1)
        costs.append(frames * np.log(scale_s / _TAIL) + (1.0 + _TAIL) * each)
    return np.asarray(np.minimum(*costs))
