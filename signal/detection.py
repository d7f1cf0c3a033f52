"""Which edges of a filtered pulse wave are beats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray
from dawnbeat.signal.edges import best_path, rising_edges, usual_strength
from dawnbeat.signal.rate import Repetition, repetition
from dawnbeat.signal.shape import median_beat, unit_rows, windows_at

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
