"""The recording of one morning in three plots on one time axis: light, pulse with its beats, intervals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from PySide6.QtCore import Signal

from dawnbeat.morning.reading_text import clock
from dawnbeat.morning.revising import Reviewed, beat_times_s
from dawnbeat.shared.reading import REASONS, Intervals, Reason
from dawnbeat.shared.trace import CHANNELS, FloatArray
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.drawing import Ink, legend_of
from dawnbeat.ui.window.parts.layouts import let_shrink, stack
from dawnbeat.ui.window.parts.plots import Plot

# pyqtgraph's symbol and the letter that the legend shows for it.
MARKS: dict[Reason, tuple[str, str]] = {
    "movement": ("x", "✕"),
    "missed beat": ("t", "▽"),
    "extra beat": ("t1", "△"),
    "irregular beat": ("d", "◇"),
    "gap": ("+", "+"),
    "weak pulse": ("s", "□"),
}


class DayPlots(View):
    """beat_chosen: the number of a beat, 0 for the first."""

    beat_chosen = Signal(int)

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.beats_s: FloatArray = np.zeros(0)
        self.legend = label("small", "")
        self.light = Plot(context, "Light of the recording", ("", ""), ("Light", "%"), move_y=False)
        self.pulse = Plot(context, "Pulse with its beats", ("", ""), ("Pulse", "‰"), move_y=False)
        self.intervals = Plot(context, "Beat-to-beat intervals", ("Time", "s"), ("Interval", "ms"), move_y=False)
        self.plots = (self.light, self.pulse, self.intervals)
        stack(self, self.legend, (self.light, 2), (self.pulse, 3), (self.intervals, 4), gap=2)
        let_shrink(*self.plots)
        for plot in self.plots:
            plot.readout.hide()
            plot.pressed.connect(self._pressed)
            plot.stepped.connect(self.step)
            plot.when_home(self.show_all)
        for plot in self.plots[:2]:
            plot.follow_x(self.intervals)
            plot.hide_x_values(("Time", "s"))
        self._light = self.light.line(Ink("ink", width=1.0))
        self._wave = self.pulse.line(Ink("ink", width=1.2))
        self._kept_beats = self.pulse.dots(Ink("accent"), "o", 7)
        self._other_beats = self.pulse.dots(Ink("ink"), "o", 8, filled=False)
        self._kept_line = self.intervals.line(Ink("soft", width=1.0))
        self._kept = self.intervals.dots(Ink("ink"), "o", 6)
        self._left_out = {
            reason: self.intervals.dots(Ink("ink"), MARKS[reason][0], 10, filled=False) for reason in REASONS
        }
        self._cursors = [plot.upright(Ink("accent", 190, 1.5)) for plot in self.plots]
        self._chosen = -1
        self.choose(-1)

    def show_recording(self, intervals: Intervals, reviewed: Reviewed | None, channel: str | None) -> None:
        """Draw a reading; without its recording only the intervals are there."""
        self.beats_s = beat_times_s(intervals)
        for plot in self.plots[:2]:
            plot.setVisible(reviewed is not None)
        if reviewed is not None:
            self._draw_light(reviewed, channel)
            wave = reviewed.analysis.wave
            self._wave.setData(wave.time_s, wave.value)
            self._draw_beats(intervals, wave.time_s, wave.value)
        self._draw_intervals(intervals)
        self.legend.setText(_legend(intervals.left_out))
        for plot in self.plots:
            plot.legend = self.legend.text()

    def arrange(self) -> None:
        """As much of each plot as can be read."""
        for plot, least in zip(self.plots, (80, 110, 195), strict=True):
            plot.setMinimumHeight(self.context.theme.px(least))

    def show_all(self) -> None:
        """Show the whole recording."""
        if self.beats_s.size:
            self.intervals.show_data(float(self.beats_s[0]), float(self.beats_s[-1]))

    def choose(self, beat: int) -> None:
        """Mark a beat, and bring it into view; -1 marks none."""
        self._chosen = beat
        there = 0 <= beat < self.beats_s.size
        for cursor in self._cursors:
            cursor.setVisible(there)
            if there:
                cursor.setValue(float(self.beats_s[beat]))
        if there:
            self.intervals.bring_into_view(float(self.beats_s[beat]))

    def step(self, way: int) -> None:
        """Ask for the next beat (+1) or the one before (-1)."""
        if self.beats_s.size:
            self.beat_chosen.emit(min(max(self._chosen + way, 0), self.beats_s.size - 1))

    def _draw_light(self, reviewed: Reviewed, channel: str | None) -> None:
        trace = reviewed.trace
        shown = channel if channel in CHANNELS else "red"
        column = trace.colour[:, CHANNELS.index(shown)]
        gaps = np.flatnonzero(np.diff(trace.time_s) > reviewed.analysis.settings.max_gap_s) + 1
        mean = float(column.mean()) or 1.0
        values = np.insert(100.0 * (column / mean - 1.0), gaps, np.nan)
        self._light.setData(np.insert(trace.time_s, gaps, trace.time_s[gaps - 1]), values)
        self.light.canvas.setAccessibleName(f"Light of the recording, {shown}, per cent around its mean")
        _fit_y(self.light, values)

    def _draw_beats(self, intervals: Intervals, time_s: FloatArray, wave: FloatArray) -> None:
        if not time_s.size or not self.beats_s.size:
            self._kept_beats.setData([], [])
            self._other_beats.setData([], [])
            return
        height = np.interp(self.beats_s, time_s, wave)
        kept = np.zeros(self.beats_s.size, dtype=np.bool_)
        kept[:-1] |= intervals.kept
        kept[1:] |= intervals.kept
        self._kept_beats.setData(self.beats_s[kept], height[kept])
        self._other_beats.setData(self.beats_s[~kept], height[~kept])
        _fit_y(self.pulse, wave)

    def _draw_intervals(self, intervals: Intervals) -> None:
        end_s, length_ms, kept = intervals.end_s, intervals.interval_ms, intervals.kept
        self._kept_line.setData(end_s, np.where(kept, length_ms, np.nan))
        self._kept.setData(end_s[kept], length_ms[kept])
        # A gap of many seconds must not press everything else flat: what lies beyond stands at the edge.
        shown = length_ms[kept] if kept.any() else length_ms
        if not shown.size:
            return
        spread = max(float(np.ptp(shown)), 100.0)
        low, high = float(shown.min()) - 0.35 * spread, float(shown.max()) + 0.35 * spread
        self.intervals.box.setYRange(low, high, padding=0.04)
        reasons = np.array([reason or "" for reason in intervals.left_out])
        for reason, dots in self._left_out.items():
            which = reasons == reason
            dots.setData(end_s[which], np.clip(length_ms[which], low, high))

    def _pressed(self, x: float, _y: float) -> None:
        if self.beats_s.size:
            self.beat_chosen.emit(int(np.abs(self.beats_s - x).argmin()))


def _fit_y(plot: Plot, values: FloatArray) -> None:
    values = values[np.isfinite(values)]
    if values.size:
        low, high = np.percentile(values, (0.5, 99.5)).tolist()
        spread = max(high - low, 1e-6)
        plot.box.setYRange(low - 0.2 * spread, high + 0.2 * spread, padding=0)


def _legend(left_out: Sequence[Reason | None]) -> str:
    parts = ["● counts"]
    for reason in REASONS:
        count = sum(each == reason for each in left_out)
        if count:
            parts.append(f"{MARKS[reason][1]} {reason} ({count})")
    return legend_of(*parts)


def about_beat(beat: int, intervals: Intervals) -> str:
    """A beat in words: when it was, and what the intervals around it are."""
    beats_s = beat_times_s(intervals)
    if not 0 <= beat < beats_s.size:
        return "No beat is chosen: press one on a plot, or use Shift with the arrow keys."
    words = [f"Beat {beat + 1} of {beats_s.size}, at {clock(beats_s[beat])} ({beats_s[beat]:.2f} s)"]
    for position, side in ((beat - 1, "before"), (beat, "after")):
        if 0 <= position < len(intervals):
            why: Any = intervals.left_out[position]
            words.append(f"{side} it {intervals.interval_ms[position]:.0f} ms, {'counts' if why is None else why}")
    return "; ".join(words) + "."
