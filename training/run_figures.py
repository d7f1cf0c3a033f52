"""What one run says: measured time, time at each pulse, its highest pulse, its minutes, drift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.training.cleaning import codes_of, hold_s
from dawnbeat.training.run import MARK_KINDS, PULSE_HIGH, Mark, RunFigures, Samples
from dawnbeat.training.zones import Zones

BINS = int(PULSE_HIGH) + 1
PEAK_HOLD_S = 5.0
MINUTE_S = 60.0
# Cardiovascular drift is counted from the tenth minute on (Coyle & González-Alonso 2001, Exerc Sport Sci Rev
# 29:88-92); before it the pulse is still rising to the effort.
SETTLED_MINUTES = 10
# The other limits are common practice, no source: hills and changes of pace move the pulse, and for two minutes more.
FEWEST_STEADY_MINUTES = 20
STEADY_SPEED_SHARE, STEADY_GRADE, RECOVERS_MINUTES = 0.15, 0.03, 2
# A test of the threshold: 30 minutes, of which the last 20 are averaged.
TEST_S, LAST_S = 1800.0, 1200.0
TEST_MEASURED = 0.9
THRESHOLD_ERROR = (
    "The error is unknown: pacing, heat and hills move it by several beats; a second test on another day tells more "
    "than one (common practice, no source)."
)
DRIFT_IN_WORDS = (
    "Drift: how many per cent fewer metres each heartbeat took you in the second half of the steady minutes than in "
    "the first (common practice, no source). Steady minutes come after the tenth, on the level and at the run's usual "
    "pace, so that the pulse's first rise, hills and repetitions stay out; it needs twenty of them. Heat moves it as "
    "well."
)
_LEAST_OF_A_MINUTE_S = 45.0
_MOVING_M_PER_S = 1.0


def figures_of(samples: Samples, marks: Sequence[Mark]) -> RunFigures:
    """The figures of a run whose marks are these; overruled ones count as measured."""
    steps_ms = np.round(1000 * np.diff(samples.time_s)).astype(np.int64)
    codes = codes_of(samples, marks)
    by_code = np.bincount(codes, weights=steps_ms, minlength=len(MARK_KINDS) + 1)
    pause = 1 + MARK_KINDS.index("pause")
    counts = codes == 0
    bpm = np.floor(samples.pulse_bpm[:-1][counts] + 0.5).astype(np.int64)
    at_bpm = np.round(np.bincount(bpm, weights=steps_ms[counts], minlength=BINS)).astype(np.int64)
    measured_ms = int(at_bpm.sum())
    mean = float(at_bpm @ np.arange(BINS)) / measured_ms if measured_ms else None
    known = samples.distance_m[np.isfinite(samples.distance_m)]
    minutes = minutes_of(samples, codes)
    return RunFigures(
        elapsed_s=float(steps_ms.sum()) / 1000,
        duration_s=float(steps_ms.sum() - by_code[pause]) / 1000,
        measured_s=measured_ms / 1000,
        missing_s={
            kind: float(by_code[1 + place]) / 1000
            for place, kind in enumerate(MARK_KINDS)
            if kind != "pause" and by_code[1 + place]
        },
        distance_m=float(known[-1]) if known.size and known[-1] > 0 else None,
        mean_bpm=mean,
        peak_bpm=_peak(samples, codes),
        drift_pct=drift_pct(minutes),
        ms_at_bpm=at_bpm,
        minutes=minutes,
    )


def figures_by_hand(duration_s: float, distance_m: float | None) -> RunFigures:
    """The figures of a run without samples."""
    missing = {"drop-out": duration_s}
    nothing = np.zeros(BINS, dtype=np.int64)
    return RunFigures(duration_s, duration_s, 0.0, missing, distance_m, None, None, None, nothing)


def minutes_of(samples: Samples, codes: IntArray) -> FloatArray:
    """(m, 3) mean pulse in bpm, speed in m/s and metres climbed of each whole minute since the start, pauses included.

    codes: of cleaning.codes_of. A minute of which less than 45 s were measured on the move is nan throughout.
    """
    count = int(samples.elapsed_s // MINUTE_S)
    if count == 0:
        return np.empty((0, 3))
    steps_s, way_m = np.diff(samples.time_s), np.diff(samples.distance_m)
    with np.errstate(invalid="ignore"):
        moving = (codes == 0) & (way_m >= _MOVING_M_PER_S * steps_s)
    minute = np.minimum(samples.time_s[:-1] // MINUTE_S, count).astype(np.int64)[moving]

    def total(values: FloatArray) -> FloatArray:
        sums: FloatArray = np.bincount(minute, weights=values, minlength=count + 1)[:count].astype(np.float64)
        return sums

    spent_s = total(steps_s[moving])
    with np.errstate(invalid="ignore", divide="ignore"):
        pulse = total(samples.pulse_bpm[:-1][moving] * steps_s[moving]) / spent_s
        speed = total(way_m[moving]) / spent_s
    climbed = np.full(count, np.nan)
    known = np.isfinite(samples.altitude_m)
    if np.count_nonzero(known) > 1:
        edges = np.arange(count + 1) * MINUTE_S
        climbed = np.diff(np.interp(edges, samples.time_s[known], samples.altitude_m[known]))
    found = np.column_stack((pulse, speed, climbed))
    found[spent_s < _LEAST_OF_A_MINUTE_S] = np.nan
    return found


def steady(minutes: FloatArray) -> BoolArray:
    """(m,) which minutes tell of an even effort: after the tenth, on the level, at the run's usual speed.

    The two minutes after a hill or a change of pace are left out as well, since the pulse follows late.
    """
    if len(minutes) == 0:
        return np.zeros(0, dtype=np.bool_)
    speed, climbed = minutes[:, 1], minutes[:, 2]
    known = np.isfinite(minutes[:, 0]) & np.isfinite(speed)
    settled = known & (np.arange(len(minutes)) >= SETTLED_MINUTES)
    if not settled.any():
        return settled
    usual = float(np.median(speed[settled]))
    with np.errstate(invalid="ignore"):
        uneven = np.abs(speed - usual) > STEADY_SPEED_SHARE * usual
        hilly = np.abs(climbed) > STEADY_GRADE * speed * MINUTE_S
    disturbed = (uneven & known) | (hilly & np.isfinite(climbed))
    disturbed[:SETTLED_MINUTES] = False
    after = ndimage.binary_dilation(
        disturbed, structure=np.repeat([False, True], [RECOVERS_MINUTES, RECOVERS_MINUTES + 1])
    )
    found: BoolArray = settled & ~after
    return found


def drift_pct(minutes: FloatArray) -> float | None:
    """Metres a beat in the first half of the steady minutes against the second, in %; see DRIFT_IN_WORDS.

    Positive where the pulse rose against the pace. None for under twenty steady minutes.
    """
    even = minutes[steady(minutes)]
    if len(even) < FEWEST_STEADY_MINUTES:
        return None
    middle = len(even) // 2
    early, late = (part[:, 1].sum() / part[:, 0].sum() for part in (even[:middle], even[middle:]))
    return float(100 * (early - late) / early)


@dataclass(frozen=True)
class Judged:
    """A run against zones. zone_s: seconds in each zone, summing to the measured time.

    easy_share: of the measured time at or below the top of easy, 0 to 1; None where nothing was measured.
    above_s: seconds above it.
    """

    zone_s: tuple[float, ...]
    easy_share: float | None
    above_s: float
    top_of_easy_bpm: int


def judge(ms_at_bpm: IntArray, zones: Zones) -> Judged:
    """Time in zones of the measured milliseconds at each whole pulse, (241,)."""
    cuts = [0, *(min(top + 1, BINS) for top in zones.tops_bpm), BINS]
    total_ms = np.concatenate(([0], np.cumsum(ms_at_bpm)))
    zone_ms = np.diff(total_ms[cuts])
    easy = int(total_ms[min(zones.top_of_easy_bpm + 1, BINS)])
    measured = int(total_ms[-1])
    return Judged(
        zone_s=tuple((zone_ms / 1000).tolist()),
        easy_share=easy / measured if measured else None,
        above_s=(measured - easy) / 1000,
        top_of_easy_bpm=zones.top_of_easy_bpm,
    )


def _peak(samples: Samples, codes: IntArray) -> float | None:
    counts = codes == 0
    if not counts.any():
        return None
    step_s = float(np.median(np.diff(samples.time_s)))
    size = max(1, round(PEAK_HOLD_S / step_s))
    pulse: FloatArray = np.where(counts, samples.pulse_bpm[:-1], -np.inf)
    held = ndimage.minimum_filter1d(pulse, size=min(size, pulse.size), mode="constant", cval=-np.inf)
    highest = float(held.max())
    return highest if np.isfinite(highest) else None


# A test of the threshold within a run


@dataclass(frozen=True)
class ThresholdTest:
    """What 30 minutes run alone say, evenly as hard as can be held (common practice, no source). from_s: its begin
    within the run. spread_bpm: standard deviation over its last 20 minutes.

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
    if measured < TEST_MEASURED * LAST_S:
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
