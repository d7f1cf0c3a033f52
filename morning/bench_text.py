"""What the bench says in words: figures of a run, a beat, a comparison. Nothing here needs Qt."""

from __future__ import annotations

from collections import Counter

from dawnbeat.morning.bench import BenchRun
from dawnbeat.morning.reading_text import clock, interval_words
from dawnbeat.shared.reading import REASONS, Analysis, Reason
from dawnbeat.shared.wording import NO_BREAK_SPACE, between, signed
from dawnbeat.signal.compare import Comparison

# A shape for each reason, so that colour never has to tell.
SHAPES: dict[Reason, tuple[str, str]] = {
    "movement": ("x", "✕"),
    "missed beat": ("t1", "△"),
    "extra beat": ("t", "▽"),
    "irregular beat": ("s", "□"),
    "gap": ("d", "◇"),
    "weak pulse": ("+", "＋"),
}


def share_words(share: float | None) -> str:
    """A share as percent; "100 %" only where nothing is missing."""
    if share is None:
        return "unknown"
    percent = 100.0 * share
    return f"{percent:.1f} %" if 99.0 < percent < 100.0 else f"{percent:.0f} %"


def figure(value: float | None, unit: str, decimals: int = 1) -> str:
    """A figure with its unit, or "none"."""
    return "none" if value is None else f"{value:.{decimals}f} {unit}"


def verdict_words(analysis: Analysis) -> str:
    """The verdict in one or two words."""
    return "usable" if analysis.verdict.usable else "not usable"


def run_words(run: BenchRun) -> str:
    """The figures of a run on one line."""
    analysis = run.analysis
    rate = figure(analysis.frame_rate_hz, "frames/s")
    return " · ".join(
        (
            f"pulse {interval_words(analysis, 'mean_hr_bpm', 'bpm', 1)}",
            f"RMSSD {interval_words(analysis, 'rmssd_ms', 'ms', 1)}",
            f"kept {share_words(analysis.metrics.kept_share)}",
            f"timing error {figure(analysis.timing_error_ms, 'ms')}",
            f"{analysis.duration_s:.0f} s at {rate}",
            f"light: {analysis.channel or 'no pulse in any colour'}",
            f"worked out in {run.took_ms:.0f} ms",
        )
    )


def left_out_words(analysis: Analysis) -> str:
    """How many intervals were left out for which reason, each with its shape in the plot and in one line with it."""
    counted = Counter(reason for reason in analysis.intervals.left_out if reason is not None)
    total = len(analysis.intervals)
    if not counted:
        return f"Left out: none of {total} intervals."
    parts = [f"{SHAPES[reason][1]} {reason} {counted[reason]}" for reason in REASONS if counted[reason]]
    held = ", ".join(part.replace(" ", NO_BREAK_SPACE) for part in parts)
    return f"Left out {sum(counted.values())} of {total} intervals: {held}."


def beat_words(run: BenchRun, beat: int) -> str:
    """All that is known of one beat and the interval that it ends."""
    analysis = run.analysis
    beats, intervals = analysis.beats, analysis.intervals
    at_s = float(beats.time_s[beat])
    words = [f"Beat {beat + 1} of {len(beats)} at {clock(at_s)}.{int(at_s % 1 * 1000):03d}"]
    if beat > 0:
        reason = intervals.left_out[beat - 1]
        told = "kept" if reason is None else f"left out: {reason}"
        words.append(f"interval before {intervals.interval_ms[beat - 1]:.0f} ms, {told}")
    misfit, height = float(run.misfit[beat]), float(run.height[beat])
    words.append(f"fit residual {misfit:.2f} ‰ of an edge of {height:.1f} ‰")
    words.append(f"timing error {beats.error_ms[beat]:.1f} ms")
    words.append(f"likeness {beats.likeness[beat]:.2f}")
    return " · ".join(words)


def comparison_rows(found: Comparison) -> list[tuple[str, str]]:
    """The figures of a comparison: what it is, and its value."""
    limits, rmssd, rate = found.limits_of_agreement_ms, found.rmssd_ms, found.mean_hr_bpm
    none = "none"
    return [
        ("Beats met, this and other", f"{share_words(found.matched_a)}, {share_words(found.matched_b)}"),
        ("Lag of the clocks", f"{signed(found.lag_s, 3)} s"),
        ("Intervals that both keep", f"{found.difference_ms.size}"),
        ("Mean absolute difference", figure(found.mean_absolute_ms, "ms", 2)),
        ("95 % of them below", figure(found.p95_ms, "ms", 2)),
        ("Standard deviation", figure(found.spread_ms, "ms", 2)),
        ("Bias", none if limits is None else f"{signed(limits[0], 2)} ms"),
        ("Limits of agreement", none if limits is None else between(limits[1], limits[2], 1, unit="ms")),
        ("RMSSD, this and other", none if rmssd is None else f"{rmssd[0]:.1f}, {rmssd[1]:.1f} ms"),
        ("Pulse, this and other", none if rate is None else f"{rate[0]:.1f}, {rate[1]:.1f} bpm"),
    ]


def change_words(before: Analysis, after: Analysis) -> str:
    """What other settings did to a recording, on one line; empty where nothing that is shown changed."""
    parts = []
    for what, name, unit in (("pulse", "mean_hr_bpm", "bpm"), ("RMSSD", "rmssd_ms", "ms")):
        old, new = figure(getattr(before.metrics, name), unit), figure(getattr(after.metrics, name), unit)
        if old != new:
            parts.append(f"{what} {old} → {new}")
    old_kept, new_kept = share_words(before.metrics.kept_share), share_words(after.metrics.kept_share)
    if old_kept != new_kept:
        parts.append(f"kept {old_kept} → {new_kept}")
    if len(before.beats) != len(after.beats):
        parts.append(f"{len(before.beats)} → {len(after.beats)} beats")
    if verdict_words(before) != verdict_words(after):
        parts.append(f"{verdict_words(before)} → {verdict_words(after)}")
    return " · ".join(parts)


def beats_csv(analysis: Analysis) -> str:
    """The beats as CSV, as a reference is loaded: time_s, and how sure each is."""
    lines = ["time_s,error_ms,likeness"]
    beats = analysis.beats
    for time_s, error_ms, likeness in zip(beats.time_s, beats.error_ms, beats.likeness, strict=True):
        lines.append(f"{time_s:.6f},{error_ms:.3f},{likeness:.4f}")
    return "\n".join(lines) + "\n"


def intervals_csv(analysis: Analysis) -> str:
    """The intervals as CSV: from, to, length, and why one is left out."""
    lines = ["start_s,end_s,interval_ms,left_out"]
    intervals = analysis.intervals
    for start_s, end_s, length_ms, reason in zip(
        intervals.start_s, intervals.end_s, intervals.interval_ms, intervals.left_out, strict=True
    ):
        lines.append(f"{start_s:.6f},{end_s:.6f},{length_ms:.3f},{reason or ''}")
    return "\n".join(lines) + "\n"
