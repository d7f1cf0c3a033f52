"""The weeks: as plots on one time axis with the mornings, or as a table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from functools import partial
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QButtonGroup,
    QSizePolicy,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import UNKNOWN, Units, clock, number, percent, short_day, way
from dawnbeat.training import zone_store
from dawnbeat.training.periods import EASY_AIM_SOURCE, JudgedRun, Week, weeks_of
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, label
from dawnbeat.ui.window.parts.layouts import Flow
from dawnbeat.ui.window.parts.tables import plain_table, write_rows
from dawnbeat.ui.window.runs.sentences import load_words, week_words
from dawnbeat.ui.window.runs.weeks_chart import WeeksChart

_WHERE = "Runs, weeks"
_SPANS = (("12 weeks", 12, "Alt+1"), ("26 weeks", 26, "Alt+2"), ("Year", 53, "Alt+3"), ("All", None, "Alt+4"))
COEFFICIENTS = "coefficients"
_LOADS = (
    ("rating load", "rating"),
    ("training impulse, coefficients for women", "women"),
    ("training impulse, coefficients for men", "men"),
)
_HEADINGS = (
    "Monday",
    "Runs",
    "Time",
    "km",
    "Easy runs",
    "Weeks before",
    "Easy time",
    "No pulse",
    "Impulse",
    "Rating",
    "Monotony",
    "Strain",
)
_WIDEST = (
    *("2025-06-30", "10", "12:02:30", "120.5 *", "10 of 10", "88 to 100 %", "100 %"),
    *("1:02:30", "888 *", "8888 *", "1.5", "8888"),
)
_FOOT = (
    f"{EASY_AIM_SOURCE} Training impulse: Banister 1991, summed over the time at each pulse. Rating load, monotony "
    "and strain: Foster 1998; monotony and strain need every run of a whole week rated."
)


class WeeksView(QWidget):
    """opened: the Monday of a week whose runs are wanted."""

    opened = Signal(object)

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__()
        self.context = context
        self._today = today
        self.weeks: list[Week] = []
        self._units: Units = "km"
        self._judged: Sequence[JudgedRun] = ()
        self._span: int | None = 12
        self._first_time = True
        self._table_stale = True
        self.said = label("", "The chosen week")
        self.loads = label("small", "Load of the chosen week")
        self.which = ComboBox()
        for words, name in _LOADS:
            self.which.addItem(words, name)
        self.which.setAccessibleName("Which load")
        self.which.setSizeAdjustPolicy(ComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.which.setMinimumContentsLength(12)
        self.which.setToolTip("Which load the plot and the findings show")
        self.which.activated.connect(lambda _: self._choose_load())
        self.chart = WeeksChart(context)
        self.table = plain_table(_HEADINGS, "Weeks, newest first")
        self.chart.picked.connect(self.select)
        self.chart.opened.connect(self.opened.emit)
        self.table.itemSelectionChanged.connect(self._row_selected)
        self.table.activated.connect(lambda index: self.opened.emit(self.weeks[-1 - index.row()].first))
        self.views = QStackedWidget()
        self.views.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self._lay_out()

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Draw these runs, given by start."""
        self._judged = judged
        today = self._today()
        first = judged[0].run.local_date if judged else today - timedelta(weeks=11)
        self.weeks = weeks_of(judged, min(first, today), max(today, judged[-1].run.local_date if judged else today))
        try:
            sets = zone_store.present_sets(self.context.journal, today)
            mornings = self.context.journal.mornings()
            kept = zone_store.chosen_coefficients(self.context.journal)
            self._units = zone_store.chosen_units(self.context.journal)
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        if self._first_time or self.which.currentData() != "rating":
            self.which.setCurrentIndex(max(self.which.findData(kept), 0))
        present = zone_store.set_on(sets, today)
        self.chart.show_weeks(self.weeks, 2 if present is None else present.zones.scheme.easy_top)
        self.chart.show_mornings(mornings, self.context.ranges)
        self._show_load()
        self._table_stale = True
        if self._first_time:
            self._first_time = False
            self.chart.show_last(self._span)
        known = {week.first for week in self.weeks}
        chosen = self.chart.selected if self.chart.selected in known else self.weeks[-1].first
        self.select(chosen)

    def select(self, monday: date) -> None:
        """Choose a week by its Monday, in the plots and in the table."""
        place = next((n for n, week in enumerate(self.weeks) if week.first == monday), None)
        if place is None:
            return
        week = self.weeks[place]
        self.chart.select(monday)
        self.said.setText(f"<b>Week of {short_day(monday)}</b>: {week_words(week, self._units)}")
        self.loads.setText(load_words(week, str(self.which.currentData())) or "No load is known for this week.")
        if not self.as_table.isChecked():
            return
        if self._table_stale:
            self._fill_table()
        self.table.blockSignals(True)
        self.table.selectRow(len(self.weeks) - 1 - place)
        self.table.blockSignals(False)

    # Inside

    def _choose_load(self) -> None:
        name = str(self.which.currentData())
        if name != "rating":
            try:
                zone_store.set_setting(self.context.journal, COEFFICIENTS, name)
            except DawnbeatError as error:
                self.context.say(str(error))
            self.context.journal_changed.emit()
        self._show_load()
        self._table_stale = True
        if self.chart.selected is not None:
            self.select(self.chart.selected)

    def _show_load(self) -> None:
        name = str(self.which.currentData())
        if not self.weeks:
            return
        loads: list[float | None]
        if name == "rating":
            loads = [None if week.unrated else week.session_load for week in self.weeks]
            spans = [week.session_load_range for week in self.weeks]
        else:
            key = _key(name)
            loads = [None if week.without_trimp else week.trimp[key] for week in self.weeks]
            spans = [week.trimp_range[key] for week in self.weeks]
        self.chart.show_load(loads, spans, self.which.currentText())

    def _show_table(self, on: bool) -> None:
        self.views.setCurrentIndex(int(on))
        if self.chart.selected is not None:
            self.select(self.chart.selected)

    def _fill_table(self) -> None:
        """Thousands of cells, so only while the table is in view."""
        self._table_stale = False
        key = _key(str(self.which.currentData()))
        rows = []
        for week in reversed(self.weeks):
            around = UNKNOWN
            if week.easy_runs_range is not None:
                around = f"{100 * week.easy_runs_range[0]:.0f} to {percent(week.easy_runs_range[1])}"
            rows.append(
                (
                    week.first.isoformat(),
                    str(week.runs),
                    clock(week.duration_s),
                    _partly(way(week.distance_m, self._units, 1), week.without_distance),
                    f"{week.easy_runs} of {week.judged_runs}" if week.judged_runs else UNKNOWN,
                    around,
                    percent(week.easy_share),
                    clock(week.duration_s - week.measured_s) if week.runs else UNKNOWN,
                    _partly(number(week.trimp[key]), week.without_trimp),
                    _partly(number(week.session_load), week.unrated),
                    number(week.monotony, 1),
                    number(week.strain),
                )
            )
        self.table.blockSignals(True)
        self.table.setHorizontalHeaderLabels([self._units if each == "km" else each for each in _HEADINGS])
        write_rows(self.table, rows)
        self.table.blockSignals(False)
        self._fit()

    def _row_selected(self) -> None:
        row = self.table.currentRow()
        if 0 <= row < len(self.weeks):
            self.select(self.weeks[-1 - row].first)

    def _lay_out(self) -> None:
        tools = Flow()
        group = QButtonGroup(self)
        for words, weeks, keys in _SPANS:
            tip = f"Show {'every week' if weeks is None else 'the last ' + words.lower()}"
            button = controls.button(words, keys, tip, partial(self._show_span, weeks), _WHERE)
            button.setCheckable(True)
            button.setChecked(weeks == self._span)
            group.addButton(button)
            tools.addWidget(button)
        self.as_table = controls.button("As a table", "Alt+0", "Show the weeks as a table, or as plots", None, _WHERE)
        self.as_table.setCheckable(True)
        self.as_table.toggled.connect(self._show_table)
        tools.addWidget(self.as_table)
        tools.addWidget(
            controls.button("Picture…", "Ctrl+P", "Save the plots as a picture", self._save_picture, _WHERE)
        )
        tools.push()
        tools.addWidget(self.which)
        tabled = QWidget()
        column = QVBoxLayout(tabled)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.table, 1)
        column.addWidget(label("small", "About the stars", "* some runs of the week are not in this sum"))
        self.views.addWidget(self.chart)
        self.views.addWidget(tabled)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(tools)
        layout.addWidget(self.said)
        layout.addWidget(self.loads)
        layout.addWidget(self.views, 1)
        layout.addWidget(label("small", "Where the aim and the loads come from", _FOOT))
        self._fit()
        self.context.theme_changed.connect(lambda _: self._fit())

    def _save_picture(self) -> None:
        saving.save_picture(self.context, self, self.chart.picture)

    def _show_span(self, weeks: int | None) -> None:
        self._span = weeks
        self.chart.show_last(weeks)

    def _fit(self) -> None:
        self.views.setMinimumHeight(self.context.theme.px(470))
        self.table.verticalHeader().setDefaultSectionSize(round(1.6 * self.table.fontMetrics().height()))
        metrics, px = self.table.fontMetrics(), self.context.theme.px
        for column, (heading, widest) in enumerate(zip(_HEADINGS, _WIDEST, strict=True)):
            text = max(heading, widest, key=metrics.horizontalAdvance)
            self.table.setColumnWidth(column, metrics.horizontalAdvance(text) + px(22))


def _key(name: str) -> Any:
    """The coefficients that a choice of load stands for."""
    return "women" if name == "women" else "men"


def _partly(words: str, missing: int) -> str:
    return f"{words} *" if missing and words != UNKNOWN else words
