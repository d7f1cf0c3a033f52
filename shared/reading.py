"""What an analysis of one recording says: metrics, their uncertainty, the verdict."""

from __future__ import annotations

from dataclasses import dataclass

from dawnbeat.shared.beats import Beats, Intervals
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray


@dataclass(frozen=True)
class Metrics:
    """Time-domain figures over the kept intervals (Task Force of ESC and NASPE 1996, Circulation 93:1043).

    A figure that can't be computed from what was kept is None. Differences are taken only between two kept
    intervals that follow one another.
    """

    mean_hr_bpm: float | None = None
    mean_nn_ms: float | None = None
    sdnn_ms: float | None = None
    rmssd_ms: float | None = None
    ln_rmssd: float | None = None
    sdsd_ms: float | None = None
    nn50: int | None = None
    pnn50_pct: float | None = None
    cv_nn_pct: float | None = None
    min_nn_ms: float | None = None
    max_nn_ms: float | None = None
    sd1_ms: float | None = None
    sd2_ms: float | None = None
    kept_beats: int = 0
    kept_share: float | None = None


@dataclass(frozen=True)
class Verdict:
    """Whether a reading may be trusted, always with reasons in plain words.

    reasons is never empty: for a usable reading it says what the trust rests on.
    """

    usable: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class PulseWave:
    """The filtered pulse that the beats were found in, for plots; brightness falls are drawn upwards.

    time_s: (n,) seconds on the trace's clock. value: (n,) per mille of the mean brightness.
    """

    time_s: FloatArray
    value: FloatArray


@dataclass(frozen=True)
class Analysis:
    """Everything that one recording says, with the settings and the version that said it.

    duration_s: from the first to the last frame. frame_rate_hz: None for fewer than two frames.
    channel: the colour, or combination of colours, that carried the pulse; None where none did. Where it
        differs between segments, the one that carried the longest time.
    intervals95: 95 % intervals by the names of Metrics ("mean_hr_bpm", "rmssd_ms", "ln_rmssd", "sdnn_ms").
    timing_error_ms: standard deviation of the error of one beat time; None where it can't be estimated.
    """

    duration_s: float
    frame_rate_hz: float | None
    channel: str | None
    beats: Beats
    intervals: Intervals
    metrics: Metrics
    intervals95: dict[str, tuple[float, float]]
    timing_error_ms: float | None
    verdict: Verdict
    wave: PulseWave
    settings: Settings
    version: str
