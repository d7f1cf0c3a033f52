"""Tables: small ones to read, and long ones that are sorted, sifted and edited in place."""

from __future__ import annotations

import bisect
import re
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from PySide6.QtCore import (
    QAbstractItemModel,
    QAbstractTableModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QFont, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHeaderView,
    QLineEdit,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from dawnbeat.shared.wording import UNKNOWN
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox

Row = TypeVar("Row")
Index = QModelIndex | QPersistentModelIndex
_ROOT = QModelIndex()
# A number, with what may stand around it in a cell of figures.
_FIGURE = re.compile(r"[–+−-]?[\d.,:]*\d[\d.,:]*( (%|bpm|ms|min/km|km|h|s))?( \*)?")
_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
# Widths come from the first rows only: measuring every cell of ten years takes longer than a page may.
_MEASURED_ROWS = 200
# Of a column's texts only the longest are measured, since letters are nearly as wide as one another.
_LONGEST = 12
_AROUND_CELL = 1.1  # what a cell has around its words, in heights of a line


class _Headings(QHeaderView):
    """Words over columns, in as many lines as they need."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(Qt.Orientation.Horizontal, parent)
        self.setSectionsClickable(True)
        self.setHighlightSections(False)
        self.setMinimumSectionSize(8)
        self.setDefaultAlignment(_LEFT | Qt.TextFlag.TextWordWrap)

    def sectionSizeFromContents(self, section: int) -> QSize:  # noqa: N802  Qt's name
        size = super().sectionSizeFromContents(section)
        words = str(self.model().headerData(section, Qt.Orientation.Horizontal) or "")
        metrics, around = self.fontMetrics(), size.height() - self.fontMetrics().height()
        room = QRect(0, 0, max(self.sectionSize(section) - size.width() + metrics.horizontalAdvance(words), 1), 10_000)
        return QSize(size.width(), metrics.boundingRect(room, Qt.TextFlag.TextWordWrap, words).height() + around)


class PlainTable(QTableWidget):
    """A table to read and to select rows in.

    Its columns are as wide as what they hold; where that is too much, the widest wrap. Only where the longest words
    find no room beside one another does it scroll sideways.
    """

    def __init__(self, columns: int, stretch: int, most: int | None) -> None:
        """As `plain_table` has them."""
        super().__init__(0, columns)
        self._stretch, self._most = stretch, most
        self._arranging = False
        self.setHorizontalHeader(_Headings(self))
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)

    def arrange(self) -> None:
        """Share the width out among the columns; call it when words or their size changed."""
        if self._arranging:
            return
        self._arranging = True
        metrics, header = self.fontMetrics(), self.horizontalHeader()
        natural, least = zip(*(self._widths_of(column) for column in range(self.columnCount())), strict=True)
        room = self.viewport().width()
        widths = list(share_out(natural, least, room))
        widths[self._stretch] += max(room - sum(widths), 0)
        for column, width in enumerate(widths):
            self.setColumnWidth(column, width)
        one_line = round(1.6 * metrics.height())
        self.verticalHeader().setDefaultSectionSize(one_line)
        self.verticalHeader().setMinimumSectionSize(one_line)
        if sum(natural) <= room:
            # Rows that wrapped at a smaller width keep their height otherwise.
            for row in range(self.rowCount()):
                self.setRowHeight(row, one_line)
        else:
            self.resizeRowsToContents()
            for row in range(self.rowCount()):
                if self.rowHeight(row) > self.verticalHeader().minimumSectionSize():
                    self.setRowHeight(row, self.rowHeight(row) + round(0.4 * metrics.height()))
        if self._most is not None:
            rows = min(self.rowCount(), self._most)
            high = sum(self.rowHeight(row) for row in range(rows)) or self.verticalHeader().defaultSectionSize()
            scrolls = self.horizontalScrollBar().sizeHint().height() if sum(widths) > room else 0
            self.setFixedHeight(high + header.sizeHint().height() + 2 * self.frameWidth() + scrolls)
        header.updateGeometry()
        self.updateGeometries()
        self._arranging = False

    def _widths_of(self, column: int) -> tuple[int, int]:
        """What a column would like to have, and what its longest word needs."""
        metrics = self.fontMetrics()
        heading = self.horizontalHeaderItem(column)
        items = [heading, *(self.item(row, column) for row in range(min(self.rowCount(), _MEASURED_ROWS)))]
        texts = {each.text(): each.font().bold() for each in items if each is not None}
        around = round(_AROUND_CELL * metrics.height())
        longest = sorted(texts, key=len)[-_LONGEST:]
        words = {word for text in longest for word in text.split()}
        wider = 1.1 if any(texts.values()) else 1.0
        natural = max((metrics.horizontalAdvance(text) for text in longest), default=0)
        return round(wider * natural) + around, max(
            (round(wider * metrics.horizontalAdvance(word)) for word in words), default=0
        ) + around

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Another width, other columns."""
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self.arrange()

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Larger words, wider columns."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self.arrange()


def share_out(natural: Sequence[int], least: Sequence[int], room: int) -> Sequence[int]:
    """Widths of columns that would like `natural` and need `least`: the widest give way first."""
    if sum(natural) <= room:
        return natural
    low, high = 0, max(natural)
    while low < high:
        level = (low + high + 1) // 2
        if sum(max(need, min(wish, level)) for wish, need in zip(natural, least, strict=True)) <= room:
            low = level
        else:
            high = level - 1
    return [max(need, min(wish, low)) for wish, need in zip(natural, least, strict=True)]


def plain_table(headings: Sequence[str], name: str, stretch: int | None = None, most: int | None = None) -> PlainTable:
    """A table to read and to select rows in.

    stretch: the column that takes what room is left, else the last. most: it is as high as its rows, and as so many of
    them at most; None: as high as there is room.
    """
    table = PlainTable(len(headings), len(headings) - 1 if stretch is None else stretch, most)
    table.setHorizontalHeaderLabels(list(headings))
    table.setAccessibleName(name)
    table.verticalHeader().hide()
    table.setShowGrid(False)
    table.setTabKeyNavigation(False)
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    return table


def write_rows(table: PlainTable, rows: Sequence[Sequence[str]]) -> None:
    """Fill a table anew."""
    table.setRowCount(len(rows))
    for row, cells in enumerate(rows):
        for column, text in enumerate(cells):
            item = QTableWidgetItem(text)
            item.setToolTip(text)
            item.setTextAlignment(_RIGHT if _FIGURE.fullmatch(text) else _LEFT)
            table.setItem(row, column, item)
    for column in range(table.columnCount()):
        heading, texts = table.horizontalHeaderItem(column), [cells[column] for cells in rows if column < len(cells)]
        if heading is not None:
            figures = any(map(_FIGURE.fullmatch, texts)) and all(map(_FIGURE.fullmatch, filter(_is_said, texts)))
            side = _RIGHT if figures else _LEFT
            heading.setData(Qt.ItemDataRole.TextAlignmentRole, (side | Qt.TextFlag.TextWordWrap).value)
    table.arrange()


def _is_said(text: str) -> bool:
    return text not in ("", UNKNOWN)


def give_tip(table: QTableWidget, row: int, column: int, tip: str) -> None:
    """Give a cell a tooltip."""
    item = table.item(row, column)
    if item is not None:
        item.setToolTip(tip)


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
