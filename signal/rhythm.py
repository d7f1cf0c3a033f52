"""Which heart this is: whether the pulse keeps coming irregularly, and whether half or twice its rate fits as well.

**Irregular.** Breathing swings the interval by a fifth either way in young and trained hearts. That alone is more than
the share of RMSSD in the mean interval by which fibrillation is known in older ones (0.1; Dash et al. 2009, Ann Biomed
Eng 37:1701-1709, and McManus et al. 2013, Heart Rhythm 10:315-319, both from memory). But breathing comes in waves, so
an interval can be told from those before it or, where a breath lengthens it at one stroke, from those after it, which
stay long; in fibrillation and with scattered extra beats neither tells. So each interval is predicted from the four
before and from the four after by linear rules that are fitted to the recording (autoregression, with Huber's weights,
1964, Ann Math Stat 35:73-101, so that a few odd intervals don't bend it), and counts where it lies over a sixth off
both, or leaps by more than any breath. Single premature beats, a short interval and its pause among calm ones, only
speak when there are many. Extra beats in a strict order, such as every third, can be predicted; they are known by
swinging further than breathing does.

Poor light must not pass for an irregular heart: only intervals take part whose two beats were timed well and look like
beats, and neither one near a multiple of the usual, in which a beat may have been missed, nor two that make up one.

**Half or double.** A beat's second, dicrotic wave follows the closing of the aortic valve, and the ejection before it
takes 0.413 s less 1.7 ms for each beat a minute (Weissler et al. 1968, Circulation 37:149-159). A wave that rises later
and looks like a beat may be one: a premature beat that is too weak to be counted, or the weaker of two that alternate.
Where a dicrotic wave ends, the fall bends up once more; after that blood only runs off, so that even a small wave
that keeps a place there speaks of a beat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.signal.beats import PieceBeats
from dawnbeat.signal.conditioning import running_median
from dawnbeat.signal.judging import excursion_ratio, local_median, premature_beats

_ORDER = 4
_UNPREDICTED = 1.0 / 6.0
_MOST_UNPREDICTED, _MOST_WITH_SINGLE_BEATS, _FEWEST_QUARTERS = 0.07, 0.08, 3
# No breath makes an interval half as long again as the one before, or shorter by a third.
_LEAP = float(np.log(1.5))
# More than single premature beats: this share of all beats.
_MOST_PREMATURE = 0.06
# Further from the mean around than breathing takes an interval, which is a fifth and what slow waves add.
_BEYOND_BREATHING, _MOST_BEYOND = 0.28, 0.1
_FEWEST_INTERVALS, _LEAST_MEASURED, _ENOUGH_INTERVALS = 25, 0.4, 60
# Of an interval: an error this small can't carry it over a limit.
_MEASURED_ERROR = 0.03
_MEASURED_LIKENESS, _MEASURED_MISFIT, _LEAST_MISFIT, _LEAST_FRAMES = 0.8, 5.0, 0.005, 6
_MULTIPLE = 0.15
_OVERLONG = 1.5
_WINDOW = 11
# Of the waves between beats: the edge compared, in seconds around its steepest point, and what makes one a beat's.
_EDGE_BEFORE_S, _EDGE_AFTER_S = 0.15, 0.10
_EJECTION_S, _EJECTION_S_PER_BPM, _LATEST_AFTER_EJECTION_S = 0.413, 0.0017, 0.11
_EARLIEST_DICROTIC_S = 0.2
_BEFORE_NEXT_S = 0.25
_LIKE_A_BEAT, _LEAST_HEIGHT, _PLAIN_HEIGHT, _SHARE_OF_DICROTIC = 0.8, 0.12, 0.25, 0.15
_OFTEN, _SELDOM = 0.5, 0.05
# Where even a small wave speaks of a beat: this long after the latest dicrotic wave, above these heights.
_RUNNING_OFF_S, _LEAST_LONE_HEIGHT, _LONE_SHARE_OF_DICROTIC = 0.3, 0.05, 0.08
_PLACE_S, _PLACE_SHARE = 0.1, 0.08
# Of beats that alternate: the swing either way of intervals, and the height of the weaker beside the stronger.
_ALTERNATING_INTERVAL, _ALTERNATING_HEIGHT = 0.12, 0.7


@dataclass(frozen=True)
class HeartRhythm:
    """What the rhythm of the beats says.

    measured: intervals that were well enough measured to ask. unpredicted_share: of these, how many lie over a sixth
    off what their neighbours on either side say. irregular: whether the pulse keeps coming irregularly.
    countable: whether an irregular pulse was measured so completely that its mean holds. half_bpm, double_bpm: two
    rates that fit the wave
    equally well, or None where one is plain.
    """

    measured: int = 0
    unpredicted_share: float = 0.0
    irregular: bool = False
    countable: bool = True
    half_bpm: float | None = None
    double_bpm: float | None = None


def rhythm_of(pieces: list[PieceBeats], kept_mean_ms: float | None, settings: Settings) -> HeartRhythm:
    """The rhythm of all beats that were found, before odd ones are left out.

    kept_mean_ms: mean of the intervals that count, None where none does.
    """
    pieces = [piece for piece in pieces if piece.time_s.size >= 5]
    if not pieces:
        return HeartRhythm()
    waves = [_late_waves(piece) for piece in pieces]
    interval_ms = np.concatenate([np.append(np.diff(piece.time_s) * 1000.0, np.nan) for piece in pieces])[:-1]
    sure = np.concatenate([np.append(_well_measured(piece, settings), False) for piece in pieces])[:-1]
    half, double = _two_rates(pieces, waves, interval_ms, sure)
    interval_ms, sure = _with_missed_beats(interval_ms, sure, waves)
    measured = sure & ~_doubtful_count(interval_ms, sure)
    count = int(measured.sum())
    there = int(np.isfinite(interval_ms).sum())
    if count < _FEWEST_INTERVALS or count < min(_LEAST_MEASURED * there, _ENOUGH_INTERVALS):
        return HeartRhythm(count, half_bpm=half, double_bpm=double)
    share, irregular = irregularity_of(interval_ms, measured)
    mean_ms = float(np.nanmean(interval_ms))
    plain = sum(int(_high(wave, _PLAIN_HEIGHT).sum()) for wave in waves)
    countable = (
        plain <= _SELDOM * there
        and count >= 0.9 * there
        and kept_mean_ms is not None
        and abs(kept_mean_ms / mean_ms - 1.0) <= 0.03
    )
    return HeartRhythm(count, share, bool(irregular), countable or not irregular, half, double)


def irregularity_of(interval_ms: FloatArray, measured: BoolArray) -> tuple[float, bool]:
    """The share of intervals that their neighbours can't tell, and whether the pulse keeps coming irregularly.

    interval_ms: (m,) in order; measured: (m,) False for those that say nothing.
    """
    asked, odd, single = unpredicted(interval_ms, measured)
    beyond = _beyond_breathing(interval_ms, measured)
    early = premature_beats(interval_ms, measured)
    odd |= asked & _leaps(interval_ms, measured, early)
    count = max(int(asked.sum()), 1)
    irregular = (
        float((odd & ~single).sum()) > _MOST_UNPREDICTED * count
        or float(odd.sum()) > _MOST_WITH_SINGLE_BEATS * count
        or float(beyond.sum()) > _MOST_BEYOND * measured.sum()
        or float(early.sum()) > _MOST_PREMATURE * measured.sum()
    ) and _quarters_with(odd | beyond | early, measured) >= _FEWEST_QUARTERS
    return float((odd | early).sum()) / count, irregular


def _leaps(interval_ms: FloatArray, measured: BoolArray, early: BoolArray) -> BoolArray:
    """(m,) True where an interval is much longer or shorter than the one before, but for a single premature beat's."""
    leap = np.zeros(interval_ms.size, dtype=np.bool_)
    both = measured[1:] & measured[:-1]
    leap[1:][both] = np.abs(np.diff(np.log(np.where(measured, interval_ms, 1.0)))[both]) > _LEAP
    leap &= ~early
    leap[1:] &= ~early[:-1]
    return leap


def unpredicted(interval_ms: FloatArray, measured: BoolArray) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Which intervals can be asked, which of these no neighbours tell, and which are of a single premature beat.

    interval_ms: (m,) in order; measured: (m,) False for those that say nothing. An interval is asked where two of the
    four before it, or two of the four after it, are known. Returns three (m,); none where fewer than twenty can be
    asked.
    """
    level = np.zeros(interval_ms.size)
    level[measured] = np.log(interval_ms[measured] / np.median(interval_ms[measured])) if measured.any() else 0.0
    before = _off_prediction(level, measured)
    after = _off_prediction(level[::-1], measured[::-1])[::-1]
    off = np.fmin(np.abs(before), np.abs(after))
    asked = np.isfinite(off)
    # Too long for those before it and too short for those after it is a step between them, as breathing makes.
    odd = asked & (off > _UNPREDICTED) & ~(before * after < 0.0)
    early = before < -_UNPREDICTED / 2.0
    if not odd.any():
        return asked, odd, odd
    return asked, odd, odd & _single_premature(interval_ms, measured, odd, early)


def _off_prediction(level: FloatArray, measured: BoolArray) -> FloatArray:
    """(m,) how far each level lies off what a linear rule says from the four before; nan where that can't be asked."""
    off = np.full(level.size, np.nan)
    rows = np.arange(_ORDER, level.size)
    lags = rows[:, None] - np.arange(1, _ORDER + 1) if rows.size else np.zeros((0, _ORDER), dtype=np.int64)
    asked = measured[rows] & (measured[lags].sum(axis=1) >= 2)
    rows, lags = rows[asked], lags[asked]
    if rows.size >= 20:
        before = np.column_stack([np.clip(level[lags], -0.5, 0.5), np.ones(rows.size)])
        off[rows] = _robust_residual(before, level[rows])
    return off


def _robust_residual(before: FloatArray, value: FloatArray) -> FloatArray:
    """What a linear rule leaves, fitted with little weight on what lies far off it."""
    weight = np.ones(value.size)
    # A touch of ridge, where intervals hardly vary and the equations say nothing.
    ridge = (float(np.median(np.abs(value))) ** 2 + 1e-9) * np.eye(before.shape[1])
    residual = value
    for _ in range(4):
        weighted = before * weight[:, None]
        rule = np.linalg.solve(before.T @ weighted + ridge, weighted.T @ value)
        residual = value - before @ rule
        spread = 1.4826 * float(np.median(np.abs(residual))) + 1e-6
        weight = np.minimum(1.0, 1.5 * spread / np.maximum(np.abs(residual), 1e-9))
    return np.asarray(residual)


def _single_premature(interval_ms: FloatArray, measured: BoolArray, odd: BoolArray, early: BoolArray) -> BoolArray:
    """The short interval and the pause of beats that come early among calm intervals, two before and two after."""
    usual = running_median(np.where(measured, interval_ms, np.median(interval_ms[measured])), _WINDOW)
    ratio = np.where(measured, interval_ms / usual, 1.0)
    calm = np.abs(ratio - 1.0) < 0.15
    single = np.zeros(interval_ms.size, dtype=np.bool_)
    for k in np.flatnonzero(early[1:-1]) + 1:
        around = [j for j in (k - 2, k - 1, k + 2, k + 3) if 0 <= j < calm.size]
        together = (ratio[k] + ratio[k + 1]) / 2.0
        if (odd[k] or odd[k + 1]) and calm[around].all() and 0.8 < together < 1.12 and ratio[k + 1] > 0.9:
            single[k : k + 2] = True
    return single


def _beyond_breathing(interval_ms: FloatArray, measured: BoolArray) -> BoolArray:
    """(m,) True where a measured interval lies further off the mean of the eleven around than breathing takes it."""
    there_ms = interval_ms[measured]
    around = np.convolve(np.pad(there_ms, _WINDOW // 2, mode="reflect"), np.full(_WINDOW, 1.0 / _WINDOW), "valid")
    beyond = np.zeros(interval_ms.size, dtype=np.bool_)
    beyond[measured] = np.abs(there_ms / around - 1.0) > _BEYOND_BREATHING
    return beyond


def _quarters_with(odd: BoolArray, measured: BoolArray) -> int:
    """In how many quarters of what was measured anything odd is; a spell of movement spoils one or two."""
    return sum(bool(odd[quarter].any()) for quarter in np.array_split(np.flatnonzero(measured), 4))


def _well_measured(piece: PieceBeats, settings: Settings) -> BoolArray:
    """(k - 1,) True for each interval between two beats that light alone can't have made or moved much."""
    usual = np.maximum(local_median(np.abs(piece.height)), 1e-9)
    misfit = piece.misfit / usual
    usual_misfit = np.maximum(np.minimum(local_median(misfit), np.median(misfit)), _LEAST_MISFIT)
    good = (piece.likeness > _MEASURED_LIKENESS) & ~piece.jolt & (misfit < _MEASURED_MISFIT * usual_misfit)
    error_ms = np.hypot(piece.error_ms[1:], piece.error_ms[:-1])
    return np.asarray(
        good[1:]
        & good[:-1]
        & (piece.frames[:-1] >= _LEAST_FRAMES)
        & (excursion_ratio(piece)[:-1] < settings.max_excursion_ratio)
        & (error_ms < _MEASURED_ERROR * 1000.0 * np.diff(piece.time_s))
    )


def _with_missed_beats(
    interval_ms: FloatArray, sure: BoolArray, waves: list[_LateWaves]
) -> tuple[FloatArray, BoolArray]:
    """The intervals with each overlong one parted where a late wave looks like a beat.

    Such a wave in the middle was a beat that poor light hid; anywhere else, one that came early.
    """
    if sure.sum() < 5:
        return interval_ms, sure
    filled = np.where(sure, interval_ms, np.median(interval_ms[sure]))
    overlong = sure & (filled > _OVERLONG * running_median(filled, _WINDOW))
    parts, first = [], 0
    for wave in waves:
        high = np.flatnonzero(_high(wave, _PLAIN_HEIGHT))
        high = high[overlong[first + wave.beat[high]]]
        # The highest of each interval.
        high = high[np.argsort(-wave.height[high], kind="stable")]
        beat, highest = np.unique(wave.beat[high], return_index=True)
        parts.append(np.stack([first + beat, 1000.0 * wave.delay_s[high[highest]]]))
        first += wave.intervals + 1
    row, early_ms = np.concatenate(parts, axis=1)
    row = row.astype(np.int64)
    parted_ms = interval_ms.copy()
    parted_ms[row] = interval_ms[row] - early_ms
    return np.insert(parted_ms, row, early_ms), np.insert(sure, row, True)


def _doubtful_count(interval_ms: FloatArray, sure: BoolArray) -> BoolArray:
    """Where a beat may have been missed, or one wave too many taken for a beat."""
    doubtful = np.zeros(interval_ms.size, dtype=np.bool_)
    if sure.sum() < 5:
        return doubtful
    filled = np.where(sure, interval_ms, np.median(interval_ms[sure]))
    usual = running_median(filled, _WINDOW)
    times = filled / usual
    whole = np.rint(times)
    doubtful |= (whole >= 2.0) & (np.abs(times - whole) < _MULTIPLE * whole / 2.0)
    one = np.abs((filled[1:] + filled[:-1]) / usual[1:] - 1.0) < _MULTIPLE
    doubtful[1:] |= one
    doubtful[:-1] |= one
    return doubtful


@dataclass(frozen=True)
class _LateWaves:
    """Rises between the beats of a piece that come too late for a dicrotic wave and have the shape of a beat's edge.

    beat: (w,) number of the beat before. delay_s, height: (w,) each, after that beat and beside the usual beat's edge.
    dicrotic: height of what usually rises earlier. intervals: how many there are to look into.
    """

    beat: IntArray
    delay_s: FloatArray
    height: FloatArray
    dicrotic: float
    intervals: int


def _late_waves(piece: PieceBeats) -> _LateWaves:
    rate_hz = (piece.wave.size - 1) / float(piece.wave_s[-1] - piece.wave_s[0])
    beat_s = piece.time_s - piece.wave_s[0]
    first, last = -round(_EDGE_BEFORE_S * rate_hz), round(_EDGE_AFTER_S * rate_hz)
    offset = np.arange(first, last + 1)
    windows = sliding_window_view(piece.wave, offset.size)
    at = np.rint(beat_s * rate_hz).astype(np.int64) + first
    own = windows[at[(at >= 0) & (at < windows.shape[0])]]
    edge = np.median(own - own.mean(axis=1, keepdims=True), axis=0) if own.size else np.zeros(offset.size)
    # A fall that flattens, as blood runs off, bends upward like the foot of an edge: level, slope and bend come off.
    run = offset / offset.size
    bent = np.stack([np.ones(offset.size), run, run**2], axis=1)
    off = np.eye(offset.size) - bent @ np.linalg.pinv(bent)
    edge = off @ edge
    norm = float(np.linalg.norm(edge))
    if norm < 1e-12:
        return _LateWaves(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), 0.0, beat_s.size - 1)
    along = np.convolve(piece.wave, edge[::-1] / norm, "valid")
    top = np.flatnonzero((along[1:-1] > along[:-2]) & (along[1:-1] >= along[2:])) + 1
    top_s = (top - first) / rate_hz
    beat = np.searchsorted(beat_s, top_s) - 1
    between = (beat >= 0) & (beat < beat_s.size - 1)
    top, top_s, beat = top[between], top_s[between], beat[between]
    delay_s = top_s - beat_s[beat]
    height = along[top] / norm
    ample = beat_s[beat + 1] - top_s > _BEFORE_NEXT_S
    latest_s = latest_dicrotic_s(float(np.median(np.diff(beat_s))))
    early = ample & (delay_s > _EARLIEST_DICROTIC_S) & (delay_s < latest_s)
    dicrotic = np.zeros(beat_s.size - 1)
    np.maximum.at(dicrotic, beat[early], height[early])
    late = np.flatnonzero(ample & (delay_s >= latest_s))
    alike = along[top[late]] / np.maximum(np.linalg.norm(windows[top[late]] @ off, axis=1), 1e-12)
    late = late[alike > _LIKE_A_BEAT]
    return _LateWaves(beat[late], delay_s[late], height[late], float(np.median(dicrotic)), beat_s.size - 1)


def latest_dicrotic_s(interval_s: float) -> float:
    """How long after a beat's steepest moment its dicrotic wave may rise at the latest, at this interval."""
    ejection_s = _EJECTION_S - _EJECTION_S_PER_BPM * 60.0 / max(interval_s, 0.45)
    return max(ejection_s + _LATEST_AFTER_EJECTION_S, interval_s / 4.0)


def _two_rates(
    pieces: list[PieceBeats], waves: list[_LateWaves], interval_ms: FloatArray, sure: BoolArray
) -> tuple[float | None, float | None]:
    """The lower and the higher of two rates between which the light can't decide, or twice None."""
    if sure.sum() < 10:
        return None, None
    usual_s = float(np.median(interval_ms[sure])) / 1000.0
    often = _OFTEN * sum(wave.intervals for wave in waves)
    delay_s = np.concatenate([wave.delay_s[_high(wave, _LEAST_HEIGHT)] for wave in waves])
    running_off_s = np.concatenate(
        [wave.delay_s[_high(wave, _LEAST_LONE_HEIGHT, _LONE_SHARE_OF_DICROTIC)] for wave in waves]
    )
    running_off_s = running_off_s[running_off_s > latest_dicrotic_s(usual_s) + _RUNNING_OFF_S]
    together = _in_one_place(delay_s, max(_PLACE_S, _PLACE_SHARE * usual_s))
    if together >= often or _in_one_place(running_off_s, _PLACE_S) >= often:
        return 60.0 / usual_s, 120.0 / usual_s
    if _alternates(pieces, interval_ms, sure):
        bpm = 60000.0 / float(np.mean(interval_ms[sure]))
        return bpm / 2.0, bpm
    return None, None


def _in_one_place(delay_s: FloatArray, width_s: float) -> int:
    """The most waves that rise within this width; a beat keeps a place after the one before, and nothing else does."""
    delay_s = np.sort(delay_s)
    together = np.searchsorted(delay_s, delay_s + width_s) - np.arange(delay_s.size)
    return int(together.max(initial=0))


def _high(wave: _LateWaves, least: float, share_of_dicrotic: float = _SHARE_OF_DICROTIC) -> BoolArray:
    """Which late waves are high: the fall after a strong dicrotic wave makes small ones."""
    return np.asarray(wave.height > max(least, share_of_dicrotic * wave.dicrotic))


def _alternates(pieces: list[PieceBeats], interval_ms: FloatArray, sure: BoolArray) -> bool:
    """Whether every second interval is short, or every second beat weak, all through the recording.

    A heart that breathes in every second beat does so for a while, and then the other beat is the early one.
    """
    middle = np.flatnonzero(sure[1:-1] & sure[:-2] & sure[2:]) + 1
    if middle.size >= 10:
        around = (interval_ms[middle - 1] + interval_ms[middle + 1]) / 2.0
        swing = np.where(middle % 2, 1.0, -1.0) * (interval_ms[middle] - around) / (interval_ms[middle] + around)
        if _steady_sign(swing, _ALTERNATING_INTERVAL):
            return True
    height = max(pieces, key=lambda piece: piece.time_s.size).height
    if height.size < 10 or height.min() <= 0.0:
        return False
    weaker = (1.0 - _ALTERNATING_HEIGHT) / (1.0 + _ALTERNATING_HEIGHT)
    around = (height[:-2] + height[2:]) / 2.0
    swing = np.where(np.arange(around.size) % 2, 1.0, -1.0) * (height[1:-1] - around) / (height[1:-1] + around)
    return _steady_sign(swing, weaker)


def _steady_sign(swing: FloatArray, least: float) -> bool:
    """Whether the swing is at least this large on the whole, and has its sign in nine of ten places."""
    whole = float(np.median(swing))
    return abs(whole) >= least and float(np.mean(swing * np.sign(whole) > 0)) >= 0.9
