"""The morning's answer on a page: large and in plain words, its question to the runner, and why, unfolded on demand."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from dawnbeat.morning.answer import Answer
from dawnbeat.morning.answer_text import SEEK_HELP, asks, cautions, headline, lead, why
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.controls import Key


class AnswerCard(QWidget):
    """well_again: the runner says to be well again. `details` is laid out by whoever shows the card."""

    well_again = Signal()

    def __init__(self, where: str) -> None:
        super().__init__()
        self.answer: Answer | None = None
        self.headline = _words("title", "The answer")
        self.said = _words("large", "Why, in a sentence")
        self.heed = _words("", "What to heed")
        self.details = _words("small", "What the answer rests on")
        self.details.hide()
        self.more = QPushButton("Why")
        self.more.setCheckable(True)
        controls.give(self.more, Key("W", "Show or hide what the answer rests on", where))
        self.well = QPushButton("I am well again")
        controls.give(self.well, Key("Alt+W", "Say that you are well again after an illness", where))
        self.more.toggled.connect(self.details.setVisible)
        self.well.clicked.connect(self.well_again)
        row = QHBoxLayout()
        row.addWidget(self.more)
        row.addWidget(self.well)
        row.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        for each in (self.headline, self.said, self.heed):
            column.addWidget(each)
        column.addLayout(row)
        self.say("", "")

    def show_answer(self, answer: Answer, when: str = "", rests_on: Sequence[str] = ()) -> None:
        """when: put before the headline, such as a day. rests_on: lines that follow what unfolds."""
        self.answer = answer
        self.headline.setText(f"{when}: {headline(answer)}" if when else headline(answer))
        self.said.setText(" ".join([lead(answer), *asks(answer)]))
        *pressing, usual = cautions(answer)
        self.heed.setText(" ".join([*pressing, usual]))
        self.heed.setProperty("class", "" if pressing else "soft")
        self.heed.style().unpolish(self.heed)
        self.heed.style().polish(self.heed)
        self.details.setText("\n".join([*why(answer), *([""] if rests_on else []), *rests_on]))
        self._show_tools(True, "well_again" in answer.asks)

    def say(self, words: str, more: str) -> None:
        """Say something in place of an answer."""
        self.answer = None
        self.headline.setText(words)
        self.said.setText(more)
        self.heed.setText(SEEK_HELP if words else "")
        self.details.setText("")
        self._show_tools(False, False)

    def _show_tools(self, more: bool, well: bool) -> None:
        self.more.setVisible(more)
        self.well.setVisible(well)
        self.details.setVisible(more and self.more.isChecked())
        self.said.setVisible(bool(self.said.text()))
        self.heed.setVisible(bool(self.heed.text()))


def _words(kind: str, name: str) -> QLabel:
    made = controls.label(kind, name)
    made.setWordWrap(True)
    made.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
    policy.setHeightForWidth(True)  # as high as its words need at this width, and no higher
    made.setSizePolicy(policy)
    return made
