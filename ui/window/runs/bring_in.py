"""Bringing run files in: off the window's thread, with progress and cancel, and what became of each file."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPlainTextEdit, QProgressBar, QPushButton, QVBoxLayout

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import moment_from
from dawnbeat.training import run_store
from dawnbeat.training.import_runs import FileOutcome, ImportResult, import_runs
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.layouts import flow_of
from dawnbeat.ui.window.parts.work import Task
from dawnbeat.ui.window.runs.dialogs import BeganDialog

_NEEDS_BEGINNING = "--began"


class ImportStrip(QFrame):
    """Hidden until something is imported. brought: runs were added."""

    brought = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.setProperty("class", "sheet")
        self.result: ImportResult | None = None
        self._paths: Sequence[Path] = ()
        self._stop = threading.Event()
        self.running = False
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.words.setAccessibleName("Import")
        self.bar = QProgressBar()
        self.bar.setAccessibleName("Files read")
        self.bar.setFormat("%v of %m files")
        self.details = QPlainTextEdit()
        self.details.setReadOnly(True)
        self.details.setTabChangesFocus(True)
        self.details.setAccessibleName("What became of the files")

        def give(words: str, keys: str, tip: str, does: Callable[[], object]) -> QPushButton:
            return controls.button(words, keys, tip, does, "Runs, import")

        self.cancel_button = give("Cancel", "Ctrl+.", "Stop after this file; what was added stays", self.cancel)
        self.sports_button = give(
            "They were runs", "Ctrl+Shift+S", "Count the files that don't say their sport as runs", self._were_runs
        )
        self.replace_button = give(
            "Take the fuller ones", "Ctrl+Shift+U", "Fuller files take the place of the runs here", self._replace
        )
        self.began_button = give(
            "Say when it began…", "Ctrl+Shift+B", "For a CSV whose times count from the start", self.ask_beginning
        )
        self.close_button = give("Close", "Ctrl+W", "Put the report of the import away", self._put_away)
        top = QHBoxLayout()
        top.addWidget(self.words, 2)
        top.addWidget(self.bar, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(14, 8, 14, 8)
        layout.addLayout(top)
        layout.addWidget(self.details)
        layout.addLayout(
            flow_of(self.cancel_button, self.sports_button, self.replace_button, self.began_button, self.close_button)
        )
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
        if self.result is None:
            return
        ids = self.result.unsaid_ids
        try:
            for each in ids:
                run_store.edit(self.context.journal, each, sport="running")
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        self.result = self.result.now_running(ids)
        self._say_result(self.result)
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
        self._say_result(result)

    def _say_result(self, result: ImportResult) -> None:
        # The command line's options have buttons here.
        lines = [
            line.replace("import it again with --replace to take it instead", "“Take the fuller ones” takes it instead")
            .replace(f", with {_NEEDS_BEGINNING}", " (“Say when it began…”)")
            .replace("with `dawnbeat runs bin --back NUMBER`", "in the list of the bin below")
            for line in result.lines()
        ]
        self.words.setText(lines[0][0].upper() + lines[0][1:] + ".")
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
        messages = [] if self.result is None else [each.message for each in self.result.outcomes]
        refused = [] if self.result is None else [each for each in self.result.outcomes if each.became == "not taken"]
        self.bar.setVisible(self.running)
        self.cancel_button.setVisible(self.running)
        self.close_button.setVisible(not self.running)
        found = self.result
        self.sports_button.setVisible(not self.running and found is not None and bool(found.unsaid_ids))
        self.replace_button.setVisible(not self.running and found is not None and found.richer > 0)
        alone = len(messages) == len(refused) == 1
        self.began_button.setVisible(not self.running and alone and _NEEDS_BEGINNING in messages[0])
        lines = self.details.blockCount() if self.details.toPlainText() else 0
        self.details.setVisible(not self.running and lines > 0)
        line = self.details.fontMetrics().lineSpacing()
        self.details.setFixedHeight(min(2 * lines, 6) * line + self.context.theme.px(22))
        self.show()
