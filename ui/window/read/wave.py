"""The live pulse wave of a reading."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy

from dawnbeat.morning.live_figures import LiveFigures
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.widgets import Painted

if TYPE_CHECKING:
    from dawnbeat.signal.live import LiveView

WAVE_SPAN_S = 8.0
# Beats are found anew every half second; drawn so much late, the wave flows instead of jumping.
WAVE_LAG_S = 0.7
_UNSETTLED_S = 2.5


class LiveWave(Painted):
    """The pulse wave of the last seconds, flowing to the left, with its beats."""

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__(context, "Live pulse wave")
        self._figures = figures
        self._view: LiveView | None = None
        self._now_s = 0.0
        self._height = 0.0
        self._still = ""
        self._arrived_s: float | None = None
        self.setMinimumHeight(110)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_moment(self, view: LiveView | None, now_s: float, arrived_s: float, still: str = "") -> None:
        """now_s: time of the newest frame on the wave's clock. still: words in place of the wave."""
        self._view, self._now_s, self._arrived_s, self._still = view, now_s, arrived_s, still
        self.update()

    def clear(self) -> None:
        """Forget the wave."""
        self._view, self._height, self._arrived_s = None, 0.0, None
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """A line, a dot at each beat, a tick each second; a beat that may still move is hollow."""
        theme, painter = self.context.theme, self._painter()
        room = QRectF(self.rect()).adjusted(1, 1, -1, -1)
        painter.setPen(QPen(theme.colour("line"), 1))
        painter.setBrush(theme.colour("sheet"))
        painter.drawRoundedRect(room, 6, 6)
        if self._view is None or self._still:
            painter.setPen(theme.colour("soft"))
            painter.setFont(self._font(1.15))
            words = self._still or "The pulse shows here after a few seconds"
            painter.drawText(room, Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, words)
        else:
            self._draw_wave(painter, room, self._view)
        painter.end()
        if self._arrived_s is not None:
            self._figures.was_painted(self._arrived_s)
            self._arrived_s = None

    def _draw_wave(self, painter: QPainter, room: QRectF, view: LiveView) -> None:
        theme = self.context.theme
        right_s = self._now_s - WAVE_LAG_S
        left_s = right_s - WAVE_SPAN_S
        rows = slice(*np.searchsorted(view.wave.time_s, (left_s, right_s)).tolist())
        time_s, value = view.wave.time_s[rows], view.wave.value[rows]
        if time_s.size < 2:
            return
        wanted = float(np.percentile(np.abs(value), 98)) or 1.0
        # The scale follows slowly, so that the wave does not pump.
        self._height = wanted if self._height <= 0 else self._height + 0.05 * (wanted - self._height)
        middle, half = room.center().y(), room.height() * 0.40
        x = room.left() + (time_s - left_s) / WAVE_SPAN_S * room.width()
        y = middle - np.clip(value / self._height, -1.15, 1.15) * half
        painter.setPen(QPen(theme.colour("ink"), theme.px(2)))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        breaks = np.flatnonzero(np.diff(time_s) > 0.25) + 1
        for xs, ys in zip(np.split(x, breaks), np.split(y, breaks), strict=True):
            painter.drawPolyline(QPolygonF([QPointF(a, b) for a, b in zip(xs.tolist(), ys.tolist(), strict=True)]))
        self._draw_seconds(painter, room, left_s)
        beats_s = view.beats_s[(view.beats_s > left_s) & (view.beats_s < right_s)]
        radius = theme.px(5)
        painter.setPen(QPen(theme.colour("accent"), theme.px(2)))
        for beat_s, height in zip(beats_s.tolist(), np.interp(beats_s, time_s, y).tolist(), strict=True):
            settled = beat_s < view.time_s - _UNSETTLED_S
            painter.setBrush(theme.colour("accent") if settled else theme.colour("sheet"))
            painter.drawEllipse(
                QPointF(room.left() + (beat_s - left_s) / WAVE_SPAN_S * room.width(), height), radius, radius
            )

    def _draw_seconds(self, painter: QPainter, room: QRectF, left_s: float) -> None:
        """A tick each second, moving with the wave."""
        theme = self.context.theme
        painter.setPen(QPen(theme.colour("soft"), theme.px(1)))
        first = math.ceil(left_s)
        for second in range(first, first + round(WAVE_SPAN_S)):
            x = room.left() + (second - left_s) / WAVE_SPAN_S * room.width()
            painter.drawLine(QPointF(x, room.bottom() - theme.px(8)), QPointF(x, room.bottom()))
