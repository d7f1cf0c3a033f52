"""What one run says: where its pulse can't be trusted, measured time, time at each pulse and in zones, drift, load.

Pauses, gaps, drop-outs, spikes and cadence lock are marked by limits that are common practice, no source. Marks are
proposals: the runner can overrule spikes and cadence lock.

Banister 1991 (in MacDougall, Wenger & Green, Physiological Testing of the High-Performance Athlete, 2nd ed.,
403-424): minutes * x * a * exp(b * x), where x is the share of the heart-rate reserve at the mean pulse, with
a = 0.64, b = 1.92 for men and a = 0.86, b = 1.67 for women. The weight rises faster than the pulse, so it is summed by
segment, here over the time at each whole pulse: the mean pulse of a run of repetitions says too little. Foster 1998
(Med Sci Sports Exerc 30:1164-1168): load = rating (0 to 10) * minutes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from scipy import ndimage

from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.training.run import BINS, MARK_KINDS, Mark, MarkKind, RunFigures, Samples, check_felt_effort
from dawnbeat.training.zones import Anchors, Zones

# A sample holds until the next one; devices that save room write every few seconds, some every twelve.
SHORTEST_HOLD_S, LONGEST_HOLD_S, HOLD_STEPS = 10.0, 30.0, 2.5
STANDING_M_PER_S = 0.5
SPIKE_BPM = 20.0
SPIKE_WINDOW_S = 31.0
JUMP_BPM, JUMP_S, LONGEST_JUMP_S, BACK_WITHIN_BPM = 30.0, 3.0, 60.0, 15.0
LOCK_BPM, LOCK_S = 3.0, 120.0
LOCK_ENTRY_BPM, LOCK_FOLLOWS = 12.0, 0.5
EQUAL_BPM, EQUAL_S, EQUAL_SHARE = 1.0, 300.0, 0.95


def marks_of(samples: Samples) -> tuple[Mark, ...]:
    """Every stretch that is left out, by its start; stretches of different kinds may overlap."""
    if len(samples) < 2:
        return ()
    pause, gap = _stops(samples)
    possible = samples.possible
    dropped = ~possible[:-1] & ~pause & ~gap
    masks: dict[MarkKind, BoolArray] = {"pause": pause, "gap": gap}
    if possible.any():
        masks |= {
            "drop-out": dropped,
            "spike": _spikes(samples)[:-1],
            "cadence lock": _cadence_lock(samples)[:-1],
        }
    found = [mark for kind, mask in masks.items() for mark in _stretches(kind, mask, samples.time_s)]
    return tuple(sorted(found, key=lambda mark: (mark.start_s, MARK_KINDS.index(mark.kind))))


def hold_s(time_s: FloatArray) -> float:
    """For how long a sample holds at most, in seconds: two and a half of the run's usual steps, 10 to 30 s."""
    if time_s.size < 2:
        return SHORTEST_HOLD_S
    usual = HOLD_STEPS * float(np.median(np.diff(time_s)))
    return min(max(usual, SHORTEST_HOLD_S), LONGEST_HOLD_S)


def codes_of(samples: Samples, marks: Sequence[Mark]) -> IntArray:
    """(n - 1,) one code for each step between samples: 0 for a pulse that counts, else 1 + its place in MARK_KINDS.

    A step belongs to the sample that begins it. Where marks overlap, the one first in MARK_KINDS holds.
    """
    codes = np.where(samples.possible[:-1], 0, 1 + MARK_KINDS.index("drop-out")).astype(np.int64)
    for kind in reversed(MARK_KINDS):
        for mark in marks:
            if mark.kind == kind and not mark.overruled:
                first, last = np.searchsorted(samples.time_s[:-1], (mark.start_s - 5e-4, mark.end_s - 5e-4))
                codes[first:last] = 1 + MARK_KINDS.index(kind)
    return codes


def _stops(samples: Samples) -> tuple[BoolArray, BoolArray]:
    """(n - 1,) each: steps that are pauses, and steps without samples that are none."""
    steps_s = np.diff(samples.time_s)
    long = steps_s > hold_s(samples.time_s)
    with np.errstate(invalid="ignore"):
        still = np.diff(samples.distance_m) < STANDING_M_PER_S * steps_s
    pause = samples.stopped[:-1] | (long & still)
    return pause, long & ~pause


def _spikes(samples: Samples) -> BoolArray:
    """(n,) pulses far off the median around them, or between a jump and its return."""
    at = np.flatnonzero(samples.possible)
    pulse, time_s = samples.pulse_bpm[at], samples.time_s[at]
    spike = np.zeros(len(samples), dtype=np.bool_)
    if at.size < 3:
        return spike
    step_s = float(np.median(np.diff(time_s)))
    size = max(3, 2 * round(SPIKE_WINDOW_S / step_s / 2) + 1)
    around = ndimage.median_filter(pulse, size=min(size, at.size), mode="nearest")
    bad = np.abs(pulse - around) > SPIKE_BPM
    bad |= _jumps_and_back(time_s, pulse, max(1, round(JUMP_S / step_s)))
    spike[at] = bad
    return spike


def _jumps_and_back(time_s: FloatArray, pulse: FloatArray, over: int) -> BoolArray:
    """(k,) samples between a jump within `over` samples and one back to about the level before it."""
    bad = np.zeros(pulse.size, dtype=np.bool_)
    if pulse.size <= over:
        return bad
    change = pulse[over:] - pulse[:-over]
    change[time_s[over:] - time_s[:-over] > hold_s(time_s)] = 0
    begins = np.flatnonzero(np.abs(change) >= JUMP_BPM)
    index = 0
    while index < begins.size:
        jump = int(begins[index])
        sign = np.sign(change[jump])
        index += 1
        later = begins[(begins > jump) & (time_s[begins] <= time_s[jump] + LONGEST_JUMP_S)]
        for back in later:
            end = int(back) + over
            returned = abs(pulse[end] - pulse[jump]) <= BACK_WITHIN_BPM
            if np.sign(change[back]) == -sign and returned:
                inside = slice(jump + 1, end)
                off = np.sign(pulse[inside] - pulse[jump]) == sign
                bad[inside] |= off & (np.abs(pulse[inside] - pulse[jump]) > BACK_WITHIN_BPM)
                index = int(np.searchsorted(begins, end))
                break
    return bad


def _cadence_lock(samples: Samples) -> BoolArray:
    """(n,) stretches of minutes in which the pulse equals the step rate and behaves as if it were it.

    A heart may beat as fast as the feet fall for a while; so the stretch must also begin or end with a jump,
    or follow the changes of the step rate, or be equal for long.
    """
    locked = np.zeros(len(samples), dtype=np.bool_)
    at = np.flatnonzero(samples.possible & np.isfinite(samples.steps_per_min) & (samples.steps_per_min > 0))
    if at.size < 3:
        return locked
    time_s, pulse, steps = samples.time_s[at], samples.pulse_bpm[at], samples.steps_per_min[at]
    close = np.flatnonzero(np.abs(pulse - steps) <= LOCK_BPM)
    if close.size == 0:
        return locked
    breaks = np.flatnonzero(np.diff(time_s[close]) > hold_s(time_s)) + 1
    for part in np.split(close, breaks):
        first, last = int(part[0]), int(part[-1]) + 1
        if time_s[last - 1] - time_s[first] < LOCK_S or part.size < 0.9 * (last - first):
            continue
        if _behaves_like_steps(time_s, pulse, steps, first, last):
            locked[at[first] : at[last - 1] + 1] = True
    return locked


def _behaves_like_steps(time_s: FloatArray, pulse: FloatArray, steps: FloatArray, first: int, last: int) -> bool:
    before = pulse[(time_s >= time_s[first] - 30) & (time_s < time_s[first] - 10)]
    after = pulse[(time_s > time_s[last - 1] + 10) & (time_s <= time_s[last - 1] + 30)]
    begin, end = np.median(pulse[first : first + 10]), np.median(pulse[last - 10 : last])
    if before.size and abs(np.median(before) - begin) >= LOCK_ENTRY_BPM:
        return True
    if after.size and abs(np.median(after) - end) >= LOCK_ENTRY_BPM:
        return True
    own_pulse, own_steps = pulse[first:last], steps[first:last]
    equal = np.abs(own_pulse - own_steps) <= EQUAL_BPM
    if time_s[last - 1] - time_s[first] >= EQUAL_S and equal.mean() >= EQUAL_SHARE:
        return True
    if own_steps.std() < 1 or own_pulse.std() == 0:
        return False
    return bool(np.corrcoef(own_pulse, own_steps)[0, 1] >= LOCK_FOLLOWS)


def _stretches(kind: MarkKind, mask: BoolArray, time_s: FloatArray) -> list[Mark]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [
        Mark(kind, float(time_s[first]), float(time_s[last]))
        for first, last in zip(edges[::2], edges[1::2], strict=True)
    ]


PEAK_HOLD_S = 5.0
MINUTE_S = 60.0
# Cardiovascular drift is counted from the tenth minute on (Coyle & González-Alonso 2001, Exerc Sport Sci Rev
# 29:88-92); before it the pulse is still rising to the effort.
SETTLED_MINUTES = 10
# The other limits are common practice, no source: hills and changes of pace move the pulse, and for two minutes more.
FEWEST_STEADY_MINUTES = 20
STEADY_SPEED_SHARE, STEADY_GRADE, RECOVERS_MINUTES = 0.15, 0.03, 2
# Pace at a pulse, and pulse at a pace: from so many steady minutes within 5 bpm of the one, or 5 % of the other, each
# carried there by its own metres a beat.
PULSE_WINDOW_BPM, PACE_WINDOW_SHARE = 5.0, 0.05
FEWEST_MINUTES = 20
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

    codes: of codes_of. A minute of which less than 45 s were measured on the move is nan throughout.
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


def pace_at(minutes: FloatArray, pulse_bpm: float) -> float | None:
    """Seconds a km at a pulse, from (n, 2) minutes near it; None below 20."""
    near = minutes[np.abs(minutes[:, 0] - pulse_bpm) <= PULSE_WINDOW_BPM]
    if len(near) < FEWEST_MINUTES:
        return None
    return float(1000 / np.mean(near[:, 1] / near[:, 0] * pulse_bpm))


def pulse_at(minutes: FloatArray, pace_s_per_km: float) -> float | None:
    """Pulse at a pace, from (n, 2) minutes near it; None below 20."""
    speed = 1000 / pace_s_per_km
    near = minutes[np.abs(minutes[:, 1] / speed - 1) <= PACE_WINDOW_SHARE]
    if len(near) < FEWEST_MINUTES:
        return None
    return float(np.mean(near[:, 0] / near[:, 1] * speed))


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


Coefficients = Literal["men", "women"]
COEFFICIENTS: tuple[Coefficients, ...] = get_args(Coefficients)
_A_AND_B: dict[Coefficients, tuple[float, float]] = {"men": (0.64, 1.92), "women": (0.86, 1.67)}
# With less of a run measured, its mean pulse does not speak for the rest.
LEAST_MEASURED = 0.75


def trimp_of(figures: RunFigures, anchors: Anchors, coefficients: Coefficients) -> float | None:
    """Training impulse of a run, summed over the time at each pulse; what wasn't measured counts like the rest.

    None without resting pulse and maximum, or where less than three quarters of the run were measured.
    """
    resting, maximum = anchors.resting_bpm, anchors.maximum_bpm
    if figures.mean_bpm is None or resting is None or maximum is None:
        return None
    if figures.measured_s < LEAST_MEASURED * figures.duration_s:
        return None
    a, b = _A_AND_B[coefficients]
    share = ((np.arange(figures.ms_at_bpm.size) - resting) / (maximum - resting)).clip(0)
    measured = float(figures.ms_at_bpm / 60_000 @ (share * a * np.exp(b * share)))
    return measured * figures.duration_s / figures.measured_s


def session_load(felt_effort: float | None, duration_s: float) -> float | None:
    """Rating times minutes; None without a rating."""
    rating = check_felt_effort(felt_effort)
    return None if rating is None else rating * duration_s / 60
