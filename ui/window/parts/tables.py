"""Small tables to read."""

from __future__ import annotations

import re
from collections.abc import Sequence

from PySide6.QtCore import QEvent, QRect, QSize, Qt
from PySide6.QtGui import QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem, QWidget

from dawnbeat.shared.wording import UNKNOWN

# A number, with what may stand around it in a cell of figures.
_FIGURE = re.compile(r"[–+−-]?[\d.,:]*\d[\d.,:]*( (of|to) \d+)?( (%|bpm|ms|min/km|km|h|s))?( \*)?")
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
# Widths come from the first rows only: measuring every cell of ten years takes longer than a page may.
MEASURED_ROWS = 200
# Of a column's texts only the longest are measured, since letters are nearly as wide as one another.
_LONGEST = 12
_AROUND_CELL = 1.1  # what a cell has around its words, in heights of a line
# Figures far from those beside them are hard to follow, so a column of them is widened by this much at most.
_MOST_SPREAD = 3.0  # heights of a line


class _Headings(QHeaderView):
    """Words over columns, in as many lines as they need."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(Qt.Orientation.Horizontal, parent)
        self.setSectionsClickable(True)
        self.setHighlightSections(False)
        self.setMinimumSectionSize(8)
        self.setDefaultAlignment(LEFT | Qt.TextFlag.TextWordWrap)

    def sectionSizeFromContents(self, section: int) -> QSize:  # noqa: N802  Qt's name
        size = super().sectionSizeFromContents(section)
        metrics, around = self.fontMetrics(), size.height() - self.fontMetrics().height()
        words = str(self.model().headerData(section, Qt.Orientation.Horizontal) or "")
        # Qt's own width has more around the words than is drawn, and words that fit would get a second line.
        room = QRect(0, 0, max(self.sectionSize(section) - round(_AROUND_CELL * metrics.height()), 1), 10_000)
        high = metrics.boundingRect(room, Qt.TextFlag.TextWordWrap, words).height()
        return QSize(size.width(), high + around)


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
        natural, whole, least = zip(*(self._widths_of(column) for column in range(self.columnCount())), strict=True)
        room = self.viewport().width()
        # A figure and its unit stay together, except where that alone would make the table scroll sideways.
        least = least if sum(least) <= room < sum(whole) else whole
        widths = list(share_out(natural, least, room))
        spare = max(room - sum(widths), 0)
        if self._holds_figures(self._stretch):
            each = min(spare // len(widths), round(_MOST_SPREAD * metrics.height()))
            widths = [width + each for width in widths]
        else:
            widths[self._stretch] += spare
        for column, width in enumerate(widths):
            self.setColumnWidth(column, width)
        one_line = round(1.6 * metrics.height())
        self.verticalHeader().setDefaultSectionSize(one_line)
        self.verticalHeader().setMinimumSectionSize(one_line)
        for row in range(self.rowCount()):
            # Rows that wrapped at a smaller width keep their height otherwise.
            high = one_line if sum(natural) <= room else self._words_high(row) + round(0.6 * metrics.height())
            self.setRowHeight(row, max(high, one_line))
        if self._most is not None:
            rows = min(self.rowCount(), self._most)
            high = sum(self.rowHeight(row) for row in range(rows)) or self.verticalHeader().defaultSectionSize()
            scrolls = self.horizontalScrollBar().sizeHint().height() if sum(widths) > room else 0
            self.setFixedHeight(high + header.sizeHint().height() + 2 * self.frameWidth() + scrolls)
        header.updateGeometry()
        self.updateGeometries()
        self._arranging = False

    def _holds_figures(self, column: int) -> bool:
        heading = self.horizontalHeaderItem(column)
        side = 0 if heading is None else int(heading.data(Qt.ItemDataRole.TextAlignmentRole) or 0)
        return bool(side & Qt.AlignmentFlag.AlignRight.value)

    def _words_high(self, row: int) -> int:
        """The height of a row's words, wrapped to the columns, in pixels: Qt's own forgets the margins of cells."""
        around = round(_AROUND_CELL * self.fontMetrics().height())
        highest = self.fontMetrics().height()
        for column in range(self.columnCount()):
            item, width = self.item(row, column), self.columnWidth(column) - around
            if item is None:
                continue
            metrics = QFontMetrics(item.font())  # some are bold
            if metrics.horizontalAdvance(item.text()) <= width:
                continue
            room = QRect(0, 0, max(width, 1), 10_000)
            highest = max(highest, metrics.boundingRect(room, Qt.TextFlag.TextWordWrap, item.text()).height())
        return highest

    def _widths_of(self, column: int) -> tuple[int, int, int]:
        """What a column would like to have, what its longest figure or word needs, and what its longest word needs."""
        metrics = self.fontMetrics()
        heading = self.horizontalHeaderItem(column)
        items = [heading, *(self.item(row, column) for row in range(min(self.rowCount(), MEASURED_ROWS)))]
        texts = {each.text(): each.font().bold() for each in items if each is not None}
        around = round(_AROUND_CELL * metrics.height())
        longest = sorted(texts, key=len)[-_LONGEST:]
        words = {word for text in longest for word in text.split()}
        figures = {text for text in longest if _FIGURE.fullmatch(text)}
        wider = 1.1 if any(texts.values()) else 1.0
        natural = max((round(wider * metrics.horizontalAdvance(text)) + around for text in longest), default=around)
        least = max((round(wider * metrics.horizontalAdvance(word)) + around for word in words), default=around)
        whole = max((round(wider * metrics.horizontalAdvance(text)) + around for text in figures), default=around)
        return natural, max(whole, least), least

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
    """Fill a table anew. A column of nothing but figures stands at its right edge, any other at its left.

    The first names its row, and stands at the left also where the names are years.
    """
    table.setRowCount(len(rows))
    for column in range(table.columnCount()):
        heading, texts = table.horizontalHeaderItem(column), [cells[column] for cells in rows]
        figures = any(map(_FIGURE.fullmatch, texts)) and all(map(_FIGURE.fullmatch, filter(_is_said, texts)))
        side = RIGHT if figures and column else LEFT
        if heading is not None:
            heading.setData(Qt.ItemDataRole.TextAlignmentRole, (side | Qt.TextFlag.TextWordWrap).value)
        for row, cells in enumerate(rows):
            item = QTableWidgetItem(cells[column])
            item.setToolTip(cells[column])
            item.setTextAlignment(side)
            table.setItem(row, column, item)
    table.arrange()


def _is_said(text: str) -> bool:
    return text not in ("", UNKNOWN)


def give_tip(table: QTableWidget, row: int, column: int, tip: str) -> None:
    """Give a cell a tooltip."""
    item = table.item(row, column)
    if item is not None:
        item.setToolTip(tip)
