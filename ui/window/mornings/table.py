"""The table beside the chart: sort, filter, edit in place, choose what counts, bin and bring back."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date

from PySide6.QtCore import QAbstractItemModel, QModelIndex, QPersistentModelIndex, Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
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
from dawnbeat.shared.morning import StoredReading, posture_from
from dawnbeat.ui.window.mornings.model import COLUMNS, Column, MorningsModel, changed_context
from dawnbeat.ui.window.parts import shortcuts
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.flow import flow_of
from dawnbeat.ui.window.parts.formats import short_day
from dawnbeat.ui.window.parts.shortcuts import Key

IN_THE_BIN = "in the bin"
KINDS = ("all", "usable", "not usable", "several a day", IN_THE_BIN)
_WHERE = "Mornings"


class MorningsTable(QWidget):
    """picked: the day of the selected row. opened: the day view of a reading is wanted."""

    picked = Signal(object)
    opened = Signal(object)

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.model = MorningsModel(self._edit)
        self.words = QLineEdit()
        self.words.setPlaceholderText("Find: a date, a run, a word of a note")
        self.words.setClearButtonEnabled(True)
        self.words.setAccessibleName("Find in the table")
        self.words.setToolTip(f"Rows that hold all these words ({shortcuts.shown('Ctrl+F')})")
        self.words.textChanged.connect(self._filter)
        self.kind = QComboBox()
        self.kind.addItems(KINDS)
        self.kind.setAccessibleName("Which readings")
        self.kind.setToolTip("Which readings the table shows")
        self.kind.currentTextChanged.connect(lambda _: self.refresh())
        self.view = self._make_view()
        self.open_button = self._button("Open", "O", "Open the day's recording, as Enter does", self.open)
        self.count_button = self._button("Let it count", "C", "Let this reading count on its day", self.count)
        self.bin_button = self._button("Bin", "Del", "Put it in the bin; Ctrl+Z brings it back", self.to_bin)
        self.back_button = self._button("Restore", "R", "Bring it back from the bin", self.restore)
        self.empty_button = self._button("Empty the bin…", "Shift+Del", "Empty the bin for good", self.empty)
        shortcuts.register(
            Key("Return", "Open the day's recording", _WHERE),
            Key("F2", "Edit the cell in place", _WHERE),
            Key("Ctrl+F", "Find in the table", _WHERE),
        )
        QShortcut(QKeySequence("Ctrl+F"), self, self.words.setFocus)
        self._lay_out()
        self._selected()

    # Showing

    def refresh(self, readings: list[StoredReading] | None = None) -> None:
        """Show these readings, else read the journal again; the selection stays where it can."""
        in_bin = self.kind.currentText() == IN_THE_BIN
        if readings is None or in_bin:
            try:
                readings = self.context.journal.bin() if in_bin else self.context.journal.readings()
            except DawnbeatError as error:
                self.context.say(str(error))
                readings = []
        with self._selection_kept():
            self.model.want(self.words.text(), "all" if in_bin else self.kind.currentText())
            self.model.set_readings(readings)
        self._selected()

    def select(self, day: date) -> None:
        """Select the reading that counts on a day, without telling anybody; it may be filtered out."""
        shown = [(row, each) for row, each in enumerate(self.model.readings) if each.local_date == day]
        if shown:
            row = next((row for row, each in shown if each.counts), shown[-1][0])
            self._go_to(row)

    def current(self) -> StoredReading | None:
        """The reading of the selected row."""
        index = self.view.currentIndex()
        return self.model.readings[index.row()] if index.isValid() else None

    def _go_to(self, row: int) -> None:
        index = self.model.index(row, max(self.view.currentIndex().column(), 0))
        if index != self.view.currentIndex():
            quiet = self.blockSignals(True)
            self.view.setCurrentIndex(index)
            self.blockSignals(quiet)

    @contextmanager
    def _selection_kept(self) -> Iterator[None]:
        chosen, row = self.current(), self.view.currentIndex().row()
        yield
        if chosen is None or not self.model.readings:
            return
        there = self.model.row_of(chosen.id)
        self._go_to(min(row, len(self.model.readings) - 1) if there is None else there)

    # Changing

    def open(self) -> None:
        """Ask for the day view of the selected reading."""
        reading = self.current()
        if reading is not None:
            self.opened.emit(reading)

    def count(self) -> None:
        """Let the selected reading count on its day."""
        reading, journal = self.current(), self.context.journal
        if reading is None:
            return
        before = next((each for each in journal.day(reading.local_date) if each.counts), reading)
        words = f"let the reading of {reading.began:%H:%M} count on {short_day(reading.local_date)}"
        if self.context.do(words, lambda: journal.pick(reading.id), lambda: journal.pick(before.id)):
            self.context.say(f"The reading of {reading.began:%H:%M} counts on {short_day(reading.local_date)} now.")

    def to_bin(self) -> None:
        """Put the selected reading in the bin."""
        reading, journal = self.current(), self.context.journal
        if reading is None or reading.binned_at is not None:
            return
        words = f"bin the reading of {short_day(reading.local_date)}, {reading.began:%H:%M}"
        if self.context.do(words, lambda: journal.put_in_bin(reading.id), lambda: journal.restore_from_bin(reading.id)):
            undo = shortcuts.shown("Ctrl+Z")
            self.context.say(f"In the bin: the reading of {short_day(reading.local_date)}. {undo} brings it back.")

    def restore(self) -> None:
        """Bring the selected reading back from the bin."""
        reading, journal = self.current(), self.context.journal
        if reading is None or reading.binned_at is None:
            return
        words = f"restore the reading of {short_day(reading.local_date)}, {reading.began:%H:%M}"
        if self.context.do(words, lambda: journal.restore_from_bin(reading.id), lambda: journal.put_in_bin(reading.id)):
            self.context.say(f"Back among the mornings: the reading of {short_day(reading.local_date)}.")

    def empty(self) -> None:
        """Delete what is in the bin for good, after asking."""
        going = list(self.model.readings)
        if not going:
            return
        count = "1 reading" if len(going) == 1 else f"{len(going)} readings"
        asked = QMessageBox.question(
            self,
            "Empty the bin",
            f"Delete {count} and the recordings with them? This can't be undone.",
            QMessageBox.StandardButton.Yes | QMessageBox.StandardButton.Cancel,
            QMessageBox.StandardButton.Cancel,
        )
        if asked != QMessageBox.StandardButton.Yes:
            return
        try:
            gone = self.context.journal.empty_bin([each.id for each in going])
        except DawnbeatError as error:
            self.context.say(str(error))
        else:
            self.context.undo.clear()
            self.context.say(f"Deleted for good: {'1 reading' if gone == 1 else f'{gone} readings'}.")
        self.context.journal_changed.emit()

    def _edit(self, reading: StoredReading, column: Column, text: str) -> bool:
        journal = self.context.journal
        words = f"change {column.title.lower()} of {short_day(reading.local_date)}"
        forth: Callable[[], object]
        back: Callable[[], object]
        try:
            if column.item == "posture":
                posture, was = posture_from(text), reading.posture
                forth, back = (
                    lambda: journal.set_posture(reading.id, posture),
                    lambda: journal.set_posture(reading.id, was),
                )
            else:
                before = reading.context
                after = changed_context(before, column.item, text)
                forth, back = (
                    lambda: journal.edit_context(reading.id, after),
                    lambda: journal.edit_context(reading.id, before),
                )
        except DawnbeatError as error:
            self.context.say(f"Not changed: {error}")
            return False
        return self.context.do(words, forth, back)

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
        view.setAlternatingRowColors(True)
        view.setShowGrid(False)
        view.setWordWrap(False)
        view.setTabKeyNavigation(False)
        view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        view.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        view.setEditTriggers(QAbstractItemView.EditTrigger.DoubleClicked | QAbstractItemView.EditTrigger.EditKeyPressed)
        view.setAccessibleName("All mornings")
        view.setAccessibleDescription("Enter opens the day, F2 edits the cell, Delete bins the reading.")
        view.verticalHeader().hide()
        view.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        view.selectionModel().currentChanged.connect(self._moved)
        view.doubleClicked.connect(self._double)
        for keys in ("Return", "Enter"):
            QShortcut(QKeySequence(keys), view, self.open, context=Qt.ShortcutContext.WidgetShortcut)
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
        foot = flow_of(self.open_button, self.count_button, self.back_button, self.bin_button, self.empty_button)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(top)
        layout.addWidget(self.view, 1)
        layout.addLayout(foot)
        self.fit_columns()
        self.context.theme_changed.connect(lambda _: self.fit_columns())

    def fit_columns(self) -> None:
        """Column widths and row height from the text size, not from thousands of cells."""
        metrics = self.view.fontMetrics()
        self.view.verticalHeader().setDefaultSectionSize(round(1.7 * metrics.height()))
        widest = {"Day": "2025-06-30", "Verdict": "another counts", "Posture": "standing"}
        widest |= {"Yesterday’s run": 20 * "n", "Note": 24 * "n"}
        for place, column in enumerate(COLUMNS):
            text = max(
                column.title + "  ▾", widest.get(column.title, ""), 24 * "n" if column.title == "Note" else "", key=len
            )
            self.view.setColumnWidth(place, metrics.horizontalAdvance(text) + self.context.theme.px(22))

    def _filter(self) -> None:
        with self._selection_kept():
            kind = self.kind.currentText()
            self.model.want(self.words.text(), "all" if kind == IN_THE_BIN else kind)
        self._selected()

    def _sort(self, column: int, order: Qt.SortOrder) -> None:
        with self._selection_kept():
            self.model.sort(column, order)

    def _moved(self, *_: object) -> None:
        self._selected()
        reading = self.current()
        if reading is not None:
            self.picked.emit(reading.local_date)

    def _double(self, index: QModelIndex) -> None:
        if not COLUMNS[index.column()].edits:
            self.open()

    def _selected(self) -> None:
        reading, in_bin = self.current(), self.kind.currentText() == IN_THE_BIN
        self.open_button.setEnabled(reading is not None)
        self.bin_button.setEnabled(reading is not None)
        self.back_button.setEnabled(reading is not None)
        self.empty_button.setEnabled(bool(self.model.readings))
        self.count_button.setEnabled(reading is not None and reading.verdict.usable and not reading.counts)
        for button, shown in (
            (self.open_button, not in_bin),
            (self.count_button, not in_bin),
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
        column = COLUMNS[index.column()]
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
            editor.setCurrentText(text)
        elif isinstance(editor, QLineEdit):
            editor.setText(text)

    def setModelData(  # noqa: N802
        self, editor: QWidget, model: QAbstractItemModel, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        if isinstance(editor, QComboBox):
            model.setData(index, editor.currentText())
        elif isinstance(editor, QLineEdit):
            model.setData(index, editor.text())
