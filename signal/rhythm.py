"""Which heart this is: whether the pulse keeps coming irregularly.

Breathing swings the interval by a fifth either way in young and trained hearts. That alone is more than
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
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import BoolArray, FloatArray
from dawnbeat.signal.beats import PieceBeats
from dawnbeat.signal.conditioning import running_median
from dawnbeat.signal.judging import excursion_ratio, local_median, premature_beats
from dawnbeat.signal.second_beats import PLAIN_HEIGHT, LateWaves, high, late_waves, two_rates

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
# Of all intervals that hold a plain wave of a beat: with more, the mean pulse is not known.
_SELDOM = 0.05


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
    waves = [late_waves(piece) for piece in pieces]
    interval_ms = np.concatenate([np.append(np.diff(piece.time_s) * 1000.0, np.nan) for piece in pieces])[:-1]
    sure = np.concatenate([np.append(_well_measured(piece, settings), False) for piece in pieces])[:-1]
    half, double = two_rates(pieces, waves, interval_ms, sure)
    interval_ms, sure = _with_missed_beats(interval_ms, sure, waves)
    measured = sure & ~_doubtful_count(interval_ms, sure)
    count = int(measured.sum())
    there = int(np.isfinite(interval_ms).sum())
    if count < _FEWEST_INTERVALS or count < min(_LEAST_MEASURED * there, _ENOUGH_INTERVALS):
        return HeartRhythm(count, half_bpm=half, double_bpm=double)
    share, irregular = irregularity_of(interval_ms, measured)
    mean_ms = float(np.nanmean(interval_ms))
    plain = sum(int(high(wave, PLAIN_HEIGHT).sum()) for wave in waves)
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
    interval_ms: FloatArray, sure: BoolArray, waves: list[LateWaves]
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
        plain = np.flatnonzero(high(wave, PLAIN_HEIGHT))
        plain = plain[overlong[first + wave.beat[plain]]]
        # The highest of each interval.
        plain = plain[np.argsort(-wave.height[plain], kind="stable")]
        beat, highest = np.unique(wave.beat[plain], return_index=True)
        parts.append(np.stack([first + beat, 1000.0 * wave.delay_s[plain[highest]]]))
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
