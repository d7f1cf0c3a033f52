"""What is asked about runs: one by hand, the beginning of a CSV, and a 30-minute test."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from PySide6.QtCore import QDateTime
from PySide6.QtWidgets import QCheckBox, QComboBox, QLabel, QLineEdit, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import clock, metres_from, moment_from, pace_of, seconds_from
from dawnbeat.training import zone_store
from dawnbeat.training.estimates import THRESHOLD_ERROR, threshold_test
from dawnbeat.training.maximum import MAXIMAL_TEST
from dawnbeat.training.run import Mark, Run, Samples
from dawnbeat.training.zone_store import Threshold
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, DateTimeEdit
from dawnbeat.ui.window.parts.layouts import FormDialog

_RATINGS = {
    0: "rest",
    1: "very easy",
    2: "easy",
    3: "moderate",
    4: "somewhat hard",
    5: "hard",
    7: "very hard",
    10: "the most you could give",
}


def felt_box(felt: float | None = None) -> QComboBox:
    """Foster's session rating of 0 to 10, whole or in between, or nothing; type a number such as 3.5."""
    box = ComboBox()
    box.setEditable(True)
    box.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
    box.addItem("")
    for rating in range(11):
        box.addItem(f"{rating}  {_RATINGS[rating]}" if rating in _RATINGS else str(rating))
    show_felt(box, felt)
    return box


def show_felt(box: QComboBox, felt: float | None) -> None:
    """Show a rating in the box."""
    if felt is not None and felt == int(felt):
        box.setCurrentIndex(int(felt) + 1)
    else:
        box.setCurrentIndex(0)
        box.setEditText("" if felt is None else f"{felt:g}")


def felt_in(box: QComboBox) -> str:
    """The rating in the box as typed, without its words."""
    return (box.currentText().split() or [""])[0]


class ByHandDialog(FormDialog):
    """A run without a file. keep: began (with an offset), seconds, metres or None, felt effort as typed, note, race."""

    def __init__(
        self,
        context: AppContext,
        now: datetime,
        keep: Callable[[datetime, float, float | None, str, str, bool], object],
        parent: QWidget,
    ) -> None:
        super().__init__(context, "A run by hand", lambda: keep(*self.entry()), parent, height=430)
        began = now - timedelta(hours=1)
        self.began = DateTimeEdit(QDateTime(began.year, began.month, began.day, began.hour, began.minute, 0))
        self.began.setDisplayFormat("yyyy-MM-dd HH:mm")
        self.began.setMaximumDateTime(QDateTime(now.year, now.month, now.day, 23, 59, 59))
        self.duration = QLineEdit()
        self.duration.setPlaceholderText("42:30, 1:02:30 or minutes")
        self.km = QLineEdit()
        self.km.setPlaceholderText("optional")
        self.felt = felt_box()
        self.race = QCheckBox("It was a race")
        self.race.setAccessibleName("It was a race")
        self.note = QLineEdit()
        self.row("Began", self.began, "Local time when the run began")
        self.row("Duration", self.duration, "Without pauses")
        self.units = zone_store.chosen_units(context.journal)
        self.row(f"Distance, {self.units}", self.km, "Leave it out if you don't know")
        self.row("Felt, 0 to 10", self.felt, "How hard the whole run felt: 0 is rest, 10 the most you could give")
        self.row("Note", self.note, "Anything else")
        self.rows.addRow("", self.race)
        self.say(
            "Rate the run as a whole, about half an hour after it (session rating, Foster 1998). Without a pulse a run "
            "takes no part in zones and easy share, but in time, distance and rating load."
        )

    def entry(self) -> tuple[datetime, float, float | None, str, str, bool]:
        """What was entered; raises DawnbeatError for what can't be read."""
        if not self.duration.text().strip():
            raise DawnbeatError("a run needs a duration: write 42:30, 1:02:30 or minutes")
        text = self.km.text().strip()
        began = self.began.dateTime().toString("yyyy-MM-ddTHH:mm:00")
        return (
            moment_from(began),
            seconds_from(self.duration.text()),
            metres_from(text, self.units) if text else None,
            felt_in(self.felt),
            self.note.text().strip(),
            self.race.isChecked(),
        )


class BeganDialog(FormDialog):
    """keep: the local time as ISO 8601 without an offset."""

    def __init__(self, context: AppContext, keep: Callable[[str], object], parent: QWidget) -> None:
        super().__init__(context, "When the run began", lambda: keep(self.moment()), parent, height=240)
        self.began = DateTimeEdit(QDateTime.currentDateTime())
        self.began.setDisplayFormat("yyyy-MM-dd HH:mm:ss")
        self.row("Began", self.began, "Local time of the first row of the file")
        self.say("The times in this file count from the start, so it can't say by itself when that was.", "soft")

    def moment(self) -> str:
        """The moment entered."""
        return str(self.began.dateTime().toString("yyyy-MM-ddTHH:mm:ss"))


class ThresholdTestDialog(FormDialog):
    """The test of 30 minutes within a run: mean pulse of its last 20 minutes."""

    def __init__(
        self,
        context: AppContext,
        run: Run,
        samples: Samples,
        marks: list[Mark],
        keep: Callable[[Threshold], object],
        parent: QWidget,
    ) -> None:
        super().__init__(context, "30-minute test in this run", lambda: keep(self.entry()), parent)
        self.run, self.samples, self.marks = run, samples, marks
        self.begins = QLineEdit()
        self.begins.setPlaceholderText("m:ss, or empty for the fastest half hour")
        self.row("Begins at", self.begins, "Where in the run the 30 minutes begin")
        self.found: QLabel = self.say("", "")
        self.found.setAccessibleName("What the test says")
        self.say(
            f"Only of use where this was a test: 30 minutes alone, even, and as hard as can be held (common practice, "
            f"no source). {THRESHOLD_ERROR}",
            "soft",
        )
        self.say("\n".join(MAXIMAL_TEST))
        self.keep_button.setText("&Keep as threshold pulse")
        self.begins.textChanged.connect(lambda _: self._work_out())
        self._work_out()

    def entry(self) -> Threshold:
        """The threshold pulse; raises DawnbeatError where there is none to find."""
        text = self.begins.text().strip()
        test = threshold_test(self.samples, self.marks, seconds_from(text) if text else None)
        return Threshold(self.run.local_date, test.bpm, test.pace_s_per_km, run_id=self.run.id)

    def _work_out(self) -> None:
        text = self.begins.text().strip()
        try:
            test = threshold_test(self.samples, self.marks, seconds_from(text) if text else None)
        except DawnbeatError as error:
            self.found.setText(f"{str(error)[0].upper()}{str(error)[1:]}.")
            self.keep_button.setEnabled(False)
            return
        pace = pace_of(test.pace_s_per_km, zone_store.chosen_units(self.context.journal))
        self.found.setText(
            f"From {clock(test.from_s)} on: threshold pulse {test.bpm:.0f} bpm (standard deviation "
            f"{test.spread_bpm:.1f} bpm within the 20 minutes), pace {pace}."
        )
        self.keep_button.setEnabled(True)
