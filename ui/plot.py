"""One recording as a picture: trace, beats and intervals, drawn by the window's plots where nobody looks."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dawnbeat.morning.reading_text import verdict_lines
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.wording import between, signed
from dawnbeat.signal.compare import Comparison
from dawnbeat.ui.display import display_problem, drawing_problem

if TYPE_CHECKING:
    from dawnbeat.ui.window.parts.plots import Plot
    from dawnbeat.ui.window.parts.saving import Figure, Part

_ROW_S = 30.0
_MOST_ROWS = 10
_ROOM = 0.03  # beyond what is drawn, so that no mark at the end is cut


def plot_reading(name: str, analysis: Analysis, out: Path) -> None:
    """Draw the filtered wave with its beats, the intervals over time, and each interval against the next.

    out: ends in .png, .svg or .pdf. Raises DawnbeatError when the file can't be written, and where Qt can't draw.
    """
    _be_ready()
    from dawnbeat.ui.window.parts.saving import Figure, Part

    wave = analysis.wave
    rows = int(np.clip(np.ceil(max(analysis.duration_s, 1.0) / _ROW_S), 1, _MOST_ROWS))
    start_s = float(wave.time_s[0]) if wave.time_s.size else 0.0
    row_s = max(analysis.duration_s, 1.0) / rows
    limit = 1.15 * float(np.percentile(np.abs(wave.value), 99)) if wave.value.size else 1.0
    parts = [Part(_row(analysis, start_s + row * row_s, row_s, limit or 1.0), 0.46) for row in range(rows)]
    parts[-1] = Part(parts[-1].what, parts[-1].height, legend="● beat    ▒ left out")
    parts += [_intervals(analysis), _pairs(analysis)]
    verdict = "usable" if analysis.verdict.usable else "not usable: " + "; ".join(verdict_lines(analysis.verdict))
    _write(Figure(name, parts, f"{name}: {verdict}"), out)


def plot_agreement(comparison: Comparison, names: tuple[str, str], out: Path) -> None:
    """Draw the difference of each pair of intervals against their mean (Bland and Altman 1986, Lancet 1:307-310).

    out: as for plot_reading, and the same is raised.
    """
    _be_ready()
    from dawnbeat.ui.window.parts.drawing import Ink
    from dawnbeat.ui.window.parts.plots import Plot
    from dawnbeat.ui.window.parts.saving import Figure, Part
    from dawnbeat.ui.window.parts.theme import Still

    mean_ms = (comparison.interval_a_ms + comparison.interval_b_ms) / 2.0
    plot = Plot(Still(), "Differences", ("Mean of the two intervals", "ms"), (f"{names[0]} less {names[1]}", "ms"))
    plot.dots(Ink(), "o", 7, filled=False).setData(mean_ms, comparison.difference_ms)
    limits, legend = comparison.limits_of_agreement_ms, "○ an interval that both keep"
    if limits is not None:
        for value, words in zip(limits, ("bias", "-1.96 SD", "+1.96 SD"), strict=True):
            plot.level(Ink("accent", dash=words != "bias"), value)
        legend += f"    ━ bias {signed(limits[0], 2)} ms"
        legend += f"    ┅ limits of agreement {between(limits[1], limits[2], 2, sign=True, unit='ms')}"
        low, high = (
            min(limits[1], float(comparison.difference_ms.min())),
            max(limits[2], float(comparison.difference_ms.max())),
        )
        plot.box.setYRange(low, high, padding=0.08)
    _write(Figure("agreement", (Part(plot, 1.6, legend=legend),), f"{names[0]} and {names[1]}"), out)


def _be_ready() -> None:
    """A Qt application, on the display where there is one, else on none; raises DawnbeatError where Qt can't draw."""
    if (problem := drawing_problem()) is not None:
        raise DawnbeatError(problem)
    from PySide6.QtWidgets import QApplication

    if QApplication.instance() is None:
        if display_problem() is not None:
            os.environ["QT_QPA_PLATFORM"] = "offscreen"
        from dawnbeat.ui.window.shell.main_window import make_app

        _kept.append(make_app())


_kept: list[object] = []  # Python would take the application away while it draws


def _row(analysis: Analysis, from_s: float, length_s: float, limit: float) -> Plot:
    from dawnbeat.ui.window.parts.drawing import Ink
    from dawnbeat.ui.window.parts.plots import Plot
    from dawnbeat.ui.window.parts.theme import Still

    wave, beats_s, intervals = analysis.wave, analysis.beats.time_s, analysis.intervals
    plot = Plot(Still(), "Pulse wave", ("", "s"), ("Wave", "‰"))
    first, last = np.searchsorted(wave.time_s, [from_s, from_s + length_s])
    # A gap between stretches is a gap in the line.
    time_s, value = wave.time_s[first:last], wave.value[first:last]
    breaks = np.flatnonzero(np.diff(time_s) > 0.1) + 1
    lost = ~intervals.kept & (intervals.start_s < from_s + length_s) & (intervals.end_s > from_s)
    edges = np.column_stack((intervals.start_s, intervals.end_s, np.full(len(intervals), np.nan)))[lost].ravel()
    height = np.where(np.isfinite(edges), limit, np.nan)
    plot.band(Ink("soft", 60)).set_data(edges, -height, height)
    plot.line(Ink(width=1.0), np.insert(time_s, breaks, np.nan), np.insert(value, breaks, np.nan))
    inside = (beats_s >= from_s) & (beats_s < from_s + length_s)
    if wave.value.size:
        plot.dots(Ink("accent"), "o", 6).setData(beats_s[inside], np.interp(beats_s[inside], wave.time_s, wave.value))
    plot.show_x(from_s, from_s + length_s)
    plot.box.setYRange(-limit, limit, padding=0)
    return plot


def _intervals(analysis: Analysis) -> Part:
    from dawnbeat.ui.window.parts.drawing import Ink
    from dawnbeat.ui.window.parts.plots import Plot
    from dawnbeat.ui.window.parts.saving import Part
    from dawnbeat.ui.window.parts.theme import Still

    intervals, kept = analysis.intervals, analysis.intervals.kept
    plot = Plot(Still(), "Intervals", ("Time", "s"), ("Interval", "ms"))
    plot.dots(Ink(), "o", 6).setData(intervals.end_s[kept], intervals.interval_ms[kept])
    legend = "● kept"
    if len(intervals):
        plot.box.setXRange(float(intervals.start_s[0]), float(intervals.end_s[-1]), padding=_ROOM)
        usual = intervals.interval_ms[kept] if kept.any() else intervals.interval_ms
        low, high = 0.7 * float(usual.min()), 1.3 * float(usual.max())
        plot.box.setYRange(low, high, padding=_ROOM)
        if not kept.all():
            lost = np.clip(intervals.interval_ms[~kept], low, high)
            plot.dots(Ink("soft"), "x", 9).setData(intervals.end_s[~kept], lost)
            legend += "    ✕ left out; one beyond the axis stands at its edge"
    return Part(plot, 1.0, "Intervals over time", legend, 0.0, 0.66)


def _pairs(analysis: Analysis) -> Part:
    from dawnbeat.ui.window.parts.drawing import Ink
    from dawnbeat.ui.window.parts.plots import Plot
    from dawnbeat.ui.window.parts.saving import Part
    from dawnbeat.ui.window.parts.theme import Still

    intervals, kept = analysis.intervals, analysis.intervals.kept
    both = kept[1:] & kept[:-1]
    plot = Plot(Still(), "Pairs", ("Interval", "ms"), ("Next interval", "ms"))
    plot.dots(Ink(), "o", 6, filled=False).setData(intervals.interval_ms[:-1][both], intervals.interval_ms[1:][both])
    if kept.any():
        ends = float(intervals.interval_ms[kept].min()), float(intervals.interval_ms[kept].max())
        plot.box.setRange(xRange=ends, yRange=ends, padding=0.08)
    return Part(plot, 1.0, "Each interval against the next", "", 0.67, 0.33)


def _write(figure: Figure, out: Path) -> None:
    from dawnbeat.ui.window.parts.saving import packed, write_whole

    write_whole(out, packed(figure, out.suffix.lower().lstrip(".")), "write the picture")
