"""Estimates: oxygen uptake, threshold and equal races, each with its formula, its source and its error."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import UNKNOWN, Units, clock, pace_of, short_day, way
from dawnbeat.training import estimates, zone_store
from dawnbeat.training.estimates import THRESHOLD_ERROR, Estimate
from dawnbeat.training.maximum import MAXIMAL_TEST
from dawnbeat.training.periods import JudgedRun
from dawnbeat.training.race import estimates_of
from dawnbeat.training.run import Run
from dawnbeat.training.zone_store import Threshold
from dawnbeat.training.zones import NOT_MEDICAL
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, label, labelled
from dawnbeat.ui.window.parts.layouts import Scrolled, flow_of
from dawnbeat.ui.window.parts.tables import fit_rows, plain_table, write_rows


class EstimatesView(QWidget):
    """Shows nothing that the journal holds too little for, and says what would be needed."""

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__()
        self.context = context
        self._today = today
        self.races: list[Run] = []
        self._judged: Sequence[JudgedRun] = ()
        self._units: Units = "km"
        self.cards: list[QFrame] = []
        self.race = ComboBox()
        self.race.setAccessibleName("Race")
        self.race.setToolTip("Which race the estimates rest on; mark a run as a race where you open it")
        self.race.activated.connect(lambda _: self._show())
        self.factors = ComboBox()
        for shown, name in (("not chosen yet", None), ("women", "women"), ("men", "men")):
            self.factors.addItem(shown, name)
        self.factors.activated.connect(lambda _: self._choose_factors())
        self.factors.setAccessibleName("Factors for")
        self.factors.setToolTip("Whose published factors are used for oxygen uptake from pulses and training impulse")
        self._race_row = QWidget()
        row = QHBoxLayout(self._race_row)
        row.setContentsMargins(0, 0, 0, 0)
        words = QLabel("From the race")
        words.setBuddy(self.race)
        row.addWidget(words)
        row.addWidget(self.race)
        row.addStretch(1)
        self.equals = plain_table(("Distance", "Time", "Times as long or short"), "Equal races")
        self.equals_title = label("soft", "", "Equal races by the same formula")
        self.equals_error = label("small", "", estimates.EQUIVALENTS_ERROR)
        self._pulses, self._tests, self._of_race = QVBoxLayout(), QVBoxLayout(), QVBoxLayout()
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 6, 0)
        column.addLayout(flow_of(labelled("Factors for", self.factors)))
        for part in (self._pulses, self._tests):
            column.addLayout(part)
        column.addWidget(self._race_row)
        column.addLayout(self._of_race)
        for each in (self.equals_title, self.equals, self.equals_error):
            column.addWidget(each)
        column.addWidget(label("small", "", NOT_MEDICAL))
        # A race and a test are maximal efforts as well.
        column.addWidget(label("small", "", "\n".join(MAXIMAL_TEST)))
        column.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(Scrolled(inside))

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Offer the races among these runs, newest first."""
        before = self.race.currentData()
        self._judged = judged
        counting = [each.run for each in reversed(judged) if each.run.counts]
        self.races = [run for run in counting if run.race and run.figures.distance_m]
        self.race.clear()
        for run in self.races:
            way_km = (run.figures.distance_m or 0) / 1000
            self.race.addItem(f"{short_day(run.local_date)}, {way_km:.2f} km in {clock(run.figures.elapsed_s)}", run.id)
        self.race.setCurrentIndex(max(self.race.findData(before), 0) if self.races else -1)
        self._show()

    def _show(self) -> None:
        for part in (self._pulses, self._tests, self._of_race):
            _empty(part)
        self.cards = []
        journal = self.context.journal
        try:
            known = zone_store.standing(journal, self._today())
            coefficients = zone_store.chosen_coefficients(journal)
            self.factors.setCurrentIndex(self.factors.findData(coefficients))
            self._units = zone_store.chosen_units(journal)
            race = self.races[self.race.currentIndex()] if self.races and self.race.currentIndex() >= 0 else None
            found = estimates_of([each.run for each in self._judged], known, coefficients, self._today(), race)
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        if found.disagreement is not None:
            self._add(self._pulses, "The two estimates disagree", UNKNOWN, [found.disagreement.words])
        for each in found.estimates:
            rests = self._rests_on(each, known, race)
            name = f"{each.name[0].upper()}{each.name[1:]}"
            self._add(self._pulses, name, _value_words(each, self._units), [rests, *_said(each)])
        self._show_threshold(known.threshold)
        if found.critical is not None:
            lines = [f"From {found.critical.efforts} efforts; {estimates.CRITICAL_SPEED_SOURCE}."]
            value = f"{pace_of(found.critical.pace_s_per_km, self._units)}, {found.critical.reserve_m:.0f} m above it"
            self._add(self._of_race, "Critical speed", value, lines)
        if found.marathon is not None:
            lines = [f"{found.marathon.words[0].upper()}{found.marathon.words[1:]}."]
            self._add(self._of_race, "Marathon", clock(found.marathon.duration_s), lines)
        if found.missing:
            # The command line's options are chosen above here.
            words = [each.split(": say which with")[0] for each in found.missing]
            lines = [f"{each[0].upper()}{each[1:]}." for each in words]
            self._add(self._of_race, "What is missing for the rest", UNKNOWN, lines)
        self._race_row.setVisible(race is not None)
        rows = [(each.name, clock(each.duration_s), f"{each.away:.1f}") for each in found.equals]
        write_rows(self.equals, rows)
        fit_rows(self.equals, 8, self.context.theme.px(6))
        for widget in (self.equals, self.equals_title, self.equals_error):
            widget.setVisible(bool(rows))

    def _choose_factors(self) -> None:
        with self.context.saying("Not changed: "):
            zone_store.set_setting(self.context.journal, "coefficients", self.factors.currentData())
        self.context.journal_changed.emit()
        self._show()

    def _rests_on(self, each: Estimate, known: zone_store.Standing, race: Run | None) -> str:
        if each.name.endswith("pulses") and known.resting is not None and known.maximum is not None:
            return f"From {known.resting.label}; maximum {known.maximum.label}."
        if race is None:
            return "From the newest race."
        way_words = f"{way(race.figures.distance_m, self._units)} {self._units}"
        return f"From {way_words} in {clock(race.figures.elapsed_s)}, pauses included."

    def _show_threshold(self, threshold: Threshold | None) -> None:
        if threshold is None:
            lines = ["It needs a 30-minute test: open the run that holds it and press “30-minute test…”."]
            self._add(self._tests, "Threshold pulse and pace from a test", UNKNOWN, lines)
            return
        pace = "" if threshold.pace_s_per_km is None else f", {pace_of(threshold.pace_s_per_km, self._units)}"
        self._add(
            self._tests,
            "Threshold pulse and pace from a test",
            f"{threshold.bpm:.0f} bpm{pace}",
            [
                f"Test of {short_day(threshold.date)}.",
                "Formula: mean pulse of the last 20 minutes, pace of all 30 (common practice, no source).",
                f"Error: {THRESHOLD_ERROR[0].lower()}{THRESHOLD_ERROR[1:]}",
            ],
        )

    def _add(self, part: QVBoxLayout, name: str, value: str, lines: Sequence[str]) -> None:
        card = QFrame()
        card.setProperty("class", "sheet")
        card.setAccessibleName(f"{name}: {value}")
        column = QVBoxLayout(card)
        column.setContentsMargins(16, 8, 16, 8)
        column.setSpacing(2)
        column.addWidget(label("soft", "", name))
        if value != UNKNOWN:
            column.addWidget(label("large", "", value))
        for line in lines:
            column.addWidget(label("small", "", line))
        part.addWidget(card)
        self.cards.append(card)


def _value_words(each: Estimate, units: Units) -> str:
    if each.unit == "s/km":
        return pace_of(each.value, units)
    around = "" if each.low is None or each.high is None else f" (95 %: {each.low:.0f} to {each.high:.0f})"
    return f"{each.value:.0f} {each.unit}{around}"


def _said(each: Estimate) -> list[str]:
    return [f"Formula: {each.formula}.", f"Source: {each.source}.", f"Error: {each.error}."]


def _empty(layout: QVBoxLayout) -> None:
    while (item := layout.takeAt(0)) is not None:
        widget = item.widget()
        if widget is not None:
            widget.hide()
            widget.deleteLater()
