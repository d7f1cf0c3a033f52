"""Looking after the journal: back up, restore, import mornings, analyse all of them again.

What takes long runs off the window's thread with a connection of its own, shows how far it is, and can be stopped as
long as nothing was changed.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QProgressBar,
    QWidget,
)

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import count_of
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.background import Task, Work
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import label, named, read_only, say_or_hide, sure
from dawnbeat.ui.window.parts.layouts import DIALOG_MARGINS, flow_of, stack

_WHERE = "Settings"


class JournalCare(QWidget):
    """Four buttons and what becomes of them; one thing at a time."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self._work: Work | None = None
        give = functools.partial(controls.button, where=_WHERE)
        self.backup_button = give("Back up…", "Ctrl+B", "Journal and recordings in one file", self.ask_backup)
        self.restore_button = give("Restore…", "Ctrl+Shift+O", "Open a backup in the journal's place", self.ask_restore)
        self.import_button = give("Import mornings…", "Ctrl+O", "Open a CSV that was saved here", self.ask_import)
        tip = "Analyse every recording again, with the settings that readings use"
        self.again_button = give("Analyse again…", "F5", tip, self.analyse_again)
        self.buttons = (self.backup_button, self.restore_button, self.import_button, self.again_button)
        self.stop = give("Stop", "Ctrl+.", "Stop; nothing is changed", self._stop)
        self.bar = named(QProgressBar(), "How far it is")
        self.told = label("soft", "What became of it")
        self.told.hide()
        stack(self, flow_of(*self.buttons, self.stop, gap=10), self.bar, self.told)
        self._show_state()

    @property
    def running(self) -> bool:
        """Whether something is under way."""
        return self._work is not None

    def ask_backup(self) -> None:
        """Ask for a name and write everything into one file."""
        path = saving.ask_save(self, "Back up the journal", "dawnbeat-backup.zip", "Zip (*.zip)")
        if path is not None:
            home = self.context.home
            self._run("Backing up…", lambda task: _back_up(home, path, task), self._tell)

    def ask_restore(self) -> None:
        """Ask for a backup, and whether to put it in the journal's place."""
        chosen, _ = QFileDialog.getOpenFileName(self, "Restore a backup", "", "Zip (*.zip);;All files (*)")
        asked = (
            f"Put the backup {Path(chosen).name} in the place of the present journal? It is checked first, and the "
            "present journal is set aside beside it."
        )
        if chosen and sure(self, "Restore a backup", asked):
            self.restore(Path(chosen))

    def restore(self, path: Path) -> None:
        """Put a backup in the journal's place; the window lets the journal go meanwhile."""
        from dawnbeat.journal.backup import restore

        home, window = self.context.home, self.window()
        self.context.journal.close()
        window.setEnabled(False)

        def restored(found: Any) -> None:
            self.context.undo.clear()
            kept = "" if found.aside is None else f" The journal that was there is now in {found.aside}."
            readings, recordings = count_of(found.readings, "reading"), count_of(found.recordings, "recording")
            self._tell(f"Restored: {readings} and {recordings}.{kept}")

        def ended() -> None:
            with self.context.saying():
                self.context.journal = Journal.open(home)
            window.setEnabled(True)
            self.context.journal_changed.emit()

        self._run("Restoring…", lambda _task: restore(path, home), restored, ended)

    def ask_import(self) -> None:
        """Ask for a CSV of mornings and show what it would add."""
        chosen, _ = QFileDialog.getOpenFileName(self, "Import mornings", "", "CSV (*.csv);;All files (*)")
        if chosen:
            self.plan_import(Path(chosen))

    def plan_import(self, path: Path) -> None:
        """Compare a CSV with the journal and show what would be done."""
        from dawnbeat.journal.csv_files import plan_import

        home = self.context.home
        self._run(f"Reading {path.name}…", lambda _task: _with(home, plan_import, path), self._show_plan)

    def analyse_again(self) -> None:
        """Analyse the whole journal again and show what would change."""
        home, settings = self.context.home, self.context.detection
        self._run("Analysing…", lambda task: _reanalyse(home, settings, task), self._show_outcome)

    # Inside

    def _show_plan(self, plan: Any) -> None:
        from dawnbeat.journal.csv_files import apply_import

        # The command line's way has another button here.
        lines = [
            line.replace("`dawnbeat bin --back NUMBER` brings one back", "“Back” brings one") for line in plan.lines()
        ]
        replace = QCheckBox("Let the file win where it differs from the journal")
        home, dialog = self.context.home, Found(self, "Import mornings", lines, "Import", replace)
        replace.setVisible(bool(plan.conflicts))
        dialog.yes.setEnabled(not plan.errors and bool(plan.new or plan.conflicts))

        def apply() -> None:
            wins = replace.isChecked()
            self._run("Importing…", lambda _task: _with(home, apply_import, plan, wins), self._imported)

        dialog.accepted.connect(apply)
        self._tell("")
        dialog.open()

    def _imported(self, count: int) -> None:
        self._tell(f"Imported: {count_of(count, 'reading')}.")
        self.context.journal_changed.emit()

    def _show_outcome(self, outcome: Any) -> None:
        home, settings = self.context.home, self.context.detection
        lines = [line.replace("->", "→") for line in outcome.lines()]
        dialog = Found(self, "Analysed again", lines, "Store these analyses")
        dialog.yes.setEnabled(bool(outcome.changes))
        dialog.accepted.connect(
            lambda: self._run("Storing…", lambda _task: _store(home, outcome, settings), self._stored)
        )
        self._tell("")
        dialog.open()

    def _stored(self, count: int) -> None:
        self.context.undo.clear()
        self._tell(f"Stored: the new analyses of {count_of(count, 'reading')}.")
        self.context.journal_changed.emit()

    def _run(
        self,
        words: str,
        work: Callable[[Task], Any],
        done: Callable[[Any], object],
        ended: Callable[[], object] = lambda: None,
    ) -> None:
        if self.running:
            self.context.say("One thing at a time: wait for it, or stop it first.")
            return

        def over() -> None:
            self._work = None
            self._show_state()
            ended()

        say_or_hide(self.told, words)
        self.bar.setRange(0, 0)
        self._work = self.context.background.run(work, done, self._tell, self._progressed, over)
        self._show_state()

    def _stop(self) -> None:
        if self._work is not None:
            self._work.cancel()
            say_or_hide(self.told, "Stopping…")

    def _progressed(self, done: int, of: int) -> None:
        self.bar.setRange(0, of)
        self.bar.setValue(done)

    def _tell(self, words: str) -> None:
        say_or_hide(self.told, words)
        if words:
            self.context.say(words)

    def _show_state(self) -> None:
        self.bar.setVisible(self.running)
        self.stop.setVisible(self.running)
        for button in self.buttons:
            button.setEnabled(not self.running)


class Found(QDialog):
    """Shows what would be done, line by line, and does it only at its own button. yes: that button."""

    def __init__(self, parent: QWidget, title: str, lines: Sequence[str], words: str, *more: QWidget) -> None:
        """more: controls above the buttons."""
        super().__init__(parent.window())
        self.setWindowTitle(title)
        self.lines = read_only(f"{title}: what would be done")
        self.lines.setPlainText("\n".join(lines))
        buttons = QDialogButtonBox()
        self.yes = buttons.addButton(words, QDialogButtonBox.ButtonRole.AcceptRole)
        no = buttons.addButton("Leave it as it is", QDialogButtonBox.ButtonRole.RejectRole)
        no.setDefault(True)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        stack(self, (self.lines, 1), *more, buttons, margins=DIALOG_MARGINS)
        self.resize(parent.window().size() * 0.7)


def _with(home: Path, function: Callable[..., Any], *values: Any) -> Any:
    with Journal.open(home) as journal:
        return function(journal, *values)


def _back_up(home: Path, path: Path, task: Task) -> str:
    from dawnbeat.journal.backup import backup

    with Journal.open(home) as journal:
        made = backup(journal, path, overwrite=True, progress=task.progress)
    return (
        f"Backed up {count_of(made.readings, 'reading')} and {count_of(made.recordings, 'recording')} in {path.name}."
    )


def _reanalyse(home: Path, settings: Any, task: Task) -> Any:
    from dawnbeat.capture.recording import read_recording
    from dawnbeat.morning.revising import reanalyse
    from dawnbeat.signal.analysis import analyse

    with Journal.open(home) as journal:
        if not any(each.recording for each in journal.readings()):
            raise DawnbeatError("no reading of this journal has its recording, so nothing can be analysed again")
        return reanalyse(journal, read_recording, analyse, settings, task.progress)


def _store(home: Path, outcome: Any, settings: Any) -> int:
    from dawnbeat.morning.revising import accept, edit_again

    with Journal.open(home) as journal:
        stored = accept(journal, outcome)
        edit_again(journal, outcome, settings)
        return stored
