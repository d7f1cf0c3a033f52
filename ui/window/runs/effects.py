"""What training did: months and years at the same pulse, and where the mornings after the hardest days stood."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from functools import partial
from pathlib import Path

import numpy as np
from PySide6.QtCore import Signal
from PySide6.QtWidgets import QButtonGroup

from dawnbeat.shared.wording import (
    DAY_S,
    PACE_UNIT,
    UNKNOWN,
    Units,
    bare_pace,
    capital,
    clock,
    count_of,
    number,
    pace_of,
    percent,
    seconds_of,
    signed,
    way,
)
from dawnbeat.training import mornings_after, zone_store
from dawnbeat.training.export_runs import export_periods
from dawnbeat.training.mornings_after import FEWEST_PAIRS, HardDay
from dawnbeat.training.periods import Fixed, JudgedRun, Period, PeriodSummary, fixed_of, periods_of, usual_mornings
from dawnbeat.ui.window.parts import controls, drawing
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.drawing import Ink
from dawnbeat.ui.window.parts.layouts import flow_of, let_shrink, stack
from dawnbeat.ui.window.parts.plots import Plot
from dawnbeat.ui.window.parts.tables import STAR, plain_table, starred, write_rows

_MONTHS_NOTE = (
    "Pace and pulse come from steady minutes only: after the tenth, on the level, at the run's usual pace. A dash: "
    "fewer than 20 of them. Faster at the same pulse is commonly read as better endurance (common practice, no "
    "source); heat, hills and another sensor move it too. Rest and RMSSD are means of the usable "
    "mornings in your usual posture."
)
_LOAD = "Load"
_HEADINGS = ("Day", _LOAD, "RMSSD, morning after", "Resting pulse, morning after", "Week's RMSSD moved")
_HARDEST = 20
_AFTER_NOTE = (
    "AU: arbitrary units. The last column: how far the mean of the seven mornings after lies from that of the seven up "
    "to the day. What goes together need not be cause and effect. How you feel outweighs any number here; when you are "
    "ill, rest, and ask a doctor and your local guidance."
)
_KINDS = (("Months", "Alt+1"), ("Years", "Alt+2"))
_PACE_STEP_S = 15


class MonthsView(View):
    """Shows the periods as a plot of the pace at one pulse and as a table, newest first."""

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__(context)
        self._today = today
        self._judged: Sequence[JudgedRun] = ()
        self._units: Units = "km"
        self.fixed: Fixed | None = None
        self.periods: list[PeriodSummary] = []
        self.said = label("", "What is compared")
        self.plot = Plot(context, "Pace at the same pulse", ("", ""), ("Pace", ""), dates=True, move_y=False)
        self.plot.readout.hide()
        let_shrink(self.plot)
        self.plot.box.invertY(True)  # faster is higher
        self._line = self.plot.line(Ink("ink", 120, 1.2))
        self._dots = self.plot.dots(Ink("ink"), "o", 8)
        self.table = plain_table(("",) * 10, "Months or years, newest first", most=8)
        kinds = [(words, keys, f"Show one row a {words.lower()[:-1]}", None) for words, keys in _KINDS]
        buttons = controls.choices(QButtonGroup(self), kinds, 0, "Runs, months")
        self.years_button = buttons[1]
        self.years_button.toggled.connect(lambda _: self.show_runs(self._judged))
        self.plot.when_home(self._home)
        self.star = label("small", "About the stars", "* some runs are not in this sum")
        note = label("small", "How to read it", _MONTHS_NOTE)
        stack(self, flow_of(*buttons), self.said, (self.plot, 1), self.table, self.star, note)
        self.arrange()

    @property
    def years(self) -> bool:
        """Whether years are shown."""
        return self.years_button.isChecked()

    @property
    def period(self) -> Period:
        """What a row is."""
        return "year" if self.years else "month"

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Work the periods out from these runs and the journal's mornings."""
        self._judged = judged
        today = self._today()
        with self.context.saying():
            mornings = usual_mornings(self.context.journal, today)
            self._units = zone_store.chosen_units(self.context.journal)
            self.fixed = fixed_of(judged, today)
            days = [*(each.run.local_date for each in judged), *(each.date for each in mornings)]
            first = min(days, default=today)
            self.periods = periods_of(judged, mornings, self.fixed, first, today, self.period)
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
        rows = [self._cells(each) for each in reversed(self.periods)]
        write_rows(self.table, rows)
        self.star.setVisible(starred(rows))
        known = [each for each in self.periods if each.pace_s_per_km is not None]
        self.plot.setVisible(bool(known))
        middle = np.array([seconds_of(each.first) + (182 if self.years else 15) * DAY_S for each in known])
        paces = np.array([each.pace_s_per_km or math.nan for each in known])
        self._dots.setData(middle, paces)
        self._line.setData(middle, paces)
        if known:
            low, high = float(paces.min()) - _PACE_STEP_S, float(paces.max()) + _PACE_STEP_S
            self.plot.box.setYRange(low, high, padding=0)
            self.plot.number("left", partial(drawing.paces, units=self._units))
            self.plot.name_axis("left", f"Pace, {PACE_UNIT[self._units]}", "")
            self._home()

    def _home(self) -> None:
        if self.periods:
            last = self.periods[-1].first
            end = last + timedelta(days=366 if self.years else 31)
            self.plot.show_x(seconds_of(self.periods[0].first), seconds_of(end))

    def _cells(self, each: PeriodSummary) -> tuple[str, ...]:
        star = STAR if each.without_distance and each.distance_m is not None else ""
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
            number(None if each.ln_rmssd is None else math.exp(each.ln_rmssd)),
        )

    def arrange(self) -> None:
        """As much of the plot as can be read."""
        self.plot.setMinimumHeight(self.context.theme.px(180))


class AfterView(View):
    """opened: a day whose run is wanted."""

    opened = Signal(object)

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.days: list[HardDay] = []
        self.heading = label("large", "What the list shows")
        self.left_out = label("small", "What is left out")
        self.table = plain_table(_HEADINGS, "Hardest days, hardest first")
        self.table.setAccessibleDescription("Enter opens the day's run.")
        self.found = label("", "Whether load and mornings go together")
        self.open_button, self.morning_button = controls.buttons(
            "Runs, morning after",
            ("Open the run", "O", "Open the day's run, as Enter does", self.open),
            ("The morning after", "Alt+G", "Go to that morning on the page Mornings", self.go_to_morning),
        )
        self.table.activated.connect(lambda _: self.open())
        self.table.itemSelectionChanged.connect(self._selected)
        tools = flow_of(self.open_button, self.morning_button)
        note = label("small", "How to read it", _AFTER_NOTE)
        stack(self, self.heading, self.left_out, (self.table, 1), tools, self.found, note)
        self._selected()

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Work it out from these runs and the journal's mornings."""
        with self.context.saying():
            mornings = self.context.journal.mornings()
            which = zone_store.chosen_coefficients(self.context.journal) or "men"
            loads = mornings_after.daily_load(judged, which)
            self.days = mornings_after.hardest_days(judged, loads, mornings, _HARDEST, self.context.ranges)
            self.heading.setText(f"Hardest days by {loads.name}" if self.days else "No runs yet.")
            without = f"{count_of(loads.left_out, 'run')} without {loads.name} left out, with the day."
            self.left_out.setText(without if loads.left_out else "")
            self.left_out.setVisible(bool(loads.left_out))
            unit = "min" if loads.name == "minutes run" else "AU"
            self.table.setHorizontalHeaderLabels([f"{each}, {unit}" if each == _LOAD else each for each in _HEADINGS])
            write_rows(self.table, [_cells(day) for day in self.days])
            associations = (
                mornings_after.next_morning_association(loads, mornings),
                mornings_after.week_association(loads, mornings),
            )
            said = [capital(each.words) for each in associations if each is not None]
            few = f"Whether load and mornings go together is said from {FEWEST_PAIRS} pairs on, and not before."
            self.found.setText("\n".join(said) or few)
            if self.days and self._day() is None:
                self.table.selectRow(0)
            self._selected()

    def open(self) -> None:
        """Ask for the run of the selected day."""
        if (day := self._day()) is not None:
            self.opened.emit(day.date)

    def go_to_morning(self) -> None:
        """Show the morning after on its page."""
        if (day := self._day()) is not None and day.next_morning is not None:
            self.context.go("mornings", day.date + timedelta(days=1))

    def _day(self) -> HardDay | None:
        row = self.table.currentRow()
        return self.days[row] if 0 <= row < len(self.days) else None

    def _selected(self) -> None:
        day = self._day()
        self.open_button.setEnabled(day is not None)
        self.morning_button.setEnabled(day is not None and day.next_morning is not None)


def _cells(day: HardDay) -> tuple[str, ...]:
    runs = "" if day.runs == 1 else f", {day.runs} runs"
    said, pulse = "no reading", UNKNOWN
    if day.next_morning is not None:
        said = day.ln_rmssd if day.next_morning.usable else "reading not usable"
        pulse = day.resting_pulse if day.next_morning.usable else UNKNOWN
    moved = UNKNOWN if day.week_moved is None else f"{signed(100 * math.expm1(day.week_moved))} %"
    return f"{day.date}{runs}", number(day.load), said, pulse, moved
