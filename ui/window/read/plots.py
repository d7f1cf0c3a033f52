"""The plots of one reading: its intervals, successive intervals, and the trace with what was left out."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from PySide6.QtWidgets import QWidget

from dawnbeat.morning.reading_text import clock
from dawnbeat.shared.reading import Analysis, Intervals
from dawnbeat.shared.trace import FloatArray
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.drawing import Ink
from dawnbeat.ui.window.parts.layouts import row_of, stack, turn
from dawnbeat.ui.window.parts.plots import Plot

_SAME_SPAN_S = 0.6
_ANY_WIDTH = 16_777_215  # what Qt gives a widget that was never told


class LeftOut(NamedTuple):
    """A stretch of the reading that was left out, and why."""

    start_s: float
    end_s: float
    reason: str


def left_out_stretches(intervals: Intervals) -> list[LeftOut]:
    """Neighbouring intervals left out for the same reason make one stretch."""
    found: list[LeftOut] = []
    for start_s, end_s, reason in zip(
        intervals.start_s.tolist(), intervals.end_s.tolist(), intervals.left_out, strict=True
    ):
        if reason is None:
            continue
        if found and found[-1].reason == reason and start_s - found[-1].end_s < _SAME_SPAN_S:
            found[-1] = found[-1]._replace(end_s=end_s)
        else:
            found.append(LeftOut(start_s, end_s, reason))
    return found


def label_levels(middles: list[float], room: float) -> list[int]:
    """A row from 0 to 3 for each label, so that neighbours closer than `room` don't cover each other."""
    last = [-math.inf] * 4
    levels = []
    for middle in middles:
        level = next((k for k, before in enumerate(last) if middle - before >= room), len(last) - 1)
        last[level] = middle
        levels.append(level)
    return levels


def successive(intervals: Intervals) -> tuple[FloatArray, FloatArray]:
    """(p,) each kept interval and (p,) the kept one that follows it at once, in ms."""
    pairs = intervals.kept[:-1] & intervals.kept[1:]
    joined = np.abs(intervals.end_s[:-1] - intervals.start_s[1:]) < 1e-3
    rows = np.flatnonzero(pairs & joined)
    return intervals.interval_ms[rows], intervals.interval_ms[rows + 1]


class ReadingPlots(QWidget):
    """All plots of one reading; `show_analysis` fills them."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self._analysis: Analysis | None = None
        self._chosen = -1
        self._span_ms = (600.0, 1200.0)
        self.intervals = Plot(context, "Intervals over time", ("Time", "s"), ("Interval", "ms"))
        self.pairs = Plot(context, "Successive intervals", ("Interval", "ms"), ("Next interval", "ms"))
        self.trace = Plot(context, "Pulse wave, and what was left out", ("Time", "s"), ("Pulse", "‰"), move_y=False)
        self._line = self.intervals.line(Ink("soft", alpha=150, width=1.0))
        self._kept = self.intervals.dots(Ink("ink"), size=6)
        self._out = self.intervals.dots(Ink("accent", width=2.0), symbol="x", size=10)
        self._mark = self.intervals.dots(Ink("accent", width=2.0), size=14, filled=False)
        self._same = self.pairs.line(Ink("edge", width=1.5, dash=True))
        self._pairs = self.pairs.dots(Ink("ink", alpha=190), size=6)
        self._band = self.trace.band(Ink("wash", alpha=200))
        self._wave = self.trace.line(Ink("ink", width=1.2))
        self._beats = self.trace.dots(Ink("accent"), size=5)
        self._reasons = [self.trace.words(Ink("ink"), anchor=(0.5, 0.0)) for _ in range(40)]
        # pyqtgraph's own link lines axes up on the screen, which plots of two widths can't have.
        self.intervals.viewed.connect(lambda: self._follow(self.trace, self.intervals))
        self.trace.viewed.connect(lambda: self._follow(self.intervals, self.trace))
        self.intervals.pointed.connect(self._pointed)
        self.intervals.stepped.connect(self._stepped)
        for plot in (self.intervals, self.trace):
            plot.when_home(self._show_all)
        for plot in (self.intervals, self.pairs, self.trace):
            plot.setFixedHeight(context.theme.px(290))
            plot.readout.setWordWrap(True)
        self.pairs.box.setAspectLocked(True)
        self._top = row_of((self.intervals, 3), (self.pairs, 2), gap=18)
        stack(self, self._top, self.trace, gap=14)

    def show_analysis(self, analysis: Analysis) -> None:
        """Draw one analysis."""
        self._analysis, self._chosen = analysis, -1
        intervals, kept = analysis.intervals, analysis.intervals.kept
        end_s, length_ms = intervals.end_s, intervals.interval_ms
        self._line.setData(end_s, np.where(kept, length_ms, np.nan))
        self._kept.setData(end_s[kept], length_ms[kept])
        # A gap of seconds would press everything else flat: its cross stays at the edge.
        low_ms, high_ms = _span(length_ms[kept] if kept.any() else length_ms)
        self._out.setData(end_s[~kept], np.clip(length_ms[~kept], low_ms, high_ms))
        self._span_ms = low_ms, high_ms
        self._mark.setData([], [])
        first, following = successive(intervals)
        self._pairs.setData(first, following)
        both = np.concatenate((first, following))
        ends = [float(both.min()), float(both.max())] if both.size else []
        self._same.setData(ends, ends)
        self._draw_trace(analysis)
        self.pairs.readout.setText(f"{first.size} pairs of kept intervals")
        out = int((~kept).sum())
        self.intervals.readout.setText(f"{int(kept.sum())} intervals kept (dots), {out} left out (crosses)")
        stretches = left_out_stretches(intervals)
        self.trace.readout.setText(
            "Pulse wave, nothing left out" if not stretches else f"Pulse wave; left out, shaded: {_in_words(stretches)}"
        )
        self._show_all()
        self.pairs.show_all()

    def turn(self, beside: bool) -> None:
        """Beside or under each other."""
        turn(self._top, beside)
        # Both its axes have one scale: wider than high, most of it would be empty.
        self.pairs.setMaximumWidth(round(1.5 * self.pairs.height()) if beside else _ANY_WIDTH)

    def _draw_trace(self, analysis: Analysis) -> None:
        time_s, value = analysis.wave.time_s, analysis.wave.value
        breaks = np.flatnonzero(np.diff(time_s) > 0.25) + 1
        self._wave.setData(np.insert(time_s, breaks, np.nan), np.insert(value, breaks, np.nan))
        beats_s = analysis.beats.time_s
        self._beats.setData(beats_s, np.interp(beats_s, time_s, value) if time_s.size else np.zeros(0))
        height = float(np.percentile(np.abs(value), 99)) * 1.6 if value.size else 1.0
        self.trace.box.setYRange(-height, height, padding=0)
        stretches = left_out_stretches(analysis.intervals)
        self._band.set_stretches([(each.start_s, each.end_s) for each in stretches], -height, height)
        for words in self._reasons:
            words.setText("")
        levels = label_levels([(each.start_s + each.end_s) / 2 for each in stretches], 0.11 * analysis.duration_s)
        for words, stretch, level in zip(self._reasons, stretches, levels, strict=False):
            words.setText(stretch.reason)
            words.setPos((stretch.start_s + stretch.end_s) / 2, height * (1.0 - 0.2 * level))

    def _show_all(self) -> None:
        if self._analysis is None:
            return
        duration_s = max(self._analysis.duration_s, 1.0)
        self.intervals.show_data(0.0, duration_s)
        low_ms, high_ms = self._span_ms
        margin_ms = 0.06 * (high_ms - low_ms)
        self.intervals.box.setYRange(low_ms - margin_ms, high_ms + margin_ms, padding=0)

    def _follow(self, follower: Plot, leader: Plot) -> None:
        wanted = leader.visible_x()
        if not np.allclose(follower.visible_x(), wanted):
            follower.show_x(*wanted)

    def _pointed(self, x: float, _y: float) -> None:
        if self._analysis is None or math.isnan(x) or not len(self._analysis.intervals):
            return
        self._choose(int(np.argmin(np.abs(self._analysis.intervals.end_s - x))))

    def _stepped(self, step: int) -> None:
        if self._analysis is not None and len(self._analysis.intervals):
            self._choose(min(max(self._chosen + step, 0), len(self._analysis.intervals) - 1))

    def _choose(self, number: int) -> None:
        assert self._analysis is not None
        self._chosen = number
        intervals = self._analysis.intervals
        end_s, length_ms = float(intervals.end_s[number]), float(intervals.interval_ms[number])
        why = intervals.left_out[number]
        self._mark.setData([end_s], [min(max(length_ms, self._span_ms[0]), self._span_ms[1])])
        self.intervals.readout.setText(
            f"{clock(end_s)}: {length_ms:.0f} ms, {60000 / length_ms:.0f} bpm"
            f"{', kept' if why is None else f', left out: {why}'}"
        )


def _span(length_ms: FloatArray) -> tuple[float, float]:
    """From somewhat below the shortest to somewhat above the longest."""
    if not length_ms.size:
        return 600.0, 1200.0
    low_ms, high_ms = float(length_ms.min()), float(length_ms.max())
    room_ms = max(0.35 * (high_ms - low_ms), 40.0)
    return low_ms - room_ms, high_ms + room_ms


def _in_words(stretches: list[LeftOut]) -> str:
    return ", ".join(_words(each) for each in stretches[:4]) + (
        f" and {len(stretches) - 4} more" if len(stretches) > 4 else ""
    )


def _words(stretch: LeftOut) -> str:
    start, end = clock(stretch.start_s), clock(stretch.end_s)
    return f"{stretch.reason} at {start}" if start == end else f"{stretch.reason} {start} to {end}"
