"""One recording as a picture: trace, beats and intervals, drawn without a display."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from dawnbeat.morning.verdict_text import verdict_lines
from dawnbeat.shared.errors import plain_errors
from dawnbeat.shared.private_files import replacing
from dawnbeat.shared.reading import Analysis
from dawnbeat.signal.compare import Comparison

_INK, _SOFT, _ACCENT = "#2b2a27", "#8a857b", "#b4552d"
_PAPER = "#fbf9f4"
_ROW_S = 30.0
_MOST_ROWS = 10


def plot_reading(name: str, analysis: Analysis, out: Path) -> None:
    """Draw the filtered wave with its beats, the intervals over time, and each interval against the next.

    Raises DawnbeatError when the file can't be written.
    """
    wave = analysis.wave
    rows = int(np.clip(np.ceil(max(analysis.duration_s, 1.0) / _ROW_S), 1, _MOST_ROWS))
    figure = Figure(figsize=(13, 2.0 + 1.35 * rows + 3.4), facecolor=_PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(rows + 1, 4, height_ratios=[1.0] * rows + [2.6])
    start_s = float(wave.time_s[0]) if wave.time_s.size else 0.0
    row_s = max(analysis.duration_s, 1.0) / rows
    limit = 1.15 * float(np.percentile(np.abs(wave.value), 99)) if wave.value.size else 1.0
    for row in range(rows):
        axes = figure.add_subplot(grid[row, :], facecolor=_PAPER)
        _draw_row(axes, analysis, start_s + row * row_s, row_s, limit or 1.0)
    intervals = figure.add_subplot(grid[rows, :3], facecolor=_PAPER)
    _draw_intervals(intervals, analysis)
    pairs = figure.add_subplot(grid[rows, 3], facecolor=_PAPER)
    _draw_pairs(pairs, analysis)
    verdict = "usable" if analysis.verdict.usable else "not usable: " + "; ".join(verdict_lines(analysis.verdict))
    figure.suptitle(f"{name}: {verdict}", fontsize=11, color=_INK, wrap=True)
    _save(figure, out)


def plot_agreement(comparison: Comparison, names: tuple[str, str], out: Path) -> None:
    """Draw the difference of each pair of intervals against their mean (Bland and Altman 1986, Lancet 1:307-310)."""
    figure = Figure(figsize=(8, 5), facecolor=_PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot(facecolor=_PAPER)
    mean_ms = (comparison.interval_a_ms + comparison.interval_b_ms) / 2.0
    axes.plot(mean_ms, comparison.difference_ms, "o", ms=3.5, mfc="none", color=_INK)
    limits = comparison.limits_of_agreement_ms
    if limits is not None:
        for value, words in zip(limits, ("bias", "-1.96 SD", "+1.96 SD"), strict=True):
            axes.axhline(value, color=_ACCENT, lw=1.0, ls="-" if words == "bias" else "--")
            axes.annotate(
                f"{words} {value:+.2f} ms", (1.0, value), xycoords=("axes fraction", "data"), ha="right", va="bottom",
                fontsize=9, color=_ACCENT,
            )  # fmt: skip
    axes.set_xlabel("mean of the two intervals (ms)")
    axes.set_ylabel(f"{names[0]} less {names[1]} (ms)")
    _save(figure, out)


def _draw_row(axes: Axes, analysis: Analysis, from_s: float, length_s: float, limit: float) -> None:
    wave, beats = analysis.wave, analysis.beats.time_s
    first, last = np.searchsorted(wave.time_s, [from_s, from_s + length_s])
    # A gap between stretches is a gap in the line.
    time_s, value = wave.time_s[first:last], wave.value[first:last]
    breaks = np.flatnonzero(np.diff(time_s) > 0.1) + 1
    axes.plot(np.insert(time_s, breaks, np.nan), np.insert(value, breaks, np.nan), color=_INK, lw=0.8)
    inside = (beats >= from_s) & (beats < from_s + length_s)
    if wave.value.size:
        axes.plot(beats[inside], np.interp(beats[inside], wave.time_s, wave.value), "o", ms=3.5, color=_ACCENT)
    intervals = analysis.intervals
    for start_s, end_s, reason in zip(intervals.start_s, intervals.end_s, intervals.left_out, strict=True):
        if reason is not None and start_s < from_s + length_s and end_s > from_s:
            axes.axvspan(max(start_s, from_s), min(end_s, from_s + length_s), color=_SOFT, alpha=0.25, lw=0)
    axes.set_xlim(from_s, from_s + length_s)
    axes.set_ylim(-limit, limit)
    axes.set_ylabel("‰", rotation=0, fontsize=8)
    axes.tick_params(labelsize=8)


def _draw_intervals(axes: Axes, analysis: Analysis) -> None:
    intervals = analysis.intervals
    kept = intervals.kept
    axes.plot(intervals.end_s[kept], intervals.interval_ms[kept], "o", ms=3.5, color=_INK, label="kept")
    if len(intervals) and not kept.all():
        axes.plot(intervals.end_s[~kept], intervals.interval_ms[~kept], "x", ms=5, color=_SOFT, label="left out")
        usual = intervals.interval_ms[kept] if kept.any() else intervals.interval_ms
        axes.set_ylim(0.7 * float(usual.min()), 1.3 * float(usual.max()))
    if len(intervals):
        axes.legend(fontsize=8, frameon=False)
    axes.set_xlabel("time (s)" if kept.all() else "time (s); the shaded times above are left out")
    axes.set_ylabel("interval (ms)")


def _draw_pairs(axes: Axes, analysis: Analysis) -> None:
    intervals = analysis.intervals
    kept = intervals.kept
    both = kept[1:] & kept[:-1]
    axes.plot(intervals.interval_ms[:-1][both], intervals.interval_ms[1:][both], "o", ms=3, mfc="none", color=_INK)
    axes.set_xlabel("interval (ms)")
    axes.set_ylabel("next interval (ms)")
    axes.set_aspect("equal", adjustable="datalim")


def _save(figure: Figure, out: Path) -> None:
    with plain_errors("write the picture", out), replacing(out) as file:
        figure.savefig(file, dpi=110, format="png")
