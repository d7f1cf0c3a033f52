"""A series of beat intervals that something else measured, such as a chest strap, through the checks of a reading."""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.installed import software_version
from dawnbeat.shared.reading import Analysis, Beats, Finding, Intervals, PulseWave, Reason, Verdict
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray
from dawnbeat.signal.figures import intervals_95, metrics_of
from dawnbeat.signal.judging import odd_intervals
from dawnbeat.signal.rhythm import irregularity_of
from dawnbeat.signal.verdict import needed_s

# An interval outside is no heart's: 20 to 300 beats a minute, wider than any that a camera is searched for.
_SHORTEST_MS, _LONGEST_MS = 200.0, 3000.0
# A strap gives whole milliseconds, or 1/1024 s: a uniform error of that width has this standard deviation.
_GRAIN_MS = 1.0 / np.sqrt(12.0)
_FEWEST_INTERVALS = 20


def analyse_intervals(interval_ms: FloatArray, settings: Settings | None = None) -> Analysis:
    """All that a series of beat intervals says, judged by rhythm alone: there is no light to ask.

    interval_ms: (m,) in order, positive. What lies outside 200 to 3000 ms is left out as a gap, and what the rhythm
    can't explain with its reason. The 95 % intervals take the series as the heart's own.
    """
    settings = settings or Settings()
    interval_ms = np.asarray(interval_ms, dtype=np.float64)
    beats_s = np.concatenate([[0.0], np.cumsum(interval_ms) / 1000.0])
    possible = (interval_ms >= _SHORTEST_MS) & (interval_ms <= _LONGEST_MS)
    odd = odd_intervals(interval_ms, possible, np.ones(interval_ms.size + 1))
    reasons: tuple[Reason | None, ...] = tuple(
        "gap" if not there else reason for there, reason in zip(possible, odd, strict=True)
    )
    intervals = Intervals(beats_s[:-1], interval_ms, reasons)
    metrics = metrics_of(intervals)
    intervals95 = intervals_95(intervals, float(_GRAIN_MS), way_ms=0.0)
    duration_s = float(beats_s[-1])
    return Analysis(
        duration_s=duration_s,
        frame_rate_hz=None,
        channel=None,
        beats=Beats(beats_s, np.full(beats_s.size, _GRAIN_MS), np.ones(beats_s.size)),
        intervals=intervals,
        metrics=metrics,
        intervals95=intervals95,
        timing_error_ms=float(_GRAIN_MS),
        verdict=_verdict(intervals, possible.astype(np.bool_), duration_s, "rmssd_ms" in intervals95, settings),
        wave=PulseWave(np.zeros(0), np.zeros(0)),
        settings=settings,
        version=software_version(),
    )


def _verdict(
    intervals: Intervals, possible: np.typing.NDArray[np.bool_], duration_s: float, enough: bool, settings: Settings
) -> Verdict:
    kept_s = float(intervals.kept_ms.sum()) / 1000.0
    if duration_s < settings.min_duration_s:
        too_short = Finding("too_short", {"duration_s": duration_s, "needed_s": settings.min_duration_s})
        return Verdict(False, False, False, (too_short,))
    doubts = []
    share, irregular = irregularity_of(intervals.interval_ms, possible)
    if irregular:
        doubts.append(Finding("irregular", {"unpredicted_pct": 100.0 * share}))
    if not enough:
        doubts.append(Finding("few_intervals", {"kept": float(intervals.kept.sum())}))
    wanted_s = needed_s(duration_s, settings)
    if kept_s < wanted_s and not irregular:
        doubts.append(Finding("little_kept", {"kept_s": kept_s, "duration_s": duration_s, "needed_s": wanted_s}))
    if doubts:
        whole = possible.mean() >= 0.9 and possible.sum() >= _FEWEST_INTERVALS
        pulse = bool(whole) and (irregular or kept_s >= wanted_s)
        return Verdict(False, pulse, irregular, tuple(doubts))
    return Verdict(True, True, False, (Finding("kept", {"kept_s": kept_s, "duration_s": duration_s}),))
