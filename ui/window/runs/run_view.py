"""One run opened: its pulse over time, what is marked in it, time in zones, and what the runner adds."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QCheckBox, QFormLayout, QLineEdit, QSplitter, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import Units, capital, clock, long_day, number, pace, percent, short_day, signed, way
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.maximum import MaximumProposal
from dawnbeat.training.periods import JudgedRun, judge_runs
from dawnbeat.training.run import CAN_BE_OVERRULED, MARK_WORDS, TALKS, Mark, Samples
from dawnbeat.training.run_figures import DRIFT_IN_WORDS
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key, buddy_of, label, named
from dawnbeat.ui.window.parts.layouts import flow_of, let_shrink, scrolled, stack
from dawnbeat.ui.window.parts.tables import give_tip, plain_table, write_rows
from dawnbeat.ui.window.runs.bring_in import felt_box, felt_in, show_felt
from dawnbeat.ui.window.runs.run_plots import RunCurve, ZoneBars
from dawnbeat.ui.window.runs.table import NO_ZONES, change, overrule
from dawnbeat.ui.window.zones.entries import MaximumDialog, ThresholdTestDialog, keep_maximum, keep_threshold

_WHERE = "Runs, one run"
_OVERRULE_KEY = "L"


class RunView(QWidget):
    """left: back to the list is wanted. stepped: the run one row down (+1) or up (-1) in the list is wanted. binned:
    this run is to go into the bin.
    """

    left = Signal()
    stepped = Signal(int)
    binned = Signal(object)

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__()
        self.context = context
        self._today = today
        self.each: JudgedRun | None = None
        self.samples: Samples | None = None
        self.marks: list[Mark] = []
        self._writing = False
        self.heading = label("title", "Which run", wraps=True)
        self.summary = label("", "The run in short")
        self.figures = label("small", "Figures of this run")
        self.drift_rule = label("small", "What drift means", DRIFT_IN_WORDS)
        self.curve = RunCurve(context)
        self.bars = ZoneBars(context)
        self.marks_title = label("soft", "Marks")
        self.marks_table = plain_table(("No.", "From", "To", "What", ""), "What is marked in this run", most=5)
        self.felt = felt_box()
        tip = "Whether it enters weeks, months, proposals and estimates; only running does by itself"
        self.race = named(QCheckBox("It was a race"), "It was a race")
        self.counts = named(QCheckBox("It counts as a run"), "It counts as a run", tip)
        self.talk = ComboBox()
        self.talk.addItems(["", *TALKS])
        for box in (self.felt, self.talk):
            box.narrow(6)
        self.note = QLineEdit()
        give = partial(controls.button, where=_WHERE)
        self.back_button = give("Back", "Alt+Left", "Back to the list, as Esc does", self.left.emit)
        self.up_button = give("‹ Up", "Alt+Up", "The run above in the list", lambda: self.stepped.emit(-1))
        self.down_button = give("Down ›", "Alt+Down", "The run below in the list", lambda: self.stepped.emit(+1))
        self.test_button = give("30-minute test…", "T", "Threshold pulse of a test in this run", self.ask_test)
        self.peak_button = give("Highest pulse…", "M", "Use its highest pulse as a maximum", self.ask_maximum)
        self.bin_button = give("Bin", "Del", "Put this run in the bin; Ctrl+Z brings it back", self.to_bin)
        tip = "Leave the marked pulse out, or let it count"
        self.overrule_button = give("Let it count", _OVERRULE_KEY, tip, self.overrule)
        after = (self.test_button, self.peak_button, self.bin_button)
        tools = flow_of(self.back_button, self.up_button, self.down_button, after=after)
        self.splitter = QSplitter()
        self.splitter.addWidget(self.curve)
        side = (self.bars, self.figures, self.marks_title, self.marks_table, flow_of(self.overrule_button))
        self.side = scrolled(*side, self._own_form(), self.drift_rule, None, margins=(0, 0, 6, 0))
        self.side.measured.connect(self._fit)
        self.splitter.addWidget(self.side)
        self.splitter.setChildrenCollapsible(False)
        let_shrink(self.splitter)
        self.splitter.setSizes([590, 510])
        self.splitter.setStretchFactor(0, 1)
        stack(self, scrolled(tools, self.heading, self.summary, (self.splitter, 1)))
        QShortcut(QKeySequence("Esc"), self, self.left.emit)
        controls.register(Key("Esc", "Back to the list", _WHERE))
        self.curve.picked.connect(lambda number: self.marks_table.selectRow(number - 1))
        self.marks_table.itemSelectionChanged.connect(lambda: self._mark(self.marks_table.currentRow() + 1))
        self.felt.activated.connect(lambda _: self._edit("felt_effort", felt_in(self.felt)))
        line = self.felt.lineEdit()
        if line is not None:
            line.editingFinished.connect(lambda: self._edit("felt_effort", felt_in(self.felt)))
        self.race.clicked.connect(lambda on: self._edit("race", "yes" if on else "no"))
        self.counts.clicked.connect(lambda on: self._edit("counts", "yes" if on else "no"))
        self.talk.activated.connect(lambda _: self._edit("talk", self.talk.currentText()))
        self.note.editingFinished.connect(lambda: self._edit("note", self.note.text()))

    def _own_form(self) -> QFormLayout:
        """What the runner adds to the run."""
        own = QFormLayout()
        own.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        own.setHorizontalSpacing(14)
        for words, control, tip in (
            ("Felt, 0 to 10", self.felt, "How hard the whole run felt: 0 is rest, 10 the most you could give"),
            ("Talking went in", self.talk, "How talking went on most of it: the talk test, held against your zones"),
            ("Note", self.note, "Anything else"),
        ):
            own.addRow(buddy_of(named(control, words, tip), words), control)
        own.addRow("", self.race)
        own.addRow("", self.counts)
        return own

    # Showing

    def show_run(self, run_id: int) -> None:
        """Open a run of the journal."""
        self.each = None
        self._load(run_id, keep_view=False)
        self.curve.plot.canvas.setFocus()

    def refresh(self) -> None:
        """Read the run again after a change."""
        if self.each is not None:
            self._load(self.each.run.id, keep_view=True)

    def _load(self, run_id: int, keep_view: bool) -> None:
        journal = self.context.journal
        try:
            run = run_store.run(journal, run_id)
            (self.each,) = judge_runs([run], zone_store.present_sets(journal, self._today()))
            by_hand = run.format == run_store.BY_HAND
            self.samples = None if by_hand else run_store.samples(journal, run_id)
            self.marks = run_store.marks(journal, run_id)
        except DawnbeatError as error:
            self.context.say(str(error))
            self.each = None
            self.left.emit()
            return
        self._show(keep_view)

    def _show(self, keep_view: bool) -> None:
        each = self.each
        assert each is not None
        run, zones = each.run, None if each.zone_set is None else each.zone_set.zones
        self.heading.setText(f"{long_day(run.local_date)}, {run.began:%H:%M}")
        self.summary.setText(_headline(each, zone_store.chosen_units(self.context.journal)))
        self.figures.setText("\n".join(_figures(each)))
        self.curve.setVisible(self.samples is not None)
        if self.samples is not None:
            self.curve.show_run(self.samples, self.marks, zones, keep_view)
        self.drift_rule.setVisible(run.figures.drift_pct is not None)
        judged = each.judged
        self.bars.show_times(zones if judged is not None else None, () if judged is None else judged.zone_s)
        self._show_marks()
        self._writing = True
        show_felt(self.felt, run.felt_effort)
        self.race.setChecked(run.race)
        self.counts.setChecked(run.counts)
        self.talk.setCurrentText(run.talk or "")
        self.note.setText(run.note)
        self._writing = False
        self.test_button.setEnabled(self.samples is not None and run.has_pulse)
        self.peak_button.setEnabled(run.figures.peak_bpm is not None)

    def _show_marks(self) -> None:
        row = self.marks_table.currentRow()
        rows = []
        for place, mark in enumerate(self.marks, start=1):
            state = "overruled: it counts" if mark.overruled else "left out"
            rows.append((str(place), clock(mark.start_s), clock(mark.end_s), mark.kind, state))
        self.marks_table.blockSignals(True)
        write_rows(self.marks_table, rows)
        for place, mark in enumerate(self.marks):
            give_tip(self.marks_table, place, 3, MARK_WORDS[mark.kind])
        if 0 <= row < len(rows):
            self.marks_table.selectRow(row)
        self.marks_table.blockSignals(False)
        self.marks_title.setText("Marked, and left out of zones" if rows else "Nothing is marked in this run.")
        self.marks_title.setVisible(self.samples is not None)
        self.marks_table.setVisible(bool(rows))
        self._mark(self.marks_table.currentRow() + 1)

    # Changing

    def overrule(self) -> None:
        """Let the selected mark's pulse count after all, or no longer."""
        number = self.marks_table.currentRow() + 1
        if self.each is None or not 1 <= number <= len(self.marks):
            return
        overruled = not self.marks[number - 1].overruled
        if overrule(self.context, self.each.run, number, overruled):
            self.refresh()
            assert self.each is not None
            measured = clock(self.each.run.figures.measured_s)
            self.context.say(f"Mark {number} {'overruled' if overruled else 'holds again'}: {measured} measured now.")

    def to_bin(self) -> None:
        """Bin this run and go back."""
        if self.each is not None:
            each, self.each = self.each, None
            self.binned.emit(each)
            self.left.emit()

    def ask_test(self) -> ThresholdTestDialog | None:
        """Work out a 30-minute test in this run."""
        if self.each is None or self.samples is None:
            return None
        keep = partial(keep_threshold, self.context, today=self._today())
        dialog = ThresholdTestDialog(self.context, self.each.run, self.samples, self.marks, keep, self)
        dialog.open()
        return dialog

    def ask_maximum(self) -> MaximumDialog | None:
        """Keep the highest pulse of this run as a maximum, after asking."""
        if self.each is None or self.each.run.figures.peak_bpm is None:
            return None
        proposed = MaximumProposal(self.each.run, self.each.run.figures.peak_bpm, None)
        if proposed.caution:
            self.context.say(proposed.caution)
        keep = partial(keep_maximum, self.context, today=self._today())
        dialog = MaximumDialog(self.context, self._today(), keep, self, proposed.entry())
        dialog.open()
        return dialog

    def _edit(self, item: str, text: str) -> None:
        if self.each is not None and not self._writing and change(self.context, self.each.run, item, text):
            self.refresh()

    # Inside

    def _mark(self, number: int) -> None:
        chosen = self.marks[number - 1] if 1 <= number <= len(self.marks) else None
        self.overrule_button.setVisible(bool(self.marks))
        self.overrule_button.setEnabled(chosen is not None and chosen.kind in CAN_BE_OVERRULED)
        words = "Leave it out again" if chosen is not None and chosen.overruled else "Let it count"
        if self.overrule_button.text() != words:
            self.overrule_button.setText(words)
            self.overrule_button.setShortcut(QKeySequence(_OVERRULE_KEY))  # a new text takes the key away
            self.overrule_button.setAccessibleName(words)
        if self.samples is not None and number:
            self.curve.choose(number)

    def turn(self, beside: bool) -> None:
        """Curve and figures beside one another, or one below the other."""
        orientation = Qt.Orientation.Horizontal if beside else Qt.Orientation.Vertical
        if orientation != self.splitter.orientation():
            self.splitter.setOrientation(orientation)
            # Shares of a width would leave the curve next to no height.
            self.splitter.setStretchFactor(1, 0 if beside else 1)
            self.splitter.setSizes([590, 510] if beside else [1, 1])
        self.curve.setMinimumHeight(self.context.theme.px(240))
        self.curve.setMinimumWidth(self.context.theme.px(300))
        self.side.setMinimumWidth(self.context.theme.px(460) if beside else 0)
        if (column := self.side.inside.layout()) is not None:
            column.setContentsMargins(8 if beside else 0, 0, 6, 0)  # apart from the handle
        self._fit()

    def _fit(self) -> None:
        """Where the figures stand below the curve the page scrolls, and they do not scroll in it as well."""
        beside = self.splitter.orientation() == Qt.Orientation.Horizontal
        self.side.setMinimumHeight(0 if beside else self.side.needed_height)
        curve = self.curve.minimumHeight() if self.curve.isVisibleTo(self.splitter) else 0
        handle = self.splitter.handleWidth()
        below = curve + handle + self.side.needed_height
        self.splitter.setMinimumHeight(self.context.theme.px(330) if beside else below)


def _headline(each: JudgedRun, units: Units) -> str:
    """Duration, distance, pace and easy share in one line."""
    figures = each.run.figures
    parts = [clock(figures.duration_s)]
    if figures.distance_m is not None:
        parts.append(f"{way(figures.distance_m, units)} {units}")
        parts.append(pace(figures.distance_m, figures.duration_s, units))
    if each.judged is not None and each.judged.easy_share is not None:
        parts.append(f"{percent(each.judged.easy_share)} easy, at or below {each.judged.top_of_easy_bpm} bpm")
    elif not each.run.has_pulse:
        parts.append("no pulse")
    if each.run.race:
        parts.append("a race")
    if not each.run.counts:
        parts.append(f"{each.run.sport}: it does not count as a run")
    return " · ".join(parts)


def _figures(each: JudgedRun) -> list[str]:
    """The figures of one run, a statement each."""
    run, figures, judged = each.run, each.run.figures, each.judged
    said = []
    if figures.elapsed_s > figures.duration_s:
        said.append(f"{clock(figures.elapsed_s)} with pauses.")
    if run.has_pulse:
        said.append(f"Pulse: mean {number(figures.mean_bpm)} bpm, highest held {number(figures.peak_bpm)} bpm.")
        said.append(_missing(each))
    else:
        said.append("No pulse: it counts in time, distance and rating load only.")
    if judged is not None and each.zone_set is not None:
        older = ", the first there are, as the run is older" if each.before_sets else ""
        said.append(
            f"Above the top of easy for {clock(judged.above_s)}. Zones from {short_day(each.zone_set.from_date)} "
            f"on{older}."
        )
    elif run.has_pulse:
        said.append(NO_ZONES)
    if figures.drift_pct is not None:
        said.append(f"Drift {signed(figures.drift_pct, 1)} % from the first half of the steady minutes to the second.")
    loads = []
    if each.trimp["men"] is not None:
        men, women = number(each.trimp["men"]), number(each.trimp["women"])
        loads.append(f"training impulse {men} AU with the coefficients for men, {women} AU with those for women")
    if each.session_load is not None:
        loads.append(f"rating load {number(each.session_load)} AU (rating times minutes; AU: arbitrary units)")
    if loads:
        said.append(f"Load: {'; '.join(loads)}.")
    said += [f"{capital(note.words)}." for note in run.notes if note.code != "no pulse"]
    return said


def _missing(each: JudgedRun) -> str:
    """How much of a run was measured, and what is missing for which reason."""
    figures = each.run.figures
    missing_s = figures.duration_s - figures.measured_s
    if missing_s < 0.5:
        return "All of it was measured."
    parts = ", ".join(f"{kind} {clock(seconds)}" for kind, seconds in figures.missing_s.items())
    share = missing_s / figures.duration_s
    return (
        f"Measured {clock(figures.measured_s)} of {clock(figures.duration_s)}; missing {clock(missing_s)} "
        f"({100 * share:.0f} %): {parts}."
    )
