"""Time in zones as a table whose last column is a bar in the zone's ink."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, Qt
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QHeaderView, QStyledItemDelegate, QStyleOptionViewItem, QVBoxLayout, QWidget

from dawnbeat.training.wording import clock, percent
from dawnbeat.training.zones import Zones
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.small_tables import fit_rows, plain_table, write_rows
from dawnbeat.ui.window.parts.zone_inks import paint_zone

_BAR = 4


class ZoneBars(QWidget):
    """Measured time in each zone of one run."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.table = plain_table(("Zone", "bpm", "Time", "Share", ""), "Measured time in zones")
        self._bars = _Bars(context, self)
        self.table.setItemDelegateForColumn(_BAR, self._bars)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.table)
        context.theme_changed.connect(lambda _: self._fit())

    def show_times(self, zones: Zones | None, zone_s: Sequence[float]) -> None:
        """zone_s: seconds in each zone; nothing is shown without zones."""
        total = sum(zone_s)
        shares = [seconds / total if total else 0.0 for seconds in zone_s]
        rows = []
        if zones is not None:
            for zone, seconds, share in zip(zones.table(), zone_s, shares, strict=True):
                rows.append((zone.name, zone.span_words, clock(seconds), percent(share if total else None), ""))
            self._bars.show(shares, zones.scheme.easy_top)
        write_rows(self.table, rows)
        self.setVisible(bool(rows))
        self._fit()

    def _fit(self) -> None:
        self.table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        fit_rows(self.table, 12, self.context.theme.px(6))
        self.table.horizontalHeader().setSectionResizeMode(_BAR, QHeaderView.ResizeMode.Stretch)


class _Bars(QStyledItemDelegate):
    def __init__(self, context: AppContext, parent: QWidget) -> None:
        super().__init__(parent)
        self.context = context
        self._shares: Sequence[float] = ()
        self._easy_top = 1

    def show(self, shares: Sequence[float], easy_top: int) -> None:
        self._shares, self._easy_top = shares, easy_top

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        super().paint(painter, option, index)
        row = index.row()
        if row >= len(self._shares) or not self._shares[row]:
            return
        cell = QRectF(option.rect).adjusted(4, 5, -4, -5)
        cell.setWidth(max(self._shares[row] / max(self._shares) * cell.width(), 2.0))
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        paint_zone(painter, cell, self.context.theme, row + 1, self._easy_top, len(self._shares))
        painter.restore()
