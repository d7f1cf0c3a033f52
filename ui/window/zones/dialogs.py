"""Entering a maximum or a threshold pulse; the cautions of a maximal test stand in both."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from PySide6.QtWidgets import QLineEdit, QWidget

from dawnbeat.training import cautions
from dawnbeat.training.maximum import AGE_FORMULAS, KIND_WORDS, KINDS, MOST_ADDED_BPM, Maximum, maximum_by_age
from dawnbeat.training.threshold_effort import ERROR
from dawnbeat.training.wording import seconds_from
from dawnbeat.training.zone_store import Threshold
from dawnbeat.training.zones import MAXIMUM_HIGH, MAXIMUM_LOW
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, SpinBox
from dawnbeat.ui.window.parts.forms import FormDialog, day_edit, day_in

_USUAL_AGE = 40


class MaximumDialog(FormDialog):
    """proposed: an entry of a run, whose kind, day and pulse are given; only the added beats are asked."""

    def __init__(
        self,
        context: AppContext,
        today: date,
        keep: Callable[[Maximum], object],
        parent: QWidget,
        proposed: Maximum | None = None,
    ) -> None:
        super().__init__(context, "Maximum pulse", lambda: keep(self.entry()), parent)
        self.proposed = proposed
        self.kind = ComboBox()
        for kind in KINDS:
            if kind != "run" or (proposed is not None and proposed.kind == "run"):
                self.kind.addItem(f"{kind}: {KIND_WORDS[kind]}", kind)
        self.day = day_edit(today if proposed is None else proposed.date, today)
        self.bpm = SpinBox(minimum=int(MAXIMUM_LOW), maximum=int(MAXIMUM_HIGH), value=185, suffix=" bpm")
        self.added = ComboBox()
        for beats in range(MOST_ADDED_BPM + 1):
            self.added.addItem("none" if not beats else f"{beats} beats", beats)
        self.age = SpinBox(minimum=10, maximum=100, value=_USUAL_AGE, suffix=" years")
        self.formula = ComboBox()
        for name, formula in AGE_FORMULAS.items():
            self.formula.addItem(f"{formula.name}, standard error {formula.error_bpm:g} bpm", name)
        self.note = QLineEdit()
        self.row("Where from", self.kind, "How it was measured; a formula by age is a last resort")
        self.row("Day", self.day, "The day of the measurement; zones change from it on, earlier runs keep theirs")
        self.row("Highest pulse", self.bpm, "The highest pulse that held for some seconds")
        self.row("Beats added", self.added, cautions.ADDED_BEATS)
        self.row("Age", self.age, "Age in years")
        self.row("Formula", self.formula, "Which formula by age")
        self.row("Note", self.note, "Anything else")
        self.about = self.say("", "soft")
        self.say(cautions.ADDED_BEATS)
        self.say("\n".join(cautions.MAXIMAL_TEST))
        if proposed is not None:
            self.kind.setCurrentIndex(self.kind.findData(proposed.kind))
            self.bpm.setValue(round(proposed.bpm))
            for fixed in (self.kind, self.day, self.bpm):
                fixed.setEnabled(False)
        for control in (self.kind, self.formula):
            control.currentIndexChanged.connect(lambda _: self._fit())
        self.age.valueChanged.connect(lambda _: self._fit())
        self._fit()

    def entry(self) -> Maximum:
        """What was entered; raises DawnbeatError for what can't be a maximum."""
        note, day = self.note.text().strip(), day_in(self.day)
        if self.proposed is not None:
            given = self.proposed
            return Maximum(given.date, given.kind, given.bpm, self.added.currentData(), note, given.run_id)
        if self.kind.currentData() == "formula":
            by_age = maximum_by_age(self.age.value(), self.formula.currentData())
            return Maximum(day, "formula", by_age.bpm, note=note or by_age.formula.name)
        return Maximum(day, self.kind.currentData(), self.bpm.value(), self.added.currentData(), note)

    def _fit(self) -> None:
        by_age = self.kind.currentData() == "formula"
        for control in (self.age, self.formula):
            self.rows.setRowVisible(control, by_age)
        for control in (self.bpm, self.added):
            self.rows.setRowVisible(control, not by_age)
        found = maximum_by_age(self.age.value(), self.formula.currentData())
        self.about.setText(found.label if by_age else "")
        self.about.setVisible(by_age)


class ThresholdDialog(FormDialog):
    """A threshold pulse worked out elsewhere; one from an imported run is kept on the page Runs."""

    def __init__(self, context: AppContext, today: date, keep: Callable[[Threshold], object], parent: QWidget) -> None:
        super().__init__(context, "Threshold pulse", lambda: keep(self.entry()), parent)
        self.day = day_edit(today, today)
        self.bpm = SpinBox(minimum=84, maximum=int(MAXIMUM_HIGH), value=170, suffix=" bpm")
        self.pace = QLineEdit()
        self.pace.setPlaceholderText("optional, such as 4:20")
        self.note = QLineEdit()
        self.row("Day", self.day, "The day of the test")
        self.row("Mean pulse", self.bpm, "Mean of the last 20 minutes of a 30-minute test")
        self.row("Pace, min/km", self.pace, "The pace of the 30 minutes, if known")
        self.row("Note", self.note, "Anything else")
        self.say(
            "Mean pulse of the last 20 minutes of 30 minutes run alone and evenly, as hard as can be held (common "
            f"practice, no source). {ERROR} A test in an imported run is worked out when you open that run.",
            "soft",
        )
        self.say("\n".join(cautions.MAXIMAL_TEST))

    def entry(self) -> Threshold:
        """What was entered; raises DawnbeatError for what can't be right."""
        pace = self.pace.text().strip()
        seconds = seconds_from(pace) if pace else None
        return Threshold(day_in(self.day), self.bpm.value(), seconds, self.note.text().strip())
