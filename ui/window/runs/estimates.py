"""Estimates with formula, source and error: oxygen uptake, threshold, equal races; and a pulse and pace for a race."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from PySide6.QtWidgets import QLineEdit, QVBoxLayout, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import (
    PACE_UNIT,
    UNKNOWN,
    Units,
    bare_pace,
    between,
    capital,
    clock,
    metres_from,
    number,
    pace_of,
    percent,
    seconds_from,
    short_day,
    signed,
    way,
)
from dawnbeat.training import estimates, zone_store
from dawnbeat.training.estimates import THRESHOLD_ERROR, Estimate
from dawnbeat.training.maximum import MAXIMAL_TEST
from dawnbeat.training.periods import JudgedRun
from dawnbeat.training.race import RACE_CAUTION, RacePlan, estimates_of, race_plan
from dawnbeat.training.run import Run
from dawnbeat.training.zone_store import Threshold
from dawnbeat.training.zones import NOT_MEDICAL
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, label, named
from dawnbeat.ui.window.parts.layouts import Sheet, flow_of, labelled, stack
from dawnbeat.ui.window.parts.tables import plain_table, write_rows

_DISTANCES_KM = (("5 km", 5.0), ("10 km", 10.0), ("half marathon", 21.0975), ("marathon", 42.195), ("other", None))


class EstimatesView(QWidget):
    """Shows nothing that the journal holds too little for, and says what would be needed."""

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__()
        self.context = context
        self._today = today
        self.races: list[Run] = []
        self._judged: Sequence[JudgedRun] = ()
        self._units: Units = "km"
        self.cards: list[Sheet] = []
        tip = "Which race the estimates rest on; mark a run as a race where you open it"
        self.race = named(ComboBox(), "Race", tip)
        self.race.activated.connect(lambda _: self._show())
        tip = "Whose published factors are used for oxygen uptake from pulses and training impulse"
        self.factors = named(ComboBox(), "Factors for", tip)
        self.factors.offer((("not chosen yet", None), ("women", "women"), ("men", "men")))
        self.factors.activated.connect(lambda _: self._choose_factors())
        self._race_row = labelled("From the race", self.race)
        self.equals = plain_table(("Distance", "Time", "Of the race's distance"), "Equal races", most=8)
        self.equals_title = label("soft", "", "Equal races by the same formula")
        self.equals_error = label("small", "", estimates.EQUIVALENTS_ERROR)
        self._pulses, self._tests, self._of_race = QVBoxLayout(), QVBoxLayout(), QVBoxLayout()
        stack(
            self,
            flow_of(labelled("Factors for", self.factors)),
            self._pulses,
            self._tests,
            flow_of(self._race_row),
            self._of_race,
            self.equals_title,
            self.equals,
            self.equals_error,
            label("small", "", NOT_MEDICAL),
            # A race and a test are maximal efforts as well.
            label("small", "", "\n".join(MAXIMAL_TEST)),
            None,
            margins=(0, 0, 6, 0),
        )

    def show_runs(self, judged: Sequence[JudgedRun]) -> None:
        """Offer the races among these runs, newest first."""
        before = self.race.currentData()
        self._judged = judged
        counting = [each.run for each in reversed(judged) if each.run.counts]
        self.races = [run for run in counting if run.race and run.figures.distance_m]
        with self.context.saying():
            self._units = zone_store.chosen_units(self.context.journal)
        self.race.offer((_race_words(run, self._units), run.id) for run in self.races)
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
            lines = [rests, f"Formula: {each.formula}.", f"Source: {each.source}.", f"Error: {each.error}."]
            self._add(self._pulses, capital(each.name), _value_words(each, self._units), lines)
        self._show_threshold(known.threshold)
        if found.critical is not None:
            lines = [f"From {found.critical.efforts} efforts; {estimates.CRITICAL_SPEED_SOURCE}."]
            pace = pace_of(found.critical.pace_s_per_km, self._units)
            value = f"{pace}, {found.critical.reserve_m:.0f} m to spend above it"
            self._add(self._of_race, "Critical speed", value, lines)
        if found.marathon is not None:
            lines = [f"{capital(found.marathon.words)}."]
            self._add(self._of_race, "Marathon", clock(found.marathon.duration_s), lines)
        if found.missing:
            # The command line's options are chosen above here.
            lines = [f"{capital(each.split(': say which with')[0])}." for each in found.missing]
            self._add(self._of_race, "What is missing for the rest", UNKNOWN, lines)
        self._race_row.setVisible(race is not None)
        rows = [(each.name, clock(each.duration_s), percent(each.of_race)) for each in found.equals]
        write_rows(self.equals, rows)
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
        value, lines = UNKNOWN, ["It needs a 30-minute test: open the run that holds it and press “30-minute test…”."]
        if threshold is not None:
            pace = "" if threshold.pace_s_per_km is None else f", {pace_of(threshold.pace_s_per_km, self._units)}"
            value = f"{threshold.bpm:.0f} bpm{pace}"
            lines = [
                f"Test of {short_day(threshold.date)}.",
                "Formula: mean pulse of the last 20 minutes, pace of all 30 (common practice, no source).",
                f"Error: {THRESHOLD_ERROR[0].lower()}{THRESHOLD_ERROR[1:]}",
            ]
        self._add(self._tests, "Threshold pulse and pace from a test", value, lines)

    def _add(self, part: QVBoxLayout, name: str, value: str, lines: Sequence[str]) -> None:
        values = [label("large", "", value)] if value != UNKNOWN else []
        said = [label("small", "", line) for line in lines]
        card = Sheet(label("soft", "", name), *values, *said, margins=(16, 8, 16, 8), gap=2)
        card.setAccessibleName(f"{name}: {value}")
        part.addWidget(card)
        self.cards.append(card)


def _race_words(run: Run, units: Units) -> str:
    way_words = f"{way(run.figures.distance_m, units)} {units}"
    return f"{run.local_date.isoformat()}, {way_words} in {clock(run.figures.elapsed_s)}"


def _value_words(each: Estimate, units: Units) -> str:
    if each.unit == "s/km":
        return pace_of(each.value, units)
    around = "" if each.low is None or each.high is None else f" (95 %: {between(each.low, each.high, unit=each.unit)})"
    return f"{each.value:.0f} {each.unit}{around}"


def _empty(layout: QVBoxLayout) -> None:
    while (item := layout.takeAt(0)) is not None:
        widget = item.widget()
        if widget is not None:
            widget.hide()
            widget.deleteLater()


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
        self.distance.offer(_DISTANCES_KM)
        self.distance.setCurrentIndex(1)
        self.other = QLineEdit()
        self.other.setPlaceholderText("as 15, 16,1 km or 13.1 mi")
        self.goal = QLineEdit()
        self.goal.setPlaceholderText("as 45:00, or empty")
        for control, name, tip in (
            (self.distance, "Distance", "The distance of the race"),
            (self.other, "Other distance", "The distance of the race, in km or miles"),
            (self.goal, "Goal", "The time that you aim at; without one a race of the last year says what is equal"),
        ):
            named(control, name, tip)
        self.goal.setMinimumWidth(context.theme.px(200))
        self.distance.activated.connect(lambda _: self._show())
        self.other.editingFinished.connect(self._show)
        self.goal.editingFinished.connect(self._show)
        self.trouble = label("", "What is missing or wrong")
        self.first = label("large", "Where to start")
        self.lines = label("", "What your own runs say")
        self.held = plain_table(("",) * 7, "How your longest runs held", most=5)
        self.held_title = label("soft", "", "How your longest runs held, first third against last")
        self._sheet = Sheet(self.first, self.lines, margins=(16, 10, 16, 10))
        asked = flow_of(labelled("Distance", self.distance), self.other, labelled("Goal", self.goal))
        heed = label("small", "Cautions", "\n".join((RACE_CAUTION, *MAXIMAL_TEST)))
        parts = (asked, self.trouble, self._sheet, self.held_title, self.held, heed, None)
        stack(self, *parts, margins=(0, 0, 6, 0))

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
            trouble = f"{capital(str(error))}."
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
                    f"{signed(each.drift_pct_per_hour, 1)} %",
                )
            )
        unit = PACE_UNIT[self._units]
        self.held.setHorizontalHeaderLabels(
            ["Day", "Time", f"First, {unit}", f"Last, {unit}", "First, bpm", "Last, bpm", "Drift an hour"]
        )
        write_rows(self.held, rows)
        for widget in (self.held, self.held_title):
            widget.setVisible(bool(rows))
