"""The chart of months: RMSSD above, resting pulse below, on one time axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from functools import partial

import numpy as np
from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtGui import QFontMetricsF

from dawnbeat.journal.ranges import Measure, RangeSettings
from dawnbeat.journal.series import Series, series_of
from dawnbeat.morning.reading_text import interval_words, verdict_lines
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.trace import BoolArray
from dawnbeat.shared.wording import DAY_S, day_of, long_day, seconds_of
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.drawing import Ink, legend_of, logarithms
from dawnbeat.ui.window.parts.layouts import stack
from dawnbeat.ui.window.parts.plots import Look, Plot
from dawnbeat.ui.window.parts.saving import Figure, Part

LEGEND = legend_of(
    "● a morning with its 95 % interval",
    "━ the week's average",
    "▒ usual range",
    "△ another posture",
    "◇ ill or not comparable",
    "✕ not usable, at the foot",
)
# Beyond this many mornings in view the bars would be one grey fog.
_MOST_BARS = 900
_MARGIN_DAYS = 3


class MorningsChart(View):
    """Both plots. picked: a day was chosen on the chart. opened: its day view is wanted."""

    picked = Signal(object)
    opened = Signal(object)

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.readings: Sequence[StoredReading] = ()
        self.selected: date | None = None
        self.readout = label("small", "The morning under the pointer", LEGEND)
        self.above, self.below = halves(context)
        self.below.plot.follow_x(self.above.plot)
        self.above.plot.hide_x_values()
        stack(self, self.readout, (self.above.plot, 3), (self.below.plot, 2), gap=4)
        for half in (self.above, self.below):
            half.plot.readout.hide()
            half.plot.legend = LEGEND
            half.plot.when_home(partial(self.show_last, None))
            half.plot.pointed.connect(self._pointed)
            half.plot.pressed.connect(self._pressed)
            half.plot.stepped.connect(self.step)

    def set_readings(self, readings: Sequence[StoredReading], ranges: RangeSettings) -> None:
        """Draw these readings, by day as the journal gives them; the view stays where it is."""
        self.readings = readings
        for half in (self.above, self.below):
            half.draw(series_of(readings, half.measure, ranges))
            half.plot.know(bool(readings))
        self.select(self.selected)

    @property
    def picture(self) -> Figure:
        """Both plots as they stand, with what the marks mean."""
        parts = (Part(self.above.plot, 1.3, "RMSSD, ms"), Part(self.below.plot, 1.0, "Resting pulse, bpm", LEGEND))
        return Figure("mornings", parts, "Mornings")

    def arrange(self) -> None:
        """Room for two lines always, so that the plots don't jump while the pointer moves."""
        lines = 2 * QFontMetricsF(self.context.theme.font(0.85)).lineSpacing()
        self.readout.setMinimumHeight(round(lines) + 4)

    def show_last(self, days: int | None) -> None:
        """Show the last so many days up to the last morning; None shows all."""
        day_s = self.above.series.day_s if self.above.series is not None else np.zeros(0)
        last = day_s[-1] if day_s.size else seconds_of(date.today())
        first = last - (days or 28) * DAY_S
        if days is None and day_s.size:
            first = min(day_s[0], last - 13 * DAY_S)
        edge = 0.8 * DAY_S + 0.015 * (last - first)
        self.above.plot.show_x(first - edge, last + edge)

    def select(self, day: date | None) -> None:
        """Mark a day, as the table does; None takes the mark away."""
        self.selected = day
        for half in (self.above, self.below):
            half.mark(None if day is None else seconds_of(day))
        self._pointed(math.nan, math.nan)

    def step(self, way: int) -> None:
        """Choose the next (+1) or previous (-1) morning."""
        series = self.above.series
        if series is None or not series.day_s.size:
            return
        if self.selected is None:
            place = series.day_s.size - 1
        else:
            place = series.nearest(seconds_of(self.selected) + way * 0.01) or 0
            if day_of(series.day_s[place]) == self.selected:
                place = min(max(place + way, 0), series.day_s.size - 1)
        day = day_of(series.day_s[place])
        self.above.plot.bring_into_view(seconds_of(day))
        self.select(day)
        self.picked.emit(day)

    def _pointed(self, x: float, _y: float) -> None:
        if math.isfinite(x):
            self._tell(x)
        elif self.selected is not None:
            self._tell(seconds_of(self.selected))
        else:
            self.readout.setText(LEGEND)

    def _pressed(self, x: float, _y: float) -> None:
        place = None if self.above.series is None else self.above.series.nearest(x)
        if place is not None and self.above.series is not None:
            day = day_of(self.above.series.day_s[place])
            again = day == self.selected
            self.select(day)
            (self.opened if again else self.picked).emit(day)

    def _tell(self, at_s: float) -> None:
        series = self.above.series
        place = None if series is None else series.nearest(at_s)
        if series is None or place is None:
            return
        reading = self.readings[int(series.reading[place])]
        text = f"<b>{long_day(reading.local_date)}</b>, {reading.began:%H:%M}, {reading.posture}: "
        if reading.verdict.usable:
            text += f"RMSSD {interval_words(reading, 'rmssd_ms', 'ms')}, pulse "
            text += f"{interval_words(reading, 'mean_hr_bpm', 'bpm')}"
        else:
            text += f"not usable, {'; '.join(verdict_lines(reading.verdict))}"
        within = round((series.day_s[place] - series.daily_s[0]) / DAY_S)
        week, low, high = (values[within] for values in (series.daily.week, series.daily.low, series.daily.high))
        if math.isfinite(week):
            text += f" · week {math.exp(week):.0f} ms"
        if math.isfinite(low):
            text += f" · usual {math.exp(low):.0f} to {math.exp(high):.0f} ms"
        self.readout.setText(text)


def halves(context: Look) -> tuple[Half, Half]:
    """RMSSD above, and the resting pulse below."""
    return (
        Half(context, "RMSSD by morning", "ln_rmssd", ("RMSSD", "ms")),
        Half(context, "Resting pulse by morning", "resting_pulse_bpm", ("Pulse", "bpm")),
    )


class Half:
    """One measure: its plot and everything drawn in it. Its value axis fits itself to what is in view."""

    def __init__(self, context: Look, name: str, measure: Measure, axis: tuple[str, str]) -> None:
        self.measure = measure
        self.series: Series | None = None
        self.plot = Plot(context, name, ("", ""), axis, dates=True, move_y=False)
        if measure == "ln_rmssd":
            self.plot.number("left", logarithms)
        self.band = self.plot.band(Ink("ink", 30))
        self.bars = self.plot.strokes(Ink("soft", width=1.0))
        self.week = self.plot.line(Ink("accent", width=2.6))
        self.kept = self.plot.dots(Ink("ink"), "o", 6.5)
        self.other = self.plot.dots(Ink("ink"), "t1", 9, filled=False)
        self.apart = self.plot.dots(Ink("ink"), "d", 9, filled=False)
        self.unusable = self.plot.dots(Ink("ink"), "x", 8)
        self.ring = self.plot.dots(Ink("accent", width=2.2), "o", 15, filled=False)
        self.ring.setZValue(-5)
        self.cursor = self.plot.upright(Ink("accent", 150, 1.0))
        self.cursor.hide()
        self.week.setZValue(10)
        self._shown = (0.0, 0.0)
        self._crowded: bool | None = None
        self.plot.viewed.connect(self._view)

    def draw(self, series: Series) -> None:
        """Draw a measure over the days."""
        self.series = series
        daily, good = series.daily, series.usable & np.isfinite(series.value)
        self.week.setData(series.daily_s, daily.week)
        self.band.set_data(series.daily_s, daily.low, daily.high)
        self._put(self.kept, good & ~series.other_posture & ~series.set_apart)
        self._put(self.other, good & series.other_posture & ~series.set_apart)
        self._put(self.apart, good & series.set_apart)
        self._shown = (0.0, 0.0)
        self._view()

    def mark(self, at_s: float | None) -> None:
        """Ring the morning of this day; None for none."""
        self.cursor.setVisible(at_s is not None)
        if at_s is None or self.series is None:
            self.ring.setData([], [])
            return
        self.cursor.setValue(at_s)
        here = (self.series.day_s == at_s) & self.series.usable & np.isfinite(self.series.value)
        self._put(self.ring, here)

    def _put(self, dots: object, which: BoolArray) -> None:
        assert self.series is not None
        dots.setData(self.series.day_s[which], self.series.value[which])  # type: ignore[attr-defined]

    def _view(self) -> None:
        """Fit the value axis to what is in view, and draw the bars of that only."""
        series = self.series
        if series is None:
            return
        low_s, high_s = self.plot.visible_x()
        first, last = np.searchsorted(
            series.day_s, (low_s - _MARGIN_DAYS * DAY_S, high_s + _MARGIN_DAYS * DAY_S)
        ).tolist()
        rows = slice(first, last)
        good = (series.usable & np.isfinite(series.value))[rows]
        x, low, high = series.day_s[rows][good], series.low[rows][good], series.high[rows][good]
        self._make_room(x.size > _MOST_BARS)
        if x.size > _MOST_BARS:
            x = x[:0]
            low, high = low[:0], high[:0]
        with QSignalBlocker(self.plot):
            self.bars.setData(np.repeat(x, 2), np.column_stack((low, high)).ravel())
            self._fit(np.concatenate((series.value[rows][good], low, high)))
        bad = ~series.usable[rows]
        foot = self._shown[0] + 0.04 * (self._shown[1] - self._shown[0])
        self.unusable.setData(series.day_s[rows][bad], np.full(int(bad.sum()), foot))

    def _make_room(self, crowded: bool) -> None:
        """Smaller marks where years are in view, so that the week's line stays to be seen."""
        if crowded == self._crowded:
            return
        self._crowded = crowded
        for dots, size in ((self.kept, 6.5), (self.other, 9.0), (self.apart, 9.0), (self.unusable, 8.0)):
            dots.setSize(self.plot.context.theme.px(size * (0.45 if crowded else 1.0)))
            dots.setOpacity(0.45 if crowded else 1.0)

    def _fit(self, values: np.typing.NDArray[np.float64]) -> None:
        values = values[np.isfinite(values)]
        floor = 0.3 if self.measure == "ln_rmssd" else 6.0
        middle = {"ln_rmssd": 3.8, "resting_pulse_bpm": 55.0}[self.measure]
        low, high = (float(values.min()), float(values.max())) if values.size else (middle, middle)
        spread = max(high - low, floor)
        wanted = ((low + high - spread) / 2 - 0.14 * spread, (low + high + spread) / 2 + 0.06 * spread)
        if max(abs(a - b) for a, b in zip(wanted, self._shown, strict=True)) < 0.03 * spread:
            return
        self._shown = wanted
        self.plot.box.setYRange(*wanted, padding=0)
