"""While a reading goes on: the time left, the pulse, its wave, and gentle words."""

from __future__ import annotations

import math

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QProgressBar, QVBoxLayout, QWidget

from dawnbeat.morning.flow import Plan
from dawnbeat.morning.live_figures import LiveFigures
from dawnbeat.morning.taking import Snapshot
from dawnbeat.morning.taking_text import REHEARSAL, gentle, phase_title
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.formats import clock
from dawnbeat.ui.window.read.wave import LiveWave
from dawnbeat.ui.window.read.widgets import button, label, rename, say_in

_CLOCK_TIMES = 5.0
_STEPS = 1000
# Words that come and go faster than this can't be read.
_WORDS_STAY_S = 2.5


class LiveViewPage(QWidget):
    """stop: end the reading and keep it."""

    stop = Signal()

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__()
        self.context = context
        self.phase = label("", "title", "Phase")
        self.remaining = label("", "", "Time left")
        self.pulse = label("", "figure", "Pulse now")
        self.kept = label("", "large", "Share of beats kept")
        self.wave = LiveWave(context, figures)
        self.words = label("", "title", "How it goes")
        self.bar = QProgressBar()
        self.bar.setRange(0, _STEPS)
        self.bar.setTextVisible(False)
        self.bar.setAccessibleName("Share of the time that is done")
        self.rehearsal = label(REHEARSAL, "soft")
        self.main = button("Stop and keep", "S", "Stop, and keep what was captured")
        self.main.clicked.connect(self.stop)
        self._said_s = -math.inf
        context.theme_changed.connect(self._dress)
        self._dress()
        self._lay_out()

    def begin(self, rehearsing: bool) -> None:
        """Before the first moment."""
        self.wave.clear()
        self._said_s = -math.inf
        self.rehearsal.setVisible(rehearsing)
        self.main.setEnabled(True)

    def show_moment(self, moment: Snapshot, plan: Plan) -> None:
        """Show the newest frame."""
        settling = moment.phase == "settling"
        left_s = plan.settle_s - moment.settled_s if settling else moment.remaining_s
        of_s = plan.settle_s if settling else plan.duration_s
        say_in(self.phase, phase_title(moment.phase))
        say_in(self.remaining, clock(math.ceil(max(0.0, left_s))))
        self.bar.setValue(round(_STEPS * (1.0 - max(0.0, left_s) / of_s)))
        live = moment.live
        pulse = None if live is None or moment.phase == "paused" else live.pulse_bpm
        say_in(self.pulse, "– bpm" if pulse is None else f"{pulse:.0f} bpm")
        share = moment.kept_share
        say_in(self.kept, "" if settling or share is None else f"{100 * share:.0f} % of beats kept")
        self._say(gentle(moment), moment)
        still = "The clock stands still until the finger is back" if moment.phase == "paused" else ""
        self.wave.show_moment(live, moment.time_s, moment.arrived_s, still)
        rename(self.main, "Go back" if settling else "Stop and keep")

    def say(self, words: str) -> None:
        """Say something while no frames come."""
        say_in(self.words, words)

    def working(self) -> None:
        """The frames are over, and the beats are being looked at."""
        say_in(self.phase, "Looking at the beats…")
        say_in(self.words, "You may lift the finger.")
        self.main.setEnabled(False)

    def _say(self, words: str, moment: Snapshot) -> None:
        if words == self.words.text():
            return
        # The pause counts down in its own words, and must not wait for anything.
        if moment.phase == "paused" or moment.arrived_s - self._said_s >= _WORDS_STAY_S:
            self._said_s = moment.arrived_s
            say_in(self.words, words)

    def _dress(self, _theme: object = None) -> None:
        theme = self.context.theme
        self.remaining.setStyleSheet(f"font-size: {theme.pt(_CLOCK_TIMES):.1f}pt;")
        self.words.setMinimumHeight(theme.px(64))

    def _lay_out(self) -> None:
        left = QVBoxLayout()
        left.setSpacing(0)
        left.addWidget(self.phase)
        left.addWidget(self.remaining)
        right = QVBoxLayout()
        right.setSpacing(4)
        for each in (self.pulse, self.kept):
            each.setAlignment(Qt.AlignmentFlag.AlignRight)
            right.addWidget(each)
        right.addStretch(1)
        top = QHBoxLayout()
        top.addLayout(left, 1)
        top.addLayout(right, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(36, 24, 36, 20)
        column.setSpacing(14)
        column.addLayout(top)
        column.addWidget(self.bar)
        column.addWidget(self.wave, 1)
        column.addWidget(self.words)
        column.addWidget(self.rehearsal)
        foot = QHBoxLayout()
        foot.addWidget(self.main)
        foot.addStretch(1)
        column.addLayout(foot)
