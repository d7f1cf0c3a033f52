"""Weeks as bars stacked by zone, drawn in device pixels so that hatching and frames keep their size in any zoom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainter, QPen
from PySide6.QtWidgets import QGraphicsItem, QStyleOptionGraphicsItem, QWidget

from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.zone_inks import paint_zone


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

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
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
        theme = self.context.theme
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
