"""Which intervals don't count, and why.

First the light is asked (a gap, a jolt, a faint or misshapen edge), then the rhythm. What is left out is never filled
in.

The rhythm is judged after Lipponen and Tarvainen (2019), J Med Eng Technol 43(3):173-181: by the difference of each
interval from the one before and from the median around, both beside thresholds that grow with the spread of these
differences over 91 beats, so that a strongly breathing heart is not cut and a steady one is watched closely.
Three things differ. Only intervals that were well measured take part, so that an already doubtful one can't stretch the
thresholds. A threshold stays between two shares of the interval itself: with a very steady heart the published ones
shrink to the timing error of a camera, and a sigh would be called irregular; with few and widely spread beats they grow
beyond what breathing does (up to a fifth either way), and a premature beat would pass. And an interval counts as odd
at one and a half thresholds from the median, where the paper waits for three: leaving out a good interval costs little
here, keeping a bad one spoils RMSSD.
"""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.reading import Intervals, Reason
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.signal.beats import PieceBeats
from dawnbeat.signal.conditioning import running_median

# Of the light: beats before and after that say what is usual.
_NEIGHBOURS = 15
_TIMES_USUAL_UNLIKENESS = 8.0
_STRICTEST_LIKENESS = 0.92
_LEAST_MISFIT = 0.005
# Of the rhythm, after the paper.
_SPREAD_WINDOW = 91
_MEDIAN_WINDOW = 11
_SPREADS = 5.2
_EARLY_JUMP, _EARLY_HEIGHT = 0.34, 0.87
_SLOPE, _INTERCEPT = 0.13, 0.17
# Shares of the interval: a difference below the first is never remarkable, one above the second always is.
_LEAST_CHANGE, _MOST_CHANGE = 0.06, 0.45
_LEAST_APART, _MOST_APART = 0.15, 0.60
_THRESHOLDS_APART = 1.5
# Of a beat that comes early and is made up for: shares of the interval around.
_EARLY_BY, _PAUSE_BY, _EARLY_AND_PAUSE, _MADE_UP_TO, _CALM = 0.08, 0.04, 0.2, 0.08, 0.08
_BEYOND_THE_REST = 6.0


def judge(pieces: list[PieceBeats], settings: Settings) -> Intervals:
    """All intervals between the beats of all pieces, each kept or left out with its reason."""
    beat_s = np.concatenate([piece.time_s for piece in pieces]) if pieces else np.zeros(0)
    if beat_s.size < 2:
        return Intervals(np.zeros(0), np.zeros(0), ())
    wild = np.concatenate([excursion_ratio(piece) > settings.max_excursion_ratio for piece in pieces])
    # An edge between too few frames has a time, but nothing to tell how far it is off.
    sparse = np.concatenate([piece.frames < settings.min_frames_a_beat for piece in pieces])
    beat_reason = [reason for piece in pieces for reason in _beat_reasons(piece, settings)]
    of_piece = np.concatenate([np.full(piece.time_s.size, number) for number, piece in enumerate(pieces)])
    interval_ms = np.diff(beat_s) * 1000.0
    left_out: list[Reason | None] = []
    for k in range(interval_ms.size):
        if of_piece[k] != of_piece[k + 1]:
            left_out.append("gap")
        else:
            of_interval: Reason | None = "gap" if sparse[k] else "movement" if wild[k] else None
            left_out.append(beat_reason[k] or beat_reason[k + 1] or of_interval)
    measured = np.array([reason is None for reason in left_out])
    found = odd_intervals(interval_ms, measured, np.concatenate([piece.height for piece in pieces]))
    left_out = [reason or odd for reason, odd in zip(left_out, found, strict=True)]
    return Intervals(beat_s[:-1], interval_ms, tuple(left_out))


def _beat_reasons(piece: PieceBeats, settings: Settings) -> list[Reason | None]:
    """For each beat None, or what is wrong with its light."""
    if piece.time_s.size == 0:
        return []
    usual = local_median(np.abs(piece.height))
    ratio = piece.height / np.maximum(usual, 1e-9)
    misfit = piece.misfit / np.maximum(usual, 1e-9)
    # A stretch of movement must not become its own measure.
    usual_misfit = np.minimum(local_median(misfit), np.median(misfit))
    # And where there is hardly any noise, the small ways in which beats differ are no movement.
    usual_misfit = np.maximum(usual_misfit, _LEAST_MISFIT)
    # The cleaner a recording, the more a beat that is unlike the others says; noise lowers all alike.
    clean = 1.0 - _TIMES_USUAL_UNLIKENESS * (1.0 - float(np.median(piece.likeness)))
    unlike = piece.likeness < min(max(clean, settings.min_likeness), max(_STRICTEST_LIKENESS, settings.min_likeness))
    faint = (ratio < settings.min_height_ratio) | (piece.error_ms > settings.max_beat_error_ms)
    wild = (
        piece.jolt
        | (ratio > settings.max_height_ratio)
        | (misfit > settings.max_misfit_ratio * usual_misfit)
        | unlike & (ratio > 1.0)
    )
    reasons: list[Reason | None] = []
    for is_wild, is_faint, is_unlike in zip(wild, faint, unlike, strict=True):
        reasons.append("movement" if is_wild else "weak pulse" if is_faint or is_unlike else None)
    return reasons


def excursion_ratio(piece: PieceBeats) -> FloatArray:
    """(k,) how far the wave swings from each beat to the next, beside the usual; the last beat counts as usual."""
    count = piece.time_s.size
    if count < 2:
        return np.ones(count)
    at = np.searchsorted(piece.wave_s, piece.time_s)
    swing = np.maximum.reduceat(piece.wave, at)[:-1] - np.minimum.reduceat(piece.wave, at)[:-1]
    return np.append(swing / np.maximum(local_median(swing), 1e-9), 1.0)


def local_median(value: FloatArray) -> FloatArray:
    """(k,) the median of the thirty-one beats around each."""
    width = 2 * _NEIGHBOURS + 1
    if value.size < width:
        return np.full(value.size, float(np.median(value)))
    return running_median(value, width)


def odd_intervals(interval_ms: FloatArray, measured: BoolArray, height: FloatArray) -> list[Reason | None]:
    """For each interval None, or why the rhythm can't explain it.

    interval_ms: (m,) in order. measured: (m,) False for what is left out already; these get None here.
    height: (m + 1,) heights of the beats that bound the intervals, in any unit.
    """
    found: list[Reason | None] = [None] * interval_ms.size
    rows = np.flatnonzero(measured)
    if rows.size < 4:
        return found
    nn = interval_ms[rows]
    around = running_median(nn, _MEDIAN_WINDOW)
    change = _changes(nn, rows, around)
    # A beat can come late only so far, but early by half: the paper doubles what lies below the median.
    apart_ms = np.where(nn < around, 2.0, 1.0) * (nn - around)
    apart_limit_ms = np.clip(_THRESHOLDS_APART * _spread_limit(apart_ms), _LEAST_APART * around, _MOST_APART * around)
    apart = apart_ms / apart_limit_ms
    change_before = np.concatenate([[0.0], change[:-1]])
    change_after = np.concatenate([change[1:], [0.0]])
    # Long: the change up is taken back within the next two intervals.
    change_later = np.concatenate([change[2:], [0.0, 0.0]])[: change.size]
    up = (change > 1.0) & (np.maximum(change_before, change_after) < -_SLOPE * change - _INTERCEPT)
    down = (change < -1.0) & (np.minimum(change_before, change_after) > -_SLOPE * change + _INTERCEPT)
    long = ((change > 1.0) & (np.minimum(change_after, change_later) < -1.0)) | (apart > 1.0)
    short = ((change < -1.0) & (np.maximum(change_after, change_later) > 1.0)) | (apart < -1.0)
    next_ms = np.concatenate([nn[1:], [np.inf]])
    follows = np.concatenate([np.diff(rows) == 1, [False]])
    missed = long & (nn > 1.6 * around)
    extra = short & follows & (np.abs(nn + next_ms - around) < 0.2 * around) & (np.maximum(nn, next_ms) < 0.85 * around)
    up |= _early_and_faint(nn, around, height[rows], np.concatenate([[np.inf], height[rows[1:] - 1]]), height[rows + 1])
    for k in np.flatnonzero(premature_beats(interval_ms, measured)):
        found[k] = found[k + 1] = "irregular beat"
    for k in np.flatnonzero(up | down):
        # The turn lies between two intervals, and both are of the odd beat.
        found[rows[k]] = "irregular beat"
        if k and rows[k] - rows[k - 1] == 1:
            found[rows[k - 1]] = "irregular beat"
    for k in np.flatnonzero(long | short):
        found[rows[k]] = "irregular beat"
    for k in np.flatnonzero(extra):
        found[rows[k]] = found[rows[k] + 1] = "extra beat"
    for k in np.flatnonzero(missed):
        found[rows[k]] = "missed beat"
    return found


def premature_beats(interval_ms: FloatArray, measured: BoolArray) -> BoolArray:
    """(m,) True for each interval that a premature beat ends: a short one, made up for by the next, among calm ones.

    interval_ms: (m,) in order; measured: (m,) False for those that say nothing. However many there are, they stand out
    from all other intervals; where breathing lengthens and shortens at one stroke, it does so everywhere.
    """
    early = np.zeros(interval_ms.size, dtype=np.bool_)
    if measured.sum() < 2 * _MEDIAN_WINDOW:
        return early
    filled = np.where(measured, interval_ms, np.median(interval_ms[measured]))
    ratio = np.where(measured, filled / running_median(filled, _MEDIAN_WINDOW), 1.0)
    jump = np.diff(ratio)
    likely = (
        (measured[:-1] & measured[1:])
        & (jump > _EARLY_AND_PAUSE)
        & (ratio[:-1] < 1.0 - _EARLY_BY)
        & (ratio[1:] > 1.0 + _PAUSE_BY)
        & (np.abs((ratio[:-1] + ratio[1:]) / 2.0 - 1.0) < _MADE_UP_TO)
    )
    for k in np.flatnonzero(likely[1:]) + 1:
        early[k] = abs(ratio[k - 1] - 1.0) < _CALM or (k > 1 and early[k - 2])
    rest = measured & ~early
    rest[1:] &= ~early[:-1]
    if rest.sum() < _MEDIAN_WINDOW:
        return np.zeros(interval_ms.size, dtype=np.bool_)
    spread = 1.4826 * float(np.median(np.abs(ratio[rest] - np.median(ratio[rest]))))
    early[:-1] &= jump > _BEYOND_THE_REST * spread
    return early


def _early_and_faint(
    nn: FloatArray,
    around: FloatArray,
    height: FloatArray,
    height_before: FloatArray,
    height_after: FloatArray,
) -> BoolArray:
    """Where an interval follows a premature beat: the one before short, this one long, and the beat between them faint.

    The heart had less time to fill, so a premature beat drives a smaller pulse and the next one a larger; breathing
    alone does not do both at once within one beat.
    """
    jump = np.diff(nn, prepend=nn[0]) > _EARLY_JUMP * around
    return np.asarray(jump & (height < _EARLY_HEIGHT * np.minimum(height_before, height_after)))


def _changes(nn: FloatArray, rows: IntArray, around: FloatArray) -> FloatArray:
    """Each interval's change from its neighbour before, over its limit; 0 where that neighbour is left out."""
    change_ms = np.diff(nn, prepend=nn[0])
    adjacent = np.diff(rows, prepend=-9) == 1
    limit_ms = np.full(nn.size, np.inf)
    if adjacent.any():
        spread_ms = _spread_limit(change_ms[adjacent])
        usual_ms = around[adjacent]
        limit_ms[adjacent] = np.clip(spread_ms, _LEAST_CHANGE * usual_ms, _MOST_CHANGE * usual_ms)
    return np.asarray(change_ms / limit_ms)


def _spread_limit(value: FloatArray) -> FloatArray:
    """5.2 times the quartile deviation in a window of 91 around each value."""
    if value.size <= _SPREAD_WINDOW:
        low, high = np.percentile(value, [25, 75])
        return np.full(value.size, _SPREADS * (high - low) / 2.0)
    windows = np.lib.stride_tricks.sliding_window_view(value, _SPREAD_WINDOW)
    low, high = np.percentile(windows, [25, 75], axis=1)
    half = _SPREAD_WINDOW // 2
    return np.pad(_SPREADS * (high - low) / 2.0, (half, half), mode="edge")
