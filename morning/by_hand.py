"""What a reading says once intervals were left out or brought back by hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.journal.hand_edits import Figures, FiguresOf
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.reading import Analysis, Finding, Intervals, Reason, Verdict
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.agreement import agreeing_share
from dawnbeat.signal.analysis import analysis_of, pieces_of
from dawnbeat.signal.beats import PieceBeats
from dawnbeat.signal.figures import intervals_95, metrics_of
from dawnbeat.signal.origin import origin_of
from dawnbeat.signal.rhythm import rhythm_of
from dawnbeat.signal.verdict import Evidence, needed_s, verdict_on


@dataclass(frozen=True)
class Reviewed:
    """A stored recording with a fresh analysis of it, for the day view and for judging edits."""

    trace: Trace
    analysis: Analysis
    pieces: list[PieceBeats]


def review(trace: Trace, settings: Settings) -> Reviewed:
    """Analyse a stored recording; takes a few tenths of a second, so not in the window's thread."""
    pieces = pieces_of(trace, settings)
    return Reviewed(trace, analysis_of(trace, pieces, settings), pieces)


def figures_with(reading: StoredReading, reviewed: Reviewed | None) -> FiguresOf:
    """A function that judges edited intervals of this reading: in full where its recording is there.

    Without the recording the figures follow the intervals, and the reading can only lose trust by an edit,
    not gain it.
    """

    def figures_of(intervals: Intervals) -> Figures:
        error_ms = reading.timing_error_ms
        if reviewed is None:
            verdict = _verdict_without(reading, intervals)
        else:
            error_ms = timing_error_ms(reviewed.analysis, intervals)
            verdict = _verdict_with(reviewed, intervals, error_ms)
        return Figures(metrics_of(intervals), intervals_95(intervals, error_ms), error_ms, verdict)

    return figures_of


def timing_error_ms(analysis: Analysis, intervals: Intervals) -> float | None:
    """Root mean square of the errors of the beats that bound an interval that counts."""
    beats = analysis.beats
    kept = intervals.kept
    if not kept.any() or not len(beats):
        return None
    bounds_s = np.concatenate((intervals.start_s[kept], intervals.end_s[kept]))
    nearest = np.unique(np.abs(beats.time_s[None, :] - bounds_s[:, None]).argmin(axis=1))
    return float(np.sqrt(np.mean(beats.error_ms[nearest] ** 2)))


def _verdict_with(reviewed: Reviewed, intervals: Intervals, error_ms: float | None) -> Verdict:
    analysis = reviewed.analysis
    repetition, spectrum = agreeing_share(reviewed.pieces, intervals, analysis.settings)
    metrics = metrics_of(intervals)
    evidence = Evidence(
        duration_s=reviewed.trace.duration_s,
        frame_rate_hz=reviewed.trace.frame_rate_hz,
        beats=analysis.beats,
        intervals=intervals,
        metrics=metrics,
        intervals95=intervals_95(intervals, error_ms),
        timing_error_ms=error_ms,
        repetition_share=repetition,
        spectrum_share=spectrum,
        rhythm=rhythm_of(reviewed.pieces, metrics.mean_nn_ms, analysis.settings),
        origin=origin_of(reviewed.pieces, intervals.bounding[: len(analysis.beats)]),
    )
    return verdict_on(evidence, analysis.settings)


def _verdict_without(reading: StoredReading, intervals: Intervals) -> Verdict:
    if not reading.verdict.usable:
        return reading.verdict
    kept_s = float(intervals.kept_ms.sum()) / 1000.0
    wanted_s = needed_s(reading.duration_s, Settings())
    if kept_s < wanted_s:
        missing = Finding("left_out_by_hand", {"kept_s": kept_s, "needed_s": wanted_s})
        return Verdict(False, reading.verdict.pulse_usable, reading.verdict.irregular, (missing,))
    return reading.verdict


def beat_times_s(intervals: Intervals) -> FloatArray:
    """(m + 1,) the beats that bound the intervals."""
    if not len(intervals):
        return np.zeros(0)
    return np.append(intervals.start_s, intervals.end_s[-1])


def beside(beat: int, intervals: Intervals, reason: Reason | None) -> dict[int, Reason | None]:
    """The intervals on both sides of a beat that would change, with what they would become.

    reason: why to leave the beat out; None to let it count again. What spans a gap stays out.
    Raises DawnbeatError where nothing would change.
    """
    around = [
        position
        for position in (beat - 1, beat)
        if 0 <= position < len(intervals)
        and intervals.left_out[position] not in ("gap", reason)
        and (reason is None or intervals.left_out[position] is None)
    ]
    if not around:
        raise DawnbeatError(
            "this beat counts already" if reason is None else "both intervals of this beat are left out already"
        )
    return dict.fromkeys(around, reason)
