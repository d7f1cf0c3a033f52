"""The offer, at the next start, of a reading that was broken off: keep it, or discard it."""

from __future__ import annotations

from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout

from dawnbeat.morning.keeping import BrokenOff, Kept, broken_off_readings, discard_recording, keep_broken_off
from dawnbeat.morning.verdict_text import verdict_lines
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import Armed
from dawnbeat.ui.window.parts.formats import clock, long_day
from dawnbeat.ui.window.read.widgets import button, label


class BrokenOffOffer(QFrame):
    """Shows one broken-off reading after another; hidden where there is none."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self._waiting: list[BrokenOff] = []
        self._looking = False
        self.setProperty("class", "sheet")
        self.words = label("", "large", "Broken-off reading")
        self.keep = button("Keep it", "K", "Keep the broken-off reading")
        self.discard = button("Discard it", "X", "Discard the broken-off reading")
        self.later = button("Later", "Ctrl+Shift+N", "Put it off: decide about the reading at the next start")
        column = QVBoxLayout(self)
        column.setContentsMargins(18, 14, 18, 14)
        column.addWidget(self.words)
        row = QHBoxLayout()
        for each in (self.keep, self.discard, self.later):
            row.addWidget(each)
        self.keep.clicked.connect(self._keep)
        self.later.clicked.connect(self._next)
        # For good, so it is asked once.
        self._armed = Armed(self.discard, "Discard it", "Really discard it, for good?", self._discard)
        row.addStretch(1)
        column.addLayout(row)
        self.hide()

    def look(self) -> None:
        """Look for broken-off readings, off the window's thread; once a start."""
        if self._looking:
            return
        self._looking = True
        home = self.context.home
        self.context.background.run(lambda _task: broken_off_readings(home), self._found, self.context.say)

    def _found(self, found: list[BrokenOff]) -> None:
        self._waiting = list(found)
        self._show()

    def _show(self) -> None:
        self._armed.disarm()
        self.setVisible(bool(self._waiting))
        if not self._waiting:
            return
        first = self._waiting[0]
        more = f" There are {len(self._waiting) - 1} more." if len(self._waiting) > 1 else ""
        when = f"{long_day(first.began.date())} at {first.began:%H:%M}"
        if first.why:
            self.words.setText(f"A broken-off reading of {when} can't be used: {first.why}.{more}")
        else:
            self.words.setText(f"A reading of {when} was broken off after {clock(first.length_s)}.{more}")
        self.keep.setVisible(not first.why)
        for each in (self.keep, self.discard, self.later):
            each.setEnabled(True)

    def _next(self) -> None:
        self._waiting = self._waiting[1:]
        self._show()

    def _keep(self) -> None:
        first, home = self._waiting[0], self.context.home
        settings, ranges = self.context.detection, self.context.ranges
        self._wait()
        self.context.background.run(
            lambda _task: keep_broken_off(first, home, settings, ranges), self._was_kept, self._failed
        )

    def _was_kept(self, kept: Kept) -> None:
        verdict = kept.analysis.verdict
        how = "it is usable" if verdict.usable else f"it is not usable: {verdict_lines(verdict)[0]}"
        self.context.say(f"Kept the reading of {long_day(kept.taken.began.date())}; {how}.")
        self.context.journal_changed.emit()
        self._next()

    def _discard(self) -> None:
        first, home = self._waiting[0], self.context.home
        self._wait()
        self.context.background.run(
            lambda _task: discard_recording(first.path, home), self._was_discarded, self._failed
        )

    def _was_discarded(self, _nothing: object) -> None:
        self.context.say("The broken-off reading was discarded.")
        self._next()

    def _failed(self, why: str) -> None:
        self.context.say(why)
        self._show()

    def _wait(self) -> None:
        for each in (self.keep, self.discard, self.later):
            each.setEnabled(False)
