"""The first start: three sentences, and one button."""

from __future__ import annotations

from PySide6.QtWidgets import QDialog, QLabel, QPushButton, QVBoxLayout, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.method_words import FIRST_WORDS


class FirstStart(QDialog):
    """Shown until it was closed once; the same words stay readable under Help."""

    def __init__(self, context: AppContext, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.context = context
        self.setWindowTitle("Before the first reading")
        self.setModal(True)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(32, 26, 32, 24)
        layout.setSpacing(18)
        heading = QLabel("Before the first reading")
        heading.setProperty("class", "title")
        layout.addWidget(heading)
        for words in FIRST_WORDS:
            sentence = QLabel(words)
            sentence.setWordWrap(True)
            sentence.setMinimumWidth(context.theme.px(520))
            layout.addWidget(sentence)
        note = QLabel("You find these words again under Help (F1).")
        note.setProperty("class", "soft")
        layout.addWidget(note)
        ready = QPushButton("I have read this")
        ready.setProperty("class", "main")
        ready.setDefault(True)
        ready.setAccessibleName("I have read this")
        ready.setAccessibleDescription(" ".join(FIRST_WORDS))
        ready.setToolTip("Go on (Enter)")
        ready.clicked.connect(self.accept)
        layout.addWidget(ready)

    def accept(self) -> None:
        """Remember that it was read."""
        try:
            self.context.choose(met=True)
        except DawnbeatError as error:
            self.context.say(str(error))
        super().accept()
