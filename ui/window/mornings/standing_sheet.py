"""The latest morning's answer, where the morning and its week stand, and what the answer rests on."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QFrame, QLabel, QSizePolicy, QVBoxLayout

from dawnbeat.journal.today import Today
from dawnbeat.morning.answer_text import FIRST_WORDS, rests_on
from dawnbeat.morning.answering import grounds, keep_answer
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import short_day
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.standing import AnswerCard, RangeStrip


class StandingSheet(QFrame):
    """Says where a day stands."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.setProperty("class", "sheet")
        # The room that is left over belongs to the chart below.
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Maximum)
        self.card = AnswerCard("Mornings")
        self.card.well_again.connect(self._well_again)
        self._day: date | None = None
        self.variability = RangeStrip(context, "RMSSD", "ms")
        self.pulse = RangeStrip(context, "Resting pulse", "bpm")
        self._names: list[QLabel] = []
        for words in ("RMSSD", "Resting pulse"):
            name = _label("small")
            name.setWordWrap(False)  # one short line; what may wrap is given room for its narrowest shape
            name.setText(words)
            self._names.append(name)
        strips = QVBoxLayout()
        strips.setSpacing(2)
        for name, strip in zip(self._names, (self.variability, self.pulse), strict=True):
            strips.addWidget(name)
            strips.addWidget(strip)
        strips.addStretch(1)
        self._row = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._row.setSpacing(24)
        self._row.addWidget(self.card, 6, Qt.AlignmentFlag.AlignTop)
        self._row.addLayout(strips, 5)
        column = QVBoxLayout(self)
        column.setContentsMargins(18, 12, 18, 12)
        column.addLayout(self._row)
        column.addWidget(self.card.details)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """The strips stand beside the headline where there is room."""
        super().resizeEvent(event)
        beside = self.width() >= self.context.theme.px(820)
        ways = QBoxLayout.Direction
        self._row.setDirection(ways.LeftToRight if beside else ways.TopToBottom)

    def show_day(self, day: date | None) -> None:
        """Say where this day stands; None where there is no morning at all."""
        self._day = day
        if day is None:
            self.card.say("No mornings yet.", f"Take the first reading on the page Read. {FIRST_WORDS}")
            self._show_strips(False, False)
            return
        try:
            drawn_from = grounds(self.context.journal, day, self.context.ranges)
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        today = drawn_from.today
        self._show_strips(today.ln_rmssd.usual is not None, today.resting_pulse.usual is not None)
        when = "" if day == date.today() else short_day(day)
        self.card.show_answer(drawn_from.answer(), when, rests_on(today))
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

    def _well_again(self) -> None:
        if self._day is not None:
            say_well_again(self.context, self._day)


def say_well_again(context: AppContext, day: date) -> None:
    """Note with the reading of a day that the runner is well again; Ctrl+Z takes it back."""
    with context.saying():
        reading, journal = context.journal.counting(day), context.journal
        said = replace(reading.context, ill=False if reading.context.ill else None, well_again=True)
        done = context.do(
            f"well again on {short_day(day)}",
            lambda: journal.edit_context(reading.id, said),
            lambda: journal.edit_context(reading.id, reading.context),
        )
        if done and day == date.today():
            keep_answer(journal, journal.reading(reading.id), grounds(journal, day, context.ranges))


def _label(kind: str) -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setProperty("class", kind)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
    return label
