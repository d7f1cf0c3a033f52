"""Whether half or twice the pulse's rate fits the wave as well: beats too weak to be counted, beats that alternate.

A beat's second, dicrotic wave follows the closing of the aortic valve, and the ejection before it takes 0.413 s less
1.7 ms for each beat a minute (Weissler et al. 1968, Circulation 37:149-159). After that blood only runs off: the fall
may flatten, but it neither turns upward nor, once flat, downward again. A beat does both, however weak. So what rises
there and turns speaks of a premature beat that is too weak to be counted, or of the weaker of two that alternate. It is
asked of the usual beat, in which noise is averaged out, and of single waves that are high and keep a place. In fingers
the usual beat at most falls a little less steeply for a moment.

While a dicrotic wave may still come, a beat is told from it only by its place: the closing valve holds it to within
three hundredths of a second, and the coupling of premature beats may wander further. **What can't be told:** a
weak premature beat that always follows after 0.35 to 0.45 s, by the same time to within these hundredths, looks like a
dicrotic wave; one of less than a fifth within 0.6 s may hide on the steep fall of such a wave, and one of less than a
fifteenth anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.signal.beats import PieceBeats

# Of the waves between beats: the edge compared, in seconds around its steepest point, and what makes one a beat's.
_EDGE_BEFORE_S, _EDGE_AFTER_S = 0.15, 0.10
_EJECTION_S, _EJECTION_S_PER_BPM, _LATEST_AFTER_EJECTION_S = 0.413, 0.0017, 0.11
_EARLIEST_DICROTIC_S = 0.2
_BEFORE_NEXT_S = 0.25
_LIKE_A_BEAT, _LEAST_HEIGHT, _SHARE_OF_DICROTIC = 0.8, 0.12, 0.15
PLAIN_HEIGHT = 0.25
_OFTEN = 0.5
_PLACE_S, _PLACE_SHARE = 0.1, 0.08
# A rise is over within this time; in units of its height beside the edge, what follows is steeper down by about one, by
# a quarter on a steep fall, and by a tenth where a fall only flattens.
_TURN_S, _LEAST_TURN = 0.2, 0.22
# Of the usual beat, in units of its steepest rise: how far its slope turns after a second rise, and by how much more
# than it still falls there. Fingers turn by 0.09 at most and fall by more than that; beats of a sixteenth turn by 0.06
# and rise. And how many of its standard errors a turn has to be.
_TURN_OF_USUAL, _BEYOND_FALL, _TIMES_ERROR = 0.038, 0.02, 8.0
_FEWEST_BEATS = 20
# Waves of this height that rise this steeply, this long after ejection, and wander by more than a dicrotic wave does
# (interquartile range).
_DOUBTFUL_HEIGHT, _DOUBTFUL_RISE, _DOUBTFUL_AFTER_EJECTION_S, _WANDERS_S = 0.2, 0.1, 0.07, 0.034
# Of beats that alternate: the swing either way of intervals, and the height of the weaker beside the stronger.
_ALTERNATING_INTERVAL, _ALTERNATING_HEIGHT = 0.12, 0.7


@dataclass(frozen=True)
class LateWaves:
    """Rises between the beats of a piece that come too late for a dicrotic wave, with the shape of a beat's edge.

    beat: (w,) number of the beat before. delay_s, height: (w,) each, after that beat and beside the usual beat's edge.
    dicrotic: height of what usually rises earlier. intervals: how many there are to look into. wanders: whether high
    waves that may be dicrotic by their place don't keep it. rises_again: whether the usual beat does.
    """

    beat: IntArray
    delay_s: FloatArray
    height: FloatArray
    dicrotic: float
    intervals: int
    wanders: bool = False
    rises_again: bool = False


def late_waves(piece: PieceBeats) -> LateWaves:
    """What rises between the beats of a stretch."""
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
    slope = _slope(piece, beat_s, rate_hz)
    if norm < 1e-12 or slope is None:
        return LateWaves(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), 0.0, beat_s.size - 1)
    along = np.convolve(piece.wave, edge[::-1] / norm, "valid")
    top = np.flatnonzero((along[1:-1] > along[:-2]) & (along[1:-1] >= along[2:])) + 1
    top_s = (top - first) / rate_hz
    beat = np.searchsorted(beat_s, top_s) - 1
    between = (beat >= 0) & (beat < beat_s.size - 1)
    top, top_s, beat = top[between], top_s[between], beat[between]
    delay_s = top_s - beat_s[beat]
    height = along[top] / norm
    ample = beat_s[beat + 1] - top_s > _BEFORE_NEXT_S
    usual_s = float(np.median(np.diff(beat_s)))
    latest_s = latest_dicrotic_s(usual_s)
    early = ample & (delay_s > _EARLIEST_DICROTIC_S) & (delay_s < latest_s)
    dicrotic = np.zeros(beat_s.size - 1)
    np.maximum.at(dicrotic, beat[early], height[early])
    turn = slope[top - first] - _lowest_after(slope, top - first, rate_hz)
    turns = turn > _LEAST_TURN * height
    doubtful = ample & turns & (height > _DOUBTFUL_HEIGHT) & (delay_s > _ejection_s(usual_s))
    doubtful &= delay_s < latest_s + _PLACE_S
    usual = _usual_slope(slope, beat_s, rate_hz)
    late = np.flatnonzero(ample & turns & (delay_s >= latest_s))
    alike = along[top[late]] / np.maximum(np.linalg.norm(windows[top[late]] @ off, axis=1), 1e-12)
    late = late[alike > _LIKE_A_BEAT]
    return LateWaves(
        beat[late],
        delay_s[late],
        height[late],
        float(np.median(dicrotic)),
        beat_s.size - 1,
        usual is not None and _wanders(delay_s[doubtful], slope[(top - first)[doubtful]], beat_s, usual, rate_hz),
        usual is not None and usual.turns(rate_hz, latest_s, np.inf),
    )


def latest_dicrotic_s(interval_s: float) -> float:
    """How long after a beat's steepest moment its dicrotic wave may rise at the latest, at this interval."""
    return max(_ejection_s(interval_s) + _LATEST_AFTER_EJECTION_S, interval_s / 4.0)


def _ejection_s(interval_s: float) -> float:
    return _EJECTION_S - _EJECTION_S_PER_BPM * 60.0 / max(interval_s, 0.45)


def _slope(piece: PieceBeats, beat_s: FloatArray, rate_hz: float) -> FloatArray | None:
    """(n,) slope of the wave in units of the usual beat's steepest rise; None where there is none."""
    slope = np.convolve(np.gradient(piece.wave), np.full(3, 1.0 / 3.0), "same")
    at = np.rint(beat_s * rate_hz).astype(np.int64)
    steepest = float(np.median(slope[at[at < slope.size]])) if at.size else 0.0
    return np.asarray(slope / steepest) if steepest > 1e-12 else None


def _lowest_after(slope: FloatArray, at: IntArray, rate_hz: float) -> FloatArray:
    """(w,) the lowest slope within the time in which a rise is over."""
    ahead = np.arange(1, round(_TURN_S * rate_hz))
    return np.asarray(slope[np.minimum(at[:, None] + ahead, slope.size - 1)].min(axis=1))


@dataclass(frozen=True)
class _UsualSlope:
    """Slope of the usual beat from the earliest dicrotic wave to the next beat, in units of its steepest rise.

    lag_s: (n,) after the beat. slope, error: (n,) median over the beats and its standard error.
    """

    lag_s: FloatArray
    slope: FloatArray
    error: FloatArray

    def turns(self, rate_hz: float, from_s: float, until_s: float) -> bool:
        """Whether it has a crest between these lags after which it turns as a beat does."""
        top = np.flatnonzero((self.slope[1:-1] >= self.slope[:-2]) & (self.slope[1:-1] > self.slope[2:])) + 1
        top = top[(self.lag_s[top] >= from_s) & (self.lag_s[top] <= until_s)]
        turn = self.slope[top] - _lowest_after(self.slope, top, rate_hz)
        turns = turn > np.maximum(_TURN_OF_USUAL, _TIMES_ERROR * self.error[top])
        return bool((turns & (turn + self.slope[top] > _BEYOND_FALL)).any())


def _usual_slope(slope: FloatArray, beat_s: FloatArray, rate_hz: float) -> _UsualSlope | None:
    """None where beats are few."""
    steps_s = np.diff(beat_s)
    usual_s = float(np.median(steps_s))
    whole = (steps_s > 0.6 * usual_s) & (steps_s < 1.6 * usual_s)
    if whole.sum() < _FEWEST_BEATS:
        return None
    until_s = float(np.percentile(steps_s[whole], 30)) - _TURN_S
    lag = np.arange(round(_EARLIEST_DICROTIC_S * rate_hz), round(until_s * rate_hz))
    if lag.size < 3:
        return None
    start = np.rint(beat_s[:-1][whole] * rate_hz).astype(np.int64)
    rows = slope[np.minimum(start[:, None] + lag, slope.size - 1)]
    usual = np.median(rows, axis=0)
    # The standard error of a median of normal values is 1.25 times that of their mean.
    error = 1.25 * 1.4826 * np.median(np.abs(rows - usual), axis=0) / np.sqrt(rows.shape[0])
    return _UsualSlope(lag / rate_hz, usual, error)


def _wanders(delay_s: FloatArray, rise: FloatArray, beat_s: FloatArray, usual: _UsualSlope, rate_hz: float) -> bool:
    """Whether high waves at the end of the time of dicrotic ones are too many and too far apart to be these."""
    if delay_s.size < max(_OFTEN * (beat_s.size - 1), _FEWEST_BEATS):
        return False
    usual_s = float(np.median(np.diff(beat_s)))
    low, middle, high_s = np.percentile(delay_s, [25, 50, 75])
    return bool(
        middle > _ejection_s(usual_s) + _DOUBTFUL_AFTER_EJECTION_S
        and high_s - low > _WANDERS_S
        and np.median(rise) > _DOUBTFUL_RISE
        and usual.turns(rate_hz, middle - _PLACE_S, middle + _PLACE_S)
    )


def two_rates(
    pieces: list[PieceBeats], waves: list[LateWaves], interval_ms: FloatArray, sure: BoolArray
) -> tuple[float | None, float | None]:
    """The lower and the higher of two rates between which the light can't decide, or twice None.

    waves: of each piece. interval_ms: (m,) all intervals; sure: (m,) those that were measured well.
    """
    if sure.sum() < 10:
        return None, None
    usual_s = float(np.median(interval_ms[sure])) / 1000.0
    often = _OFTEN * sum(wave.intervals for wave in waves)
    delay_s = np.concatenate([wave.delay_s[high(wave, _LEAST_HEIGHT)] for wave in waves])
    longest = max(waves, key=lambda wave: wave.intervals)
    if _in_one_place(delay_s, max(_PLACE_S, _PLACE_SHARE * usual_s)) >= often or longest.rises_again or longest.wanders:
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


def high(wave: LateWaves, least: float, share_of_dicrotic: float = _SHARE_OF_DICROTIC) -> BoolArray:
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
