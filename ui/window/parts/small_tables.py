"""Small tables that are read, not edited."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QAbstractItemView, QTableWidget, QTableWidgetItem, QWidget


def plain_table(headings: Sequence[str], name: str) -> QTableWidget:
    """A table to read and to select rows in."""
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
    header.setStretchLastSection(True)
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
    return table


def write_rows(table: QTableWidget, rows: Sequence[Sequence[str]]) -> None:
    """Fill a table anew."""
    table.setRowCount(len(rows))
    for row, cells in enumerate(rows):
        for column, text in enumerate(cells):
            table.setItem(row, column, QTableWidgetItem(text))


def on_key(widget: QWidget, keys: str, does: Callable[[], object]) -> None:
    """Do something at a key while this widget has the focus, and only then.

    PySide ignores the context that QShortcut's constructor is given together with a function.
    """
    shortcut = QShortcut(QKeySequence(keys), widget)
    shortcut.setContext(Qt.ShortcutContext.WidgetShortcut)
    shortcut.activated.connect(does)


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
