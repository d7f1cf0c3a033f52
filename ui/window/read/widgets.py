"""Parts of the Read page: buttons, and what draws itself in the theme's inks: gauge, picture and pulse wave."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFont, QImage, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QLabel, QPushButton, QSizePolicy, QWidget

from dawnbeat.morning.background import LiveFigures
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import Key

if TYPE_CHECKING:
    from dawnbeat.capture.frames import Image
    from dawnbeat.signal.live import LiveView

WHERE = "Read"
WAVE_SPAN_S = 8.0
# Beats are found anew every half second; drawn so much late, the wave flows instead of jumping.
WAVE_LAG_S = 0.7
_UNSETTLED_S = 2.5


def button(text: str, keys: str, does: str, main: bool = False) -> QPushButton:
    """A button with its key; Return presses the one that has the focus, as Space does."""
    made = QPushButton(text)
    made.setAutoDefault(True)
    if main:
        made.setProperty("class", "main")
    if keys:
        controls.give(made, Key(keys, does, WHERE))
    else:
        made.setToolTip(does)
        made.setAccessibleName(text)
    return made


def rename(made: QPushButton, text: str) -> None:
    """Change a button's text and its name for screen readers."""
    if made.text() != text:
        made.setText(text)
        made.setAccessibleName(text)


def restyle(*widgets: QWidget) -> None:
    """Have the style sheet looked at anew, after a class was changed."""
    for each in widgets:
        each.style().unpolish(each)
        each.style().polish(each)


def say_in(made: QLabel, text: str) -> None:
    """Change a label's text where it differs, so that nothing is laid out anew for nothing."""
    if made.text() != text:
        made.setText(text)


def label(text: str = "", kind: str = "", name: str = "") -> QLabel:
    """A label that wraps; kind: a class of the style sheet."""
    made = QLabel(text)
    made.setWordWrap(True)
    if kind:
        made.setProperty("class", kind)
    if name:
        made.setAccessibleName(name)
    return made


class Painted(QWidget):
    """A widget that draws itself in the theme's inks."""

    def __init__(self, context: AppContext, name: str) -> None:
        super().__init__()
        self.context = context
        self.setAccessibleName(name)
        context.theme_changed.connect(self._retheme)

    def _retheme(self, _theme: object) -> None:
        self.updateGeometry()
        self.update()

    def _font(self, times: float) -> QFont:
        font = QFont(self.font())
        font.setPointSizeF(self.context.theme.pt(times))
        return font

    def _painter(self) -> QPainter:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        return painter


class GaugeBar(Painted):
    """A labelled bar from 0 to `top`, with upright marks that bound where it should be."""

    def __init__(self, context: AppContext, name: str, unit: str, top: float, low: float, high: float) -> None:
        super().__init__(context, name)
        self._name, self._unit, self._top, self._low, self._high = name, unit, top, low, high
        self._value: float | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def set_value(self, value: float | None) -> None:
        """Show a value; None for unknown."""
        if value == self._value:
            return
        self._value = value
        self.setAccessibleDescription(self._words())
        self.update()

    def _words(self) -> str:
        if self._value is None:
            return "unknown"
        inside = "as it should be" if self._low <= self._value <= self._high else "not yet as it should be"
        return f"{self._value:.0f}{self._unit}, {inside}"

    def sizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Tall enough for its words."""
        return QSize(self.context.theme.px(260), self.context.theme.px(62))

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Words above, the bar below, good bounds as marks that reach over it."""
        theme, painter = self.context.theme, self._painter()
        painter.setFont(self._font(1.15))
        painter.setPen(theme.colour("ink"))
        words = QRectF(0, 0, self.width(), theme.px(28))
        painter.drawText(words, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, self._name)
        shown = "–" if self._value is None else f"{self._value:.0f}{self._unit}"
        painter.drawText(words, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, shown)
        left, width, at = theme.px(2), self.width() - 2 * theme.px(2), theme.px(36)
        bar = QRectF(left, at, width, theme.px(16))
        painter.setPen(QPen(theme.colour("line"), 1))
        painter.setBrush(theme.colour("sheet"))
        painter.drawRoundedRect(bar, 3, 3)
        if self._value is not None:
            filled = QRectF(bar)
            filled.setWidth(bar.width() * min(1.0, max(0.0, self._value / self._top)))
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(theme.colour("accent"))
            painter.drawRoundedRect(filled, 3, 3)
        painter.setPen(QPen(theme.colour("ink"), theme.px(2)))
        for bound in (self._low, self._high):
            if 0 < bound < self._top:
                x = left + width * bound / self._top
                painter.drawLine(QPointF(x, at - theme.px(5)), QPointF(x, at + theme.px(21)))


class CameraPicture(Painted):
    """What the camera sees, small, while the finger is being placed."""

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__(context, "What the camera sees")
        self._figures = figures
        self._image: QImage | None = None
        self._pixels: Image | None = None
        self._arrived_s: float | None = None
        self.words = ""
        self.setMinimumSize(200, 150)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    @property
    def empty(self) -> bool:
        """Whether there is no picture to show."""
        return self._image is None

    def set_picture(self, pixels: Image | None, arrived_s: float) -> None:
        """Show (height, width, 3) BGR bytes; None keeps the last."""
        if pixels is None:
            return
        pixels = np.ascontiguousarray(pixels)
        height, width = pixels.shape[:2]
        # The image borrows the array, which must live as long.
        self._pixels = pixels
        self._image = QImage(pixels.data, width, height, 3 * width, QImage.Format.Format_BGR888)
        self._arrived_s = arrived_s
        self.update()

    def clear(self, words: str) -> None:
        """Show words instead of a picture."""
        self._image = self._pixels = self._arrived_s = None
        self.words = words
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """The picture as large as it fits, in its own proportions."""
        theme, painter = self.context.theme, self._painter()
        room = QRectF(self.rect()).adjusted(1, 1, -1, -1)
        painter.setPen(QPen(theme.colour("line"), 1))
        painter.setBrush(theme.colour("sheet"))
        if self._image is None:
            painter.drawRoundedRect(room, 6, 6)
            painter.setPen(theme.colour("soft"))
            painter.setFont(self._font(1.15))
            painter.drawText(room, Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, self.words)
            return
        scale = min(room.width() / self._image.width(), room.height() / self._image.height())
        width, height = scale * self._image.width(), scale * self._image.height()
        target = QRectF(room.center().x() - width / 2, room.center().y() - height / 2, width, height)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawImage(target, self._image)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(target)
        if self._arrived_s is not None:
            painter.end()
            self._figures.was_painted(self._arrived_s)
            self._arrived_s = None


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
