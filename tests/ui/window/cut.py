"""What is cut, covered or out of sight in a part of the window that stands on the screen."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from PySide6.QtCore import QRect, QRectF, Qt
from PySide6.QtGui import QFontMetrics, QImage, QPainter
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractScrollArea,
    QAbstractSpinBox,
    QComboBox,
    QGraphicsView,
    QHeaderView,
    QLabel,
    QLineEdit,
    QStyle,
    QStyleOptionComboBox,
    QStyleOptionFrame,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from dawnbeat.ui.window.parts.plots import Plot
from dawnbeat.ui.window.parts.rows import RowsView
from dawnbeat.ui.window.parts.tables import PlainTable

_ROUNDING_PX = 1
_TEXT_MARGIN_PX = 3  # what the style leaves free at each side of the words in a cell
_FRAME_PX = 4  # what the frame of a button may lack before its words do
# How high the ground of a plot must be to be read, where text has its usual size: alone, and as one of several that lie
# over one another and share the axis at the foot.
_LEAST_ALONE_PX, _LEAST_STRIP_PX = 140, 40
# What the name of an axis with numbers ends in.
_UNITS = {"s", "min", "h", "ms", "bpm", "%", "‰", "Hz", "of 255", "min/km", "min/mile", "AU"}
_LEAVES = (QAbstractButton, QAbstractSpinBox, QComboBox, QLabel, QLineEdit)


def cut_in(root: QWidget) -> list[str]:
    """A sentence for each widget that has less room than it needs, lies outside of its parent or over another."""
    found = []
    for widget in root.findChildren(QWidget):
        if not widget.isVisibleTo(root) or widget.window() is not root.window():
            continue
        found += [f"{_name(widget)}: {what}" for what in _of(widget)]
    return found


def low_plots_in(root: QWidget, text_percent: int) -> list[str]:
    """A sentence for each plot on the screen that is too low to be read."""
    plots = [plot for plot in root.findChildren(Plot) if plot.isVisibleTo(root)]
    found = []
    for plot in plots:
        above_others = [other for other in plots if other is not plot and other.parentWidget() is plot.parentWidget()]
        strip = any(other.x() == plot.x() and other.width() == plot.width() for other in above_others)
        least_px = (_LEAST_STRIP_PX if strip else _LEAST_ALONE_PX) * text_percent / 100
        if plot.box.height() < least_px:
            found.append(f"{plot.name}: its ground is {plot.box.height():.0f} high and needs {least_px:.0f}")
    return found


def unread_axes_in(root: QWidget) -> list[str]:
    """A sentence for each axis with data that has fewer than two numbers, touching or cut ones, or no unit."""
    found = []
    for plot in root.findChildren(Plot):
        if plot.isVisibleTo(root):
            found += [f"{plot.name}, {side}: {what}" for side in ("bottom", "left") for what in _of_axis(plot, side)]
    return found


def _of_axis(plot: Plot, side: str) -> Iterator[str]:
    axis = plot.item.getAxis(side)
    if not axis.style["showValues"] or axis.opacity() == 0.0:
        return
    image = QImage(1, 1, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    specs = axis.generateDrawSpecs(painter)
    painter.end()
    name = axis.label.boundingRect().width() - 2 * axis.label.document().documentMargin()
    along = axis.height() if side == "left" else axis.width()
    if name > along + _ROUNDING_PX:
        yield f"its name needs {name:.0f} and has {along:.0f}"
    drawn = [] if specs is None else [(axis.mapRectToScene(room), words) for room, _, words in specs[2]]
    if len(drawn) < 2:
        yield f"only {[words for _, words in drawn]} is written"
    canvas = QRectF(plot.canvas.viewport().rect()).adjusted(-_ROUNDING_PX, 0, _ROUNDING_PX, 0)
    drawn.sort(key=lambda each: each[0].left() if side == "bottom" else -each[0].top())
    for (room, words), (further, more) in pairwise(drawn):
        if room.intersects(further):
            yield f"{words} and {more} touch"
    for room, words in drawn:
        if not canvas.contains(room):
            yield f"{words} is cut"
    rated = axis._tickLevels is not None  # from 1 to 7, as its title says
    if not rated and not (side == "bottom" and plot._dates) and all(_is_number(words) for _, words in drawn):
        unit = ", ".join(each for each in plot._axes[side] if each).rpartition(", ")[2]
        if unit not in _UNITS:
            yield f"{axis.labelText!r} names no unit"


def _is_number(words: str) -> bool:
    return not words.strip("-−+0123456789.:")


def _of(widget: QWidget) -> Iterator[str]:
    if isinstance(widget, QAbstractScrollArea) and not isinstance(widget, QHeaderView | QGraphicsView):
        sideways = widget.horizontalScrollBar().maximum()
        if sideways > 0 and not _shows_all_columns(widget):
            yield f"scrolls sideways by {sideways}"
    if isinstance(widget, QTableView):
        yield from _cut_headings(widget)
    if isinstance(widget, PlainTable):
        yield from _cut_cells(widget)
    parent = widget.parentWidget()
    if parent is None or not isinstance(widget, _LEAVES) or _is_part(widget):
        return
    if not parent.rect().adjusted(-1, -1, 1, 1).contains(widget.geometry()):
        yield f"at {_numbers(widget.geometry())} leaves its parent of {parent.width()} x {parent.height()}"
    width, height = _needed(widget)
    if width > widget.width() + _ROUNDING_PX:
        yield f"needs a width of {width} and has {widget.width()}"
    if height > widget.height() + _ROUNDING_PX:
        yield f"needs a height of {height} and has {widget.height()}"
    if isinstance(widget, QLabel) and "…" in widget.text()[-1:]:
        yield "ends in …"
    if isinstance(widget, QLineEdit) and not widget.text():
        room_px = widget.style().subElementRect(QStyle.SubElement.SE_LineEditContents, _line_option(widget), widget)
        needed = widget.fontMetrics().horizontalAdvance(widget.placeholderText()) + 2 * _TEXT_MARGIN_PX
        if needed > room_px.width() + _ROUNDING_PX:
            yield f"its {widget.placeholderText()!r} needs a width of {needed} and has {room_px.width()}"
    if isinstance(widget, QComboBox):
        option = QStyleOptionComboBox()
        widget.initStyleOption(option)
        inside = QStyle.SubControl.SC_ComboBoxEditField
        room_px = widget.style().subControlRect(QStyle.ComplexControl.CC_ComboBox, option, inside, widget)
        needed = widget.fontMetrics().horizontalAdvance(widget.currentText())
        if needed > room_px.width() + _ROUNDING_PX:
            yield f"its {widget.currentText()!r} needs a width of {needed} and has {room_px.width()}"
    for other in parent.children():
        if isinstance(other, _LEAVES) and other.isVisible() and id(other) > id(widget) and not _is_part(other):
            both = widget.geometry() & other.geometry()
            if both.width() > _ROUNDING_PX and both.height() > _ROUNDING_PX:
                yield f"lies over {_name(other)}"


def _line_option(widget: QLineEdit) -> QStyleOptionFrame:
    option = QStyleOptionFrame()
    widget.initStyleOption(option)
    return option


def _shows_all_columns(widget: QWidget) -> bool:
    """Whether it is a table that was told to show all columns."""
    return isinstance(widget, RowsView) and widget.all_columns


def _is_part(widget: QWidget) -> bool:
    """Whether it belongs to another control, which shares out its room by itself."""
    parent = widget.parentWidget()
    return isinstance(parent, QAbstractSpinBox | QComboBox | QLineEdit | QAbstractScrollArea) or (
        parent is not None and isinstance(parent.parentWidget(), QTableView)
    )


def _needed(widget: QWidget) -> tuple[int, int]:
    """Pixels across and down."""
    if isinstance(widget, QLabel):
        if not widget.text():
            return 0, 0
        if widget.wordWrap():
            return widget.minimumSizeHint().width(), widget.heightForWidth(widget.width())
        return widget.sizeHint().width(), widget.sizeHint().height()
    if isinstance(widget, QAbstractButton):
        return widget.sizeHint().width(), widget.sizeHint().height() - _FRAME_PX
    return widget.minimumSizeHint().width(), widget.minimumSizeHint().height()


def _cut_headings(table: QTableView) -> Iterator[str]:
    header = table.horizontalHeader()
    if not header.isVisible() or table.model() is None:
        return
    for place in range(header.count()):
        words = str(table.model().headerData(place, Qt.Orientation.Horizontal) or "")
        pieces = words.split() if isinstance(table, PlainTable) else [words]
        needed = max((header.fontMetrics().horizontalAdvance(each) for each in pieces), default=0)
        if header.sectionSizeFromContents(place).height() > header.height() + _ROUNDING_PX:
            yield f"the heading {words!r} is higher than its place"
        if not header.isSectionHidden(place) and needed > header.sectionSize(place):
            yield f"the heading {words!r} needs {needed} and has {header.sectionSize(place)}"


def _cut_cells(table: PlainTable) -> Iterator[str]:
    """Cells whose words are higher than where they are painted."""
    if table.stacked:
        for row in range(table.rowCount()):
            ground = QRect(0, 0, table.viewport().width(), table.rowHeight(row))
            for piece in table.pieces(row):
                words = QFontMetrics(piece.font).boundingRect(piece.place, Qt.TextFlag.TextWordWrap, piece.words)
                if not ground.contains(words) or not piece.place.contains(words):
                    yield f"{piece.words[:40]!r} needs {_numbers(words)} and has {_numbers(piece.place & ground)}"
        return
    option = QStyleOptionViewItem()
    table.initViewItemOption(option)
    option.features |= QStyleOptionViewItem.ViewItemFeature.HasDisplay
    for row in range(table.rowCount()):
        for column in range(table.columnCount()):
            item = table.item(row, column)
            if item is None or not item.text():
                continue
            option.rect = table.visualItemRect(item)
            room = table.style().subElementRect(QStyle.SubElement.SE_ItemViewItemText, option, table)
            across = room.adjusted(_TEXT_MARGIN_PX, 0, -_TEXT_MARGIN_PX, 10_000)
            drawn = table.shown(item.text())
            words = QFontMetrics(item.font()).boundingRect(across, Qt.TextFlag.TextWordWrap, drawn)
            if words.height() > room.height() + _ROUNDING_PX:
                yield f"the cell {drawn[:40]!r} needs a height of {words.height()} and has {room.height()}"
            longest = max(map(QFontMetrics(item.font()).horizontalAdvance, drawn.split(" ")))
            if longest > across.width() + _ROUNDING_PX:
                yield f"the cell {drawn[:40]!r} needs a width of {longest} and has {across.width()}"


def _name(widget: QWidget) -> str:
    words = getattr(widget, "text", str)() if isinstance(widget, QLabel | QAbstractButton) else widget.accessibleName()
    holder = widget.parentWidget()
    return f"{type(holder).__name__}/{type(widget).__name__} {words[:40]!r}"


def _numbers(room: QRect) -> str:
    return f"{room.x()}, {room.y()}, {room.width()} x {room.height()}"
