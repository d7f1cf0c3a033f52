"""The latest morning's answer, where the morning and its week stand, and what the answer rests on."""

from __future__ import annotations

import math
from datetime import date

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QGridLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout

from dawnbeat.journal.today import Today
from dawnbeat.morning.answer_text import asks, cautions, headline, lead, rests_on, why
from dawnbeat.morning.answering import grounds
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import Key
from dawnbeat.ui.window.parts.formats import short_day
from dawnbeat.ui.window.parts.range_strip import RangeStrip


class StandingSheet(QFrame):
    """Says where a day stands."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.setProperty("class", "sheet")
        self.headline = _label("title")
        self.headline.setAccessibleName("The answer")
        self.said = _label("said")
        self.said.setAccessibleName("Why, in a sentence")
        self.rests = _label("small")
        self.rests.setAccessibleName("What this rests on")
        self.rests.hide()
        self.variability = RangeStrip(context, "RMSSD", "ms")
        self.pulse = RangeStrip(context, "Resting pulse", "bpm")
        self.more = QPushButton("Why")
        self.more.setCheckable(True)
        controls.give(self.more, Key("W", "Show or hide what the answer rests on", "Mornings"))
        self.more.toggled.connect(self._toggle)
        self._names: list[QLabel] = []
        for words in ("RMSSD", "Resting pulse"):
            name = _label("small")
            name.setText(words)
            self._names.append(name)
        self._first = QVBoxLayout()
        self._first.addWidget(self.headline, 1)
        self._first.addWidget(self.more, 0, Qt.AlignmentFlag.AlignLeft)
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(18, 12, 18, 12)
        self._grid.setHorizontalSpacing(24)
        self._grid.setVerticalSpacing(2)
        self._beside: bool | None = None
        self._place(True)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """The strips stand beside the headline where there is room."""
        super().resizeEvent(event)
        self._place(self.width() >= self.context.theme.px(820))

    def _place(self, beside: bool) -> None:
        if beside == self._beside:
            return
        self._beside = beside
        grid, top = self._grid, Qt.AlignmentFlag.AlignTop
        grid.removeItem(self._first)
        for widget in (self.said, self.rests, *self._names, self.variability, self.pulse):
            grid.removeWidget(widget)
        strips = list(zip(self._names, (self.variability, self.pulse), strict=True))
        grid.addLayout(self._first, 0, 0, 2 if beside else 1, 1)
        for place, (name, strip) in enumerate(strips, start=1):
            grid.addWidget(name, *((0, place) if beside else (2 * place - 1, 0)))
            grid.addWidget(strip, *((1, place) if beside else (2 * place, 0)), alignment=top)
        span = 3 if beside else 1
        grid.addWidget(self.said, 5, 0, 1, span)
        grid.addWidget(self.rests, 6, 0, 1, span)
        for column, stretch in enumerate((4, 3, 3)):
            grid.setColumnStretch(column, stretch if beside or column == 0 else 0)

    def show_day(self, day: date | None) -> None:
        """Say where this day stands; None where there is no morning at all."""
        if day is None:
            self.headline.setText("No mornings yet.")
            self.said.setText(
                "Take the first reading on the page Read. A week’s average needs a few mornings, a usual range "
                "about three weeks of them."
            )
            self.rests.setText("")
            self._show_strips(False, False)
            self.more.hide()
            return
        try:
            drawn_from = grounds(self.context.journal, day, self.context.ranges)
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        today, answer = drawn_from.today, drawn_from.answer()
        self.more.show()
        self._show_strips(today.ln_rmssd.usual is not None, today.resting_pulse.usual is not None)
        when = "" if day == date.today() else f"{short_day(day)}: "
        self.headline.setText(f"{when}{headline(answer)}")
        self.said.setText(" ".join([lead(answer), *asks(answer), *cautions(answer)]))
        self.rests.setText("\n".join([*why(answer), "", *rests_on(today)]))
        self._name(today)
        self.variability.set_stand(today.ln_rmssd)
        self.pulse.set_stand(today.resting_pulse)

    def _show_strips(self, variability: bool, pulse: bool) -> None:
        for shown, name, strip in zip((variability, pulse), self._names, (self.variability, self.pulse), strict=True):
            name.setVisible(shown)
            strip.setVisible(shown)

    def _name(self, today: Today) -> None:
        low_high = [""] * 2
        if (usual := today.ln_rmssd.usual) is not None:
            low_high[0] = f", usual {math.exp(usual.low):.0f} to {math.exp(usual.high):.0f} ms"
        if (usual := today.resting_pulse.usual) is not None:
            low_high[1] = f", usual {usual.low:.0f} to {usual.high:.0f} bpm"
        for name, words, usual_words in zip(self._names, ("RMSSD", "Resting pulse"), low_high, strict=True):
            name.setText(words + usual_words)

    def _toggle(self, on: bool) -> None:
        self.rests.setVisible(on)


def _label(kind: str) -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setProperty("class", kind)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
    return label
