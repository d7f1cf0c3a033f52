"""What an analysis of one recording says: metrics, their uncertainty, the verdict."""

from __future__ import annotations

from dataclasses import dataclass

from dawnbeat.shared.beats import Beats, Intervals
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
