"""Placing the finger: what the camera sees, and one sentence of advice to read at arm's length."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from dawnbeat.morning.flow import Plan
from dawnbeat.morning.live_figures import LiveFigures
from dawnbeat.morning.taking import Snapshot
from dawnbeat.morning.taking_text import LAMP, REHEARSAL, advice, starts_in
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.widgets import CameraPicture, GaugeBar, button, label, say_in

_ADVICE_TIMES = 3.0


class FingerView(QWidget):
    """start_now, cancel: what was pressed."""

    start_now = Signal()
    cancel = Signal()

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__()
        self.context = context
        self.advice = label("", "", "Advice")
        self.picture = CameraPicture(context, figures)
        self.covered = GaugeBar(context, "Lens covered", " %", 100.0, 80.0, 100.0)
        self.brightness = GaugeBar(context, "Brightness", "", 255.0, 15.0, 255.0)
        self.starts = label("", "large", "When it starts")
        self.rehearsal = label(REHEARSAL, "soft")
        self.main = button("Start now", "S", "Start without waiting for good contact")
        self._cancel = button("Cancel", "Esc", "Go back without a reading")
        self.main.clicked.connect(self.start_now)
        self._cancel.clicked.connect(self.cancel)
        context.theme_changed.connect(self._dress)
        self._dress()
        self._lay_out()

    def opening(self, rehearsing: bool, on_phone: bool = False) -> None:
        """Before the first frame. on_phone: whether the picture stays on a phone."""
        self._say("Waking the finger…" if rehearsing else "Opening the camera…")
        self.picture.clear("The picture stays on the phone." if on_phone else "")
        self.starts.setText("")
        self.covered.set_value(None)
        self.brightness.set_value(None)
        self.rehearsal.setVisible(rehearsing)
        self.main.setEnabled(False)

    def show_moment(self, moment: Snapshot, plan: Plan) -> None:
        """Show the newest frame."""
        if not self.main.isEnabled():
            self.main.setEnabled(True)
            self.main.setFocus()
        contact = moment.contact
        self._say(advice(contact))
        self.covered.set_value(round(100 * contact.covered))
        self.brightness.set_value(round(contact.brightness))
        words = starts_in(moment.good_for_s, plan.good_s)
        say_in(self.starts, words)
        self.picture.set_picture(moment.picture, moment.arrived_s)

    def say(self, words: str) -> None:
        """Say something while no frames come."""
        self._say(words)

    def _say(self, words: str) -> None:
        if words != self.advice.text():
            self.advice.setText(words)
            self.advice.setAccessibleDescription(words)

    def _dress(self, _theme: object = None) -> None:
        theme = self.context.theme
        self.advice.setStyleSheet(f"font-size: {theme.pt(_ADVICE_TIMES):.1f}pt;")
        self.advice.setMinimumHeight(theme.px(120))

    def _lay_out(self) -> None:
        right = QVBoxLayout()
        right.setSpacing(16)
        right.addWidget(self.covered)
        right.addWidget(self.brightness)
        right.addStretch(1)
        right.addWidget(self.starts)
        row = QHBoxLayout()
        row.setSpacing(28)
        row.addWidget(self.picture, 1)
        row.addLayout(right, 1)
        foot = QHBoxLayout()
        foot.setSpacing(14)
        foot.addWidget(self.main)
        foot.addWidget(self._cancel)
        foot.addSpacing(10)
        foot.addWidget(label(LAMP, "small"), 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(36, 24, 36, 20)
        column.setSpacing(16)
        column.addWidget(self.advice)
        self.advice.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        column.addLayout(row, 1)
        column.addWidget(self.rehearsal)
        column.addLayout(foot)
