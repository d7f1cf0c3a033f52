"""Through a race: a pulse and a pace from the runner's own runs, and how the longest of them held."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from PySide6.QtWidgets import QFrame, QLineEdit, QVBoxLayout, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import PACE_UNIT, Units, bare_pace, clock, metres_from, number, seconds_from
from dawnbeat.training import zone_store
from dawnbeat.training.maximum import MAXIMAL_TEST
from dawnbeat.training.periods import JudgedRun
from dawnbeat.training.race import RACE_CAUTION, RacePlan, race_plan
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, label, labelled
from dawnbeat.ui.window.parts.layouts import Flow, Scrolled
from dawnbeat.ui.window.parts.tables import fit_rows, plain_table, write_rows

_DISTANCES_KM = (("5 km", 5.0), ("10 km", 10.0), ("half marathon", 21.0975), ("marathon", 42.195), ("other", None))


class RaceView(QWidget):
    """Asks for a distance and, if wanted, a goal; everything else comes from the journal."""

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__()
        self.context = context
        self._today = today
        self._judged: Sequence[JudgedRun] = ()
        self._units: Units = "km"
        self.plan: RacePlan | None = None
        self.distance = ComboBox()
        for words, km in _DISTANCES_KM:
            self.distance.addItem(words, km)
        self.distance.setCurrentIndex(1)
        self.other = QLineEdit()
        self.other.setPlaceholderText("as 15, 16,1 km or 13.1 mi")
        self.goal = QLineEdit()
        self.goal.setPlaceholderText("as 45:00; empty: what a race of yours is equal to")
        for control, name, tip in (
            (self.distance, "Distance", "The distance of the race"),
            (self.other, "Other distance", "The distance of the race, in km or miles"),
            (self.goal, "Goal", "The time that you aim at; without one a race of the last year says what is equal"),
        ):
            control.setAccessibleName(name)
            control.setToolTip(tip)
        self.goal.setMinimumWidth(context.theme.px(330))
        self.distance.activated.connect(lambda _: self._show())
        self.other.editingFinished.connect(self._show)
        self.goal.editingFinished.connect(self._show)
        self.trouble = label("", "What is missing or wrong")
        self.first = label("large", "Where to start")
        self.lines = label("", "What your own runs say")
        self.held = plain_table(("",) * 7, "How your longest runs held")
        self.held_title = label("soft", "", "How your longest runs held, first third against last")
        self._lay_out()
        context.theme_changed.connect(lambda _: self._fit())

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Rest on these runs."""
        self._judged = judged
        self._show()

    def _show(self) -> None:
        km = self.distance.currentData()
        self.other.setVisible(km is None)
        self.plan, trouble = None, ""
        try:
            journal, today = self.context.journal, self._today()
            known = zone_store.standing(journal, today)
            self._units = zone_store.chosen_units(journal)
            if km is None:
                text = self.other.text().strip()
                if not text:
                    raise DawnbeatError("give the distance, as 15, 16,1 km or 13.1 mi")
                km = metres_from(text, self._units) / 1000
            goal = self.goal.text().strip()
            runs = [each.run for each in self._judged]
            self.plan = race_plan(1000 * km, runs, known, today, seconds_from(goal) if goal else None)
        except DawnbeatError as error:
            trouble = f"{str(error)[0].upper()}{str(error)[1:]}."
        self.trouble.setText(trouble)
        self.trouble.setVisible(bool(trouble))
        plan = self.plan
        said = [] if plan is None else plan.lines(self._units)
        self.first.setText(said[1] if said else "")
        self.lines.setText("\n".join((said[0], *said[2:])) if said else "")
        self._sheet.setVisible(plan is not None)
        rows = []
        for each in () if plan is None else plan.held:
            paces = (each.first_pace_s_per_km, each.last_pace_s_per_km)
            rows.append(
                (
                    each.day.isoformat(),
                    clock(each.duration_s),
                    *(bare_pace(1000.0, one, self._units) for one in paces),
                    number(each.first_bpm),
                    number(each.last_bpm),
                    f"{each.drift_pct_per_hour:+.1f} %",
                )
            )
        unit = PACE_UNIT[self._units]
        self.held.setHorizontalHeaderLabels(
            ["Day", "Time", f"First, {unit}", f"Last, {unit}", "First, bpm", "Last, bpm", "Drift an hour"]
        )
        write_rows(self.held, rows)
        for widget in (self.held, self.held_title):
            widget.setVisible(bool(rows))
        self._fit()

    def _lay_out(self) -> None:
        asked = Flow()
        for words, control in (("Distance", self.distance), ("", self.other), ("Goal", self.goal)):
            asked.addWidget(labelled(words, control) if words else control)
        self._sheet = QFrame()
        self._sheet.setProperty("class", "sheet")
        inside = QVBoxLayout(self._sheet)
        inside.setContentsMargins(16, 10, 16, 10)
        inside.addWidget(self.first)
        inside.addWidget(self.lines)
        body = QWidget()
        column = QVBoxLayout(body)
        column.setContentsMargins(0, 0, 6, 0)
        column.addLayout(asked)
        for each in (self.trouble, self._sheet, self.held_title, self.held):
            column.addWidget(each)
        column.addWidget(label("small", "Cautions", "\n".join((RACE_CAUTION, *MAXIMAL_TEST))))
        column.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(Scrolled(body))

    def _fit(self) -> None:
        fit_rows(self.held, 5, self.context.theme.px(6))
