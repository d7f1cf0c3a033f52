"""Long tables: rows that are sorted, sifted and edited in place."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from PySide6.QtCore import (
    QAbstractItemModel,
    QAbstractTableModel,
    QModelIndex,
    Qt,
    Signal,
)
from PySide6.QtGui import QFont, QFontMetrics, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHeaderView,
    QLineEdit,
    QPushButton,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, button
from dawnbeat.ui.window.parts.tables import LEFT, MEASURED_ROWS, RIGHT, Index

Row = TypeVar("Row")
_ROOT = QModelIndex()


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column of a long table.

    text: what is shown. key: what it is sorted by. item: what an edit changes, empty where it can't be; choices: the
    answers to pick from, None for free text. right: a figure, which stands at the right. widest: a text that must
    fit, whatever is in view. stays: one of those that are shown before the others where there is little room. hint:
    the tooltip of a cell, where it says more than the column's (empty: it doesn't).
    """

    title: str
    tip: str
    text: Callable[[Row], str]
    key: Callable[[Row], Any]
    item: str = ""
    choices: tuple[str, ...] | None = None
    right: bool = False
    widest: str = ""
    stays: bool = False
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
        self._identity, self._edit, self.look, self._also = identity, edit, look, also
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
            return RIGHT if column.right else LEFT
        if role == Qt.ItemDataRole.ToolTipRole:
            hint = "" if column.hint is None else column.hint(row)
            return hint or (f"{column.tip} (F2 edits it)" if column.item else column.tip)
        if role == Qt.ItemDataRole.FontRole and self.look is not None:
            return self.look(row, column)
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
                return RIGHT if self.columns[section].right else LEFT
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
    """A long table. Columns are as wide as what they hold; of those that find no room the last are left out.

    A column that nobody fills in, and that holds nothing in any row, takes no room. fitted: how many are left out.
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
        columns = self.rows.columns
        for place in sorted(range(len(columns)), key=lambda place: (place > 0 and not columns[place].stays, place)):
            column = columns[place]
            empty = self._holds_nothing(column)
            width = 0 if empty else self.width_of(column)
            room -= width
            hide = not self.all_columns and (empty or (room < 0 and place > 0))
            self.setColumnHidden(place, hide)
            left_out += hide and not empty
            if not hide:
                self.setColumnWidth(place, width or self.width_of(column))
        self.fitted.emit(left_out)

    def _holds_nothing(self, column: Column[Any]) -> bool:
        rows = self.rows.rows
        return bool(rows and column.title and not column.item) and not any(column.text(each) for each in rows)

    def whole_width(self, first: int | None = None) -> int:
        """How wide it must be for every column to have room, or for so many of the first."""
        widths = [self.width_of(column) for column in self.rows.columns[:first]]
        return sum(widths) + self.verticalScrollBar().sizeHint().width() + 24

    def width_of(self, column: Column[Any]) -> int:
        """How wide a column must be for its heading and what it holds."""
        metrics, look = self.fontMetrics(), self.rows.look
        rows = sorted(self.rows.rows[:MEASURED_ROWS], key=lambda each: len(column.text(each)))[-3:]
        fonts = [None if look is None else look(each, column) for each in rows]
        heading = column.title + ("  " if column.title else "")
        widest = max(metrics.horizontalAdvance(each) for each in (heading, column.widest))
        for row, font in zip(rows, fonts, strict=True):
            own = metrics if font is None else QFontMetrics(font.resolve(self.font()))
            widest = max(widest, own.horizontalAdvance(column.text(row)))
        return min(widest, metrics.horizontalAdvance(32 * "n")) + self.context.theme.px(24)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Another width, other columns."""
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self.fit()


def columns_button(view: RowsView, where: str) -> QPushButton:
    """A button that shows all columns of a table, and says how many it leaves out; hidden where it leaves out none."""
    words = "All columns"
    made = button(words, "A", "Show the columns that find no room", None, where)
    made.setCheckable(True)

    def say(out: int) -> None:
        made.setVisible(out > 0 or view.all_columns)
        made.setText(f"{words}: {out} more" if out else words)

    def widen(on: bool) -> None:
        view.all_columns = on
        view.fit()

    made.toggled.connect(widen)
    view.fitted.connect(say)
    view.fit()
    return made


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
