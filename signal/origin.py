"""What moved the light: blood, or something else.

Witnesses that know nothing of the rhythm. Colours: a lamp, a shadow or the exposure moves all colours by the same
share, and blood moves green more than red. Shape: blood comes in faster than it drains, within a tenth or two of a
second whatever the rate; a swinging lamp does not. Height: breathing and filling make each pulse a little higher or
lower than the one before, and a lamp that is switched repeats itself. And what is left once the beats are taken out: a
second pulse, a tap or a lamp beside the pulse keeps a time of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.trace import BoolArray, FloatArray
from dawnbeat.signal.beats import PieceBeats, level_of
from dawnbeat.signal.detection import windows_at
from dawnbeat.signal.timing import unexplained

_FEWEST_BEATS = 8
_STEP_S = 1.0 / 60.0
# A colour lives where its pulse is known to this share.
_KNOWN_TO = 0.08
_LEAST_SHARE = 0.02
_MEDIAN_TO_SD = 1.4826
# Brighter than this a colour is clipped in part, which takes away from what it moves. Darker than this, what a sensor
# adds to black, or stray light, takes away as much.
_CLIPPED_LEVEL, _DARK_LEVEL = 245.0, 20.0


@dataclass(frozen=True)
class Origin:
    """What the light says of where it came from; None where that could not be asked.

    red_share, blue_share: how much these move with each beat beside green; None too where a colour is clipped, or so
    dark that its share can't be known. colours: how many colours live. rise_ms: the usual beat's rise, 10 to 90 %.
    edge_ms: its whole swing over its steepest rise. steepness: that over its steepest fall. height_spread: standard
    deviation of the beats' heights, relative. other_share: what no beat explains, of the power of the wave from beat
    to beat.
    """

    red_share: float | None = None
    blue_share: float | None = None
    colours: int = 0
    rise_ms: float | None = None
    edge_ms: float | None = None
    steepness: float | None = None
    height_spread: float | None = None
    other_share: float | None = None


def origin_of(pieces: list[PieceBeats], counting: BoolArray) -> Origin:
    """Ask the longest stretch; counting: (k,) which of the beats of all stretches bound an interval that counts."""
    if not pieces:
        return Origin()
    first = 0
    best, chosen = -1, np.zeros(0, dtype=np.bool_)
    piece = pieces[0]
    for each in pieces:
        part = counting[first : first + each.time_s.size]
        first += each.time_s.size
        if part.sum() > best:
            best, chosen, piece = int(part.sum()), part, each
    beat_s = piece.time_s[chosen] - piece.wave_s[0]
    length_s = float(piece.wave_s[-1] - piece.wave_s[0])
    rate_hz = (piece.wave_s.size - 1) / length_s
    beat_s = beat_s[(beat_s > 0.4) & (beat_s < length_s - 0.7)]
    if beat_s.size < _FEWEST_BEATS:
        return Origin()
    red, blue, colours = _colours(piece, beat_s, rate_hz)
    rise_ms, edge_ms, steepness = _shape(piece.wave, beat_s, rate_hz)
    other = _other_share(piece.wave, piece.time_s - piece.wave_s[0], rate_hz)
    spread = _height_spread(piece.height[chosen])
    return Origin(red, blue, colours, rise_ms, edge_ms, steepness, spread, other)


def _colours(piece: PieceBeats, beat_s: FloatArray, rate_hz: float) -> tuple[float | None, float | None, int]:
    """How much red and blue move beside green, and how many colours live."""
    offset_s = np.arange(-piece.before_s, piece.after_s + _STEP_S / 2, _STEP_S)
    rows = np.stack([windows_at(wave, rate_hz, beat_s, offset_s) for wave in piece.colours.T])
    mixed = np.tensordot(piece.weights, rows, 1)
    edge = np.median(mixed - mixed.mean(axis=1, keepdims=True), axis=0)
    basis = np.column_stack([edge, np.ones_like(offset_s), offset_s])
    height = rows @ np.linalg.pinv(basis)[0]
    usual = np.median(height, axis=1)
    spread = _spread(height) / np.sqrt(beat_s.size)
    lives = (usual > _LEAST_SHARE * usual.max()) & (spread < _KNOWN_TO * np.abs(usual))
    red = float(usual[0] / usual[1]) if lives[0] and lives[1] else None
    # That a lit colour hardly moves is known too.
    blue = float(usual[2] / usual[1]) if lives[1] and spread[2] < _KNOWN_TO * abs(usual[1]) else None
    level = level_of(np.median(piece.colours, axis=0))
    if level[1] > _CLIPPED_LEVEL or (level[1] < _DARK_LEVEL and red is not None and red > 1.0):
        return None, None, int(lives.sum())
    if level[0] > _CLIPPED_LEVEL:
        red = None
    if level[2] > _CLIPPED_LEVEL or level[2] < _DARK_LEVEL:
        blue = None
    return red, blue, int(lives.sum())


def _spread(rows: FloatArray) -> FloatArray:
    """Standard deviation of each row from its median absolute deviation."""
    return np.asarray(
        _MEDIAN_TO_SD * np.median(np.abs(rows - np.median(rows, axis=1, keepdims=True)), axis=1), dtype=np.float64
    )


def _height_spread(height: FloatArray) -> float | None:
    """Spread of the beats' heights as a share, from the median absolute deviation of their logarithms."""
    height = height[height > 0.0]
    if height.size < _FEWEST_BEATS:
        return None
    return float(_spread(np.log(height)[None, :])[0])


def _shape(wave: FloatArray, beat_s: FloatArray, rate_hz: float) -> tuple[float, float, float]:
    """Of the usual beat: its rise from 10 to 90 % in ms, swing over steepest rise in ms, steepest rise over fall."""
    period_s = float(np.median(np.diff(beat_s)))
    offset_s = np.arange(-min(0.3, 0.4 * period_s), min(0.6, 0.75 * period_s), _STEP_S)
    beat = np.median(windows_at(wave, rate_hz, beat_s, offset_s), axis=0)
    at = int(np.argmin(np.abs(offset_s)))
    foot = crest = at
    while foot > 0 and beat[foot - 1] < beat[foot]:
        foot -= 1
    while crest < beat.size - 1 and beat[crest + 1] > beat[crest]:
        crest += 1
    rise = (beat[foot : crest + 1] - beat[foot]) / max(float(beat[crest] - beat[foot]), 1e-9)
    low, high = np.interp([0.1, 0.9], rise, np.arange(rise.size) * _STEP_S)
    slope = np.gradient(beat, _STEP_S)
    steepest = max(float(slope[max(at - 3, 0) : at + 4].max()), 1e-9)
    fall = max(float(-slope.min()), 1e-6 * steepest)
    return 1000.0 * float(high - low), 1000.0 * float(np.ptp(beat)) / steepest, steepest / fall


def _other_share(wave: FloatArray, beat_s: FloatArray, rate_hz: float) -> float | None:
    """Share of a usual beat's power that beats of like length, scaled to it, don't explain; None for few beats."""
    steps_s = np.diff(beat_s)
    usual_s = float(np.median(steps_s))
    whole = (steps_s > 0.5 * usual_s) & (steps_s < 1.6 * usual_s)
    if whole.sum() < _FEWEST_BEATS:
        return None
    start_s, length_s = beat_s[:-1][whole], steps_s[whole]
    offset_s = np.arange(-0.1, float(np.median(length_s)) - 0.1, 0.03)
    rows = windows_at(wave, rate_hz, start_s, offset_s)[np.argsort(length_s)]
    left = unexplained(rows)
    power = (rows - rows.mean(axis=1, keepdims=True)) ** 2
    return float(np.median((left**2).sum(axis=1) / np.maximum(power.sum(axis=1), 1e-12)))
