"""What zones hang on is asked for and kept: a maximum, a threshold pulse, a pulse counted by hand; and how to test."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from PySide6.QtCore import QElapsedTimer, QTimer
from PySide6.QtWidgets import QApplication, QDialog, QDialogButtonBox, QLineEdit, QProgressBar, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import M_PER_UNIT, PACE_UNIT, capital, clock, pace_of, seconds_from, short_day
from dawnbeat.training import zone_store
from dawnbeat.training.estimates import THRESHOLD_ERROR, ThresholdTest, threshold_test
from dawnbeat.training.maximum import (
    ADDED_BEATS,
    AGE_FORMULAS,
    KIND_WORDS,
    KINDS,
    MAXIMAL_TEST,
    MOST_ADDED_BPM,
    WHO_MUST_NOT,
    Maximum,
    Protocol,
    maxima_by_age,
    maximum_by_age,
)
from dawnbeat.training.resting import FEWEST, HandCount
from dawnbeat.training.run import Mark, Run, Samples
from dawnbeat.training.zone_store import Threshold, ZoneSet, ZoneSnapshot, restore, snapshot
from dawnbeat.training.zones import MAXIMUM_HIGH, MAXIMUM_LOW
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, SpinBox, label, named
from dawnbeat.ui.window.parts.layouts import (
    DIALOG_MARGINS,
    INSIDE_MARGINS,
    FormDialog,
    day_edit,
    day_in,
    fit_dialog,
    row_of,
    scrolled,
    stack,
)

_USUAL_AGE = 40
COUNT_S = 30


def change_zones(context: AppContext, words: str, change: Callable[[], object], done: str = "") -> bool:
    """As `context.do`. One entry may begin a new set, so all is put back together."""
    journal = context.journal
    states: list[ZoneSnapshot] = []

    def forth() -> None:
        if len(states) == 2:
            restore(journal, states[1], expected=states[0])
            return
        before = snapshot(journal)
        change()
        states[:] = [before, snapshot(journal)]

    return context.do(words, forth, lambda: restore(journal, states[0], expected=states[1]), done)


def enter_zones(context: AppContext, words: str, change: Callable[[], ZoneSet | None]) -> None:
    """Do a change of what zones hang on, undoable, and say what became of the zones."""
    begun: list[ZoneSet | None] = []
    if change_zones(context, words, lambda: begun.append(change())):
        said, new = f"Done: {words}.", begun[0]
        if new is not None:
            said += (
                f" New zones from {short_day(new.from_date)} on, easy up to {new.zones.top_of_easy_bpm} bpm; earlier "
                "runs keep theirs."
            )
        context.say(said)


def keep_maximum(context: AppContext, entry: Maximum, today: date) -> None:
    """Keep a maximum, undoable."""
    words = f"add the maximum of {entry.counts_as_bpm:.0f} bpm"
    enter_zones(context, words, lambda: zone_store.add_maximum(context.journal, entry, today))


def keep_threshold(context: AppContext, entry: Threshold, today: date) -> None:
    """Keep a threshold pulse, undoable."""
    words = f"add the threshold pulse of {entry.bpm:.0f} bpm"
    enter_zones(context, words, lambda: zone_store.add_threshold(context.journal, entry, today))


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
        kinds = [each for each in KINDS if each != "run" or (proposed is not None and proposed.kind == "run")]
        self.kind.offer((f"{kind}: {KIND_WORDS[kind]}", kind) for kind in kinds)
        self.day = day_edit(today if proposed is None else proposed.date, today)
        self.bpm = SpinBox(minimum=int(MAXIMUM_LOW), maximum=int(MAXIMUM_HIGH), value=185, suffix=" bpm")
        self.added = ComboBox()
        self.added.offer((f"{beats} beats" if beats else "none", beats) for beats in range(MOST_ADDED_BPM + 1))
        self.age = SpinBox(minimum=10, maximum=100, value=_USUAL_AGE, suffix=" years")
        self.formula = ComboBox()
        self.formula.offer(
            (f"{each.name}, standard error {each.error_bpm:g} bpm", name) for name, each in AGE_FORMULAS.items()
        )
        self.note = QLineEdit()
        self.row("Where from", self.kind, "How it was measured; a formula by age is a last resort")
        self.row("Day", self.day, "The day of the measurement; zones change from it on, earlier runs keep theirs")
        self.row("Highest pulse", self.bpm, "The highest pulse that held for some seconds")
        self.row("Beats added", self.added, ADDED_BEATS)
        self.row("Age", self.age, "Age in years")
        self.row("Formula", self.formula, "Which formula by age")
        self.row("Note", self.note, "Anything else")
        self.about = self.say("", "soft")
        self.say(ADDED_BEATS)
        self.say("\n".join(MAXIMAL_TEST))
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
        beside = [f"{each.formula.name}: {each.bpm:.0f} bpm" for each in maxima_by_age(self.age.value())]
        found = maximum_by_age(self.age.value(), self.formula.currentData())
        self.about.setText(
            f"{'; '.join(beside)}. One runner in three is more than {found.error_bpm:g} beats off any of them, so rest "
            f"zones on none: test, or go by the talk test. {capital(found.label)}."
        )
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
        self.units = zone_store.chosen_units(context.journal)
        self.row(f"Pace, {PACE_UNIT[self.units]}", self.pace, "The pace of the 30 minutes, if known")
        self.row("Note", self.note, "Anything else")
        self.say(
            "Mean pulse of the last 20 minutes of 30 minutes run alone and evenly, as hard as can be held (common "
            f"practice, no source). {THRESHOLD_ERROR} A test in an imported run is worked out when you open that run.",
            "soft",
        )
        self.say("\n".join(MAXIMAL_TEST))

    def entry(self) -> Threshold:
        """What was entered; raises DawnbeatError for what can't be right."""
        pace = self.pace.text().strip()
        seconds = seconds_from(pace) * M_PER_UNIT["km"] / M_PER_UNIT[self.units] if pace else None
        return Threshold(day_in(self.day), self.bpm.value(), seconds, self.note.text().strip())


class CountDialog(FormDialog):
    """A resting pulse counted by hand: a timer of 30 seconds, then the number. kept: the counts there are."""

    def __init__(
        self,
        context: AppContext,
        today: date,
        kept: Sequence[HandCount],
        keep: Callable[[date, int], object],
        parent: QWidget,
    ) -> None:
        super().__init__(
            context, "Resting pulse by hand", lambda: keep(day_in(self.day), self.beats.value()), parent, height=430
        )
        self.start_button = controls.button(
            "Start 30 seconds", "Ctrl+Return", "Start the timer at a beat, which is 0", self.start, "Zones, counting"
        )
        self.bar = named(QProgressBar(), "Seconds to go")
        self.bar.setRange(0, 1000 * COUNT_S)
        self.bar.setFormat(f"{COUNT_S} s")
        timer_row = QWidget()
        stack(timer_row, row_of(self.start_button, (self.bar, 1)))
        self.beats = SpinBox(minimum=10, maximum=120, value=30, suffix=" beats")
        self.day = day_edit(today, today)
        self.row("Timer", timer_row, "Thirty seconds")
        self.row("Counted", self.beats, "Beats in the thirty seconds")
        self.row("Morning", self.day, "The morning of the count")
        self.doubled = self.say("", "soft")
        days = sorted({each.date: each.beats_in_30_s for each in kept}.items())[-FEWEST:]
        said = ", ".join(f"{day.isoformat()}: {2 * beats} bpm" for day, beats in days)
        self.say(f"Saved so far: {said or 'none'}. Three mornings make a resting pulse (common practice, no source).")
        self.say(
            "Before getting up, lying still: two fingers lightly on the wrist below the thumb, or beside the windpipe "
            "on one side only. Begin at a beat and count it as 0."
        )
        self._clock, self._timer = QElapsedTimer(), QTimer(self, interval=100)
        self._timer.timeout.connect(self._tick)
        self.beats.valueChanged.connect(lambda _: self._say_doubled())
        self._say_doubled()

    def start(self) -> None:
        """Run the timer from the beginning."""
        self._clock.start()
        self._timer.start()
        self.keep_button.setEnabled(False)

    def _tick(self) -> None:
        gone = min(self._clock.elapsed(), 1000 * COUNT_S)
        self.bar.setValue(gone)
        self.bar.setFormat(f"{(1000 * COUNT_S - gone) / 1000:.0f} s to go")
        if gone >= 1000 * COUNT_S:
            self.ended()

    def ended(self) -> None:
        """The time is up: ask for the number."""
        self._timer.stop()
        QApplication.beep()
        self.bar.setFormat("Stop: how many were there?")
        self.keep_button.setEnabled(True)
        self.beats.setFocus()
        self.beats.selectAll()

    def _say_doubled(self) -> None:
        self.doubled.setText(f"Doubled: {2 * self.beats.value()} bpm.")


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
        self.found = self.say("", "")
        self.found.setAccessibleName("What the test says")
        self.say(
            f"Only of use where this was a test: 30 minutes alone, even, and as hard as can be held (common practice, "
            f"no source). {THRESHOLD_ERROR}",
            "soft",
        )
        self.say("\n".join(MAXIMAL_TEST))
        self.keep_button.setText("&Save as threshold pulse")
        self.begins.textChanged.connect(lambda _: self._work_out())
        self._work_out()

    def entry(self) -> Threshold:
        """The threshold pulse; raises DawnbeatError where there is none to find."""
        test = self._test()
        return Threshold(self.run.local_date, test.bpm, test.pace_s_per_km, run_id=self.run.id)

    def _test(self) -> ThresholdTest:
        text = self.begins.text().strip()
        return threshold_test(self.samples, self.marks, seconds_from(text) if text else None)

    def _work_out(self) -> None:
        self.keep_button.setEnabled(False)
        try:
            test = self._test()
        except DawnbeatError as error:
            self.found.setText(f"{capital(str(error))}.")
            return
        pace = pace_of(test.pace_s_per_km, zone_store.chosen_units(self.context.journal))
        self.found.setText(
            f"From {clock(test.from_s)} on: threshold pulse {test.bpm:.0f} bpm (standard deviation "
            f"{test.spread_bpm:.1f} bpm within the 20 minutes), pace {pace}."
        )
        self.keep_button.setEnabled(True)


class ProtocolDialog(QDialog):
    """How to test, step by step; who must not comes first."""

    def __init__(self, context: AppContext, protocol: Protocol, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWindowTitle(protocol.name)
        steps = "\n".join(f"{number}. {step}" for number, step in enumerate(protocol.steps, start=1))
        press = "30-minute test…" if protocol.kind is None else "Highest pulse…"
        parts = [
            label(style, name, words)
            for style, name, words in (
                ("", "Who must not", WHO_MUST_NOT),
                ("small", "Cautions", "\n".join(MAXIMAL_TEST)),
                ("large", "Test", protocol.name),
                ("", "Steps", steps),
                ("", "Result", f"Result: {protocol.reading} Import the run, open it, and press “{press}”."),
            )
        ]
        if protocol.kind is not None:
            added = f"{ADDED_BEATS} The steps are common practice, no source."
            parts.append(label("small", "Beats added", added))
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.reject)
        stack(self, (scrolled(*parts, None, margins=INSIDE_MARGINS), 1), buttons, margins=DIALOG_MARGINS)
        fit_dialog(self, context, parent, 700, 620)
