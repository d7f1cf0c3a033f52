"""Tables: small ones to read, and long ones to sort, find in, edit in place, bin and bring back."""

from __future__ import annotations

import bisect
import re
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from PySide6.QtCore import (
    QAbstractItemModel,
    QAbstractTableModel,
    QItemSelectionModel,
    QModelIndex,
    QPersistentModelIndex,
    Qt,
    Signal,
)
from PySide6.QtGui import QFont, QKeySequence, QResizeEvent, QShortcut
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
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key, label, on_key
from dawnbeat.ui.window.parts.formats import count_of
from dawnbeat.ui.window.parts.layouts import flow_of

Row = TypeVar("Row")
Index = QModelIndex | QPersistentModelIndex
IN_THE_BIN = "in the bin"
_ROOT = QModelIndex()
# A number, with what may stand around it in a cell of figures.
_FIGURE = re.compile(r"[–+−-]?[\d.,:]*\d[\d.,:]*( (%|bpm|ms|min/km|km|h|s))?( \*)?")
_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
# Widths come from the first rows only: measuring every cell of ten years takes longer than a page may.
_MEASURED_ROWS = 200


def plain_table(headings: Sequence[str], name: str, stretch: int | None = None) -> QTableWidget:
    """A table to read and to select rows in. stretch: the column that takes what room is left, else the last."""
    table = QTableWidget(0, len(headings))
    table.setHorizontalHeaderLabels(list(headings))
    table.setAccessibleName(name)
    table.verticalHeader().hide()
    table.setShowGrid(False)
    table.setTabKeyNavigation(False)
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    header.setStretchLastSection(stretch is None)
    if stretch is not None:
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(stretch, QHeaderView.ResizeMode.Stretch)
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
    return table


def write_rows(table: QTableWidget, rows: Sequence[Sequence[str]]) -> None:
    """Fill a table anew."""
    table.setRowCount(len(rows))
    for row, cells in enumerate(rows):
        for column, text in enumerate(cells):
            item = QTableWidgetItem(text)
            item.setToolTip(text)
            item.setTextAlignment(_RIGHT if _FIGURE.fullmatch(text) else _LEFT)
            table.setItem(row, column, item)


def give_tip(table: QTableWidget, row: int, column: int, tip: str) -> None:
    """Give a cell a tooltip."""
    item = table.item(row, column)
    if item is not None:
        item.setToolTip(tip)


def fit_rows(table: QTableWidget, most: int, room_px: int) -> None:
    """As high as its rows, at most so many of them; columns as wide as their words."""
    table.verticalHeader().setDefaultSectionSize(round(1.6 * table.fontMetrics().height()))
    table.resizeColumnsToContents()
    shown = min(max(table.rowCount(), 1), most)
    head = table.horizontalHeader().sizeHint().height()
    table.setFixedHeight(shown * table.verticalHeader().defaultSectionSize() + head + room_px)


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column of a long table.

    text: what is shown. key: what it is sorted by. item: what an edit changes, empty where it can't be; choices: the
    answers to pick from, None for free text. right: a figure, which stands at the right. widest: a text that must
    fit, whatever is in view. hint: the tooltip of a cell, where it says more than the column's (empty: it doesn't).
    """

    title: str
    tip: str
    text: Callable[[Row], str]
    key: Callable[[Row], Any]
    item: str = ""
    choices: tuple[str, ...] | None = None
    right: bool = False
    widest: str = ""
    hint: Callable[[Row], str] | None = None


def all_rows(rows: Sequence[Row]) -> Sequence[Row]:
    """Every row."""
    return rows


class RowsModel(QAbstractTableModel, Generic[Row]):
    """The rows that were asked for, sorted; `edit(row, column, text)` is called for what was typed.

    Sorts and filters by itself: a proxy would ask for ten years of cells one by one.
    look: the font of a cell where it isn't the usual one. also: more words of a row that the search finds.
    """

    def __init__(
        self,
        columns: Sequence[Column[Row]],
        identity: Callable[[Row], Hashable],
        edit: Callable[[Row, Column[Row], str], bool] | None = None,
        look: Callable[[Row, Column[Row]], QFont | None] | None = None,
        also: Callable[[Row], str] | None = None,
        sorted_by: int = 0,
    ) -> None:
        super().__init__()
        self.columns = columns
        self.rows: list[Row] = []
        self._all: list[Row] = []
        self._identity, self._edit, self._look, self._also = identity, edit, look, also
        self._words: list[str] = []
        self._choose: Callable[[Sequence[Row]], Sequence[Row]] = all_rows
        self._sorted_by = (sorted_by, Qt.SortOrder.DescendingOrder)

    def set_rows(self, rows: Sequence[Row]) -> None:
        """Show these. The same rows as before stay where they are, so that an edit moves nothing."""
        by_id = {self._identity(each): each for each in rows}
        same = by_id.keys() == {self._identity(each) for each in self._all}
        self._all = list(rows)
        if not same:
            self.arrange()
            return
        self.rows = [by_id[self._identity(each)] for each in self.rows]
        if self.rows:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self.rows) - 1, len(self.columns) - 1))

    def add(self, row: Row) -> None:
        """One more row, at its place in the order; filters are not asked."""
        column, order = self._sorted_by
        key = self.columns[column].key
        keys = [key(each) for each in self.rows]
        place = bisect.bisect_left(keys, key(row))
        if order == Qt.SortOrder.DescendingOrder:
            place = len(keys) - bisect.bisect_right(keys[::-1], key(row))
        self._all.append(row)
        self.beginInsertRows(_ROOT, place, place)
        self.rows.insert(place, row)
        self.endInsertRows()

    def want(self, words: str, choose: Callable[[Sequence[Row]], Sequence[Row]]) -> None:
        """words: all must occur somewhere in the row. choose: which rows of all there are."""
        wanted = (words.casefold().split(), choose)
        if wanted != (self._words, self._choose):
            self._words, self._choose = wanted
            self.arrange()

    def sort(self, column: int, order: Qt.SortOrder = Qt.SortOrder.AscendingOrder) -> None:
        """Sort by a column; equal ones stay in the order of time."""
        self._sorted_by = (max(column, 0), order)
        self.arrange()

    def arrange(self) -> None:
        """Filter and sort again."""
        column, order = self._sorted_by
        self.beginResetModel()
        self.rows = [each for each in self._choose(self._all) if self._found(each)]
        self.rows.sort(key=self.columns[column].key, reverse=order == Qt.SortOrder.DescendingOrder)
        self.endResetModel()

    def row_of(self, identity: Hashable) -> int | None:
        """Where the row with this identity is shown."""
        return next((place for place, each in enumerate(self.rows) if self._identity(each) == identity), None)

    def _found(self, row: Row) -> bool:
        if not self._words:
            return True
        texts = [column.text(row) for column in self.columns]
        if self._also is not None:
            texts.append(self._also(row))
        text = " ".join(texts).casefold()
        return all(word in text for word in self._words)

    def rowCount(self, parent: Index = _ROOT) -> int:  # noqa: N802, D102  Qt's names
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = _ROOT) -> int:  # noqa: N802, D102
        return 0 if parent.isValid() else len(self.columns)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:  # noqa: D102
        if not index.isValid():
            return None
        row, column = self.rows[index.row()], self.columns[index.column()]
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.EditRole):
            return column.text(row)
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _RIGHT if column.right else _LEFT
        if role == Qt.ItemDataRole.ToolTipRole:
            hint = "" if column.hint is None else column.hint(row)
            return hint or (f"{column.tip} (F2 edits it)" if column.item else column.tip)
        if role == Qt.ItemDataRole.FontRole and self._look is not None:
            return self._look(row, column)
        return None

    def headerData(  # noqa: N802, D102
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        if orientation == Qt.Orientation.Horizontal:
            if role == Qt.ItemDataRole.DisplayRole:
                return self.columns[section].title
            if role == Qt.ItemDataRole.ToolTipRole:
                return f"{self.columns[section].tip}; press to sort"
            if role == Qt.ItemDataRole.TextAlignmentRole:
                return _RIGHT if self.columns[section].right else _LEFT
        return None

    def flags(self, index: Index) -> Qt.ItemFlag:  # noqa: D102
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        editable = index.isValid() and bool(self.columns[index.column()].item)
        return flags | Qt.ItemFlag.ItemIsEditable if editable else flags

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:  # noqa: N802, D102
        if not index.isValid() or role != Qt.ItemDataRole.EditRole or self._edit is None:
            return False
        row, column = self.rows[index.row()], self.columns[index.column()]
        if str(value).strip() == column.text(row):
            return False
        return self._edit(row, column, str(value))


class RowsView(QTableView):
    """A long table. Columns are as wide as what they hold, and those at the end that find no room are left out.

    fitted: how many columns are left out.
    """

    fitted = Signal(int)

    def __init__(self, context: AppContext, model: RowsModel[Any], name: str, several: bool, sorted_by: int) -> None:
        super().__init__()
        self.context = context
        self.rows = model
        self.all_columns = False
        self.setModel(model)
        self.setItemDelegate(_Editors(model, self))
        header = self.horizontalHeader()
        header.setSortIndicatorShown(True)
        header.setSectionsClickable(True)
        header.setHighlightSections(False)
        header.setSortIndicator(sorted_by, Qt.SortOrder.DescendingOrder)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setStretchLastSection(True)
        header.setMinimumSectionSize(8)
        self.setAlternatingRowColors(True)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        mode = QAbstractItemView.SelectionMode
        self.setSelectionMode(mode.ExtendedSelection if several else mode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.DoubleClicked | QAbstractItemView.EditTrigger.EditKeyPressed)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setAccessibleName(name)
        self.verticalHeader().hide()
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        model.modelReset.connect(self.fit)
        context.theme_changed.connect(lambda _: self.fit())
        self.fit()

    def fit(self) -> None:
        """Widths and row height from the text, and as many columns as there is room for."""
        self.verticalHeader().setDefaultSectionSize(round(1.7 * self.fontMetrics().height()))
        room, left_out = self.viewport().width(), 0
        for place, column in enumerate(self.rows.columns):
            width = self.width_of(column)
            room -= width
            hide = room < 0 and place > 0 and not self.all_columns
            self.setColumnHidden(place, hide)
            left_out += hide
            if not hide:
                self.setColumnWidth(place, width)
        self.fitted.emit(left_out)

    def whole_width(self, first: int | None = None) -> int:
        """How wide it must be for every column to have room, or for so many of the first."""
        widths = [self.width_of(column) for column in self.rows.columns[:first]]
        return sum(widths) + self.verticalScrollBar().sizeHint().width() + 24

    def width_of(self, column: Column[Any]) -> int:
        """How wide a column must be for its heading and what it holds."""
        metrics = self.fontMetrics()
        texts = sorted((column.text(each) for each in self.rows.rows[:_MEASURED_ROWS]), key=len)[-3:]
        heading = column.title + ("  " if column.title else "")
        widest = max(metrics.horizontalAdvance(each) for each in (heading, column.widest, *texts))
        return min(widest, metrics.horizontalAdvance(32 * "n")) + self.context.theme.px(24)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Another width, other columns."""
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self.fit()


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
        self.words = QLineEdit()
        self.words.setPlaceholderText(f"Find: {find}")
        self.words.setClearButtonEnabled(True)
        self.words.setAccessibleName("Find in the table")
        self.words.setToolTip(f"Rows that hold all these words ({controls.shown('Ctrl+F')})")
        self.words.textChanged.connect(lambda _: self._filter())
        self.kind = ComboBox()
        self.kind.addItems([*kinds, IN_THE_BIN])
        self.kind.setAccessibleName(f"Which {one}s")
        self.kind.setToolTip(f"Which {one}s the table shows")
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
        self.wide_button = self.tool("All columns", "A", "Show the columns that find no room", None)
        self.wide_button.setCheckable(True)
        self.wide_button.toggled.connect(self._widen)
        self.view.fitted.connect(lambda out: self.wide_button.setVisible(out > 0 or self.view.all_columns))
        controls.register(
            Key("Return", f"Open the {one}", where),
            Key("F2", "Edit the cell in place", where),
            Key("Ctrl+F", "Find in the table", where),
        )
        QShortcut(QKeySequence("Ctrl+F"), self, self.words.setFocus)
        self._lay_out()
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

    def bring_back(self) -> None:
        """Bring the selected rows back from the bin."""
        if (rows := self.selected()) and self.in_bin:
            self.take_from_bin(rows)

    def empty(self) -> None:
        """Delete what is in the bin for good, after asking."""
        going = list(self.model.rows)
        if not going or not self.in_bin:
            return
        asked = QMessageBox.question(
            self,
            "Empty the bin",
            f"Delete {count_of(len(going), self._one)} for good{self.goes_too}? This can't be undone.",
            QMessageBox.StandardButton.Yes | QMessageBox.StandardButton.Cancel,
            QMessageBox.StandardButton.Cancel,
        )
        if asked != QMessageBox.StandardButton.Yes:
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

    def put_in_bin(self, rows: Sequence[Row]) -> None:
        """Put rows in the bin, undoable."""
        raise NotImplementedError

    def take_from_bin(self, rows: Sequence[Row]) -> None:
        """Bring rows back, undoable."""
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

    def _widen(self, on: bool) -> None:
        self.view.all_columns = on
        self.view.fit()
        self.widened.emit(on)

    def _lay_out(self) -> None:
        top = QHBoxLayout()
        top.addWidget(self.words, 1)
        top.addWidget(self.kind)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(top)
        layout.addWidget(self.nothing)
        layout.addWidget(self.view, 1)
        tools = (self.open_button, *self.more_tools(), self.back_button, self.bin_button, self.empty_button)
        layout.addLayout(flow_of(*tools, self.wide_button))


def bin_undoably(context: AppContext, named: str, forth: Callable[[], Any], back: Callable[[], Any]) -> bool:
    """Put something in the bin, and say how it comes back."""
    done = context.do(f"put {named} in the bin", forth, back)
    if done:
        context.say(f"In the bin: {named}. {controls.shown('Ctrl+Z')} brings it back.")
    return done


def back_undoably(context: AppContext, named: str, forth: Callable[[], Any], back: Callable[[], Any]) -> bool:
    """Bring something back from the bin, and say so."""
    done = context.do(f"bring {named} back", forth, back)
    if done:
        context.say(f"Back from the bin: {named}.")
    return done


class _Editors(QStyledItemDelegate):
    """A list to choose from where there are few answers, else a line to type in."""

    def __init__(self, model: RowsModel[Any], parent: QWidget) -> None:
        super().__init__(parent)
        self._model = model

    def createEditor(  # noqa: N802  Qt's name
        self, parent: QWidget, option: QStyleOptionViewItem, index: Index
    ) -> QWidget:
        column = self._model.columns[index.column()]
        editor: QWidget
        if column.choices is None:
            editor = QLineEdit(parent)
        else:
            editor = ComboBox(parent)
            editor.addItems(column.choices)
        editor.setAccessibleName(column.title)
        return editor

    def setEditorData(self, editor: QWidget, index: Index) -> None:  # noqa: N802
        text = str(index.data(Qt.ItemDataRole.EditRole) or "")
        if isinstance(editor, QComboBox):
            editor.setCurrentText(text)
        elif isinstance(editor, QLineEdit):
            editor.setText(text)

    def setModelData(self, editor: QWidget, model: QAbstractItemModel, index: Index) -> None:  # noqa: N802
        if isinstance(editor, QComboBox):
            model.setData(index, editor.currentText())
        elif isinstance(editor, QLineEdit):
            model.setData(index, editor.text())
