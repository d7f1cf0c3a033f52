"""The zones as a table to edit: method, count, names, boundaries, and which zone ends easy."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.zones import METHODS, MOST_ZONES, Scheme, Zones, default_scheme, talk_test
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key, SpinBox, labelled
from dawnbeat.ui.window.parts.layouts import flow_of
from dawnbeat.ui.window.parts.tables import plain_table

_NAME, _TOP, _PULSE, _TALK = range(4)
_HEADINGS = ("Zone", "Top, %", "Pulse, bpm", "Talk test")


class ZonesEditor(QWidget):
    """changed: the scheme was edited. scheme: as it stands here, kept or not.

    work_out: gives the zones of a scheme, or None where a pulse is missing; raises DawnbeatError where they can't be.
    """

    changed = Signal()

    def __init__(self, context: AppContext, work_out: Callable[[Scheme], Zones | None]) -> None:
        super().__init__()
        self.context = context
        self.scheme = default_scheme(METHODS[0])
        self._work_out = work_out
        self._zones: Zones | None = None
        self._writing = False
        self.method = ComboBox()
        self.method.addItems(METHODS)
        self.method.setAccessibleName("Zones by")
        self.method.setToolTip("What the shares are shares of")
        self.count = SpinBox(minimum=2, maximum=MOST_ZONES)
        self.count.setAccessibleName("How many zones")
        self.count.setToolTip(f"How many zones, 2 to {MOST_ZONES}")
        self.easy = ComboBox()
        self.easy.setAccessibleName("Easy ends with")
        self.easy.setToolTip("The zone whose top is the top of easy")
        self.reset = QPushButton("Reset")
        controls.give(self.reset, Key("Ctrl+Shift+R", "Back to five zones with the usual boundaries", "Zones"))
        self.table = self._make_table()
        self._lay_out()
        self.method.activated.connect(lambda _: self._take(default_scheme(METHODS[self.method.currentIndex()])))
        self.count.valueChanged.connect(self._count)
        self.easy.activated.connect(lambda place: self._take(replace(self.scheme, easy_top=place + 1)))
        self.reset.clicked.connect(lambda: self._take(default_scheme(self.scheme.method)))
        self.table.itemChanged.connect(self._typed)
        context.theme_changed.connect(lambda _: self._fit())

    def show_scheme(self, scheme: Scheme, zones: Zones | None) -> None:
        """Show a scheme with the pulses it gives; None where a pulse that it needs is not known."""
        self.scheme, self._zones = scheme, zones
        self._writing = True
        self.method.setCurrentText(scheme.method)
        self.count.setValue(len(scheme.names))
        self.easy.clear()
        self.easy.addItems(scheme.names[:-1])
        self.easy.setCurrentIndex(scheme.easy_top - 1)
        self._write()
        self._writing = False
        self._fit()

    # Inside

    def _make_table(self) -> QTableWidget:
        table = plain_table(_HEADINGS, "Zones, from the easiest")
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectItems)
        table.setAccessibleDescription("F2 edits a name or the boundary at the top of a zone.")
        table.setToolTip("F2 or a double click edits a name or a boundary")
        table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        table.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        table.setEditTriggers(
            QAbstractItemView.EditTrigger.DoubleClicked | QAbstractItemView.EditTrigger.EditKeyPressed
        )
        controls.register(Key("F2", "Edit a name or a boundary", "Zones"))
        return table

    def _lay_out(self) -> None:
        pairs = (("By", self.method), ("Zones", self.count), ("Easy ends with", self.easy))
        rows = [labelled(words, control) for words, control in pairs]
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(flow_of(*rows, self.reset))
        layout.addWidget(self.table)
        layout.addStretch(1)

    def _write(self) -> None:
        scheme, table = self.scheme, None if self._zones is None else self._zones.table()
        count = len(scheme.names)
        self.table.setRowCount(count)
        for n in range(count):
            last = n == count - 1
            span = "–" if table is None else table[n].span_words
            if n + 1 == scheme.easy_top:
                span += "  ◂ easy ends"
            talk = talk_test(n + 1, scheme.easy_top, count)
            self._cell(n, _NAME, scheme.names[n], True)
            self._cell(n, _TOP, "no top" if last else f"{scheme.boundaries_pct[n]:g}", not last)
            self._cell(n, _PULSE, span, False)
            self._cell(n, _TALK, talk, False).setToolTip(talk)

    def _cell(self, row: int, column: int, text: str, edits: bool) -> QTableWidgetItem:
        # Items stay: one may be in the middle of telling that it was edited.
        item = self.table.item(row, column)
        if item is None:
            item = QTableWidgetItem()
            self.table.setItem(row, column, item)
        item.setText(text)
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if edits else flags)
        item.setToolTip("F2 edits it" if edits else "")
        font = item.font()
        font.setBold(row + 1 == self.scheme.easy_top and column == _PULSE)
        item.setFont(font)
        return item

    def _typed(self, item: QTableWidgetItem) -> None:
        if self._writing:
            return
        place, text = item.row(), item.text().strip()
        values: dict[str, Any]
        if item.column() == _NAME:
            names = list(self.scheme.names)
            names[place] = text
            values = {"names": tuple(names)}
        else:
            bounds = list(self.scheme.boundaries_pct)
            try:
                bounds[place] = float(text.removesuffix("%").replace(",", "."))
            except ValueError:
                self.context.say(f"{text[:40]!r} is no per cent: type a number such as 70.")
                self.show_scheme(self.scheme, self._zones)
                return
            values = {"boundaries_pct": tuple(bounds)}
        self._try(values)

    def _count(self, count: int) -> None:
        if self._writing or count == len(self.scheme.names):
            return
        names = self.scheme.names
        names += tuple(f"zone {n + 1}" for n in range(len(names), count))
        easy = min(self.scheme.easy_top, count - 1)
        bounds = with_count(self.scheme, count - 1)
        self._try({"boundaries_pct": bounds, "names": names[:count], "easy_top": easy})

    def _try(self, values: dict[str, Any]) -> None:
        try:
            self._take(replace(self.scheme, **values))
        except DawnbeatError as error:
            self.context.say(f"Not changed: {error}")
            self.show_scheme(self.scheme, self._zones)

    def _take(self, scheme: Scheme) -> None:
        try:
            found = self._work_out(scheme)
        except DawnbeatError as error:
            self.context.say(f"Not changed: {error}")
            self.show_scheme(self.scheme, self._zones)
            return
        self.show_scheme(scheme, found)
        self.changed.emit()

    def _fit(self) -> None:
        """As high as its rows: the page scrolls, not the table."""
        metrics, px = self.table.fontMetrics(), self.context.theme.px
        self.table.verticalHeader().setDefaultSectionSize(round(1.7 * metrics.height()))
        for column, text in ((_NAME, "zone 10 and wider"), (_TOP, "no top"), (_PULSE, "129 to 142  ◂ easy ends.")):
            cells = [self.table.item(row, column) for row in range(self.table.rowCount())]
            widest = max([metrics.horizontalAdvance(each.text()) for each in cells if each is not None] or [0])
            least = metrics.horizontalAdvance(text)
            self.table.setColumnWidth(column, min(max(round(1.1 * widest), least), 2 * least) + px(22))
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        rows = sum(self.table.rowHeight(row) for row in range(self.table.rowCount()))
        # Room for a scroll bar below, or the last row would be under it where it is narrow.
        self.table.setFixedHeight(rows + self.table.horizontalHeader().sizeHint().height() + px(18))


def with_count(scheme: Scheme, count: int) -> tuple[float, ...]:
    """So many boundaries, in per cent: those of the scheme as far as they go, and more above in the same steps.

    Where there is no room above, they are spread evenly from the lowest one up.
    """
    bounds = scheme.boundaries_pct
    if count <= len(bounds):
        return bounds[:count]
    usual = default_scheme(scheme.method).boundaries_pct
    step, highest = usual[-1] - usual[-2], usual[-1] + (usual[-1] - usual[-2]) / 2
    more = tuple(round(bounds[-1] + n * step, 1) for n in range(1, count - len(bounds) + 1))
    if more[-1] <= highest:
        return bounds + more
    lowest = min(bounds[0], usual[0])
    return tuple(round(lowest + n * (highest - lowest) / (count - 1), 1) for n in range(count))
