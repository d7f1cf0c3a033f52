"""Weeks on one time axis: hours by zone as stacked bars, easy share, load, and the mornings below."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

import numpy as np
from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QPainter, QPen
from PySide6.QtWidgets import QGraphicsItem, QStyleOptionGraphicsItem, QWidget

from dawnbeat.journal.ranges import RangeSettings, counts, daily_ranges
from dawnbeat.shared.morning import ORIGINS, POSTURES, Morning
from dawnbeat.shared.trace import FloatArray
from dawnbeat.shared.wording import DAY_S, capital, day_of, seconds_of
from dawnbeat.training.periods import EASY_AIM, EASY_TIME_AIM, Span, Week, monday_of
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.drawing import Ink, legend_of, logarithms
from dawnbeat.ui.window.parts.layouts import let_shrink, stack
from dawnbeat.ui.window.parts.plots import Plot
from dawnbeat.ui.window.parts.saving import Figure, Part
from dawnbeat.ui.window.parts.theme import paint_zone

_WEEK_S = 7.0 * DAY_S
_GAP = 2
_BAR_GAP = 0.12  # of a week, left free at either side of its bar
_BESIDE_WEEK = 0.1  # of a week, less than that
# Of each plot; that of the load is written with the load's name.
_LEGENDS = (
    ("Hours by zone, zone 1 at the foot:", "▨ hatched above the top of easy", "┈ without a pulse"),
    (
        "● share of runs that were easy, aim 80 %",
        "▲ share of measured time, aim 90 %",
        "▒ runs: lowest to highest of the eight weeks before",
    ),
    (),
    ("● RMSSD of a morning", "━ the week's average", "▒ usual range"),
)


class WeeksChart(View):
    """picked: the Monday of a week chosen here. opened: the same week was pressed again."""

    picked = Signal(object)
    opened = Signal(object)

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.weeks: Sequence[Week] = ()
        self.selected: date | None = None
        self.hours, self.share, self.load, self.mornings = (
            Plot(context, name, ("", ""), axis, dates=True, move_y=False)
            for name, axis in (
                ("Hours by zone and week", ("Time", "h")),
                ("Easy runs and easy time by week", ("Easy", "%")),
                ("Load by week", ("Load", "AU")),
                ("RMSSD of the mornings", ("ms", "")),
            )
        )
        self.plots = (self.hours, self.share, self.load, self.mornings)
        self.mornings.number("left", logarithms)
        self.legends = [label("small", "", legend_of(*parts)) for parts in _LEGENDS]
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
        rows = zip(self.legends, self.plots, (5, 4, 4, 4), strict=True)
        stack(self, *(part for legend, plot, share in rows for part in ((legend, 0), (plot, share))), gap=_GAP)
        let_shrink(*self.plots)
        for plot in self.plots:
            plot.readout.hide()
            if plot is not self.mornings:
                plot.hide_x_values()
                plot.follow_x(self.mornings)
            plot.when_home(partial(self.show_last, None))
            plot.pressed.connect(self._pressed)
            plot.stepped.connect(self.step)
        self.arrange()

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
        self.load.name = f"{capital(name)} by week"
        self.load.canvas.setAccessibleName(self.load.name)
        self.legends[2].setText(
            legend_of(
                f"● the week's {name}",
                "▒ lowest to highest of the eight weeks before",
                "no dot: a run lacks it",
            )
        )
        self.arrange()

    def show_mornings(self, mornings: Sequence[Morning], settings: RangeSettings) -> None:
        """Usable mornings in the usual posture, with the week's average and the usual range."""
        first, last = (mornings[0].date, mornings[-1].date) if mornings else 2 * (date.today(),)
        daily = daily_ranges(mornings, "ln_rmssd", first, last, settings)
        usual = (POSTURES[int(daily.posture[-1])], ORIGINS[int(daily.origin[-1])])
        used = [each for each in mornings if counts(each, "ln_rmssd") and (each.posture, each.origin) == usual]
        self.mornings.know(bool(used))
        at = np.array([seconds_of(each.date) for each in used], dtype=np.float64)
        value = np.array([each.ln_rmssd for each in used], dtype=np.float64)
        daily_s = seconds_of(first) + DAY_S * (daily.day - daily.day[0] + 0.25)
        # A morning stands at its own hour, some time into its day.
        self._kept.setData(at + DAY_S / 4, value)
        self._average.setData(daily_s, daily.week)
        self._usual.set_data(daily_s, daily.low, daily.high)
        low, high = (float(value.min()), float(value.max())) if value.size else (math.log(30), math.log(80))
        self.mornings.box.setYRange(low - 0.1, high + 0.1, padding=0)

    def show_last(self, weeks: int | None) -> None:
        """Show the last so many weeks; None shows all."""
        if self.weeks:
            shown = self.weeks[-weeks:] if weeks else self.weeks
            first, last = seconds_of(shown[0].first), seconds_of(self.weeks[-1].first) + _WEEK_S
        else:
            last = seconds_of(monday_of(date.today())) + _WEEK_S
            first = last - 12 * _WEEK_S
        if weeks is not None and weeks < len(self.weeks):
            # With more to the left there would be a strip of a bar of the week before.
            self.mornings.show_x(first - _BESIDE_WEEK * _WEEK_S, last + _BESIDE_WEEK * _WEEK_S)
        else:
            self.mornings.show_data(first, last)

    @property
    def picture(self) -> Figure:
        """All plots as they stand, each with what it shows."""
        parts = [
            Part(plot, 0.8, plot.name, legend.text()) for plot, legend in zip(self.plots, self.legends, strict=True)
        ]
        return Figure("weeks", parts, "Weeks")

    def select(self, monday: date | None) -> None:
        """Shade a week in all plots; None takes the shade away."""
        self.selected = monday
        shaded = [] if monday is None else [(seconds_of(monday), seconds_of(monday) + _WEEK_S)]
        for plot, band in zip(self.plots, self._cursors, strict=True):
            band.set_stretches(shaded, *plot.box.viewRange()[1])

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

    def arrange(self) -> None:
        """As much of each plot as can be read."""
        for plot in self.plots:
            plot.setMinimumHeight(self.context.theme.px(80 if plot is not self.plots[-1] else 80 + 28))  # its dates
        self.setMinimumHeight(self._needed(self.width()))

    def _needed(self, width: int) -> int:
        """The height that plots and legends need: a legend without room would lie on the plot below it."""
        legends = sum(each.heightForWidth(width) for each in self.legends)
        plots = sum(plot.minimumHeight() for plot in self.plots)
        return legends + plots + _GAP * (len(self.legends) + len(self.plots) - 1)


def _bounds(spans: Sequence[Span | None]) -> tuple[FloatArray, FloatArray]:
    """Low and high of each, nan where there is none."""
    found = np.array([(math.nan, math.nan) if each is None else each for each in spans], dtype=np.float64)
    low, high = found.reshape(-1, 2).T
    return low, high


@dataclass(frozen=True)
class Bar:
    """One week. low, high: its ends on the x axis. parts: heights from zone 1 up. rest: height without a pulse."""

    low: float
    high: float
    parts: tuple[float, ...]
    rest: float

    @property
    def height(self) -> float:
        """Of the whole bar."""
        return sum(self.parts) + self.rest


class StackedBars(QGraphicsItem):
    """Only what is in view is drawn."""

    def __init__(self, plot: Plot) -> None:
        """plot: whose ink they are drawn in, on the screen or on paper."""
        super().__init__()
        self._plot = plot
        self._bars: Sequence[Bar] = ()
        self._easy_top = 1
        self._count = 1
        self._bounds = QRectF()
        # Without it the exposed part is the whole item, and years of bars would be drawn for a month.
        self.setFlag(QGraphicsItem.GraphicsItemFlag.ItemUsesExtendedStyleOption)

    def set_bars(self, bars: Sequence[Bar], easy_top: int) -> None:
        """Draw these, given from left to right."""
        self.prepareGeometryChange()
        self._bars, self._easy_top = bars, easy_top
        self._count = max((len(bar.parts) for bar in bars), default=1)
        highest = max((bar.height for bar in bars), default=0.0)
        self._bounds = QRectF(bars[0].low, 0, bars[-1].high - bars[0].low, highest) if bars else QRectF()
        self.update()

    def boundingRect(self) -> QRectF:  # noqa: N802  Qt's name
        """Of all bars, in the axes' units."""
        return self._bounds

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None) -> None:
        """Draw the bars in view."""
        shown: QRectF = option.exposedRect
        to_device = painter.worldTransform()
        painter.save()
        painter.resetTransform()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        theme = self._plot.theme
        for bar in self._bars:
            if bar.high < shown.left() or bar.low > shown.right():
                continue
            foot = 0.0
            for number, height in enumerate(bar.parts, start=1):
                if height > 0:
                    rect = to_device.mapRect(_inset(bar, foot, height))
                    paint_zone(painter, _apart(rect), theme, number, self._easy_top, self._count)
                foot += height
            if bar.rest > 0:
                painter.setPen(QPen(theme.colour("soft"), 1.0, Qt.PenStyle.DotLine))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawRect(_apart(to_device.mapRect(_inset(bar, foot, bar.rest))))
        painter.restore()


def _inset(bar: Bar, foot: float, height: float) -> QRectF:
    return QRectF(bar.low, foot, bar.high - bar.low, height)


def _apart(rect: QRectF) -> QRectF:
    """A little narrower than the week, so that weeks stand apart."""
    gap = _BAR_GAP * rect.width()
    return rect.adjusted(gap, 0, -gap, 0)
