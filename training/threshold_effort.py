"""A test of 30 minutes within a run: mean pulse of its last 20 minutes, and its pace.

Common practice, no source: run alone and evenly as hard as can be held for 30 minutes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.cleaning import codes_of, hold_s
from dawnbeat.training.run import Mark, Samples

TEST_S, LAST_S = 1800.0, 1200.0
LEAST_MEASURED = 0.9
ERROR = (
    "The error is unknown: pacing, heat and hills move it by several beats; a second test on another day tells more "
    "than one (common practice, no source)."
)


@dataclass(frozen=True)
class ThresholdTest:
    """What a test says. from_s: its begin within the run. spread_bpm: standard deviation over its last 20 minutes.

    pace_s_per_km: of the 30 minutes, None without distance.
    """

    from_s: float
    bpm: float
    spread_bpm: float
    pace_s_per_km: float | None


def threshold_test(samples: Samples, marks: Sequence[Mark], from_s: float | None = None) -> ThresholdTest:
    """The test that begins at `from_s`, else the fastest half hour without a pause.

    Raises DawnbeatError when there is no half hour, or less than 90 % of its last 20 minutes were measured.
    """
    if samples.elapsed_s < TEST_S:
        raise DawnbeatError(f"the run lasts {samples.elapsed_s / 60:.0f} minutes: a test needs 30 of them")
    begin = _fastest(samples) if from_s is None else from_s
    if not 0 <= begin <= samples.elapsed_s - TEST_S:
        raise DawnbeatError(f"no half hour follows on {begin / 60:.0f} minutes in this run: begin earlier")
    steps_s, codes = np.diff(samples.time_s), codes_of(samples, marks)
    start = samples.time_s[:-1]
    last = (start >= begin + TEST_S - LAST_S) & (start < begin + TEST_S)
    counts = last & (codes == 0)
    measured = float(steps_s[counts].sum())
    if measured < LEAST_MEASURED * LAST_S:
        raise DawnbeatError(
            f"of the last 20 minutes of that half hour {measured / 60:.0f} were measured: too few for a threshold pulse"
        )
    pulse, weight = samples.pulse_bpm[:-1][counts], steps_s[counts]
    mean = float(pulse @ weight / measured)
    spread = float(np.sqrt((pulse - mean) ** 2 @ weight / measured))
    way_m = _way_between(samples, begin, begin + TEST_S)
    pace = None if way_m is None or way_m < 1000 else TEST_S / (way_m / 1000)
    return ThresholdTest(begin, mean, spread, pace)


def _fastest(samples: Samples) -> float:
    """Where the half hour with the longest way begins, among those without a hole or stop."""
    known = np.isfinite(samples.distance_m)
    if np.count_nonzero(known) < 2:
        raise DawnbeatError("the run has no distance to find the fastest half hour by: say where the test begins")
    begins = samples.time_s[samples.time_s <= samples.elapsed_s - TEST_S]
    way = np.interp(begins + TEST_S, samples.time_s[known], samples.distance_m[known])
    way -= np.interp(begins, samples.time_s[known], samples.distance_m[known])
    holes = (np.diff(samples.time_s) > hold_s(samples.time_s)) | samples.stopped[:-1]
    before = np.concatenate(([0], np.cumsum(holes)))
    first, last = (np.searchsorted(samples.time_s, edge) for edge in (begins, begins + TEST_S))
    way[before[np.minimum(last, before.size - 1)] > before[first]] = -1.0
    if way.max() <= 0:
        raise DawnbeatError("the run has no half hour without a pause or gap: say where the test begins")
    return float(begins[int(np.argmax(way))])


def _way_between(samples: Samples, begin: float, end: float) -> float | None:
    known = np.isfinite(samples.distance_m)
    if np.count_nonzero(known) < 2:
        return None
    at = np.interp([begin, end], samples.time_s[known], samples.distance_m[known])
    return float(at[1] - at[0])
