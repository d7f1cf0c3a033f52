"""Small tables to read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QEvent, QLocale, QModelIndex, QPersistentModelIndex, QRect, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics, QGuiApplication, QPainter, QPalette, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QScrollArea,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from dawnbeat.shared.wording import UNKNOWN, unbroken

# A number, with what may stand around it in a cell of figures.
_FIGURE = re.compile(r"[–+−-]?[\d.,:]*\d[\d.,:]*( (of|to) \d+)?( (%|bpm|ms|min/km|km|h|s))?( \*)?")
STAR = " *"  # behind a figure that a note below the table explains
Index = QModelIndex | QPersistentModelIndex
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
# Widths come from the first rows only: measuring every cell of ten years takes longer than a page may.
MEASURED_ROWS = 200
# Of a column's texts only the longest are measured, since letters are nearly as wide as one another.
_LONGEST = 12
_LEAST_ROWS = 5
_AROUND_CELL = 1.1  # what a cell has around its words, in heights of a line
# Figures far from those beside them are hard to follow, so a column of them is widened by this much at most.
_MOST_SPREAD = 3.0  # heights of a line
# A row of more lines than this is a thin pillar of words with its figures lost in the middle.
_MOST_LINES = 5
_MOST_BESIDE = 3  # lines beside their heading, where cells stand below one another
# Numbers after one another, as the boundaries of zones are.
_LIST = re.compile(r"\d+( / \d+)+")


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


@dataclass(frozen=True)
class _Piece:
    """Words of a row whose cells stand below one another, and where they stand in it, in pixels."""

    place: QRect
    words: str
    font: QFont
    heading: bool = False


class _BelowOneAnother(QStyledItemDelegate):
    """Draws a whole row in its first cell: what the row is, and then each heading with what it heads."""

    def __init__(self, table: PlainTable) -> None:
        super().__init__(table)
        self._table = table

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        style, row = self._table.style(), index.row()
        style.drawPrimitive(QStyle.PrimitiveElement.PE_PanelItemViewItem, option, painter, self._table)
        painter.save()
        if row:
            painter.setPen(option.palette.color(QPalette.ColorRole.Mid))
            painter.drawLine(option.rect.topLeft(), option.rect.topRight())
        # Not the table's own palette, which the style sheet makes paler.
        soft = QGuiApplication.palette().color(QPalette.ColorRole.PlaceholderText)
        ink = option.palette.color(QPalette.ColorRole.Text)
        for piece in self._table.pieces(row):
            painter.setFont(piece.font)
            painter.setPen(soft if piece.heading else ink)
            painter.drawText(piece.place.translated(option.rect.topLeft()), Qt.TextFlag.TextWordWrap, piece.words)
        painter.restore()


class _Held(QStyledItemDelegate):
    """Draws the words of a cell without breaking them between a figure and its unit."""

    def __init__(self, table: PlainTable) -> None:
        super().__init__(table)
        self._table = table

    def displayText(self, value: object, locale: QLocale | QLocale.Language) -> str:  # noqa: N802  Qt's name
        return self._table.shown(super().displayText(value, locale))


class PlainTable(QTableWidget):
    """A table to read and to select rows in.

    Its columns are as wide as what they hold; where that is too much, first the headings wrap, then the widest cells.
    Where not even the longest words, or figures with their units, find room beside one another, or a row would be a
    pillar of words, the cells of a row stand below one another, each after its heading. A table that is edited or drawn
    in its cells can't do that: it parts figures from their units, and scrolls sideways where that is not enough.

    stacked: whether the cells of a row stand below one another.
    """

    def __init__(self, columns: int, stretch: int, most: int | None) -> None:
        """As `plain_table` has them."""
        super().__init__(0, columns)
        self._stretch, self._most = stretch, most
        self._arranging = False
        self.stacked = False
        self._below_px = (0, 0)  # across a heading and what it heads, where they stand below one another
        self._parted = False  # figures from their units
        self._own_delegate = _Held(self)
        self.setItemDelegate(self._own_delegate)
        self._below = _BelowOneAnother(self)
        self.setHorizontalHeader(_Headings(self))
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)

    def setHorizontalHeaderLabels(self, labels: Sequence[str]) -> None:  # noqa: N802  Qt's name
        """Name the columns; no heading breaks within a unit such as "min/km"."""
        super().setHorizontalHeaderLabels([unbroken(each) for each in labels])

    def shown(self, words: str) -> str:
        """The words of a cell as they are drawn."""
        return words if self._parted else unbroken(words)

    def arrange(self) -> None:
        """Share the width out among the columns; call it when words or their size changed."""
        if self._arranging:
            return
        self._arranging = True
        metrics, header = self.fontMetrics(), self.horizontalHeader()
        columns = (self._widths_of(column) for column in range(self.columnCount()))
        natural, cells, whole, least = zip(*columns, strict=True)
        room = self.viewport().width()
        can_stack = self._can_stack()
        self._parted = not can_stack and sum(least) <= room < sum(whole)
        if sum(cells) <= room:
            least = cells
        elif not self._parted:
            least = whole
        widths = list(share_out(natural, least, room))
        self._stack(can_stack and (sum(whole) > room or self._is_pillar(widths)))
        if self.stacked:
            self._arrange_below()
            self._arranging = False
            return
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
            high = one_line if sum(natural) <= room else self._words_high(row, widths) + round(0.6 * metrics.height())
            self.setRowHeight(row, max(high, one_line))
        scrolls = self.horizontalScrollBar().sizeHint().height() if sum(widths) > room else 0
        self._be_as_high_as_rows(header.sizeHint().height() + scrolls)
        header.updateGeometry()
        self.updateGeometries()
        self._arranging = False

    def minimumSizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """A table that scrolls shows some rows at least: two of those whose cells stand below one another."""
        around = 2 * self.frameWidth() + (0 if self.stacked else self.horizontalHeader().sizeHint().height())
        rows = range(min(self.rowCount(), 2 if self.stacked else _LEAST_ROWS))
        return QSize(super().minimumSizeHint().width(), sum(self.rowHeight(row) for row in rows) + around)

    def _be_as_high_as_rows(self, besides: int) -> None:
        """besides: what the table needs beside its rows, in pixels."""
        if self._most is not None:
            rows = min(self.rowCount(), self._most)
            high = sum(self.rowHeight(row) for row in range(rows)) or self.verticalHeader().defaultSectionSize()
            self.setFixedHeight(high + besides + 2 * self.frameWidth())
        self.updateGeometry()

    def pieces(self, row: int) -> list[_Piece]:
        """The words of a row whose cells stand below one another: as many of them side by side as find room."""
        line = self.fontMetrics().height()
        around, gap = line // 2, line // 2
        room = self.viewport().width() - 2 * around
        first, *others = (self.item(row, column) for column in range(self.columnCount()))
        pairs = [
            (self._heading(column), item) for column, item in enumerate(others, 1) if item is not None and item.text()
        ]
        pieces: list[_Piece] = []
        down = around // 2

        def high_of(wide: int, words: str, font: QFont) -> int:
            space = QRect(0, 0, wide, 10_000)
            return QFontMetrics(font).boundingRect(space, Qt.TextFlag.TextWordWrap, words).height()

        def put(across: int, wide: int, words: str, font: QFont, heading: bool = False) -> int:
            high = high_of(wide, words, font)
            pieces.append(_Piece(QRect(around + across, down, wide, high), words, font, heading))
            return high

        if first is not None and first.text():
            bold = first.font()
            bold.setBold(True)
            down += put(0, room, self.shown(first.text()), bold) + around // 2
        heading_px, value_px = self._below_px
        each_px = heading_px + gap + value_px
        beside = max((room + 2 * gap) // (each_px + 2 * gap), 1)
        each_px = (room + 2 * gap) // beside - 2 * gap
        for start in range(0, len(pairs), beside):
            highest = 0
            for place, (title, item) in enumerate(pairs[start : start + beside]):
                left = place * (each_px + 2 * gap)
                wide, words = each_px - heading_px - gap, self.shown(item.text())
                if beside == 1 and high_of(wide, words, item.font()) > _MOST_BESIDE * line:
                    # A sentence has the whole width, below its heading.
                    down += put(0, room, title, self.font(), heading=True)
                    highest = put(0, room, words, item.font())
                    continue
                highest = max(highest, put(left, heading_px, title, self.font(), heading=True))
                highest = max(highest, put(left + heading_px + gap, wide, words, item.font()))
            down += highest + line // 6
        return pieces

    def _heading(self, column: int) -> str:
        heading = self.horizontalHeaderItem(column)
        return "" if heading is None else heading.text()

    def _is_pillar(self, widths: Sequence[int]) -> bool:
        """Whether a row would have more lines than can be read beside short cells."""
        most = _MOST_LINES * self.fontMetrics().lineSpacing()
        rows = range(min(self.rowCount(), MEASURED_ROWS))
        return any(self._words_high(row, widths) > most for row in rows)

    def _can_stack(self) -> bool:
        drawn = any(self.itemDelegateForColumn(column) is not None for column in range(self.columnCount()))
        return not drawn and self.editTriggers() == QAbstractItemView.EditTrigger.NoEditTriggers

    def _stack(self, stacked: bool) -> None:
        if stacked == self.stacked:
            return
        self.stacked = stacked
        self.horizontalHeader().setVisible(not stacked)
        self.setItemDelegate(self._below if stacked else self._own_delegate)
        for column in range(1, self.columnCount()):
            self.setColumnHidden(column, stacked)
        if stacked and self.currentColumn() > 0:
            self.setCurrentCell(self.currentRow(), 0)
        if not stacked:
            for row in range(self.rowCount()):
                self._say_row(row, None)

    def _arrange_below(self) -> None:
        self.setColumnWidth(0, self.viewport().width())
        metrics, around = self.fontMetrics(), self.fontMetrics().height() // 2
        heading_px, value_px, word_px, room = 0, 0, 0, self.viewport().width() - 2 * around
        for column in range(1, self.columnCount()):
            items = [self.item(row, column) for row in range(min(self.rowCount(), MEASURED_ROWS))]
            widths = [
                QFontMetrics(item.font()).horizontalAdvance(self.shown(item.text()))
                for item in items
                if item is not None
            ]
            if any(widths):
                heading_px = max(heading_px, metrics.horizontalAdvance(self._heading(column)) + 1)
                words = self._heading(column).split(" ")
                word_px = max(word_px, 0, *(metrics.horizontalAdvance(each) + 1 for each in words))
                value_px = max(value_px, max(widths) + 1)
        # Where they don't fit beside one another, the headings give way first, to two fifths or a word at least.
        heading_px = min(heading_px, max(room - around - value_px, 2 * room // 5, word_px))
        self._below_px = heading_px, value_px
        for row in range(self.rowCount()):
            pieces = self.pieces(row)
            foot = max((piece.place.bottom() + 1 for piece in pieces), default=2 * around)
            self.setRowHeight(row, foot + around // 2)
            self._say_row(row, " ".join(piece.words for piece in pieces))
        self._be_as_high_as_rows(0)
        self.updateGeometries()

    def _say_row(self, row: int, words: str | None) -> None:
        """What a screen reader says of the first cell."""
        item = self.item(row, 0)
        if item is not None:
            item.setData(Qt.ItemDataRole.AccessibleTextRole, words)

    def _holds_figures(self, column: int) -> bool:
        heading = self.horizontalHeaderItem(column)
        side = 0 if heading is None else int(heading.data(Qt.ItemDataRole.TextAlignmentRole) or 0)
        return bool(side & Qt.AlignmentFlag.AlignRight.value)

    def _words_high(self, row: int, widths: Sequence[int]) -> int:
        """The height of a row's words, wrapped to such columns, in pixels: Qt's own forgets the margins of cells."""
        around = round(_AROUND_CELL * self.fontMetrics().height())
        highest = self.fontMetrics().height()
        for column in range(self.columnCount()):
            item, width = self.item(row, column), widths[column] - around
            if item is None:
                continue
            metrics, words = QFontMetrics(item.font()), self.shown(item.text())  # some are bold
            if metrics.horizontalAdvance(words) <= width:
                continue
            room = QRect(0, 0, max(width, 1), 10_000)
            highest = max(highest, metrics.boundingRect(room, Qt.TextFlag.TextWordWrap, words).height())
        return highest

    def _widths_of(self, column: int) -> tuple[int, int, int, int]:
        """What a column would like to have, and what it needs so that nothing of these breaks, in pixels.

        Needed for its cells; for its figures, units and ranges; for its words.
        """
        metrics = self.fontMetrics()
        heading = self.horizontalHeaderItem(column)
        title = "" if heading is None else heading.text()
        items = [self.item(row, column) for row in range(min(self.rowCount(), MEASURED_ROWS))]
        texts = {each.text(): each.font().bold() for each in items if each is not None}
        if not title and not any(texts):  # drawn in, where there is room
            return 4 * (self.horizontalHeader().minimumSectionSize(),)
        around = round(_AROUND_CELL * metrics.height())
        wider = 1.1 if any(texts.values()) else 1.0

        def widest(words: Iterable[str]) -> int:
            # A pixel more, since words as wide as their room can get a second line.
            return max((round(wider * metrics.horizontalAdvance(each)) + 1 + around for each in words), default=around)

        longest = sorted(texts, key=len)[-_LONGEST:]
        held = {word for text in longest for word in unbroken(text).split(" ")}
        figures = {text for text in longest if _FIGURE.fullmatch(text) or _LIST.fullmatch(text)}
        of_title = widest(title.split(" "))
        cells = max(widest(longest), of_title)
        least = max(widest(word for text in longest for word in text.split()), of_title)
        return max(cells, widest([title])), cells, max(widest(held | figures), of_title), least

    def currentChanged(self, current: Index, previous: Index) -> None:  # noqa: N802  Qt's name
        """A table that is as high as its rows doesn't scroll, so the page does for who goes through it by key."""
        super().currentChanged(current, previous)
        page = self.parentWidget()
        while page is not None and not isinstance(page, QScrollArea):
            page = page.parentWidget()
        inside = None if page is None else page.widget()
        if page is not None and inside is not None and self._most is not None and self.hasFocus():
            row = self.visualRect(current)
            at = self.viewport().mapTo(inside, row.center())
            page.ensureVisible(at.x(), at.y(), 0, row.height() // 2 + 1)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
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


def starred(rows: Sequence[Sequence[str]]) -> bool:
    """Whether any figure has the star, which a note must explain then."""
    return any(cell.endswith(STAR) for cells in rows for cell in cells)


def _is_said(text: str) -> bool:
    return text not in ("", UNKNOWN)


def give_tip(table: QTableWidget, row: int, column: int, tip: str) -> None:
    """Give a cell a tooltip."""
    item = table.item(row, column)
    if item is not None:
        item.setToolTip(tip)
