"""Finds where a run's pulse can't be trusted: pauses, gaps, drop-outs, spikes and cadence lock.

All limits here are common practice, no source. Marks are proposals: the runner can overrule spikes and
cadence lock.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.training.run import MARK_KINDS, Mark, MarkKind, Samples

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
