"""Runs come in: from files, off the window's thread, with progress and what became of each; and by hand."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from PySide6.QtCore import QDateTime, Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QLineEdit, QProgressBar, QWidget

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import capital, metres_from, moment_from, seconds_from
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.import_runs import FileOutcome, ImportResult, import_runs
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.background import Task
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, DateTimeEdit, label, named, read_only
from dawnbeat.ui.window.parts.layouts import FormDialog, Sheet, flow_of, row_of, stack

_NEEDS_BEGINNING = "--began"
_REPLACE, _BEGAN = "Replace with the fuller ones", "Say when it began…"


class ImportStrip(Sheet):
    """Hidden until something is imported. brought: runs were added."""

    brought = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.result: ImportResult | None = None
        self._paths: Sequence[Path] = ()
        self._stop = threading.Event()
        self.running = False
        self.words = label("", "Import")
        self.bar = named(QProgressBar(), "Files read")
        self.bar.setFormat("%v of %m files")
        self.details = read_only("What became of the files")
        give = partial(controls.button, where="Runs, import")
        self.cancel_button = give("Cancel", "Ctrl+.", "Stop after this file; what was added stays", self.cancel)
        tip = "Count the files that don't say their sport as runs"
        self.sports_button = give("They were runs", "Ctrl+Shift+S", tip, self._were_runs)
        tip = "Fuller files take the place of the runs here"
        self.replace_button = give(_REPLACE, "Ctrl+Shift+U", tip, self._replace)
        tip = "For a CSV whose times count from the start"
        self.began_button = give(_BEGAN, "Ctrl+Shift+B", tip, self.ask_beginning)
        self.close_button = give("Close", "Ctrl+W", "Put the report of the import away", self._put_away)
        buttons = (self.cancel_button, self.sports_button, self.replace_button, self.began_button, self.close_button)
        top = row_of((self.words, 2), (self.bar, 1))
        stack(self, top, self.details, flow_of(*buttons), margins=(14, 8, 14, 8))
        self.hide()

    def start(self, paths: Sequence[Path], began: datetime | None = None, replace: bool = False) -> None:
        """Import these files and folders; one import at a time."""
        if self.running:
            self.context.say("An import is running: wait for it, or cancel it first.")
            return
        self._paths, self.result, self.running = list(paths), None, True
        stop = self._stop = threading.Event()
        home = self.context.home

        def work(task: Task) -> ImportResult:
            def tell(done: int, of: int, _outcome: FileOutcome) -> None:
                task.progress(done, of)

            # A connection of its own: the window's belongs to the window's thread.
            with Journal.open(home) as journal:
                return import_runs(
                    journal,
                    paths,
                    began,
                    replace=replace,
                    progress=tell,
                    cancelled=lambda: stop.is_set() or task.cancelled,
                )

        self.bar.setRange(0, 0)
        self.words.setText("Looking for runs…")
        self._show_state()
        self.context.background.run(work, self._done, self._failed, self._progress, self._ended)

    def cancel(self) -> None:
        """Stop between two files; what was added stays and is told."""
        self._stop.set()
        if self.running:
            self.words.setText("Stopping after this file…")

    def ask_beginning(self) -> BeganDialog:
        """Ask when a CSV began whose times count from the start, and import it again."""
        dialog = BeganDialog(self.context, lambda text: self.start(self._paths, moment_from(text)), self)
        dialog.open()
        return dialog

    def _were_runs(self) -> None:
        assert self.result is not None
        ids = self.result.unsaid_ids
        with self.context.saying():
            for each in ids:
                run_store.edit(self.context.journal, each, sport="running")
            self._done(self.result.now_running(ids))
            self._show_state()
            self.brought.emit()

    def _replace(self) -> None:
        self.start(self._paths, replace=True)

    def _put_away(self) -> None:
        self.result = None
        self.hide()

    def _progress(self, done: int, of: int) -> None:
        self.bar.setRange(0, of)
        self.bar.setValue(done)
        if not self._stop.is_set():
            self.words.setText("Importing…")

    def _done(self, result: ImportResult) -> None:
        self.result = result
        # The command line's options have buttons here.
        lines = [
            line.replace("import it again with --replace to take it instead", f"“{_REPLACE}” puts it in its place")
            .replace(f", with {_NEEDS_BEGINNING}", f" (“{_BEGAN}”)")
            .replace("with `dawnbeat runs bin --back NUMBER`", "in the list of the bin below")
            for line in result.lines()
        ]
        self.words.setText(f"{capital(lines[0])}.")
        self.details.setPlainText("\n".join(lines[1:]))
        self.context.say(self.words.text())

    def _failed(self, why: str) -> None:
        self.words.setText(f"Nothing imported: {why}")
        self.details.setPlainText("")
        self.context.say(self.words.text())

    def _ended(self) -> None:
        self.running = False
        self._show_state()
        self.brought.emit()

    def _show_state(self) -> None:
        found = self.result  # None while an import runs
        outcomes = () if found is None else found.outcomes
        self.bar.setVisible(self.running)
        self.cancel_button.setVisible(self.running)
        self.close_button.setVisible(not self.running)
        self.sports_button.setVisible(found is not None and bool(found.unsaid_ids))
        self.replace_button.setVisible(found is not None and found.richer > 0)
        alone = len(outcomes) == 1 and outcomes[0].became == "not taken"
        self.began_button.setVisible(alone and _NEEDS_BEGINNING in outcomes[0].message)
        lines = self.details.blockCount() if self.details.toPlainText() else 0
        self.details.setVisible(not self.running and lines > 0)
        line = self.details.fontMetrics().lineSpacing()
        self.details.setFixedHeight(min(2 * lines, 6) * line + self.context.theme.px(22))
        self.show()


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


def felt_box(felt: float | None = None) -> ComboBox:
    """Foster's session rating of 0 to 10, whole or in between, or nothing; type a number such as 3.5."""
    box = ComboBox()
    box.setEditable(True)
    box.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
    box.addItems(["", *(f"{rating}  {_RATINGS.get(rating, '')}".strip() for rating in range(11))])
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
        self.race = named(QCheckBox("It was a race"), "It was a race")
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
