"""Placing the finger: what the camera sees, how well the finger covers it, and advice to read at arm's length."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QImage, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from dawnbeat.morning.background import LiveFigures
from dawnbeat.morning.flow import Plan
from dawnbeat.morning.reading_text import LAMP, REHEARSAL, advice, starts_in
from dawnbeat.morning.taking import Snapshot
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import label, say_in
from dawnbeat.ui.window.parts.layouts import Flow, Scrolled, column_of, flow_of, row_of, stack
from dawnbeat.ui.window.parts.theme import Painted

if TYPE_CHECKING:
    from dawnbeat.capture.frames import Image

_ADVICE_TIMES = 3.0
ON_PHONE = "The picture stays on the phone."
NO_PICTURE = "No picture yet"
_LINES_FOR_LARGE_WORDS = 28
# A figure further from its name would not be read as one with it; in pixels where text has its usual size.
_WIDEST_GAUGE = 760
# Where there is no picture: how high its ground is for its width, and the lines of words that it holds at least.
_LANDSCAPE, _LINES_OF_WORDS = 3 / 4, 5


def _share_of_white(brightness: float) -> float:
    """A brightness from 0 to 255 in percent of the brightest there is."""
    return 100 * brightness / 255


def is_small(view: QWidget) -> bool:
    """Whether a view is so low for the size of its text that its largest words must give way."""
    return view.height() < view.fontMetrics().height() * _LINES_FOR_LARGE_WORDS


def above_buttons(view: QWidget, inside: QWidget, *buttons: QWidget, words: QWidget | None = None) -> QVBoxLayout:
    """Lay out a view: what may scroll, and below it words and buttons that stay in sight and wrap where they must.

    Returns the layout of what stays in sight.
    """
    foot = column_of(*([] if words is None else [words]), flow_of(*buttons))
    fit_foot(foot, False)
    stack(view, (Scrolled(inside), 1), foot, gap=0)
    return foot


def fit_foot(foot: QVBoxLayout, small: bool) -> None:
    """Leave more or less air around the words and buttons that stay in sight."""
    foot.setContentsMargins(*((16, 4, 16, 8) if small else (36, 8, 36, 20)))
    foot.setSpacing(6 if small else 12)
    for flow in foot.findChildren(Flow):
        flow.setSpacing(6 if small else 14)


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

    def minimumSizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Wide enough that name and value stand apart."""
        words = QFontMetrics(self.larger_font()).horizontalAdvance(f"{self._name}   {self._top:.0f}{self._unit}")
        return QSize(words, self.context.theme.px(62))

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Words above, the bar below, good bounds as marks that reach over it."""
        theme, painter = self.context.theme, self.painter()
        painter.setFont(self.larger_font())
        painter.setPen(theme.colour("ink"))
        across = min(self.width(), theme.px(_WIDEST_GAUGE))
        words = QRectF(0, 0, across, theme.px(28))
        painter.drawText(words, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, self._name)
        shown = "–" if self._value is None else f"{self._value:.0f}{self._unit}"
        painter.drawText(words, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, shown)
        left, width, at = theme.px(2), across - 2 * theme.px(2), theme.px(36)
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
        """The picture as large as it fits, in its own proportions; words on a ground like that of most pictures."""
        painter = self.painter()
        room = QRectF(self.rect()).adjusted(1, 1, -1, -1)
        if self._image is None:
            least = _LINES_OF_WORDS * QFontMetrics(self.larger_font()).height()
            room.setHeight(min(room.height(), max(_LANDSCAPE * room.width(), least)))
            aside = self.context.theme.px(6)
            self.words_in(painter, self.sheet(painter, room).adjusted(aside, 0, -aside, 0), self.words)
            return
        scale = min(room.width() / self._image.width(), room.height() / self._image.height())
        target = QRectF(room.left(), room.top(), scale * self._image.width(), scale * self._image.height())
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.drawImage(target, self._image)
        painter.setPen(QPen(self.context.theme.colour("line"), 1))
        painter.drawRect(target)
        if self._arrived_s is not None:
            painter.end()
            self._figures.was_painted(self._arrived_s)
            self._arrived_s = None


class ContactPanel(QWidget):
    """What the camera sees, and how well the finger covers it; shown whenever the finger is not where it should be."""

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__()
        self.picture = CameraPicture(context, figures)
        self.covered = GaugeBar(context, "Lens covered", " %", 100.0, 80.0, 100.0)
        self.brightness = GaugeBar(context, "Brightness", " %", 100.0, _share_of_white(15.0), 100.0)
        self.beside = column_of(self.covered, self.brightness, None, gap=16)
        stack(self, row_of((self.picture, 2), (self.beside, 3), gap=28))

    def clear(self, words: str) -> None:
        """Before the first frame. words: in place of the picture."""
        self.picture.clear(words)
        self.covered.set_value(None)
        self.brightness.set_value(None)

    def show_moment(self, moment: Snapshot) -> None:
        """Show the newest frame."""
        self.covered.set_value(round(100 * moment.contact.covered))
        self.brightness.set_value(round(_share_of_white(moment.contact.brightness)))
        self.picture.set_picture(moment.picture, moment.arrived_s)


class FingerView(View):
    """Placing the finger: one sentence of advice to read at arm's length. start_now, cancel: what was pressed."""

    start_now = Signal()
    cancel = Signal()

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__(context)
        give = functools.partial(controls.button, where="Read")
        self.advice = label("", "Advice")
        self.advice.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self.panel = ContactPanel(context, figures)
        self.starts = label("large", "When it starts")
        self.panel.beside.insertWidget(2, self.starts)  # at the bars, whatever the height
        self.rehearsal = label("soft", "", REHEARSAL)
        self.main = give("Start now", "S", "Start without waiting for good contact", self.start_now.emit)
        cancel = give("Cancel", "Esc", "Go back without a reading", self.cancel.emit)
        inside, lamp = QWidget(), label("small", "", LAMP)
        stack(inside, self.advice, (self.panel, 1), self.rehearsal, lamp, margins=(36, 24, 36, 8), gap=16)
        above_buttons(self, inside, self.main, cancel)
        self.arrange()

    def opening(self, rehearsing: bool, on_phone: bool = False) -> None:
        """Before the first frame. on_phone: whether the picture stays on a phone."""
        self.say("Waking the finger…" if rehearsing else "Opening the camera…")
        self.panel.clear(ON_PHONE if on_phone else NO_PICTURE)
        self.starts.setText("")
        self.rehearsal.setVisible(rehearsing)
        self.main.setEnabled(False)

    def show_moment(self, moment: Snapshot, plan: Plan) -> None:
        """Show the newest frame."""
        if not self.main.isEnabled():
            self.main.setEnabled(True)
            self.main.setFocus()
        self.say(advice(moment.contact))
        self.panel.show_moment(moment)
        say_in(self.starts, starts_in(moment.good_for_s, plan.good_s))

    def say(self, words: str) -> None:
        """Advise this."""
        say_in(self.advice, words)
        self.advice.setAccessibleDescription(words)

    def arrange(self) -> None:
        """Smaller words where there is little room."""
        theme, small = self.context.theme, is_small(self)
        self.advice.setStyleSheet(f"font-size: {theme.pt(_ADVICE_TIMES / (2 if small else 1)):.1f}pt;")
        self.advice.setMinimumHeight(theme.px(40 if small else 120))
