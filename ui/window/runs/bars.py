"""Time in zones as bars: weeks stacked in a plot, and one run in a table. Each zone in its own ink."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, Qt
from PySide6.QtGui import QPainter, QPen
from PySide6.QtWidgets import (
    QGraphicsItem,
    QHeaderView,
    QStyledItemDelegate,
    QStyleOptionGraphicsItem,
    QStyleOptionViewItem,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.wording import clock, percent
from dawnbeat.training.zones import Zones
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.plots import Plot
from dawnbeat.ui.window.parts.tables import fit_rows, plain_table, write_rows
from dawnbeat.ui.window.parts.theme import paint_zone


@dataclass(frozen=True)
class Bar:
    """One week. low, high: its ends on the x axis. parts: heights from zone 1 up. rest: height without a pulse."""

    low: float
    high: float
    parts: tuple[float, ...]
    rest: float

    @property
    def height(self) -> float:
        """Of the whole bar."""
        return sum(self.parts) + self.rest


class StackedBars(QGraphicsItem):
    """Only what is in view is drawn."""

    def __init__(self, plot: Plot) -> None:
        """plot: whose ink they are drawn in, on the screen or on paper."""
        super().__init__()
        self._plot = plot
        self._bars: Sequence[Bar] = ()
        self._easy_top = 1
        self._count = 1
        self._bounds = QRectF()
        # Without it the exposed part is the whole item, and years of bars would be drawn for a month.
        self.setFlag(QGraphicsItem.GraphicsItemFlag.ItemUsesExtendedStyleOption)

    def set_bars(self, bars: Sequence[Bar], easy_top: int) -> None:
        """Draw these, given from left to right."""
        self.prepareGeometryChange()
        self._bars, self._easy_top = bars, easy_top
        self._count = max((len(bar.parts) for bar in bars), default=1)
        highest = max((bar.height for bar in bars), default=0.0)
        self._bounds = QRectF(bars[0].low, 0, bars[-1].high - bars[0].low, highest) if bars else QRectF()
        self.update()

    def boundingRect(self) -> QRectF:  # noqa: N802  Qt's name
        """Of all bars, in the axes' units."""
        return self._bounds

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None) -> None:
        """Draw the bars in view."""
        shown: QRectF = option.exposedRect
        to_device = painter.worldTransform()
        painter.save()
        painter.resetTransform()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        theme = self._plot.theme
        for bar in self._bars:
            if bar.high < shown.left() or bar.low > shown.right():
                continue
            foot = 0.0
            for number, height in enumerate(bar.parts, start=1):
                if height > 0:
                    rect = to_device.mapRect(_inset(bar, foot, height))
                    paint_zone(painter, _apart(rect), theme, number, self._easy_top, self._count)
                foot += height
            if bar.rest > 0:
                painter.setPen(QPen(theme.colour("soft"), 1.0, Qt.PenStyle.DotLine))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawRect(_apart(to_device.mapRect(_inset(bar, foot, bar.rest))))
        painter.restore()


def _inset(bar: Bar, foot: float, height: float) -> QRectF:
    return QRectF(bar.low, foot, bar.high - bar.low, height)


def _apart(rect: QRectF) -> QRectF:
    """A little narrower than the week, so that weeks stand apart."""
    gap = min(0.12 * rect.width(), 6.0)
    return rect.adjusted(gap, 0, -gap, 0)


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
