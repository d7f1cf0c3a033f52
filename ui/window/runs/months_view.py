"""Months or years: what was run, how fast at the same pulse, resting pulse and variability beside it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from PySide6.QtWidgets import QButtonGroup, QSizePolicy, QVBoxLayout, QWidget

from dawnbeat.shared.wording import PACE_UNIT, UNKNOWN, Units, bare_pace, clock, number, pace_of, percent, way
from dawnbeat.training import periods, zone_store
from dawnbeat.training.export_runs import export_periods
from dawnbeat.training.periods import Fixed, JudgedRun, PeriodSummary
from dawnbeat.ui.window.mornings.series import DAY_S, seconds_of
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.layouts import Flow
from dawnbeat.ui.window.parts.plots import Ink, Plot
from dawnbeat.ui.window.parts.tables import fit_rows, plain_table, write_rows

_WHERE = "Runs, months"
_NOTE = (
    "Pace and pulse come from steady minutes only: after the tenth, on the level, at the run's usual pace. A dash: "
    "fewer than 20 of them. Faster at the same pulse is commonly read as better endurance (common practice, no "
    "source); heat, hills and another sensor move it too. Rest and RMSSD are means of the usable mornings in your "
    "usual posture."
)
_PACE_STEP_S = 15


class MonthsView(QWidget):
    """Shows the periods as a plot of the pace at one pulse and as a table, newest first."""

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__()
        self.context = context
        self._today = today
        self._judged: Sequence[JudgedRun] = ()
        self._units: Units = "km"
        self.fixed: Fixed | None = None
        self.periods: list[PeriodSummary] = []
        self.said = label("", "What is compared")
        self.plot = Plot(context, "Pace at the same pulse", ("", ""), ("Pace", ""), dates=True, move_y=False)
        self.plot.readout.hide()
        self.plot.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self.plot.box.invertY(True)  # faster is higher
        self._line = self.plot.line(Ink("ink", 120, 1.2))
        self._dots = self.plot.dots(Ink("ink"), "o", 8)
        self.table = plain_table(("",) * 10, "Months or years, newest first")
        self._lay_out()
        context.theme_changed.connect(lambda _: self._fit())

    @property
    def years(self) -> bool:
        """Whether years are shown."""
        return self.years_button.isChecked()

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Work the periods out from these runs and the journal's mornings."""
        self._judged = judged
        today = self._today()
        with self.context.saying():
            mornings = periods.usual_mornings(self.context.journal, today)
            self._units = zone_store.chosen_units(self.context.journal)
            self.fixed = periods.fixed_of(judged, today)
            days = [*(each.run.local_date for each in judged), *(each.date for each in mornings)]
            period: periods.Period = "year" if self.years else "month"
            self.periods = periods.periods_of(judged, mornings, self.fixed, min(days, default=today), today, period)
            self._show()

    def save(self, out: Path) -> int:
        """Write the periods as CSV and return how many."""
        return export_periods(self.periods, self.fixed, out, overwrite=True)

    def _show(self) -> None:
        if self.fixed is None:
            self.said.setText("Paces are compared once there are twenty steady minutes of easy runs.")
        else:
            self.said.setText(
                f"<b>Pace at {self.fixed.pulse_bpm:.0f} bpm</b>, and pulse at "
                f"{pace_of(self.fixed.pace_s_per_km, self._units)}: the middle of your easy minutes of the last year."
            )
        self.table.setHorizontalHeaderLabels(
            [
                *("Year" if self.years else "Month", "Runs", "Time", self._units, "Easy runs", "Easy time"),
                *(PACE_UNIT[self._units], "Pulse, bpm", "Rest, bpm", "RMSSD, ms"),
            ]
        )
        write_rows(self.table, [self._cells(each) for each in reversed(self.periods)])
        known = [each for each in self.periods if each.pace_s_per_km is not None]
        self.plot.setVisible(bool(known))
        middle = np.array([seconds_of(each.first) + (182 if self.years else 15) * DAY_S for each in known])
        paces = np.array([each.pace_s_per_km or math.nan for each in known])
        self._dots.setData(middle, paces)
        self._line.setData(middle, paces)
        if known:
            low, high = float(paces.min()) - _PACE_STEP_S, float(paces.max()) + _PACE_STEP_S
            self.plot.box.setYRange(low, high, padding=0)
            step = _PACE_STEP_S if high - low < 120 else 4 * _PACE_STEP_S
            at = range(step * math.ceil(low / step), int(high) + 1, step)
            ticks = [(float(value), bare_pace(1000.0, value, self._units)) for value in at]
            self.plot.item.getAxis("left").setTicks([ticks])
            self.plot.name_axis("left", f"Pace, {PACE_UNIT[self._units]}", "")
            self._home()
        self._fit()

    def _home(self) -> None:
        if self.periods:
            last = self.periods[-1].first
            end = last + timedelta(days=366 if self.years else 31)
            self.plot.show_x(seconds_of(self.periods[0].first), seconds_of(end))

    def _cells(self, each: PeriodSummary) -> tuple[str, ...]:
        star = " *" if each.without_distance and each.distance_m is not None else ""
        return (
            f"{each.first:%Y}" if self.years else f"{each.first:%Y-%m}",
            str(each.runs),
            clock(each.duration_s) if each.runs else UNKNOWN,
            way(each.distance_m, self._units, 0) + star,
            f"{each.easy_runs} of {each.judged_runs}" if each.judged_runs else UNKNOWN,
            percent(each.easy_share),
            UNKNOWN if each.pace_s_per_km is None else bare_pace(1000.0, each.pace_s_per_km, self._units),
            number(each.pulse_bpm),
            number(each.resting_bpm),
            UNKNOWN if each.ln_rmssd is None else f"{math.exp(each.ln_rmssd):.0f}",
        )

    def _lay_out(self) -> None:
        tools = Flow()
        group = QButtonGroup(self)
        for words, keys, years in (("Months", "Alt+1", False), ("Years", "Alt+2", True)):
            button = controls.button(words, keys, f"Show one row a {words.lower()[:-1]}", None, _WHERE)
            button.setCheckable(True)
            button.setChecked(not years)
            group.addButton(button)
            tools.addWidget(button)
            if years:
                self.years_button = button
        self.years_button.toggled.connect(lambda _: self.show_runs(self._judged))
        self.plot.when_home(self._home)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(tools)
        layout.addWidget(self.said)
        layout.addWidget(self.plot, 1)
        layout.addWidget(self.table)
        layout.addWidget(label("small", "How to read it", f"* some runs are not in this sum. {_NOTE}"))
        layout.addStretch(0)
        self._fit()

    def _fit(self) -> None:
        self.plot.setMinimumHeight(self.context.theme.px(180))
        fit_rows(self.table, 8, self.context.theme.px(6))
