"""Weeks on one time axis: hours by zone, easy share, load, and the mornings below."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from PySide6.QtCore import Signal
from PySide6.QtWidgets import QLabel, QSizePolicy, QVBoxLayout, QWidget

from dawnbeat.journal.ranges import RangeSettings, counts, daily_ranges
from dawnbeat.shared.morning import ORIGINS, POSTURES, Morning
from dawnbeat.shared.trace import FloatArray
from dawnbeat.training.periods import EASY_AIM, EASY_TIME_AIM, Span, Week, monday_of
from dawnbeat.ui.window.mornings.series import DAY_S, day_of, seconds_of, seconds_of_days
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.plots import Ink, Plot
from dawnbeat.ui.window.parts.saving import Figure, Part
from dawnbeat.ui.window.runs.bars import Bar, StackedBars

_WEEK_S = 7.0 * DAY_S
_LEFT = (("Time", "h"), ("Easy", "%"), ("Load", ""), ("RMSSD", "ms"))
_TICKS_MS = (10, 15, 20, 30, 40, 60, 80, 120, 160, 240)


class WeeksChart(QWidget):
    """picked: the Monday of a week chosen here. opened: the same week was pressed again."""

    picked = Signal(object)
    opened = Signal(object)

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.weeks: Sequence[Week] = ()
        self.selected: date | None = None
        self.hours = Plot(context, "Hours by zone and week", ("", ""), _LEFT[0], dates=True, move_y=False)
        self.share = Plot(context, "Easy runs and easy time by week", ("", ""), _LEFT[1], dates=True, move_y=False)
        self.load = Plot(context, "Load by week", ("", ""), _LEFT[2], dates=True, move_y=False)
        self.mornings = Plot(context, "RMSSD of the mornings", ("", ""), _LEFT[3], dates=True, move_y=False)
        self.plots = (self.hours, self.share, self.load, self.mornings)
        self.legends = [_legend() for _ in self.plots]
        self._bars = StackedBars(self.hours)
        self.hours.item.addItem(self._bars)
        self._range = self.share.band(Ink("ink", 30))
        self.share.level(Ink("soft", width=1.2, dash=True), 100 * EASY_AIM)
        self.share.level(Ink("soft", 110, width=1.0, dash=True), 100 * EASY_TIME_AIM)
        self._share_line = self.share.line(Ink("ink", 120, 1.2))
        self._shares = self.share.dots(Ink("ink"), "o", 8)
        self._times = self.share.dots(Ink("soft"), "t1", 6)
        self._load_range = self.load.band(Ink("ink", 30))
        self._load_line = self.load.line(Ink("ink", 120, 1.2))
        self._loads = self.load.dots(Ink("ink"), "o", 8)
        self._usual = self.mornings.band(Ink("ink", 30))
        self._kept = self.mornings.dots(Ink("ink", 170), "o", 5)
        self._average = self.mornings.line(Ink("accent", width=2.4))
        self._cursors = [plot.band(Ink("accent", 45)) for plot in self.plots]
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2)
        for plot, legend, names in zip(self.plots, self.legends, _LEFT, strict=True):
            layout.addWidget(legend)
            layout.addWidget(plot, 5 if plot is self.hours else 4)
            plot.readout.hide()
            # Its own wish for height would make the page scroll where it could shrink.
            plot.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
            if plot is not self.mornings:
                plot.item.getAxis("bottom").setStyle(showValues=False)
                plot.name_axis("left", *names)
                plot.follow_x(self.mornings)
            plot.when_home(self.show_everything)
            plot.pressed.connect(self._pressed)
            plot.stepped.connect(self.step)
        self._keep_height()
        context.theme_changed.connect(self._keep_height)

    # Showing

    def show_weeks(self, weeks: Sequence[Week], easy_top: int) -> None:
        """Bars and easy shares. easy_top: of the zones in force."""
        self.weeks = weeks
        ran = any(week.runs for week in weeks)
        for plot in (self.hours, self.share, self.load):
            plot.know(ran)
        bars = []
        for week in weeks:
            at = seconds_of(week.first)
            hours = tuple(seconds / 3600 for seconds in week.zone_s)
            rest = max(week.duration_s / 3600 - sum(hours), 0.0)
            bars.append(Bar(at, at + _WEEK_S, hours, rest))
        self._bars.set_bars(bars, easy_top)
        highest = max((bar.height for bar in bars), default=1.0) or 1.0
        self.hours.box.setYRange(0, 1.08 * highest, padding=0)
        middle = np.array([seconds_of(week.first) + _WEEK_S / 2 for week in weeks])
        share, timed = (
            100 * np.array([math.nan if each is None else each for each in values])
            for values in ([week.easy_runs_share for week in weeks], [week.easy_share for week in weeks])
        )
        known = np.isfinite(share)
        self._shares.setData(middle[known], share[known])
        self._times.setData(middle[np.isfinite(timed)], timed[np.isfinite(timed)])
        self._share_line.setData(middle, share)
        low, high = _bounds([week.easy_runs_range for week in weeks])
        self._range.set_data(middle, 100 * low, 100 * high)
        least = float(np.nanmin(np.concatenate((share[known], timed)))) if known.any() else 50.0
        self.share.box.setYRange(min(40.0, 10 * math.floor(least / 10)) - 6, 106, padding=0)
        self.select(self.selected)

    def show_load(self, loads: Sequence[float | None], spans: Sequence[Span | None], name: str) -> None:
        """Each week's load over the span of the eight weeks before; None where a run of the week lacks it."""
        middle = np.array([seconds_of(week.first) + _WEEK_S / 2 for week in self.weeks])
        load = np.array([math.nan if each is None else each for each in loads], dtype=np.float64)
        known = np.isfinite(load)
        self._loads.setData(middle[known], load[known])
        self._load_line.setData(middle, load)
        low, high = _bounds(spans)
        self._load_range.set_data(middle, low, high)
        values = np.concatenate((load, high))
        highest = float(np.nanmax(values)) if np.isfinite(values).any() else 1.0
        self.load.box.setYRange(0, 1.1 * highest or 1.0, padding=0)
        self.load.name = f"{name[0].upper()}{name[1:]} by week"
        self.load.canvas.setAccessibleName(self.load.name)
        self.legends[2].setText(
            _spaced(f"● the week’s {name}", "▒ lowest to highest of the eight weeks before", "no dot: a run lacks it")
        )

    def show_mornings(self, mornings: Sequence[Morning], settings: RangeSettings) -> None:
        """Usable mornings in the usual posture, with the week's average and the usual range."""
        first, last = (mornings[0].date, mornings[-1].date) if mornings else 2 * (date.today(),)
        daily = daily_ranges(mornings, "ln_rmssd", first, last, settings)
        usual = (POSTURES[int(daily.posture[-1])], ORIGINS[int(daily.origin[-1])])
        used = [each for each in mornings if counts(each, "ln_rmssd") and (each.posture, each.origin) == usual]
        self.mornings.know(bool(used))
        at = np.array([seconds_of(each.date) for each in used], dtype=np.float64)
        value = np.array([each.ln_rmssd for each in used], dtype=np.float64)
        daily_s = seconds_of_days(daily.day) + DAY_S / 4
        # A morning stands at its own hour, some time into its day.
        self._kept.setData(at + DAY_S / 4, value)
        self._average.setData(daily_s, daily.week)
        self._usual.set_data(daily_s, daily.low, daily.high)
        low, high = (float(value.min()), float(value.max())) if value.size else (math.log(30), math.log(80))
        self.mornings.box.setYRange(low - 0.1, high + 0.1, padding=0)
        marks = [(math.log(ms), str(ms)) for ms in _TICKS_MS if low - 0.05 < math.log(ms) < high + 0.05]
        self.mornings.item.getAxis("left").setTicks([marks])

    def show_last(self, weeks: int | None) -> None:
        """Show the last so many weeks; None shows all."""
        if self.weeks:
            shown = self.weeks[-weeks:] if weeks else self.weeks
            first, last = seconds_of(shown[0].first), seconds_of(self.weeks[-1].first) + _WEEK_S
        else:
            last = seconds_of(monday_of(date.today())) + _WEEK_S
            first = last - 12 * _WEEK_S
        self.mornings.show_x(first - 0.02 * _WEEK_S, last + 0.02 * _WEEK_S)

    @property
    def picture(self) -> Figure:
        """All plots as they stand, each with what it shows."""
        parts = [
            Part(plot, 0.8, plot.name, legend.text()) for plot, legend in zip(self.plots, self.legends, strict=True)
        ]
        return Figure("weeks", parts, "Weeks")

    def show_everything(self) -> None:
        """Show every week there is."""
        self.show_last(None)

    def select(self, monday: date | None) -> None:
        """Shade a week in all plots; None takes the shade away."""
        self.selected = monday
        for plot, band in zip(self.plots, self._cursors, strict=True):
            if monday is None:
                band.set_data(np.zeros(0), np.zeros(0), np.zeros(0))
                continue
            low, high = plot.box.viewRange()[1]
            at = np.array([seconds_of(monday), seconds_of(monday) + _WEEK_S])
            band.set_data(at, np.full(2, low), np.full(2, high))

    def step(self, way: int) -> None:
        """Choose the next (+1) or previous (-1) week."""
        if not self.weeks:
            return
        last = self.weeks[-1].first
        wanted = last if self.selected is None else self.selected + way * timedelta(weeks=1)
        self.picked.emit(min(max(wanted, self.weeks[0].first), last))

    # Inside

    def _pressed(self, x: float, _y: float) -> None:
        if not self.weeks:
            return
        monday = monday_of(day_of(x))
        if self.weeks[0].first <= monday <= self.weeks[-1].first:
            (self.opened if monday == self.selected else self.picked).emit(monday)

    def _keep_height(self, _theme: object = None) -> None:
        for plot in self.plots:
            plot.setMinimumHeight(self.context.theme.px(92))
        self.legends[0].setText(
            _spaced("Hours by zone, zone 1 at the foot:", "▨ hatched above the top of easy", "┈ without a pulse")
        )
        self.legends[1].setText(
            _spaced(
                "● share of runs that were easy, aim 80 %",
                "▲ share of measured time, aim 90 %",
                "▒ runs: lowest to highest of the eight weeks before",
            )
        )
        self.legends[3].setText(_spaced("● a morning", "━ the week’s average", "▒ usual range"))


def _bounds(spans: Sequence[Span | None]) -> tuple[FloatArray, FloatArray]:
    """Low and high of each, nan where there is none."""
    found = np.array([(math.nan, math.nan) if each is None else each for each in spans], dtype=np.float64)
    low, high = found.reshape(-1, 2).T
    return low, high


def _legend() -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setProperty("class", "small")
    return label


def _spaced(*parts: str) -> str:
    return "    ".join(part.replace(" ", "\u00a0") for part in parts)
