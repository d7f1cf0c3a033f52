"""A proposal: said in words, taken by a press, never by itself."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QVBoxLayout

from dawnbeat.ui.window.parts import shortcuts
from dawnbeat.ui.window.parts.flow import flow_of
from dawnbeat.ui.window.parts.shortcuts import Key


class ProposalSheet(QFrame):
    """Shown while there is something to propose that was not put off here.

    buttons: words, key, tip and what it does; "Not now" is added and puts off until the proposal reads differently.
    """

    def __init__(self, title: str, buttons: list[tuple[str, str, str, Callable[[], None]]], later_key: str) -> None:
        super().__init__()
        self.setProperty("class", "sheet")
        self._put_off = ""
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.words.setAccessibleName(title)
        heading = QLabel(title)
        heading.setProperty("class", "soft")
        made = []
        for words, keys, tip, does in (*buttons, ("Not now", later_key, "Put it off", self._later)):
            button = QPushButton(words)
            shortcuts.give(button, Key(keys, f"{title}: {tip[0].lower()}{tip[1:]}", "Zones"))
            button.clicked.connect(does)
            made.append(button)
        self.buttons = made
        inside = QVBoxLayout(self)
        inside.setContentsMargins(18, 10, 18, 10)
        inside.addWidget(heading)
        row = QHBoxLayout()
        row.addWidget(self.words, 1)
        inside.addLayout(row)
        inside.addLayout(flow_of(*made))
        self.hide()

    def offer(self, words: str) -> None:
        """Show a proposal; an empty one, or one put off, is not shown."""
        self.words.setText(words)
        self.setVisible(bool(words) and words != self._put_off)

    def _later(self) -> None:
        self._put_off = self.words.text()
        self.hide()
