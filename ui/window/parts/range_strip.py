"""The usual range lying down, with the week's mark below it and this morning's above."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from dawnbeat.journal.today import Stand
from dawnbeat.ui.window.parts.context import AppContext


class RangeStrip(QWidget):
    """One measure of one day. Nothing is told by colour: the marks differ by shape, place and words."""

    def __init__(self, context: AppContext, name: str, unit: str) -> None:
        super().__init__()
        self.context = context
        self._name, self._unit = name, unit
        self._stand: Stand | None = None
        self._bounds: tuple[float, float] | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(f"{name} in the usual range")
        context.theme_changed.connect(self._retheme)

    def set_stand(self, stand: Stand | None, bounds: tuple[float, float] | None = None) -> None:
        """Show where this measure stands; None shows nothing.

        bounds: 95 % interval of this morning's value in the measure's own scale, drawn as a bar above its mark.
        """
        self._stand, self._bounds = stand, bounds
        self.setAccessibleDescription(self.words())
        self.setToolTip(self.words())
        self.update()

    def words(self) -> str:
        """What the strip shows, in words."""
        stand = self._stand
        if stand is None or stand.usual is None:
            return f"{self._name}: too few mornings to say"
        low, high = self._text(stand.usual.low), self._text(stand.usual.high)
        said = f"{self._name}: usual {low} to {high} {self._unit}"
        if stand.week_average is not None:
            said += f"; week {self._text(stand.week_average.mean)} {self._unit}, {stand.week}"
        if stand.this_morning is not None:
            said += f"; this morning {self._text(stand.this_morning)} {self._unit}, {stand.morning}"
        return said

    def sizeHint(self) -> QSize:  # noqa: N802, D102  Qt's name
        line = QFontMetricsF(self.font()).height()
        return QSize(round(16 * line), round(4.3 * line))

    def minimumSizeHint(self) -> QSize:  # noqa: N802, D102
        return QSize(round(10 * QFontMetricsF(self.font()).height()), self.sizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, D102
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        theme, metrics = self.context.theme, QFontMetricsF(self.font())
        line, width = metrics.height(), float(self.width())
        stand = self._stand
        if stand is None or stand.usual is None:
            painter.setPen(theme.colour("soft"))
            painter.drawText(QRectF(0, 0, width, self.height()), Qt.AlignmentFlag.AlignVCenter, self.words())
            return
        usual, week, today = stand.usual, stand.week_average, stand.this_morning
        # Two standard deviations are common; farther values stretch the scale instead of leaving it.
        band_half = usual.band_high - usual.mean
        away = [2.2 * usual.sd, 1e-6, 1.08 * band_half if math.isfinite(band_half) else 0.0]
        away += [1.15 * abs(each - usual.mean) for each in (today, None if week is None else week.mean) if each]
        away += [1.15 * abs(each - usual.mean) for each in self._bounds or () if today is not None]
        half = max(away)
        left, right = 0.5 * line, width - 0.5 * line

        def at(value: float) -> float:
            return left + (value - usual.mean + half) / (2 * half) * (right - left)

        top, thick = 1.55 * line, 0.5 * line
        middle = top + thick / 2
        painter.setPen(QPen(theme.colour("line"), 2))
        painter.drawLine(QPointF(left, middle), QPointF(right, middle))
        painter.setPen(Qt.PenStyle.NoPen)
        # Where 95 of 100 single mornings lie, below the narrower range that the week's average is held against.
        if math.isfinite(band_half):
            painter.setBrush(theme.colour("ink", 28))
            ends = at(usual.band_low), at(usual.band_high)
            painter.drawRect(QRectF(ends[0], top + 0.25 * thick, ends[1] - ends[0], 0.5 * thick))
        band = QRectF(at(usual.low), top, at(usual.high) - at(usual.low), thick)
        painter.setBrush(theme.colour("ink", 70))
        painter.drawRect(band)
        painter.setPen(theme.colour("soft"))
        foot = top + thick + 1.0 * line
        if week is not None:
            x = at(week.mean)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(theme.colour("accent"))
            size = 0.32 * line
            painter.drawPolygon(
                QPolygonF(
                    [
                        QPointF(x, top + thick + 2),
                        QPointF(x - size, top + thick + 2 + 1.6 * size),
                        QPointF(x + size, top + thick + 2 + 1.6 * size),
                    ]
                )
            )
            self._words_at(painter, f"week {self._text(week.mean)} {self._unit}", x, foot + 0.2 * line, metrics, "ink")
        if today is not None:
            x = at(today)
            painter.setPen(QPen(theme.colour("ink"), 2))
            if self._bounds is not None:
                level, cap = top - 0.3 * line, 0.16 * line
                low_x, high_x = (at(each) for each in self._bounds)
                painter.drawLine(QPointF(low_x, level), QPointF(high_x, level))
                for end in (low_x, high_x):
                    painter.drawLine(QPointF(end, level - cap), QPointF(end, level + cap))
            painter.setBrush(theme.colour("sheet"))
            painter.drawEllipse(QPointF(x, middle), 0.3 * line, 0.3 * line)
            self._words_at(painter, f"this morning {self._text(today)} {self._unit}", x, 0.55 * line, metrics, "ink")
        usual_words = f"usual {self._text(usual.low)} to {self._text(usual.high)}"
        centre = at(usual.mean)
        if week is None:
            self._words_at(painter, usual_words, centre, foot + 0.2 * line, metrics, "soft")

    def _words_at(self, painter: QPainter, words: str, x: float, y: float, metrics: QFontMetricsF, ink: str) -> None:
        half = metrics.horizontalAdvance(words) / 2 + 2
        x = min(max(x, half), self.width() - half)
        painter.setPen(self.context.theme.colour(ink))
        box = QRectF(x - half, y - metrics.height() / 2, 2 * half, metrics.height())
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)

    def _text(self, value: float) -> str:
        if self._stand is not None and self._stand.measure == "ln_rmssd":
            return f"{math.exp(value):.0f}"
        return f"{value:.0f}"

    def _retheme(self, _theme: object) -> None:
        self.updateGeometry()
        self.update()
