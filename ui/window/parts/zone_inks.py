"""How a zone is drawn: the harder, the denser the ink; what lies above the top of easy is hatched as well.

No zone has a colour of its own. Each is told by its place, its number and its density.
"""

from __future__ import annotations

import math

from PySide6.QtCore import QLineF, QRectF, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPen

from dawnbeat.ui.window.parts.theme import Theme

_WIDEST_GAP, _NARROWEST_GAP, _CLOSER = 11.0, 4.0, 0.68
_FAINTEST, _DENSEST = 20, 110


def density(number: int, count: int) -> int:
    """Opacity of a zone's ink, 0 to 255; number: 1 for the easiest of `count`."""
    share = (number - 1) / max(count - 1, 1)
    return round(_FAINTEST + share * (_DENSEST - _FAINTEST))


def hatch_gap(number: int, easy_top: int) -> float | None:
    """Pixels between the lines of a zone's hatching; None for an easy zone, which has none."""
    above = number - easy_top
    return None if above <= 0 else max(_NARROWEST_GAP, _WIDEST_GAP * _CLOSER ** (above - 1))


def paint_zone(painter: QPainter, rect: QRectF, theme: Theme, number: int, easy_top: int, count: int) -> None:
    """Fill a rectangle, in device pixels, as zone `number` of `count`."""
    painter.fillRect(rect, theme.colour("ink", density(number, count)))
    gap = hatch_gap(number, easy_top)
    if gap is not None and rect.width() >= 3 and rect.height() >= 2:
        painter.save()
        painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
        painter.setPen(QPen(theme.colour("ink", 150), theme.thickness))
        painter.drawLines(_hatching(rect, gap * theme.thickness))
        painter.restore()
    painter.setPen(QPen(theme.colour("ink", 190), theme.thickness))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(rect)


def paint_label(painter: QPainter, rect: QRectF, theme: Theme, text: str) -> None:
    """Words in the middle of a zone, on a spot of paper so that the ink below doesn't cross them."""
    metrics = QFontMetricsF(painter.font())
    width = metrics.horizontalAdvance(text) + 0.5 * metrics.height()
    if width > rect.width() - 2:
        return
    spot = QRectF(0, 0, width, 1.1 * metrics.height())
    spot.moveCenter(rect.center())
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(theme.colour("sheet", 225))
    painter.drawRoundedRect(spot, 4, 4)
    painter.setPen(theme.colour("ink"))
    painter.drawText(spot, Qt.AlignmentFlag.AlignCenter, text)


def _hatching(rect: QRectF, gap: float) -> list[QLineF]:
    # Counted from the origin, so that the lines of one zone meet across bars.
    step, height = gap * math.sqrt(2), rect.height()
    place = math.floor((rect.left() + rect.top()) / step) * step
    lines = []
    while place <= rect.right() + rect.bottom():
        lines.append(QLineF(place - rect.top(), rect.top(), place - rect.top() - height, rect.bottom()))
        place += step
    return lines
