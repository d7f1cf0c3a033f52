"""When the frames were really taken, from when they say they were, which of them are frames, and what that leaves open.

A camera takes its frames by an oscillator that is steady to a few parts in a million; its rate changes when the light
does, and then for seconds. What reaches the program can be late by a network's or a computer's load, never early. So a
steady grid is laid below the stamps: n frames after the last change of rate, a frame was taken n steps later, and lost
ones leave steps empty. Cameras that do take frames unevenly, and say so truly, exist too; the light itself decides,
since a pulse seen on the wrong clock is rough where it is steep.

What stays open, the intervals themselves may show. The heart knows nothing of how late a frame came. Let the stamps lie
behind the camera's steady grid by own + late, where the camera itself strayed from the grid by own, and late is the
delay on the way. A beat at t is then found at t - own on the grid. Of second differences (of intervals from beat to
beat) the mean product of beats and stamps is

    mean((t - own)'' (own + late)'') = -mean(own''^2),

since heart, camera and delay have nothing to do with one another; and mean(own''^2) is just what the grid adds to
RMSSD^2. So a grid that is wrong shows in the reading itself, whatever delay lies over it: one that the camera never
kept, or one on which lost frames were counted in the wrong place.

Beats say more than intervals do. One that was taken while the camera strayed from the clock is stretched or squeezed; a
delay, which comes after the light, changes none. That tells how much of the stamps' straying is the camera's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, uniform_filter1d

from dawnbeat.shared.reading import Intervals
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.signal.arrivals import mean_step, numbers_of_all
from dawnbeat.signal.conditioning import running_median
from dawnbeat.signal.figures import spread_of_mean
from dawnbeat.signal.timing import WarpedBeats

# Stamps that stray less than this from a steady grid are as good as it.
_STEADY_S = 0.001
# Where the light can't decide, stamps that stray by less than this are left as they are, since nothing is gained.
_LITTLE_S = 0.003
_EDGE_FRAMES = 7
_MOST_LATE_S = 0.06
# A rate is judged over so many frames; one that changes by less than the share is one rate.
_RATE_FRAMES = 60
_SAME_RATE = 0.05
# Where arrivals leave a straight line by more than this for a second, and two lines fit far better than one, the rate
# changed a little. A delay that comes and goes is not made straight by two lines.
_BENT_S = 0.06
_STRAIGHTER = 0.3
# Below this rate four neighbours span more than a beat's edge, and the light can't decide between clocks.
_DECIDING_HZ = 14.0
_FEWEST_FRAMES = 24
_MOST_BENDS = 4
_LEAST_STEP_S = 1e-6
# How much smoother the light must be on one clock for it to be preferred to the other.
_CLEARLY_SMOOTHER = 0.9
_STEEP_SHARE = 0.3
# A mean of thousands of pixels hits a multiple of this in every row only where it was rounded.
_COARSE_STEPS = (1.0, 2.0, 4.0, 10.0, 20.0)
# Files hold five decimals.
_EQUAL = 6e-6
_NOTHING = 1e-12
_OFTEN_REPEATED = 0.03
# Of changes from frame to frame, beside those of frames that plainly moved.
_PLAINLY_MOVED, _HARDLY_ANY = 0.85, 0.4
_BETWEEN = np.geomspace(1e-4, 0.12, 25)
# Batches, and the pairs of intervals that fill them with four each. Of readings on a right clock one in a hundred has a
# product as large as this by chance, and few of these so large that it matters.
_BATCHES, _FEWEST_PAIRS, _NOT_BY_CHANCE = 16, 64, 0.98

# How stamps stray is judged apart for what comes and goes quicker and slower than this, since a camera's own steps and
# a delay differ in that. Each share is held near one half, but hardly; batches are of so many beats.
_BANDS_S, _ANY_SHARE, _BATCH, _FEWEST_BEATS = (0.25, 1.0), 0.5, 5, 20
# How many standard errors a share must lie above what shapes that change with the breath make of a plain delay, and how
# sure one must be to be used.
_SHOWN, _OF_NOTHING, _KNOWN = 3.0, 0.2, 1.0 / 3.0


@dataclass(frozen=True)
class OwnSteps:
    """What of the stamps' straying is the camera's own.

    bands_s: (b, n) how far stamps lie behind a steady camera, quickest first. share: (b,) of each that is in the times.
    at_first: (b,) before edges were asked.
    """

    bands_s: FloatArray
    share: FloatArray
    at_first: FloatArray


@dataclass(frozen=True)
class FrameTimes:
    """The frames that are frames, with their best times.

    rows: (n,) which rows of the trace are frames of their own. time_s: (n,) when they were taken. unsure_s: (n,) what
    stays open of each time: two clocks between which neither light nor physics decides. stray_s: root mean square of
    how far the stamps lay from a steady camera's. fitted: whether the times are that camera's, not the stamps.
    behind_s: (n,) how far the stamps lie behind the times. repeated_share: of the rows that only repeat the one before.
    coarse: the step that the colours were rounded to, in grey levels, 0 where they were not. own: what beats showed of
    the camera's own steps, if they did.
    """

    rows: IntArray
    time_s: FloatArray
    unsure_s: FloatArray
    behind_s: FloatArray
    stray_s: float
    fitted: bool
    repeated_share: float
    coarse: float
    own: OwnSteps | None = None

    @property
    def sure(self) -> bool:
        """Whether there is nothing that beats could be asked of these times."""
        return not (self.behind_s.any() or self.unsure_s.any())


def frame_times(time_s: FloatArray, colour: FloatArray) -> FrameTimes:
    """Find the frames of a trace and when they were taken.

    time_s: (n,) strictly increasing. colour: (n, 3) frame means, 0 to 255.
    """
    coarse = _rounding(colour)
    repeats = _repeats(colour, coarse)
    rows = np.flatnonzero(~repeats)
    stamp_s = time_s[rows]
    share = float(repeats.mean()) if repeats.size else 0.0
    nothing = np.zeros(rows.size)
    if rows.size < _FEWEST_FRAMES:
        return FrameTimes(rows, stamp_s, nothing, nothing, 0.0, False, share, coarse)
    plain_s = stamp_s - _line(stamp_s, np.arange(rows.size), 0)
    if plain_s.std() <= _STEADY_S:
        return FrameTimes(rows, stamp_s, nothing, nothing, float(plain_s.std()), False, share, coarse)
    grid_s = steady_grid(stamp_s)
    if share > _OFTEN_REPEATED:
        # A slower camera, sent on at a faster rate, repeats its frames evenly; a stumbling one by chance.
        own_s = _line(stamp_s, np.arange(stamp_s.size), 0)
        if np.abs(stamp_s - own_s - np.median(stamp_s - own_s)).max() < float(np.median(np.diff(time_s))):
            grid_s = own_s
    stray = stamp_s - grid_s
    # Only what lies off the grid from frame to frame says that the stamps are poor; a constant lateness does not.
    stray_s = float(np.sqrt(np.mean((stray - uniform_filter1d(stray, 10 * _RATE_FRAMES, mode="nearest")) ** 2)))
    if stray_s <= _STEADY_S:
        return FrameTimes(rows, stamp_s, nothing, nothing, stray_s, False, share, coarse)
    if rows.size < _DECIDING_HZ * (stamp_s[-1] - stamp_s[0]):
        return FrameTimes(rows, stamp_s, _over_an_edge(stray), nothing, stray_s, False, share, coarse)
    rough = _roughness(grid_s, colour[rows])
    if not np.array_equal(grid_s, stamp_s - plain_s) and plain_s.std() < _MOST_LATE_S:
        # That none was lost is worth a second look, since delays can look like losses.
        plain_rough = _roughness(stamp_s - plain_s, colour[rows])
        if plain_rough < _CLEARLY_SMOOTHER * rough:
            grid_s, rough = stamp_s - plain_s, plain_rough
            stray = stamp_s - grid_s
    ratio = rough / max(_roughness(stamp_s, colour[rows]), 1e-12)
    if ratio > 1.0 / _CLEARLY_SMOOTHER:
        # The light bears out what changes from frame to frame, and tells nothing of a delay that comes and goes.
        return FrameTimes(rows, stamp_s, _over_an_edge(stray), nothing, stray_s, False, share, coarse)
    if ratio > _CLEARLY_SMOOTHER and stray_s < _LITTLE_S:
        return FrameTimes(rows, stamp_s, _over_an_edge(stray), nothing, stray_s, False, share, coarse)
    # What strays slowly could be the camera's own rate, which goes up and down with the light.
    slow = uniform_filter1d(uniform_filter1d(stray, _RATE_FRAMES, mode="nearest"), _RATE_FRAMES, mode="nearest")
    return FrameTimes(rows, grid_s, slow - np.median(slow), _over_an_edge(stray), stray_s, True, share, coarse)


def with_own_steps(times: FrameTimes, warps: list[WarpedBeats]) -> FrameTimes:
    """The times with what beats show of the camera's own steps; the same object where they show none.

    warps: of beats on this clock. A camera that strays from it by d leaves slope * d of the median beat. Beats on the
    times that this gives tell more, since the median beat is sharper on a better clock.
    """
    steps = times.own or _at_first(times)
    if sum(len(each.left) for each in warps) < _FEWEST_BEATS:
        return times
    seen, error = _own_shares(times, steps, warps)
    if not (seen - _SHOWN * error > _OF_NOTHING).any():
        return times
    own, known = np.clip(seen, 0.0, 1.0), error < _KNOWN
    share = np.where(known, own, steps.at_first)
    # Of two independent parts of a sum the one is best told by its share of the sum, with the product left open; and
    # none is nearer to nothing or all than chance leaves open.
    left = np.maximum(own * (1.0 - own), error * (1.0 - error)) + error**2
    return replace(
        times,
        time_s=_rising(times.time_s + (share - steps.share) @ steps.bands_s),
        unsure_s=np.sqrt(np.where(known, left, 1.0)) @ steps.bands_s,
        behind_s=(1.0 - share) @ steps.bands_s,
        own=replace(steps, share=share),
    )


def _at_first(times: FrameTimes) -> OwnSteps:
    stray_s = times.behind_s if times.fitted else times.unsure_s
    step_s = float(np.median(np.diff(times.time_s)))
    smooth = [stray_s, *(gaussian_filter1d(stray_s, band_s / step_s, mode="nearest") for band_s in _BANDS_S)]
    bands_s = np.stack([*(quick - slow for quick, slow in pairwise(smooth)), smooth[-1]])
    share = np.full(len(bands_s), 0.0 if times.fitted else 1.0)
    return OwnSteps(bands_s, share, share)


def _own_shares(times: FrameTimes, steps: OwnSteps, warps: list[WarpedBeats]) -> tuple[FloatArray, FloatArray]:
    """(b,) which share of each band warps the beats, and its standard error."""
    products, seen = [], []
    for each in warps:
        stray_s = np.stack([np.interp(each.at_s, times.time_s, band_s) for band_s in steps.bands_s])
        warp = (each.slope * (stray_s - stray_s.mean(axis=2, keepdims=True))) @ each.rest
        misfit = np.mean(each.left**2, axis=1)
        weight = 1.0 / (misfit + (np.median(misfit) if misfit.size else 0.0) + _NOTHING)
        products.append(np.einsum("bkp,ckp,k->kbc", warp, warp, weight))
        seen.append(np.einsum("bkp,kp,k->kb", warp, each.left, weight))
    product, both = np.concatenate(products), np.concatenate(seen)
    # A delay that swings evenly is alike in all bands; what can't be told apart is held at half.
    prior = np.eye(len(steps.share)) / _ANY_SHARE**2
    inverse = np.linalg.inv(product.sum(axis=0) + prior)
    warped = inverse @ (both.sum(axis=0) + prior @ (0.5 - steps.share))
    # The noise of one beat tells nothing of the next; but shapes that come and go with the breath stay for a few
    # (White 1980, Econometrica 48:817-838, in batches).
    rest = np.add.reduceat(both - product @ warped, np.arange(0, len(both), _BATCH))
    return steps.share + warped, np.sqrt(np.diag(inverse @ (rest.T @ rest + prior) @ inverse))


def _over_an_edge(stray_s: FloatArray) -> FloatArray:
    """What stray stamps do to a beat, whose edge is laid over several frames."""
    return np.asarray(uniform_filter1d(stray_s, _EDGE_FRAMES, mode="nearest") - np.median(stray_s))


def steady_grid(stamp_s: FloatArray) -> FloatArray:
    """(n,) when a camera of a steady rate took these frames, if delays only made them late; n >= 24.

    The rate may change at a few moments. The least delayed frames are taken for not delayed.
    """
    grid_s = np.concatenate([stretch[1] for stretch in _stretches(stamp_s)])
    # Where two stretches meet, the second may begin before the first ends by a hair.
    return _rising(grid_s)


def _rising(time_s: FloatArray) -> FloatArray:
    least_s = _LEAST_STEP_S * np.arange(time_s.size)
    return np.asarray(np.maximum.accumulate(time_s - least_s) + least_s)


def _stretches(stamp_s: FloatArray) -> list[tuple[IntArray, FloatArray]]:
    """Numbers and steady times of the frames of each stretch of one rate."""
    whole = _numbered(stamp_s)
    late_s = stamp_s - whole[1]
    if np.abs(running_median(late_s, 31, mirrored=False) - np.median(late_s)).max() > _BENT_S:
        parts = [_numbered(stamp_s[first:last]) for first, last in _stretches_of_rate(stamp_s)]
        if np.std(stamp_s - np.concatenate([part[1] for part in parts])) < _STRAIGHTER * np.std(late_s):
            return parts
    return [whole]


def _numbered(stamp_s: FloatArray) -> tuple[IntArray, FloatArray]:
    """Numbers and steady times of the frames of one rate: lost ones counted."""
    usual = float(np.median(np.diff(stamp_s)))
    order = np.arange(stamp_s.size)
    plain_s = _line(stamp_s, order, 0)
    # A lost frame would leave all later ones off by a step.
    if np.std(stamp_s - plain_s) < 0.1 * usual:
        return order, plain_s
    number = numbers_of_all(stamp_s)
    return number, _line(stamp_s, number, _MOST_BENDS)


def _slope(number: IntArray, stamp_s: FloatArray) -> float:
    centred = number - number.mean()
    spread = float(centred @ centred)
    return float(centred @ stamp_s) / spread if spread > 0 else 0.0


def _line(stamp_s: FloatArray, number: IntArray, bends: int) -> FloatArray:
    """The steady times of numbered frames: a line below the stamps, bent where the rate changed a little."""
    line_s = stamp_s.mean() + _slope(number, stamp_s) * (number - number.mean())
    late_s = stamp_s - line_s
    bend = running_median(late_s, 31, mirrored=False)
    at = int(np.argmax(np.abs(bend)))
    if bends and abs(bend[at]) > _BENT_S and _RATE_FRAMES <= at <= stamp_s.size - _RATE_FRAMES:
        halves = [_line(stamp_s[:at], number[:at], bends - 1), _line(stamp_s[at:], number[at:], bends - 1)]
        bent_s = np.concatenate(halves)
        rest = running_median(stamp_s - bent_s, 31, mirrored=False)
        if rest.std() < _STRAIGHTER * bend.std():
            return bent_s
    return np.asarray(line_s + float(np.percentile(late_s, 10)))


def _stretches_of_rate(stamp_s: FloatArray) -> list[tuple[int, int]]:
    """First and last (excluded) frame of each stretch of one rate."""
    step_s = np.diff(stamp_s)
    if step_s.size < 2 * _RATE_FRAMES:
        return [(0, stamp_s.size)]
    usual = mean_step(stamp_s)
    # A hole says nothing about the rate.
    capped = np.minimum(step_s, 2.5 * usual)
    before = uniform_filter1d(capped, _RATE_FRAMES, origin=(_RATE_FRAMES - 1) // 2, mode="nearest")
    after = uniform_filter1d(capped, _RATE_FRAMES, origin=-((_RATE_FRAMES - 1) // 2), mode="nearest")
    change = np.abs(np.log(after[1:] / np.maximum(before[:-1], 1e-9)))
    peak = (change >= maximum_filter1d(change, _RATE_FRAMES)) & (change > _SAME_RATE)
    edges = [0]
    for at in np.flatnonzero(peak):
        if edges[-1] + _RATE_FRAMES <= at + 1 <= stamp_s.size - _RATE_FRAMES:
            edges.append(int(at) + 1)
    edges.append(stamp_s.size)
    # Delays shake the rate of a second and a half, not that of all frames on either side.
    while len(edges) > 2:
        rates = [mean_step(stamp_s[first:last]) for first, last in pairwise(edges)]
        apart = np.abs(np.diff(np.log(rates)))
        least = int(np.argmin(apart))
        if apart[least] >= _SAME_RATE:
            break
        del edges[least + 1]
    return list(pairwise(edges))


def _roughness(time_s: FloatArray, colour: FloatArray) -> float:
    """How far frames lie from the cubic through their four neighbours where the light is steep, beside their noise."""
    value = np.log(np.maximum(colour, 0.5))
    value = value[:, int(np.argmax(_clearness(value)))]
    slope = np.abs(uniform_filter1d(np.gradient(value), 5))[2:-2]
    steep = 2 + np.flatnonzero(slope >= np.quantile(slope, 1.0 - _STEEP_SHARE))
    around = np.array([-2, -1, 1, 2])[:, None] + steep
    t, y, at = time_s[around], value[around], time_s[steep]
    weight = np.ones_like(t)
    for one in range(4):
        for other in range(4):
            if one != other:
                apart_s = np.maximum(np.abs(t[one] - t[other]), 1e-5) * np.sign(one - other)
                weight[one] *= (at - t[other]) / apart_s
    apart = ((weight * y).sum(axis=0) - value[steep]) ** 2 / (1.0 + (weight**2).sum(axis=0))
    return float(np.median(apart))


def _clearness(value: FloatArray) -> FloatArray:
    """(3,) how much each colour swings beside how much it jumps from frame to frame; 0 for a dead one."""
    swing = uniform_filter1d(value, 5, axis=0).std(axis=0)
    jump = np.median(np.abs(np.diff(value, 2, axis=0)), axis=0)
    return np.where(swing > 0, swing / np.maximum(jump, 1e-9), 0.0)


def _rounding(colour: FloatArray) -> float:
    """The step in grey levels that every live colour was rounded to; 0 where none was seen."""
    live = colour[:, np.ptp(colour, axis=0) > 0] if colour.size else colour
    if not live.size:
        return 0.0
    for parts in _COARSE_STEPS:
        # Of most traces the first rows tell that they were not rounded.
        if np.abs(live[:9] * parts - np.rint(live[:9] * parts)).max() >= 1e-4:
            continue
        if np.abs(live * parts - np.rint(live * parts)).max() < 1e-4:
            return 1.0 / parts
    return 0.0


def _repeats(colour: FloatArray, coarse: float) -> BoolArray:
    """(n,) True for rows that show the frame before once more.

    Means of thousands of noisy pixels are never equal twice; rounded ones often are, and a dead picture always is. A
    picture that was coded twice differs by a little: then changes are of two sizes, with nothing between them.
    """
    repeats = np.zeros(colour.shape[0], dtype=np.bool_)
    live = np.ptp(colour, axis=0) > 0 if colour.size else np.zeros(3, dtype=np.bool_)
    if coarse or not live.any():
        return repeats
    change = np.abs(np.diff(colour[:, live], axis=0))
    repeats[1:] = (change <= _EQUAL).all(axis=1) | _of_the_smaller_size(change)
    return repeats


def _of_the_smaller_size(change: FloatArray) -> BoolArray:
    """(n,) True for changes of the smaller of two sizes; none where all are of one.

    change: (n, c). Changes of one size come in all smaller ones too: at least twice as many from a to 3 a as below a.
    """
    if change.shape[0] < _FEWEST_FRAMES:
        return np.zeros(change.shape[0], dtype=np.bool_)
    # What is usual is asked anew every two seconds, since a movement is no proof that a still picture was sent twice.
    frames = min(_RATE_FRAMES, change.shape[0])
    parts = change[: change.shape[0] // frames * frames].reshape(-1, frames, change.shape[1])
    rank = int(_PLAINLY_MOVED * frames)
    moved = np.partition(parts, rank, axis=1)[:, rank]
    usual = moved[np.minimum(np.arange(change.shape[0]) // frames, len(moved) - 1)]
    # What changes by less than any file holds doesn't change, and must not be divided by.
    changes = usual > _NOTHING
    size = np.where(changes, change / np.where(changes, usual, 1.0), 0.0).max(axis=1)
    size[~usual.any(axis=1)] = 1.0
    ordered = np.sort(size)
    first = np.searchsorted(ordered, _BETWEEN)
    last = np.searchsorted(ordered, 3.0 * _BETWEEN)
    empty = (first > _OFTEN_REPEATED * size.size) & (last - first < _HARDLY_ANY * first)
    if not empty.any():
        return np.zeros(size.size, dtype=np.bool_)
    at = int(np.argmin(np.where(empty, (last - first) / np.maximum(first, 1), np.inf)))
    return np.asarray(size < 1.7 * _BETWEEN[at])


def clock_error_ms(beat_s: FloatArray, intervals: Intervals, times: FrameTimes) -> float:
    """Standard deviation of a beat's time that comes from the clock: as much as differences of intervals show of it.

    beat_s: (k,) all beats. Independent errors of a beat add six times their square to a squared difference.
    """
    added = max(_could_add(beat_s, times), _shown_to_add(intervals, times))
    return float(np.sqrt(added / 6.0))


def _could_add(beat_s: FloatArray, times: FrameTimes) -> float:
    """What may be added to RMSSD^2, in ms^2, by all that neither light nor physics decides."""
    if beat_s.size < 3 or not times.unsure_s.any():
        return 0.0
    late_ms = 1000.0 * np.interp(beat_s, times.time_s, times.unsure_s)
    return float(np.mean(np.diff(late_ms, 2) ** 2))


def _shown_to_add(intervals: Intervals, times: FrameTimes) -> float:
    """What was seen to be added to RMSSD^2, in ms^2; 0 where that could be chance."""
    kept = intervals.kept
    both = kept[1:] & kept[:-1]
    if both.sum() < _FEWEST_PAIRS or not times.behind_s.any():
        return 0.0
    start_ms, end_ms = (
        1000.0 * np.interp(at_s, times.time_s, times.behind_s) for at_s in (intervals.start_s, intervals.end_s)
    )
    behind_ms = np.diff(end_ms - start_ms)[both]
    product = -np.diff(intervals.interval_ms)[both] * behind_ms
    spread, quantile = spread_of_mean(product, _BATCHES, _NOT_BY_CHANCE)
    added = float(product.mean())
    # The camera can't have strayed by more than the stamps did.
    return min(added, float(np.mean(behind_ms**2))) if added > quantile * spread else 0.0
