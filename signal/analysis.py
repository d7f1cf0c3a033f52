"""From a trace, or from a series of beat intervals that a chest strap measured, to all that it says."""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

import numpy as np

from dawnbeat.shared.installed import software_version
from dawnbeat.shared.reading import Analysis, Beats, Finding, Intervals, Metrics, PulseWave, Reason, Verdict
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import BoolArray, FloatArray, Trace
from dawnbeat.signal.agreement import agreeing_share
from dawnbeat.signal.beats import PieceBeats, beats_of_piece, describe, whole_window
from dawnbeat.signal.clock import FrameTimes, clock_error_ms, frame_times, with_own_steps
from dawnbeat.signal.conditioning import split_at_gaps
from dawnbeat.signal.figures import intervals_95, metrics_of
from dawnbeat.signal.judging import judge, odd_intervals
from dawnbeat.signal.origin import origin_of
from dawnbeat.signal.rhythm import irregularity_of, rhythm_of
from dawnbeat.signal.timing import WarpedBeats, curve_of, timing_elsewhere_ms, warped_beats
from dawnbeat.signal.verdict import ABSURD_RATE_HZ, Evidence, needed_s, verdict_on

# Shorter stretches hold too few beats to know one by its likeness to the others.
_SHORTEST_PIECE_S = 3.0
_FEWEST_FRAMES = 24
# Share of a frame under the finger from which on it lies on the lens.
_COVERED = 0.5
# An interval outside is no heart's: 20 to 300 beats a minute, wider than any that a camera is searched for.
_SHORTEST_MS, _LONGEST_MS = 200.0, 3000.0
# A strap gives whole milliseconds, or 1/1024 s: a uniform error of that width has this standard deviation.
_GRAIN_MS = 1.0 / np.sqrt(12.0)
_FEWEST_INTERVALS = 20
# Beats tell more of the clock once they lie on a better one; a third time tells nothing more.
_ROUNDS = 2


def analyse(trace: Trace, settings: Settings | None = None) -> Analysis:
    """All that one trace says: beats, intervals, metrics with their uncertainty, and the verdict.

    Pure: the same trace and settings give the same result. Any valid trace gives a result; one that can't be trusted
    is "not usable" with its reasons. No number in it is NaN or infinite.
    """
    settings = settings or Settings()
    return analysis_of(trace, pieces_of(trace, settings), settings)


def analysis_of(trace: Trace, pieces: list[PieceBeats], settings: Settings) -> Analysis:
    """As `analyse`, from the pieces that `pieces_of` found in this trace with these settings."""
    time_s = _joined([piece.time_s for piece in pieces])
    intervals = _under_a_finger(judge(pieces, settings), trace)
    clock_ms = clock_error_ms(time_s, intervals, pieces[0].times) if pieces else 0.0
    beats = Beats(
        time_s=time_s,
        error_ms=np.hypot(_joined([piece.error_ms * _doubt_of(piece) for piece in pieces]), clock_ms),
        likeness=_joined([piece.likeness for piece in pieces]),
    )
    said = what_they_say(trace, pieces, beats, intervals, settings)
    return Analysis(
        duration_s=trace.duration_s,
        frame_rate_hz=trace.frame_rate_hz,
        channel=_main_channel(pieces),
        beats=beats,
        intervals=intervals,
        metrics=said.metrics,
        intervals95=said.intervals95,
        timing_error_ms=said.timing_error_ms,
        verdict=said.verdict,
        wave=PulseWave(_joined([piece.wave_s for piece in pieces]), _joined([piece.wave for piece in pieces])),
        settings=settings,
        version=software_version(),
    )


class Said(NamedTuple):
    """What intervals say, each as the field of Analysis with its name."""

    metrics: Metrics
    intervals95: dict[str, tuple[float, float]]
    timing_error_ms: float | None
    verdict: Verdict


def what_they_say(
    trace: Trace, pieces: list[PieceBeats], beats: Beats, intervals: Intervals, settings: Settings
) -> Said:
    """Figures and verdict of the intervals that were found, or of what a hand or an earlier analysis made of them."""
    metrics = metrics_of(intervals)
    counting = _counting(beats, intervals)
    error_ms = float(np.sqrt(np.mean(beats.error_ms[counting] ** 2))) if counting.any() else None
    intervals95 = intervals_95(intervals, error_ms)
    repetition_share, spectrum_share = agreeing_share(pieces, intervals, settings)
    evidence = Evidence(
        trace.duration_s,
        _distinct_rate_hz(trace, pieces),
        beats,
        intervals,
        metrics,
        intervals95,
        error_ms,
        repetition_share,
        spectrum_share,
        rhythm_of(pieces, metrics.mean_nn_ms, settings),
        origin_of(pieces, counting),
        None if trace.covered is None else float(np.mean(trace.covered >= _COVERED)),
        clock_error_ms(beats.time_s, intervals, pieces[0].times) if pieces else 0.0,
    )
    return Said(metrics, intervals95, error_ms, verdict_on(evidence, settings))


def pieces_of(trace: Trace, settings: Settings) -> list[PieceBeats]:
    """The beats of every stretch of the trace that is long enough to look for any."""
    if len(trace) > ABSURD_RATE_HZ * max(trace.duration_s, 1.0 / ABSURD_RATE_HZ):
        return []
    times = frame_times(trace.time_s, trace.colour)
    pieces = _pieces_on(times, trace, settings)
    for _ in range(0 if times.sure else _ROUNDS):
        better = with_own_steps(times, [_warps_of(piece, settings) for piece in pieces])
        if better is times:
            break
        times, pieces = better, _pieces_on(better, trace, settings)
    return pieces


def _pieces_on(times: FrameTimes, trace: Trace, settings: Settings) -> list[PieceBeats]:
    colour = trace.colour[times.rows]
    pieces = []
    for rows in split_at_gaps(times.time_s, settings.max_gap_s):
        time_s = times.time_s[rows]
        if time_s.size >= _FEWEST_FRAMES and time_s[-1] - time_s[0] >= _SHORTEST_PIECE_S:
            pieces.append(beats_of_piece(time_s, colour[rows], settings, times))
    return pieces


def _warps_of(piece: PieceBeats, settings: Settings) -> WarpedBeats:
    start_s, length_s = float(piece.wave_s[0]), float(piece.wave_s[-1] - piece.wave_s[0])
    curve = curve_of(piece.colours @ piece.weights, _wave_rate_hz(piece))
    before_s, after_s = whole_window(settings, float(np.median(piece.detection.repetition.period_s)))
    beat_s = piece.time_s - start_s
    inside = (beat_s > before_s) & (beat_s < length_s - after_s)
    return warped_beats(curve, beat_s[inside], before_s, after_s, start_s)


def _wave_rate_hz(piece: PieceBeats) -> float:
    return (piece.wave_s.size - 1) / float(piece.wave_s[-1] - piece.wave_s[0])


def _under_a_finger(intervals: Intervals, trace: Trace) -> Intervals:
    """The intervals with those left out in which the finger was off the lens, where somebody looked."""
    if trace.covered is None or not len(intervals):
        return intervals
    off_s = trace.time_s[trace.covered < _COVERED]
    off = np.searchsorted(off_s, intervals.end_s) > np.searchsorted(off_s, intervals.start_s)
    left_out = [
        reason or ("movement" if lifted else None) for reason, lifted in zip(intervals.left_out, off, strict=True)
    ]
    return Intervals(intervals.start_s, intervals.interval_ms, tuple(left_out))


def _doubt_of(piece: PieceBeats) -> float:
    """How many times larger the errors of a stretch's beats are than white noise would make them; at least one."""
    if not piece.time_s.size:
        return 1.0
    start_s = float(piece.wave_s[0])
    wave = piece.colours @ piece.weights
    elsewhere_ms = timing_elsewhere_ms(
        wave, _wave_rate_hz(piece), piece.time_s - start_s, piece.before_s, piece.after_s
    )
    return max(1.0, (elsewhere_ms or 0.0) / max(float(np.median(piece.error_ms)), 1e-6))


def _distinct_rate_hz(trace: Trace, pieces: list[PieceBeats]) -> float | None:
    """Frames a second without those that only repeat the one before."""
    if not pieces:
        return (len(trace) - 1) / trace.duration_s if len(trace) > 1 else None
    return float(1.0 / np.median(np.diff(pieces[0].times.time_s)))


def _counting(beats: Beats, intervals: Intervals) -> BoolArray:
    """(n,) the beats that bound an interval that counts, whichever analysis found the interval."""
    counting = np.zeros(len(beats), dtype=np.bool_)
    kept = intervals.kept
    if len(beats) and kept.any():
        bounds_s = np.concatenate((intervals.start_s[kept], intervals.end_s[kept]))
        counting[np.abs(beats.time_s[:, None] - bounds_s).argmin(axis=0)] = True
    return counting


def _main_channel(pieces: list[PieceBeats]) -> str | None:
    """The colours of the longest time, in words; None where no stretch was long enough."""
    time_s: dict[str, float] = defaultdict(float)
    for piece in pieces:
        time_s[describe(piece.weights)] += float(piece.wave_s[-1] - piece.wave_s[0])
    return max(time_s, key=lambda words: time_s[words]) if time_s else None


def _joined(parts: list[FloatArray]) -> FloatArray:
    return np.concatenate(parts) if parts else np.zeros(0)


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
        verdict=_verdict_on_series(
            intervals, possible.astype(np.bool_), duration_s, "rmssd_ms" in intervals95, settings
        ),
        wave=PulseWave(np.zeros(0), np.zeros(0)),
        settings=settings,
        version=software_version(),
    )


def _verdict_on_series(
    intervals: Intervals, possible: BoolArray, duration_s: float, enough: bool, settings: Settings
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
