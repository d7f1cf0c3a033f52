"""Which edges of a filtered pulse wave are beats.

A beat is not the tallest crest but the edge that fits: steep enough beside its neighbours, at a plausible distance
from the beat before. Choosing all beats together (dynamic programming) keeps one premature beat, one jolt or a
second wave in each beat from deciding alone.

How the wave repeats comes first, without looking for beats: autocorrelation in short windows finds the period even
where a strong dicrotic wave makes two crests a beat, since the whole beat repeats better than its half does.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
from scipy.fft import next_fast_len
from scipy.ndimage import uniform_filter1d

from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray, IntArray
from dawnbeat.signal.conditioning import running_median

_HOP_S = 2.0
# Of two lags that repeat about equally well the shorter is the beat: a wave that repeats every second also repeats
# every two.
_SHORTER_LAG_SHARE = 0.8
_NEIGHBOURS = 7


@dataclass(frozen=True)
class Repetition:
    """How the wave repeats, window by window.

    centre_s: (w,) middle of each window, from the start of the piece.
    period_s: (w,) beat period around each window. own_period_s: (w,) from that window alone.
    strength: (w,) autocorrelation at that window's own period, about -1 to 1.
    """

    centre_s: FloatArray
    period_s: FloatArray
    own_period_s: FloatArray
    strength: FloatArray


def repetition(wave: FloatArray, rate_hz: float, window_s: float, lowest_bpm: float, highest_bpm: float) -> Repetition:
    """Beat period over time by autocorrelation in windows.

    wave: (n,) band-passed. Windows of window_s seconds every two seconds; a shorter piece is one window.
    """
    width = min(int(window_s * rate_hz), wave.size)
    first_lag = int(60.0 / highest_bpm * rate_hz)
    last_lag = min(int(60.0 / lowest_bpm * rate_hz) + 2, width - 1)
    starts = np.arange(0, wave.size - width + 1, max(1, int(_HOP_S * rate_hz)))
    centre_s: FloatArray = np.asarray((starts + width / 2.0) / rate_hz, dtype=np.float64)
    own = _autocorrelation(_tamed(wave), starts, width, last_lag)
    if last_lag - first_lag < 3:
        nothing = np.zeros(starts.size)
        return Repetition(centre_s, nothing + 60.0 / highest_bpm, nothing + 60.0 / highest_bpm, nothing)
    overall_s = _best_lag(own.mean(axis=0)[None, :], first_lag, None, rate_hz)[0]
    around = _running_mean(own, _NEIGHBOURS)
    period_s = _best_lag(around, first_lag, np.full(starts.size, overall_s), rate_hz)
    own_period_s = _best_lag(own, first_lag, period_s, rate_hz)
    rows = np.arange(starts.size)
    strength = own[rows, np.clip(np.rint(own_period_s * rate_hz).astype(int), 0, own.shape[1] - 1)]
    return Repetition(centre_s, period_s, own_period_s, strength)


def _tamed(wave: FloatArray) -> FloatArray:
    """Cut what towers over the wave, so that one jolt does not decide for its whole window."""
    limit = 4.0 * float(np.median(np.abs(wave)))
    return np.clip(wave, -limit, limit) if limit > 0 else wave


def _autocorrelation(wave: FloatArray, starts: np.ndarray, width: int, last_lag: int) -> FloatArray:
    windows = wave[starts[:, None] + np.arange(width)]
    windows = windows - windows.mean(axis=1, keepdims=True)
    size = next_fast_len(width + last_lag, real=True)
    power = np.abs(np.fft.rfft(windows, size)) ** 2
    lagged = np.fft.irfft(power, size)[:, : last_lag + 1]
    # The overlap shrinks with the lag; undo that, or short lags would always win.
    lagged *= width / (width - np.arange(last_lag + 1))
    return np.asarray(lagged / np.maximum(lagged[:, :1], 1e-12))


def _running_mean(rows: FloatArray, neighbours: int) -> FloatArray:
    sums = np.concatenate([np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0)])
    count = rows.shape[0]
    low = np.maximum(np.arange(count) - neighbours, 0)
    high = np.minimum(np.arange(count) + neighbours + 1, count)
    return np.asarray((sums[high] - sums[low]) / (high - low)[:, None])


def _best_lag(rows: FloatArray, first_lag: int, near_s: FloatArray | None, rate_hz: float) -> FloatArray:
    """Period in seconds of each row of autocorrelations: the shortest of the best peaks, or the best near near_s."""
    lags = np.arange(rows.shape[1])
    inner = rows[:, 1:-1]
    peak = (inner > rows[:, :-2]) & (inner >= rows[:, 2:]) & (lags[1:-1] >= first_lag)
    height = np.where(peak, inner, -np.inf)
    if near_s is None:
        tall = height >= np.maximum(_SHORTER_LAG_SHARE * height.max(axis=1, keepdims=True), 1e-9)
        chosen = np.where(tall.any(axis=1), tall.argmax(axis=1), 0) + 1
        fallback_s = np.full(rows.shape[0], 1.0)
    else:
        away = np.log(np.maximum(lags[1:-1], 1)[None, :] / (near_s[:, None] * rate_hz))
        chosen = (height - 1.5 * away**2).argmax(axis=1) + 1
        fallback_s = near_s
    return np.where(peak.any(axis=1), chosen / rate_hz, fallback_s)


def windows_at(wave: FloatArray, rate_hz: float, time_s: FloatArray, offset_s: FloatArray) -> FloatArray:
    """(k, m) the wave at each of k times plus m offsets, linear between samples, held at the ends."""
    at = np.clip((time_s[:, None] + offset_s) * rate_hz, 0.0, wave.size - 1.000001)
    floor = at.astype(np.int64)
    part = at - floor
    return np.asarray(wave[floor] * (1.0 - part) + wave[floor + 1] * part)


def unit_rows(rows: FloatArray) -> FloatArray:
    """Each row less its mean, divided by its length; a flat row becomes zeros."""
    centred = rows - rows.mean(axis=1, keepdims=True)
    return np.asarray(centred / np.maximum(np.linalg.norm(centred, axis=1, keepdims=True), 1e-12))


def median_beat(rows: FloatArray) -> FloatArray:
    """(m,) the median of unit rows, made again from the half that is most like it, as a unit row.

    A median alone is pulled by jolts and second waves that slipped in; the better half seldom holds any.
    """
    median: FloatArray = unit_rows(np.median(rows, axis=0)[None, :])[0]
    if rows.shape[0] >= 8:
        like = rows @ median
        median = unit_rows(np.median(rows[like >= np.median(like)], axis=0)[None, :])[0]
    return median


SHORTEST_S = 0.24
LONGEST_S = 3.0
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
    median = running_median(strongest, 2 * half + 1)
    return np.asarray(np.interp(time_s, time_s[first], np.maximum(median, 1e-12)), dtype=np.float64)


def best_path(time_s: FloatArray, reward: FloatArray, period_s: FloatArray, rhythm_cost: float) -> IntArray:
    """Which candidates are beats: the path with the highest sum of rewards less the cost of odd intervals.

    time_s: (k,) increasing. reward: (k,) positive for what looks like a beat. period_s: (k,) expected interval.
    An interval costs rhythm_cost times the square of the logarithm of its ratio to the expected one, so that
    breathing costs little, a premature beat something and a doubled or halved rate much.
    Returns indices of the chosen candidates; none where no candidate is worth choosing.
    """
    # Few candidates lie within reach of each, so plain numbers are faster here than arrays.
    count = time_s.size
    at_s, worth = time_s.tolist(), reward.tolist()
    expected = np.log(period_s).tolist()
    first = np.searchsorted(time_s, time_s - LONGEST_S).tolist()
    last = np.searchsorted(time_s, time_s - SHORTEST_S, side="right").tolist()
    best, before = [0.0] * count, [-1] * count
    settled, settled_at, passed = 0.0, -1, 0
    for k in range(count):
        for j in range(passed, first[k]):
            if best[j] > settled:
                settled, settled_at = best[j], j
        passed = max(passed, first[k])
        score, origin = 0.0, -1
        if settled > _LEAP_COST:
            score, origin = settled - _LEAP_COST, settled_at
        here_s, usual = at_s[k], expected[k]
        for j in range(first[k], last[k]):
            # An interval only costs, so what is not ahead by itself need not be asked.
            if best[j] > score:
                odd = log(here_s - at_s[j]) - usual
                reached = best[j] - rhythm_cost * odd * odd
                if reached > score:
                    score, origin = reached, j
        best[k] = score + worth[k]
        before[k] = origin
    chosen = []
    k = max(range(count), key=best.__getitem__, default=-1)
    if k >= 0 and best[k] <= 0.0:
        k = -1
    while k >= 0:
        chosen.append(k)
        k = before[k]
    return np.array(chosen[::-1], dtype=np.int64)


# An edge this strong beside the usual one neither gains nor loses in the first pass.
_NEUTRAL_STRENGTH = 0.35
_NEUTRAL_LIKENESS = 0.5
_HOPELESS = -0.8
_PASSES = 2


@dataclass(frozen=True)
class Detection:
    """Beats of one piece and what they were chosen from; times in seconds from the start of the piece.

    candidate_s: (c,) all rising edges. beat_s: (k,) those taken for beats. likeness: (k,) correlation with the
    median beat.
    """

    candidate_s: FloatArray
    beat_s: FloatArray
    likeness: FloatArray
    repetition: Repetition


def repetition_of(wave: FloatArray, rate_hz: float, settings: Settings) -> Repetition:
    """How a band-passed wave repeats itself, within the rates that the settings look for."""
    return repetition(wave, rate_hz, settings.period_window_s, settings.lowest_bpm, settings.highest_bpm)


def detect(wave: FloatArray, rate_hz: float, settings: Settings, repeats: Repetition | None = None) -> Detection:
    """Find the beats of one piece.

    wave: (n,) band-passed, rising with blood volume. repeats: how it repeats itself, where that is known already.
    First by strength of the edge and rhythm, then again by likeness to the median beat of the first pass, which
    tells the second wave of a beat from its first.
    """
    repeats = repeats or repetition_of(wave, rate_hz, settings)
    time_s, strength = rising_edges(wave, rate_hz)
    if time_s.size == 0:
        return Detection(time_s, time_s, time_s, repeats)
    period_s = np.interp(time_s, repeats.centre_s, repeats.period_s)
    typical_s = float(np.median(repeats.period_s))
    relative = strength / usual_strength(time_s, strength, typical_s)
    chosen = best_path(time_s, np.minimum(relative, 1.5) - _NEUTRAL_STRENGTH, period_s, settings.rhythm_cost)
    scale = min(1.0, typical_s / 0.9)
    offset_s = np.arange(-0.25, 0.40, 1.0 / 60.0) * scale
    rows = unit_rows(windows_at(wave, rate_hz, time_s, offset_s))
    likeness = np.zeros(time_s.size)
    for _ in range(_PASSES):
        if chosen.size == 0:
            break
        likeness = rows @ median_beat(rows[chosen])
        # A faint edge earns less however like it is: noise between beats is full of small likenesses.
        worth = np.minimum(relative / 0.5, 1.0) - 0.3 * np.maximum(np.log(np.maximum(relative, 1e-6) / 2.5), 0.0)
        reward = np.where(likeness > _NEUTRAL_LIKENESS, worth, 1.0) * 2.0 * (likeness - _NEUTRAL_LIKENESS)
        before = chosen
        # What looks nothing like a beat can't be worth its place on a path; most candidates are of that kind.
        likely = np.flatnonzero(reward > _HOPELESS)
        chosen = likely[best_path(time_s[likely], reward[likely], period_s[likely], settings.rhythm_cost)]
        if np.array_equal(chosen, before):
            break
    return Detection(time_s, time_s[chosen], likeness[chosen], repeats)
