"""The morning after: the hardest days, where the next morning stood, and whether the two go together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import UNKNOWN, number
from dawnbeat.training import mornings_after, zone_store
from dawnbeat.training.mornings_after import FEWEST_PAIRS, HardDay
from dawnbeat.training.periods import JudgedRun
from dawnbeat.training.run_figures import coefficients_from
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.formats import long_day
from dawnbeat.ui.window.parts.layouts import flow_of
from dawnbeat.ui.window.parts.tables import plain_table, write_rows
from dawnbeat.ui.window.runs.weeks_view import COEFFICIENTS

_HEADINGS = ("Day", "Load", "RMSSD, morning after", "Resting pulse, morning after", "Week’s RMSSD moved")
_DAYS = 20
_WHERE = "Runs, morning after"
_NOTE = (
    "The last column: how far the mean of the seven mornings after lies from that of the seven up to the day. "
    "What goes together need not be cause and effect. How you feel outweighs any number here; when you are ill, rest, "
    "and ask a doctor and your local guidance."
)


class AfterView(QWidget):
    """opened: a day whose run is wanted."""

    opened = Signal(object)

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.days: list[HardDay] = []
        self.heading = label("large", "What the list shows")
        self.left_out = label("small", "What is left out")
        self.table = plain_table(_HEADINGS, "Hardest days, hardest first")
        self.table.setAccessibleDescription("Enter opens the day's run.")
        self.found = label("", "Whether load and mornings go together")
        self.open_button = controls.button("Open the run", "O", "Open the day's run, as Enter does", self.open, _WHERE)
        self.morning_button = controls.button(
            "The morning after", "Alt+G", "Go to that morning on the page Mornings", self.go_to_morning, _WHERE
        )
        self.table.activated.connect(lambda _: self.open())
        self.table.itemSelectionChanged.connect(self._selected)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        for each in (self.heading, self.left_out):
            layout.addWidget(each)
        layout.addWidget(self.table, 1)
        layout.addLayout(flow_of(self.open_button, self.morning_button))
        layout.addWidget(self.found)
        layout.addWidget(label("small", "How to read it", _NOTE))
        context.theme_changed.connect(lambda _: self._fit())
        self._selected()

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Work it out from these runs and the journal's mornings."""
        try:
            mornings = self.context.journal.mornings()
            which = coefficients_from(str(zone_store.setting(self.context.journal, COEFFICIENTS, "men")))
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        loads = mornings_after.daily_load(judged, which)
        self.days = mornings_after.hardest_days(judged, loads, mornings, _DAYS, self.context.ranges)
        self.heading.setText(f"Hardest days by {loads.name}" if self.days else "No runs yet.")
        count = f"{loads.left_out} run{'' if loads.left_out == 1 else 's'}"
        self.left_out.setText(f"{count} without {loads.name} left out, with the day." if loads.left_out else "")
        self.left_out.setVisible(bool(loads.left_out))
        write_rows(self.table, [_cells(day) for day in self.days])
        associations = (
            mornings_after.next_morning_association(loads, mornings),
            mornings_after.week_association(loads, mornings),
        )
        said = [f"{each.words[0].upper()}{each.words[1:]}" for each in associations if each is not None]
        if not said:
            said = [f"Whether load and mornings go together is said from {FEWEST_PAIRS} pairs on, and not before."]
        self.found.setText("\n".join(said))
        self._fit()
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

    def _fit(self) -> None:
        self.table.setMinimumHeight(self.context.theme.px(200))
        self.table.verticalHeader().setDefaultSectionSize(round(1.6 * self.table.fontMetrics().height()))
        self.table.resizeColumnsToContents()


def _cells(day: HardDay) -> tuple[str, ...]:
    runs = "" if day.runs == 1 else f", {day.runs} runs"
    said, pulse = "no reading", ""
    if day.next_morning is not None:
        said = day.ln_rmssd if day.next_morning.usable else "reading not usable"
        pulse = day.resting_pulse if day.next_morning.usable else ""
    moved = UNKNOWN if day.week_moved is None else f"{100 * math.expm1(day.week_moved):+.0f} %"
    return f"{long_day(day.date)}{runs}", number(day.load), said, pulse, moved
