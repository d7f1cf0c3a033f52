"""The weeks: as plots on one time axis with the mornings, or as a table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from functools import partial
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QButtonGroup, QStackedWidget, QWidget

from dawnbeat.shared.wording import UNKNOWN, Units, between, clock, number, percent, short_day, way
from dawnbeat.training import zone_store
from dawnbeat.training.periods import EASY_AIM_SOURCE, JudgedRun, Week, load_words, week_words, weeks_of
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import ComboBox, label, named
from dawnbeat.ui.window.parts.layouts import flow_of, stack
from dawnbeat.ui.window.parts.tables import STAR, plain_table, starred, write_rows
from dawnbeat.ui.window.runs.weeks_chart import WeeksChart

_WHERE = "Runs, weeks"
_SPANS = (("12 weeks", 12, "Alt+1"), ("26 weeks", 26, "Alt+2"), ("Year", 53, "Alt+3"), ("All", None, "Alt+4"))
# The words in the list, which has little room; in full; the name.
_LOADS = (
    ("rating load", "rating load", "rating"),
    ("impulse, women", "training impulse, coefficients for women", "women"),
    ("impulse, men", "training impulse, coefficients for men", "men"),
)
_HEADINGS = (
    *("Monday", "Runs", "Time", "km", "Easy runs", "Weeks before"),
    *("Easy time", "No pulse", "Impulse", "Rating", "Monotony", "Strain"),
)
_FOOT = (
    f"{EASY_AIM_SOURCE} Training impulse: Banister 1991, summed over the time at each pulse. Rating load, monotony "
    "and strain: Foster 1998; monotony and strain need every run of a whole week rated. AU: arbitrary units."
)


class WeeksView(View):
    """opened: the Monday of a week whose runs are wanted."""

    opened = Signal(object)

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__(context)
        self._today = today
        self.weeks: list[Week] = []
        self._units: Units = "km"
        self._judged: Sequence[JudgedRun] = ()
        self._span: int | None = 12
        self._first_time = True
        self._table_stale = True
        self.said = label("", "The chosen week")
        self.loads = label("small", "Load of the chosen week")
        self.which = named(ComboBox(), "Which load", "Which load the plot and the findings show")
        for place, (words, in_full, name) in enumerate(_LOADS):
            self.which.addItem(words, name)
            self.which.setItemData(place, in_full, Qt.ItemDataRole.ToolTipRole)
        self.which.narrow(12)
        self.which.activated.connect(lambda _: self._choose_load())
        self.chart = WeeksChart(context)
        self.table = plain_table(_HEADINGS, "Weeks, newest first")
        self.chart.picked.connect(self.select)
        self.chart.opened.connect(self.opened.emit)
        self.table.itemSelectionChanged.connect(self._row_selected)
        self.table.activated.connect(lambda index: self.opened.emit(self.weeks[-1 - index.row()].first))
        self.views = QStackedWidget()
        spans = []
        for words, weeks, keys in _SPANS:
            tip = f"Show {'every week' if weeks is None else 'the last ' + words.lower()}"
            spans.append((words, keys, tip, partial(self._show_span, weeks)))
        self.as_table = controls.button("As a table", "Alt+0", "Show the weeks as a table, or as plots", None, _WHERE)
        self.as_table.setCheckable(True)
        self.as_table.toggled.connect(self._show_table)
        picture = controls.button("Picture…", "Ctrl+P", "Save the plots as a picture", self._save_picture, _WHERE)
        buttons = controls.choices(QButtonGroup(self), spans, 0, _WHERE)
        tools = flow_of(*buttons, self.as_table, picture, after=(self.which,))
        tabled = QWidget()
        self.star = label("small", "About the stars", "* some runs of the week are not in this sum")
        stack(tabled, (self.table, 1), self.star)
        self.views.addWidget(self.chart)
        self.views.addWidget(tabled)
        foot = label("small", "Where the aim and the loads come from", _FOOT)
        stack(self, tools, self.said, self.loads, (self.views, 1), foot)

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Draw these runs, given by start."""
        self._judged = judged
        today = self._today()
        first = judged[0].run.local_date if judged else today - timedelta(weeks=11)
        self.weeks = weeks_of(judged, min(first, today), max(today, judged[-1].run.local_date if judged else today))
        with self.context.saying():
            journal = self.context.journal
            present = zone_store.set_on(zone_store.present_sets(journal, today), today)
            mornings, kept = journal.mornings(), zone_store.chosen_coefficients(journal)
            self._units = zone_store.chosen_units(journal)
            if self._first_time or self.which.currentData() != "rating":
                self.which.setCurrentIndex(max(self.which.findData(kept), 0))
            self.chart.show_weeks(self.weeks, 2 if present is None else present.zones.scheme.easy_top)
            self.chart.show_mornings(mornings, self.context.ranges)
            self._show_load()
            self._table_stale = True
            if self._first_time:
                self._first_time = False
                self.chart.show_last(self._span)
            known = {week.first for week in self.weeks}
            self.select(self.chart.selected if self.chart.selected in known else self.weeks[-1].first)

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
            with self.context.saying():
                zone_store.set_setting(self.context.journal, "coefficients", name)
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
        self.chart.show_load(loads, spans, self.which.currentData(Qt.ItemDataRole.ToolTipRole))

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
                low, high = week.easy_runs_range
                around = between(100 * low, 100 * high, unit="%")
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
        self.star.setVisible(starred(rows))
        self.table.blockSignals(False)

    def _row_selected(self) -> None:
        row = self.table.currentRow()
        if 0 <= row < len(self.weeks):
            self.select(self.weeks[-1 - row].first)

    def _save_picture(self) -> None:
        saving.save_picture(self.context, self, self.chart.picture)

    def _show_span(self, weeks: int | None) -> None:
        self._span = weeks
        self.chart.show_last(weeks)


def _key(name: str) -> Any:
    """The coefficients that a choice of load stands for."""
    return "women" if name == "women" else "men"


def _partly(words: str, missing: int) -> str:
    return f"{words}{STAR}" if missing and words != UNKNOWN else words
