"""The list of runs: sort, filter, edit in place, bin and bring back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date

from PySide6.QtCore import QAbstractItemModel, QItemSelectionModel, QModelIndex, QPersistentModelIndex, Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QLineEdit,
    QMessageBox,
    QPushButton,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import run_store
from dawnbeat.training.weeks import JudgedRun
from dawnbeat.ui.window.parts import shortcuts
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.flow import flow_of
from dawnbeat.ui.window.parts.shortcuts import Key
from dawnbeat.ui.window.parts.small_tables import on_key
from dawnbeat.ui.window.runs import edits as runs_edit
from dawnbeat.ui.window.runs.model import COLUMNS, KINDS, Column, RunsModel

IN_THE_BIN = "in the bin"
_WHERE = "Runs"
_EMPTY = (
    "No runs yet. Drop files or folders here, press “Import…” (Ctrl+O), or enter a run by hand (N). FIT, TCX, "
    "GPX and CSV are read; nothing leaves this computer."
)


class RunsTable(QWidget):
    """opened: a JudgedRun that is wanted. binned: what is in the bin, judged by the page."""

    opened = Signal(object)

    def __init__(self, context: AppContext, binned: Callable[[], Sequence[JudgedRun]]) -> None:
        super().__init__()
        self.context = context
        self._binned = binned
        self._listed: Sequence[JudgedRun] = ()
        self.model = RunsModel(lambda each, column, text: runs_edit.change(context, each.run, column.item, text))
        self.words = QLineEdit()
        self.words.setPlaceholderText("Find: a date, a weekday, a word of a note, a file")
        self.words.setClearButtonEnabled(True)
        self.words.setAccessibleName("Find in the list")
        self.words.setToolTip(f"Rows that hold all these words ({shortcuts.shown('Ctrl+F')})")
        self.words.textChanged.connect(self._filter)
        self.kind = QComboBox()
        self.kind.addItems([*KINDS, IN_THE_BIN])
        self.kind.setAccessibleName("Which runs")
        self.kind.setToolTip("Which runs the list shows")
        self.kind.currentTextChanged.connect(lambda _: self.show_runs(self._listed))
        self.view = self._make_view()
        self.nothing = QLabel(_EMPTY)
        self.nothing.setWordWrap(True)
        self.nothing.setProperty("class", "soft")
        self.open_button = self._button("Open", "O", "Open the run, as Enter does", self.open)
        self.bin_button = self._button("Bin", "Del", "Put the selected runs in the bin; Ctrl+Z undoes it", self.bin)
        self.back_button = self._button("Restore", "R", "Bring the selected runs back from the bin", self.restore)
        self.empty_button = self._button("Empty the bin…", "Shift+Del", "Empty the bin for good", self.empty)
        shortcuts.register(
            Key("Return", "Open the run", _WHERE),
            Key("F2", "Edit felt effort, race or note in place", _WHERE),
            Key("Ctrl+F", "Find in the list", _WHERE),
        )
        QShortcut(QKeySequence("Ctrl+F"), self, self.words.setFocus)
        self._lay_out()
        self._selected()

    # Showing

    @property
    def in_bin(self) -> bool:
        """Whether the bin is shown."""
        return self.kind.currentText() == IN_THE_BIN

    def show_runs(self, runs: Sequence[JudgedRun]) -> None:
        """Show these, or the bin where that is chosen; the selection stays where it can."""
        self._listed = runs
        shown: Sequence[JudgedRun] = runs
        if self.in_bin:
            try:
                shown = self._binned()
            except DawnbeatError as error:
                self.context.say(str(error))
                shown = ()
        with self._selection_kept():
            self.model.want(self.words.text(), KINDS[0] if self.in_bin else self.kind.currentText())
            self.model.set_runs(shown)
        self._selected()

    def select_day(self, day: date) -> None:
        """Select the first run of a day, where it is shown."""
        row = next((row for row, each in enumerate(self.model.runs) if each.run.local_date == day), None)
        if row is not None:
            self._go_to(row)

    def current(self) -> JudgedRun | None:
        """The run of the current row."""
        index = self.view.currentIndex()
        return self.model.runs[index.row()] if index.isValid() else None

    def selected(self) -> list[JudgedRun]:
        """The runs of the selected rows."""
        return [self.model.runs[index.row()] for index in self.view.selectionModel().selectedRows()]

    def beside(self, run_id: int, way: int) -> JudgedRun | None:
        """The run `way` rows further down from one, in the order shown."""
        row = self.model.row_of(run_id)
        if row is None or not 0 <= row + way < len(self.model.runs):
            return None
        self._go_to(row + way)
        return self.model.runs[row + way]

    def _go_to(self, row: int) -> None:
        index = self.model.index(row, max(self.view.currentIndex().column(), 0))
        if index != self.view.currentIndex():
            self.view.setCurrentIndex(index)

    @contextmanager
    def _selection_kept(self) -> Iterator[None]:
        chosen = {each.run.id for each in self.selected()}
        current, row = self.current(), self.view.currentIndex().row()
        yield
        if not self.model.runs:
            return
        if current is None:
            self._go_to(0)
            return
        there = self.model.row_of(current.run.id)
        self._go_to(min(row, len(self.model.runs) - 1) if there is None else there)
        for other in chosen - {current.run.id}:
            if (place := self.model.row_of(other)) is not None:
                flags = QItemSelectionModel.SelectionFlag.Select | QItemSelectionModel.SelectionFlag.Rows
                self.view.selectionModel().select(self.model.index(place, 0), flags)

    # Changing

    def open(self) -> None:
        """Ask for the view of the current run."""
        each = self.current()
        if each is not None:
            self.opened.emit(each)

    def bin(self) -> None:
        """Put the selected runs in the bin."""
        if not self.in_bin:
            runs_edit.to_bin(self.context, [each.run for each in self.selected()])

    def restore(self) -> None:
        """Bring the selected runs back from the bin."""
        if self.in_bin:
            runs_edit.from_bin(self.context, [each.run for each in self.selected()])

    def empty(self) -> None:
        """Delete what is in the bin for good, after asking."""
        going = [each.run.id for each in self.model.runs]
        if not going or not self.in_bin:
            return
        count = "1 run" if len(going) == 1 else f"{len(going)} runs"
        asked = QMessageBox.question(
            self,
            "Empty the bin",
            f"Delete {count}? This can't be undone.",
            QMessageBox.StandardButton.Yes | QMessageBox.StandardButton.Cancel,
            QMessageBox.StandardButton.Cancel,
        )
        if asked != QMessageBox.StandardButton.Yes:
            return
        try:
            gone = run_store.empty_bin(self.context.journal, going)
        except DawnbeatError as error:
            self.context.say(str(error))
        else:
            self.context.undo.clear()
            self.context.say(f"Deleted for good: {'1 run' if gone == 1 else f'{gone} runs'}.")
        self.context.journal_changed.emit()

    # Inside

    def _make_view(self) -> QTableView:
        view = QTableView()
        view.setModel(self.model)
        view.setItemDelegate(_Editors(view))
        header = view.horizontalHeader()
        header.setSortIndicatorShown(True)
        header.setSectionsClickable(True)
        header.setHighlightSections(False)
        header.setSortIndicator(0, Qt.SortOrder.DescendingOrder)
        header.sortIndicatorChanged.connect(self._sort)
        header.setStretchLastSection(True)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        view.setAlternatingRowColors(True)
        view.setShowGrid(False)
        view.setWordWrap(False)
        view.setTabKeyNavigation(False)
        view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        view.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        view.setEditTriggers(QAbstractItemView.EditTrigger.DoubleClicked | QAbstractItemView.EditTrigger.EditKeyPressed)
        view.setAccessibleName("All runs")
        view.setAccessibleDescription("Enter opens the run, F2 edits the cell, Delete bins the selected runs.")
        view.verticalHeader().hide()
        view.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        view.selectionModel().selectionChanged.connect(lambda *_: self._selected())
        view.doubleClicked.connect(self._double)
        for keys in ("Return", "Enter"):
            on_key(view, keys, self.open)
        return view

    def _button(self, words: str, keys: str, tip: str, does: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        shortcuts.give(button, Key(keys, tip, _WHERE))
        button.clicked.connect(does)
        return button

    def _lay_out(self) -> None:
        top = QHBoxLayout()
        top.addWidget(self.words, 1)
        top.addWidget(self.kind)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(top)
        layout.addWidget(self.nothing)
        layout.addWidget(self.view, 1)
        layout.addLayout(flow_of(self.open_button, self.back_button, self.bin_button, self.empty_button))
        self.fit_columns()
        self.context.theme_changed.connect(lambda _: self.fit_columns())

    def fit_columns(self) -> None:
        """Column widths and row height from the text size, not from thousands of cells."""
        metrics = self.view.fontMetrics()
        self.view.verticalHeader().setDefaultSectionSize(round(1.7 * metrics.height()))
        for place, column in enumerate(COLUMNS):
            text = max(column.title + " ▾", column.widest, key=metrics.horizontalAdvance)
            self.view.setColumnWidth(place, metrics.horizontalAdvance(text) + self.context.theme.px(22))

    def _filter(self) -> None:
        with self._selection_kept():
            self.model.want(self.words.text(), KINDS[0] if self.in_bin else self.kind.currentText())
        self._selected()

    def _sort(self, column: int, order: Qt.SortOrder) -> None:
        with self._selection_kept():
            self.model.sort(column, order)

    def _double(self, index: QModelIndex) -> None:
        if not COLUMNS[index.column()].item:
            self.open()

    def _selected(self) -> None:
        chosen, in_bin = bool(self.view.selectionModel().selectedRows()), self.in_bin
        self.open_button.setEnabled(self.current() is not None)
        self.bin_button.setEnabled(chosen)
        self.back_button.setEnabled(chosen)
        self.empty_button.setEnabled(bool(self.model.runs))
        self.nothing.setVisible(not self._listed and not in_bin)
        for button, shown in (
            (self.open_button, not in_bin),
            (self.bin_button, not in_bin),
            (self.back_button, in_bin),
            (self.empty_button, in_bin),
        ):
            button.setVisible(shown)


class _Editors(QStyledItemDelegate):
    """A list to choose from where there are few answers, else a line to type in."""

    def createEditor(  # noqa: N802  Qt's name
        self, parent: QWidget, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> QWidget:
        column: Column = COLUMNS[index.column()]
        editor: QWidget
        if column.choices is None:
            editor = QLineEdit(parent)
        else:
            editor = QComboBox(parent)
            editor.addItems(column.choices)
        editor.setAccessibleName(column.title)
        return editor

    def setEditorData(self, editor: QWidget, index: QModelIndex | QPersistentModelIndex) -> None:  # noqa: N802
        text = str(index.data(Qt.ItemDataRole.EditRole) or "")
        if isinstance(editor, QComboBox):
            editor.setCurrentText(text or "no")
        elif isinstance(editor, QLineEdit):
            editor.setText(text)

    def setModelData(  # noqa: N802
        self, editor: QWidget, model: QAbstractItemModel, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        if isinstance(editor, QComboBox):
            model.setData(index, editor.currentText())
        elif isinstance(editor, QLineEdit):
            model.setData(index, editor.text())
