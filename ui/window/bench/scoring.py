"""Scoring a folder in the background: a table that grows, progress, cancel."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFileDialog,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QProgressBar,
    QPushButton,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.morning.scoring import Score, scoring
from dawnbeat.morning.sources import recordings_in
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.processes import Processes
from dawnbeat.shared.settings import Settings
from dawnbeat.ui.window.bench.table import VERDICT, ScoreModel, ScoreOrder
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import Key
from dawnbeat.ui.window.parts.work import Task, Work

_LEGEND = (
    "Worst first: what can’t be read; a verdict that isn’t the expected one, or a usable reading whose RMSSD is more "
    "than 10 % off its reference; what isn’t usable; then by agreement, kept share and timing error; last what is "
    "rightly not usable. Enter opens a row."
)


class ScoringView(QWidget):
    """opened: the path of a row that somebody wants on the bench."""

    opened = Signal(object)
    _came = Signal(object)

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.settings = context.detection
        self.folder: Path | None = None
        self.model = ScoreModel()
        self.order = ScoreOrder()
        self.order.setSourceModel(self.model)
        self._work: Work | None = None
        self._pool: Processes[Path, Score] | None = None
        self._number = 0
        self._scored_with: Settings | None = None
        self._came.connect(self._add, Qt.ConnectionType.QueuedConnection)
        self.choose = QPushButton("Score a folder…")
        controls.give(self.choose, Key("Ctrl+G", "Score every recording below a folder", "Bench"))
        self.again = QPushButton("Again")
        controls.give(self.again, Key("F5", "Score the same folder again, with the settings as they are", "Bench"))
        self.stop = QPushButton("Stop")
        controls.give(self.stop, Key("Ctrl+.", "Stop scoring; what is scored stays", "Bench"))
        self.bar = QProgressBar()
        self.bar.setAccessibleName("Recordings scored")
        self.bar.setFormat("%v of %m")
        self.told = QLabel("Score a folder with the settings at the side.")
        self.told.setWordWrap(True)
        self.told.setAccessibleName("Scoring")
        self.table = QTableView()
        self.table.setAccessibleName("Scores")
        self._lay_out()
        self.choose.clicked.connect(self._ask)
        self.again.clicked.connect(lambda: self.folder is not None and self.score([self.folder]))
        self.stop.clicked.connect(self.cancel)
        self.table.activated.connect(self._open)
        self._show_state()

    def _lay_out(self) -> None:
        table = self.table
        table.setModel(self.order)
        table.setSortingEnabled(True)
        table.sortByColumn(VERDICT, Qt.SortOrder.DescendingOrder)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.setTabKeyNavigation(False)
        table.setAlternatingRowColors(True)
        table.setShowGrid(False)
        table.setWordWrap(False)
        table.verticalHeader().hide()
        header = table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setStretchLastSection(True)
        legend = QLabel(_LEGEND)
        legend.setProperty("class", "small")
        legend.setWordWrap(True)
        top = QHBoxLayout()
        for button in (self.choose, self.again, self.stop):
            top.addWidget(button)
        top.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.addLayout(top)
        layout.addWidget(self.bar)
        layout.addWidget(self.told)
        layout.addWidget(table, 1)
        layout.addWidget(legend)

    @property
    def running(self) -> bool:
        """Whether recordings are being scored."""
        return self._work is not None

    def set_settings(self, settings: Settings) -> None:
        """The settings that the next scoring uses; what is running goes on with its own."""
        self.settings = settings
        self._tell()

    def score(self, paths: Sequence[Path]) -> None:
        """Score every recording below these paths, beginning anew."""
        self.cancel()
        self.folder = paths[0]
        self.model.clear()
        self._number += 1
        number, pool = self._number, scoring(self.settings)
        self._scored_with = self.settings

        def work(task: Task) -> int:
            found = recordings_in(paths)
            if not found:
                raise DawnbeatError(f"{paths[0]} holds no recording: choose another folder")
            task.progress(0, len(found))
            done = 0
            for each in pool.as_ready(found):
                if task.cancelled:
                    break
                if each is not None:
                    done += 1
                    self._came.emit((number, each))
                    task.progress(done, len(found))
            return len(found)

        self._pool = pool
        self.bar.setRange(0, 0)
        self._work = self.context.background.run(
            work, failed=self.told.setText, progressed=self._progress, ended=lambda: self._ended(number)
        )
        self._show_state()

    def cancel(self) -> None:
        """Stop scoring and let the processes go; the rows that came stay."""
        if self._pool is not None:
            self._pool.stop()
            self._pool = None
        if self._work is not None:
            self._work.cancel()
            self._work = None
        self._show_state()

    def _ask(self) -> None:
        chosen = QFileDialog.getExistingDirectory(self, "Score a folder", str(self.folder or ""))
        if chosen:
            self.score([Path(chosen)])

    def _progress(self, done: int, of: int) -> None:
        self.bar.setRange(0, of)
        self.bar.setValue(done)

    def _add(self, came: tuple[int, Score]) -> None:
        number, score = came
        if number == self._number:
            self.model.add(score)
            if len(self.model.scores) <= 20:
                self._fit_columns()
            self._tell()

    def _ended(self, number: int) -> None:
        if number == self._number:
            self._work = self._pool = None
            self._fit_columns()
            self._show_state()

    def _fit_columns(self) -> None:
        self.table.resizeColumnsToContents()

    def _show_state(self) -> None:
        self.stop.setEnabled(self.running)
        self.again.setEnabled(self.folder is not None and not self.running)
        self.bar.setVisible(self.running)
        self._tell()

    def _tell(self) -> None:
        scores = self.model.scores
        if not scores:
            if self.running:
                self.told.setText(f"Looking for recordings below {self.folder}")
            return
        wrong = sum(each.wrong for each in scores)
        bad = sum(each.trouble is not None for each in scores)
        usable = sum(bool(each.usable) for each in scores)
        old = "" if self._scored_with == self.settings else " The settings have changed since: score again."
        self.told.setText(
            f"{len(scores)} scored: {usable} usable, {len(scores) - usable - bad} not usable, {wrong} wrong, "
            f"{bad} unreadable.{'' if self.running else ' Done.'}{old}"
        )

    def _open(self, index: QModelIndex) -> None:
        row = self.order.mapToSource(index).row()
        if 0 <= row < len(self.model.scores):
            self.opened.emit(self.model.scores[row].path)
