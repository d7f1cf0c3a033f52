"""Which intervals don't count, and why.

First the light is asked (a gap, a jolt, a faint or misshapen edge), then the rhythm. What is left out is never filled
in.
"""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.beats import Intervals, Reason
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray
from dawnbeat.signal.piece_beats import PieceBeats
from dawnbeat.signal.rhythm import odd_intervals

_NEIGHBOURS = 15
_TIMES_USUAL_UNLIKENESS = 8.0
_STRICTEST_LIKENESS = 0.92
_LEAST_MISFIT = 0.005


def judge(pieces: list[PieceBeats], settings: Settings) -> Intervals:
    """All intervals between the beats of all pieces, each kept or left out with its reason."""
    beat_s = np.concatenate([piece.time_s for piece in pieces]) if pieces else np.zeros(0)
    if beat_s.size < 2:
        return Intervals(np.zeros(0), np.zeros(0), ())
    wild = np.concatenate([_excursion_ratio(piece) > settings.max_excursion_ratio for piece in pieces])
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
    usual = _local_median(np.abs(piece.height))
    ratio = piece.height / np.maximum(usual, 1e-9)
    misfit = piece.misfit / np.maximum(usual, 1e-9)
    # A stretch of movement must not become its own measure.
    usual_misfit = np.minimum(_local_median(misfit), np.median(misfit))
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


def _excursion_ratio(piece: PieceBeats) -> FloatArray:
    """(k,) how far the wave swings from each beat to the next, beside the usual; the last beat counts as usual."""
    count = piece.time_s.size
    if count < 2:
        return np.ones(count)
    at = np.searchsorted(piece.wave_s, piece.time_s)
    swing = np.maximum.reduceat(piece.wave, at)[:-1] - np.minimum.reduceat(piece.wave, at)[:-1]
    return np.append(swing / np.maximum(_local_median(swing), 1e-9), 1.0)


def _local_median(value: FloatArray) -> FloatArray:
    width = 2 * _NEIGHBOURS + 1
    if value.size < width:
        return np.full(value.size, float(np.median(value)))
    padded = np.pad(value, _NEIGHBOURS, mode="reflect")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))
