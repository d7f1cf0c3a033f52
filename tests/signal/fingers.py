"""Invented fingers for the tests of this room, and how an analysis is held against their true beats."""

from __future__ import annotations

import numpy as np

from dawnbeat.recordings.invented.faults import NO_FAULTS, Faults
from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, Finger
from dawnbeat.recordings.invented.heart import Rhythm
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.reading import Analysis, Intervals, Reason
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.compare import Comparison, Series


def finger(
    seed: int = 1,
    duration_s: float = 120.0,
    faults: Faults = NO_FAULTS,
    optics: Finger = LAMP_FINGER,
    rate_hz: float = 30.0,
    **rhythm: float,
) -> Scenario:
    """A finger on a lamp; further words are those of Rhythm, such as mean_hr_bpm."""
    return Scenario(Rhythm(seed=seed, **rhythm), optics, faults, duration_s, rate_hz, seed)  # type: ignore[arg-type]


def grey_trace(time_s: FloatArray, grey: FloatArray) -> Trace:
    """A trace whose three colours are the same."""
    return Trace(time_s, np.column_stack([grey, grey, grey]))


def series(analysis: Analysis) -> Series:
    """The beats of an analysis with what it keeps."""
    return Series(analysis.beats.time_s, analysis.intervals.kept)


def against_truth(analysis: Analysis, beats_s: FloatArray) -> Comparison:
    """The analysis held against its true beats on the same clock."""
    return Comparison(series(analysis), Series.of_beats(beats_s), 0.0)


def true_figures(beats_s: FloatArray) -> tuple[float, float]:
    """Mean heart rate in bpm and RMSSD in ms, straight from the definitions."""
    nn_ms = np.diff(beats_s) * 1000.0
    return 60000.0 / float(nn_ms.mean()), float(np.sqrt(np.mean(np.diff(nn_ms) ** 2)))


def as_intervals(interval_ms: list[float] | FloatArray, left_out: dict[int, Reason] | None = None) -> Intervals:
    """Intervals that follow one another from time 0; left_out gives reasons by position."""
    length_ms = np.array(interval_ms, dtype=float)
    start_s = np.concatenate([[0.0], np.cumsum(length_ms)[:-1]]) / 1000.0
    reasons = left_out or {}
    return Intervals(start_s, length_ms, tuple(reasons.get(k) for k in range(length_ms.size)))


def overlapping(intervals: Intervals, from_s: float, to_s: float) -> list[Reason | None]:
    """What was said of the intervals that touch a stretch of time."""
    touching = (intervals.end_s > from_s) & (intervals.start_s < to_s)
    return [reason for reason, there in zip(intervals.left_out, touching, strict=True) if there]
