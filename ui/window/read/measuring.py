"""Placing the finger, and a reading that goes on: what the camera sees, the time left, the pulse, gentle words."""

from __future__ import annotations

import math

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QProgressBar, QStackedWidget, QVBoxLayout, QWidget

from dawnbeat.morning.background import LiveFigures
from dawnbeat.morning.flow import Plan
from dawnbeat.morning.reading_text import LAMP, REHEARSAL, advice, gentle, phase_title, starts_in
from dawnbeat.morning.taking import Snapshot
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.formats import clock
from dawnbeat.ui.window.parts.layouts import Scrolled, flow_of
from dawnbeat.ui.window.read.widgets import CameraPicture, GaugeBar, LiveWave, button, label, restyle, say_in

_ADVICE_TIMES = 3.0
_CLOCK_TIMES = 5.0
_STEPS = 1000
ON_PHONE = "The picture stays on the phone."
# Words that come and go faster than this can't be read.
_WORDS_STAY_S = 2.5
_LINES_FOR_LARGE_WORDS = 28


def is_small(view: QWidget) -> bool:
    """Whether a view is so low for the size of its text that its largest words must give way."""
    return view.height() < view.fontMetrics().height() * _LINES_FOR_LARGE_WORDS


def above_buttons(view: QWidget, inside: QWidget, *buttons: QWidget, words: QWidget | None = None) -> None:
    """Lay out a view: what may scroll, and below it words and buttons that stay in sight and wrap where they must."""
    column = QVBoxLayout(view)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(0)
    column.addWidget(Scrolled(inside), 1)
    foot, presses = QVBoxLayout(), flow_of(*buttons)
    foot.setContentsMargins(36, 8, 36, 20)
    presses.setSpacing(14)
    if words is not None:
        foot.addWidget(words)
    foot.addLayout(presses)
    column.addLayout(foot)


class ContactPanel(QWidget):
    """What the camera sees, and how well the finger covers it; shown whenever the finger is not where it should be."""

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__()
        self.picture = CameraPicture(context, figures)
        self.covered = GaugeBar(context, "Lens covered", " %", 100.0, 80.0, 100.0)
        self.brightness = GaugeBar(context, "Brightness", "", 255.0, 15.0, 255.0)
        right = QVBoxLayout()
        right.setSpacing(16)
        right.addWidget(self.covered)
        right.addWidget(self.brightness)
        right.addStretch(1)
        self.beside = right
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(28)
        row.addWidget(self.picture, 2)
        row.addLayout(right, 3)

    def clear(self, words: str) -> None:
        """Before the first frame. words: in place of the picture."""
        self.picture.clear(words)
        self.covered.set_value(None)
        self.brightness.set_value(None)

    def show_moment(self, moment: Snapshot) -> None:
        """Show the newest frame."""
        self.covered.set_value(round(100 * moment.contact.covered))
        self.brightness.set_value(round(moment.contact.brightness))
        self.picture.set_picture(moment.picture, moment.arrived_s)


class FingerView(QWidget):
    """Placing the finger: one sentence of advice to read at arm's length. start_now, cancel: what was pressed."""

    start_now = Signal()
    cancel = Signal()

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__()
        self.context = context
        self.advice = label("", "", "Advice")
        self.panel = ContactPanel(context, figures)
        self.starts = label("", "large", "When it starts")
        self.panel.beside.addWidget(self.starts)
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
        self.panel.clear(ON_PHONE if on_phone else "")
        self.starts.setText("")
        self.rehearsal.setVisible(rehearsing)
        self.main.setEnabled(False)

    def show_moment(self, moment: Snapshot, plan: Plan) -> None:
        """Show the newest frame."""
        if not self.main.isEnabled():
            self.main.setEnabled(True)
            self.main.setFocus()
        self._say(advice(moment.contact))
        self.panel.show_moment(moment)
        say_in(self.starts, starts_in(moment.good_for_s, plan.good_s))

    def say(self, words: str) -> None:
        """Say something while no frames come."""
        self._say(words)

    def _say(self, words: str) -> None:
        if words != self.advice.text():
            self.advice.setText(words)
            self.advice.setAccessibleDescription(words)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Smaller words where there is little room."""
        super().resizeEvent(event)
        self._dress()

    def _dress(self, _theme: object = None) -> None:
        theme, small = self.context.theme, is_small(self)
        self.advice.setStyleSheet(f"font-size: {theme.pt(_ADVICE_TIMES / (2 if small else 1)):.1f}pt;")
        self.advice.setMinimumHeight(theme.px(40 if small else 120))

    def _lay_out(self) -> None:
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(36, 24, 36, 8)
        column.setSpacing(16)
        column.addWidget(self.advice)
        self.advice.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        column.addWidget(self.panel, 1)
        column.addWidget(self.rehearsal)
        column.addWidget(label(LAMP, "small"))
        above_buttons(self, inside, self.main, self._cancel)


class ReadingView(QWidget):
    """While a reading goes on. back: it is not wanted after all. stop, discard: end it, and keep or delete it.

    Whatever ends a reading never has the focus, and asks: a Space in half sleep must not cost a morning.
    """

    back = Signal()
    stop = Signal()
    discard = Signal()

    def __init__(self, context: AppContext, figures: LiveFigures) -> None:
        super().__init__()
        self.context = context
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("The reading that goes on")
        self.phase = label("", "title", "Phase")
        self.remaining = label("", "", "Time left")
        self.pulse = label("", "figure", "Pulse now")
        self.kept = label("", "large", "Share of beats kept")
        self.wave = LiveWave(context, figures)
        self.panel = ContactPanel(context, figures)
        self.middle = QStackedWidget()
        self.middle.addWidget(self.wave)
        self.middle.addWidget(self.panel)
        self.words = label("", "title", "How it goes")
        self.bar = QProgressBar()
        self.bar.setRange(0, _STEPS)
        self.bar.setTextVisible(False)
        self.bar.setAccessibleName("Share of the time that is done")
        self.rehearsal = label(REHEARSAL, "soft")
        self.back_button = button("Go back", "Esc", "Go back without a reading")
        self.end_button = button("End it…", "E", "End the reading early; asks first")
        self.question = label("End the reading now?", "large", "Question")
        self.go_on = button("Go on", "G", "Let the reading go on", main=True)
        self.stop_button = button("Stop and keep", "S", "End the reading, and keep what was captured")
        self.discard_button = button("Discard", "X", "End the reading, and delete what was captured")
        self._buttons = (self.back_button, self.end_button, self.go_on, self.stop_button, self.discard_button)
        for each in (self.back_button, self.end_button):
            each.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.back_button.clicked.connect(self.back)
        self.end_button.clicked.connect(lambda: self._ask(True))
        self.go_on.clicked.connect(lambda: self._ask(False))
        self.stop_button.clicked.connect(self.stop)
        self.discard_button.clicked.connect(self.discard)
        self._asking = False
        self._settling = True
        self._said_s = -math.inf
        context.theme_changed.connect(self._dress)
        self._dress()
        self._lay_out()
        self._ask(False)

    @property
    def main(self) -> QWidget:
        """What has the focus: nothing that ends the reading."""
        return self.go_on if self._asking else self

    def begin(self, rehearsing: bool, on_phone: bool = False) -> None:
        """Before the first moment. on_phone: whether the picture stays on a phone."""
        self.wave.clear()
        self.panel.clear(ON_PHONE if on_phone else "")
        self._said_s = -math.inf
        self.rehearsal.setVisible(rehearsing)
        for each in self._buttons:
            each.setEnabled(True)
        self._settling = True
        self._ask(False)

    def show_moment(self, moment: Snapshot, plan: Plan) -> None:
        """Show the newest frame."""
        settling, paused = moment.phase == "settling", moment.phase == "paused"
        if settling != self._settling:
            self._settling = settling
            self._ask(False)
        left_s = plan.settle_s - moment.settled_s if settling else moment.remaining_s
        of_s = plan.settle_s if settling else plan.duration_s
        say_in(self.phase, phase_title(moment.phase))
        say_in(self.remaining, clock(math.ceil(max(0.0, left_s))))
        self.bar.setValue(round(_STEPS * (1.0 - max(0.0, left_s) / max(of_s, 1e-9))))
        live = moment.live
        pulse = None if live is None or paused else live.pulse_bpm
        say_in(self.pulse, "– bpm" if pulse is None else f"{pulse:.0f} bpm")
        share = moment.kept_share
        say_in(self.kept, "" if settling or share is None else f"{100 * share:.0f} % of beats kept")
        self._say(gentle(moment), moment)
        self.middle.setCurrentWidget(self.panel if paused else self.wave)
        if paused:
            self.panel.show_moment(moment)
        else:
            self.wave.show_moment(live, moment.time_s, moment.arrived_s)

    def say(self, words: str) -> None:
        """Say something while no frames come."""
        say_in(self.words, words)

    def working(self) -> None:
        """The frames are over, and the beats are being looked at."""
        say_in(self.phase, "Looking at the beats…")
        say_in(self.words, "You may lift the finger.")
        self._ask(False)
        for each in self._buttons:
            each.setEnabled(False)

    def _ask(self, asking: bool) -> None:
        self._asking = asking
        self.back_button.setVisible(self._settling)
        self.end_button.setVisible(not self._settling and not asking)
        for each in (self.question, self.go_on, self.stop_button, self.discard_button):
            each.setVisible(asking)
        if self.isVisible():
            self.main.setFocus()

    def _say(self, words: str, moment: Snapshot) -> None:
        if words == self.words.text():
            return
        # The pause counts down in its own words, and must not wait for anything.
        if moment.phase == "paused" or moment.arrived_s - self._said_s >= _WORDS_STAY_S:
            self._said_s = moment.arrived_s
            say_in(self.words, words)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """A smaller clock where there is little room."""
        super().resizeEvent(event)
        self._dress()

    def _dress(self, _theme: object = None) -> None:
        theme, small = self.context.theme, is_small(self)
        self.remaining.setStyleSheet(f"font-size: {theme.pt(_CLOCK_TIMES / (2 if small else 1)):.1f}pt;")
        self.words.setMinimumHeight(theme.px(0 if small else 64))
        self.bar.setVisible(not small)
        for each, usual in ((self.pulse, "figure"), (self.words, "title"), (self.kept, "large")):
            each.setProperty("class", ("large" if each is not self.kept else "") if small else usual)
        restyle(self.pulse, self.words, self.kept)

    def _lay_out(self) -> None:
        left = QVBoxLayout()
        left.setSpacing(0)
        left.addWidget(self.phase)
        left.addWidget(self.remaining)
        right = QVBoxLayout()
        right.setSpacing(4)
        for each in (self.phase, self.remaining, self.pulse, self.kept):
            each.setWordWrap(False)
        for each in (self.pulse, self.kept):
            each.setAlignment(Qt.AlignmentFlag.AlignRight)
            right.addWidget(each)
        right.addStretch(1)
        top = QHBoxLayout()
        top.addLayout(left, 1)
        top.addLayout(right, 1)
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(36, 24, 36, 8)
        column.setSpacing(14)
        column.addLayout(top)
        column.addWidget(self.bar)
        column.addWidget(self.middle, 1)
        column.addWidget(self.words)
        column.addWidget(self.rehearsal)
        above_buttons(self, inside, *self._buttons, words=self.question)
