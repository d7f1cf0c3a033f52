"""What the journal holds of one kind, as a page lists it: a long table to find in, open from, bin and bring back."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Generic

from PySide6.QtCore import QItemSelectionModel, QModelIndex, Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QPushButton, QWidget

from dawnbeat.shared.wording import count_of
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key, LineEdit, label, named, on_key
from dawnbeat.ui.window.parts.layouts import flow_of, row_of, stack
from dawnbeat.ui.window.parts.rows import Row, RowsModel, RowsView, all_rows, columns_button

IN_THE_BIN = "in the bin"


class RowsTable(QWidget, Generic[Row]):
    """A long table with a line to find in it, which rows it shows, a bin, and what can be done with a row.

    opened: the row that is wanted. picked: the row that was gone to by hand. widened: all
    columns are wanted, or no more.
    A page says how to read, change, bin and delete by overriding the methods at the end.
    """

    opened = Signal(object)
    picked = Signal(object)
    widened = Signal(bool)

    def __init__(
        self,
        context: AppContext,
        model: RowsModel[Row],
        kinds: Mapping[str, Callable[[Sequence[Row]], Sequence[Row]]],
        one: str,
        where: str,
        find: str,
        nothing: str = "",
        sorted_by: int = 0,
    ) -> None:
        """kinds: what can be shown, by name, all of it first. one: what a row is. find: what may be looked for."""
        super().__init__()
        self.context = context
        self.model = model
        self._kinds, self._one, self._where, self._nothing_words = kinds, one, where, nothing
        self._loading = True
        tip = f"Rows that hold all these words: {find} ({controls.shown('Ctrl+F')})"
        self.words = named(LineEdit(f"Find: {find}", "Find"), "Find in the table", tip)
        self.words.setClearButtonEnabled(True)
        self.words.textChanged.connect(lambda _: self._filter())
        self.kind = named(ComboBox(), f"Which {one}s", f"Which {one}s the table shows")
        self.kind.addItems([*kinds, IN_THE_BIN])
        self.kind.currentTextChanged.connect(lambda _: self.reload())
        self.view = RowsView(context, model, f"All {one}s", several=True, sorted_by=sorted_by)
        self.view.setAccessibleDescription("Enter opens it, F2 edits the cell, Delete bins what is selected.")
        self.view.horizontalHeader().sortIndicatorChanged.connect(self._sort)
        self.view.selectionModel().selectionChanged.connect(lambda *_: self.show_what_can_be_done())
        self.view.selectionModel().currentRowChanged.connect(lambda *_: self._moved())
        self.view.doubleClicked.connect(self._double)
        for keys in ("Return", "Enter"):
            on_key(self.view, keys, self.open)
        self.nothing = label("soft", "What the table shows")
        self.open_button = self.tool("Open", "O", f"Open the {one}, as Enter does", self.open)
        self.bin_button = self.tool("Bin", "Del", "Put what is selected in the bin; Ctrl+Z brings it back", self.bin)
        self.back_button = self.tool("Back", "R", "Bring what is selected back from the bin", self.bring_back)
        self.empty_button = self.tool("Empty the bin…", "Shift+Del", "Delete what is in the bin for good", self.empty)
        self.wide_button = columns_button(self.view, where)
        self.wide_button.toggled.connect(self.widened)
        controls.register(
            Key("Return", f"Open the {one}", where),
            Key("F2", "Edit the cell in place", where),
            Key("Ctrl+F", "Find in the table", where),
        )
        QShortcut(QKeySequence("Ctrl+F"), self, self.words.setFocus)
        tools = (self.open_button, *self.more_tools(), self.back_button, self.bin_button, self.empty_button)
        top = row_of((self.words, 1), self.kind)
        stack(self, top, self.nothing, (self.view, 1), flow_of(*tools, self.wide_button))
        self.show_what_can_be_done()

    # Showing

    @property
    def in_bin(self) -> bool:
        """Whether the bin is shown."""
        return self.kind.currentText() == IN_THE_BIN

    def show_rows(self, rows: Sequence[Row]) -> None:
        """Show these, or the bin where that is chosen; what is selected stays so where it can."""
        self._loading = False
        shown: Sequence[Row] = rows
        if self.in_bin:
            shown = ()
            with self.context.saying():
                shown = self.binned()
        with self._selection_kept():
            self.model.want(self.words.text(), self._chosen_kind())
            self.model.set_rows(shown)
        self.show_what_can_be_done()

    def reload(self) -> None:
        """Read the journal again."""
        rows: Sequence[Row] = ()
        with self.context.saying():
            rows = self.listed()
        self.show_rows(rows)

    def current(self) -> Row | None:
        """The current row."""
        index = self.view.currentIndex()
        return self.model.rows[index.row()] if index.isValid() else None

    def selected(self) -> list[Row]:
        """The selected rows."""
        return [self.model.rows[index.row()] for index in self.view.selectionModel().selectedRows()]

    def go_to(self, place: int) -> None:
        """Make a row the current one, without telling anybody."""
        index = self.model.index(place, max(self.view.currentIndex().column(), 0))
        if index != self.view.currentIndex():
            quiet = self.blockSignals(True)
            self.view.setCurrentIndex(index)
            self.blockSignals(quiet)

    def beside(self, identity: Hashable, way: int) -> Row | None:
        """The row `way` further down from one, in the order shown; it becomes the current one."""
        place = self.model.row_of(identity)
        if place is None or not 0 <= place + way < len(self.model.rows):
            return None
        self.go_to(place + way)
        return self.model.rows[place + way]

    @contextmanager
    def _selection_kept(self) -> Iterator[None]:
        identity = self.model._identity
        chosen = {identity(each) for each in self.selected()}
        current, place = self.current(), self.view.currentIndex().row()
        yield
        if not self.model.rows:
            return
        there = 0 if current is None else self.model.row_of(identity(current))
        self.go_to(min(place, len(self.model.rows) - 1) if there is None else there)
        flags = QItemSelectionModel.SelectionFlag.Select | QItemSelectionModel.SelectionFlag.Rows
        for other in chosen:
            if (row := self.model.row_of(other)) is not None:
                self.view.selectionModel().select(self.model.index(row, 0), flags)

    # Changing

    def open(self) -> None:
        """Ask for the view of the current row."""
        if (row := self.current()) is not None:
            self.opened.emit(row)

    def bin(self) -> None:
        """Put the selected rows in the bin."""
        if (rows := self.selected()) and not self.in_bin:
            self.put_in_bin(rows)

    def put_in_bin(self, rows: Sequence[Row]) -> None:
        """Put rows in the bin, undoable."""
        what = self._words(rows)
        said = f"In the bin: {what}. {controls.shown('Ctrl+Z')} brings it back."
        self.context.do(f"put {what} in the bin", lambda: self._bin(rows), lambda: self._back(rows), said)

    def bring_back(self) -> None:
        """Bring the selected rows back from the bin, undoable."""
        if (rows := self.selected()) and self.in_bin:
            what = self._words(rows)
            said = f"Back from the bin: {what}."
            self.context.do(f"bring {what} back", lambda: self._back(rows), lambda: self._bin(rows), said)

    def _bin(self, rows: Sequence[Row]) -> None:
        for row in rows:
            self.bin_one(row)

    def _back(self, rows: Sequence[Row]) -> None:
        for row in rows:
            self.back_one(row)

    def _words(self, rows: Sequence[Row]) -> str:
        return self.named(rows[0]) if len(rows) == 1 else count_of(len(rows), self._one)

    def empty(self) -> None:
        """Delete what is in the bin for good, after asking."""
        going = list(self.model.rows)
        if not going or not self.in_bin:
            return
        asked = f"Delete {count_of(len(going), self._one)} for good{self.goes_too}? This can't be undone."
        if not controls.sure(self, "Empty the bin", asked):
            return
        with self.context.saying():
            gone = self.delete(going)
            self.context.undo.clear()
            self.context.say(f"Deleted for good: {count_of(gone, self._one)}.")
        self.context.journal_changed.emit()

    # What a page says of its rows

    goes_too = ""

    def listed(self) -> Sequence[Row]:
        """All rows that are not in the bin; may raise DawnbeatError."""
        raise NotImplementedError

    def binned(self) -> Sequence[Row]:
        """What is in the bin; may raise DawnbeatError."""
        raise NotImplementedError

    def bin_one(self, row: Row) -> None:
        """Put a row in the bin; may raise DawnbeatError."""
        raise NotImplementedError

    def back_one(self, row: Row) -> None:
        """Bring a row back; may raise DawnbeatError."""
        raise NotImplementedError

    def named(self, row: Row) -> str:
        """A row in words, such as "the run of 3 May, 07:10"."""
        raise NotImplementedError

    def delete(self, rows: Sequence[Row]) -> int:
        """Delete rows of the bin for good; returns how many went. May raise DawnbeatError."""
        raise NotImplementedError

    def more_tools(self) -> Sequence[QPushButton]:
        """More buttons, to stand after the first."""
        return ()

    def show_what_can_be_done(self) -> None:
        """Which buttons there are and which can be pressed."""
        chosen, in_bin = bool(self.view.selectionModel().selectedRows()), self.in_bin
        for button, shown, can in (
            (self.open_button, not in_bin, self.current() is not None),
            (self.bin_button, not in_bin, chosen),
            (self.back_button, in_bin, chosen),
            (self.empty_button, in_bin, bool(self.model.rows)),
        ):
            button.setVisible(shown)
            button.setEnabled(can)
        words = ""
        if not self.model.rows and not self._loading:
            words = "The bin is empty." if in_bin else self._nothing_words
            if self.model._all:
                words = f"No {self._one} is like that."
        self.nothing.setText(words)
        self.nothing.setVisible(bool(words))

    # Inside

    def tool(self, words: str, keys: str, tip: str, does: Callable[[], object] | None) -> QPushButton:
        """A button of this table."""
        return controls.button(words, keys, tip, does, self._where)

    def _chosen_kind(self) -> Callable[[Sequence[Row]], Sequence[Row]]:
        return all_rows if self.in_bin else self._kinds[self.kind.currentText()]

    def _filter(self) -> None:
        with self._selection_kept():
            self.model.want(self.words.text(), self._chosen_kind())
        self.show_what_can_be_done()

    def _sort(self, column: int, order: Qt.SortOrder) -> None:
        with self._selection_kept():
            self.model.sort(column, order)

    def _moved(self) -> None:
        self.show_what_can_be_done()
        if (row := self.current()) is not None:
            self.picked.emit(row)

    def _double(self, index: QModelIndex) -> None:
        if not self.model.columns[index.column()].item:
            self.open()
