"""What the frames' clock leaves open of the beats' times: what could be, and what the intervals themselves show.

The heart knows nothing of how late a frame came. Let the stamps lie behind the camera's steady grid by own + late,
where the camera itself strayed from the grid by own, and late is the delay on the way. A beat at t is then found at
t - own on the grid. Of second differences (of intervals from beat to beat) the mean product of beats and stamps is

    mean((t - own)'' (own + late)'') = -mean(own''^2),

since heart, camera and delay have nothing to do with one another; and mean(own''^2) is just what the grid adds to
RMSSD^2. So a grid that is wrong shows in the reading itself, whatever delay lies over it: one that the camera never
kept, or one on which lost frames were counted in the wrong place.
"""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.reading import Intervals
from dawnbeat.shared.trace import FloatArray
from dawnbeat.signal.clock import FrameTimes
from dawnbeat.signal.figures import spread_of_mean

# Batches, and the pairs of intervals that fill them with four each. Of readings on a right clock one in a hundred has a
# product as large as this by chance, and few of these so large that it matters.
_BATCHES, _FEWEST_PAIRS, _NOT_BY_CHANCE = 16, 64, 0.98


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
