"""One morning opened: its recording, beats and intervals, and beats left out or brought back by hand."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from dawnbeat.journal.folder import is_safe_path
from dawnbeat.journal.hand_edits import edit_intervals, edits_of, take_back
from dawnbeat.morning.answer_text import headline, lead
from dawnbeat.morning.answering import from_json
from dawnbeat.morning.reading_text import clock, interval_words, verdict_lines
from dawnbeat.morning.revising import Reviewed, beside, figures_with, review, settings_of
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.reading import REASONS, Intervals, Reason
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.wording import count_of, long_day, short_day
from dawnbeat.ui.window.mornings.day_plots import DayPlots, about_beat
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.background import Task, Work
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, named, to_copy
from dawnbeat.ui.window.parts.layouts import flow_of, scrolled, stack

_WHERE = "Mornings, one day"
_BY_HAND: tuple[Reason, ...] = tuple(reason for reason in REASONS if reason != "gap")


class DayView(QWidget):
    """left: back to the months is wanted."""

    left = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.reading: StoredReading | None = None
        self.intervals: Intervals | None = None
        self.reviewed: Reviewed | None = None
        self.beat = -1
        self._work: Work | None = None
        self.heading = to_copy("title", "")
        self.figures = to_copy("", "Figures of this reading")
        self.verdict = to_copy("soft", "Verdict")
        self.about = to_copy("small", "The recording, and what was changed by hand")
        self.chosen = to_copy("", "The chosen beat")
        self.plots = DayPlots(context)
        self.plots.beat_chosen.connect(self.choose)
        self.others = named(ComboBox(), "Readings of this day")
        self.others.activated.connect(self._other)
        self.reason = named(ComboBox(), "Why to leave the beat out", "Why the beat doesn't count")
        self.reason.addItems(_BY_HAND)
        self.reason.setCurrentText("irregular beat")
        give = partial(controls.button, where=_WHERE)
        self.back_button = give("Back", "Alt+Left", "Back to the months, as Esc does", self.left.emit)
        self.before_button = give("‹ Beat", ",", "Choose the beat before", lambda: self.plots.step(-1))
        self.next_button = give("Beat ›", ".", "Choose the next beat", lambda: self.plots.step(+1))
        self.out_button = give("Leave out", "L", "Leave this beat out; Ctrl+Z undoes it", self.leave_out)
        self.in_button = give("Let it count", "U", "Let this beat count again", self.let_count)
        tip = "Back to what the analysis had"
        self.all_back_button = give("Take all edits back", "Ctrl+Shift+R", tip, self.take_all_back)
        beat = (self.before_button, self.next_button, self.out_button, self.reason, self.in_button)
        tools = flow_of(*beat, after=(self.all_back_button,))
        head = flow_of(self.back_button, self.heading, after=(self.others,), gap=10)
        stack(self, scrolled(head, self.figures, self.verdict, self.about, (self.plots, 1), self.chosen, tools))

    # Showing

    def show_reading(self, reading: StoredReading) -> None:
        """Open one reading; its recording is read and analysed in the background."""
        if self._work is not None:
            self._work.cancel()
        self.reading, self.reviewed, self.beat = reading, None, -1
        self.refresh()
        self.plots.show_all()
        self.plots.intervals.canvas.setFocus()
        path = self._recording()
        if path is not None:
            settings = settings_of(reading, self.context.detection)
            self._work = self.context.background.run(
                lambda task: _load(path, settings, task), done=self._loaded, failed=self._not_loaded
            )

    def refresh(self) -> None:
        """Read the reading again after a change."""
        if self.reading is None:
            return
        try:
            self.reading = self.context.journal.reading(self.reading.id)
            self.intervals = self.context.journal.intervals(self.reading.id)
            edits = edits_of(self.context.journal, self.reading.id)
            day = self.context.journal.day(self.reading.local_date)
        except DawnbeatError as error:
            self.context.say(str(error))
            self.left.emit()
            return
        reading = self.reading
        self.heading.setText(f"{long_day(reading.local_date)}, {reading.began:%H:%M}")
        metrics = reading.metrics
        kept = "" if metrics.kept_share is None else f" · {100 * metrics.kept_share:.0f} % of the intervals kept"
        self.figures.setText(
            f"Resting pulse {interval_words(reading, 'mean_hr_bpm', 'bpm', 1)} · "
            f"RMSSD {interval_words(reading, 'rmssd_ms', 'ms', 1)} · "
            f"SDNN {interval_words(reading, 'sdnn_ms', 'ms', 1)}{kept}"
        )
        verdict = "Usable" if reading.verdict.usable else "Not usable"
        counts = "" if reading.counts or not reading.verdict.usable else "; another reading counts on this day"
        self.verdict.setText(f"{verdict}: {'; '.join(verdict_lines(reading.verdict))}{counts}.{_told(reading)}")
        changed = sum(len(edit.changes) for edit in edits)
        once = "once" if len(edits) == 1 else f"in {len(edits)} edits"
        self._about(f"Changed by hand {once}, {count_of(changed, 'interval')}." if edits else "")
        self.all_back_button.setEnabled(bool(edits))
        self.others.setVisible(len(day) > 1)
        self.others.offer((f"{each.began:%H:%M}", each) for each in day)
        self.others.setCurrentIndex(next((n for n, each in enumerate(day) if each.id == reading.id), 0))
        self.plots.show_recording(self.intervals, self.reviewed, reading.channel)
        self.choose(self.beat)

    def choose(self, beat: int) -> None:
        """Choose a beat by its number; -1 chooses none."""
        self.beat = beat
        self.plots.choose(beat)
        if self.intervals is None:
            return
        self.chosen.setText(about_beat(beat, self.intervals))
        ready = self._recording() is None or self.reviewed is not None
        around = [
            self.intervals.left_out[position]
            for position in (beat - 1, beat)
            if beat >= 0 and 0 <= position < len(self.intervals)
        ]
        self.out_button.setEnabled(ready and None in around)
        self.in_button.setEnabled(ready and any(reason not in (None, "gap") for reason in around))

    # Changing

    def leave_out(self) -> None:
        """Leave the chosen beat out, for the reason in the list."""
        reason = next(each for each in _BY_HAND if each == self.reason.currentText())
        self._edit(reason, f"leave out the beat at {self._when()}")

    def let_count(self) -> None:
        """Let the chosen beat count again."""
        self._edit(None, f"let the beat at {self._when()} count")

    def take_all_back(self) -> None:
        """Take every edit by hand of this reading back."""
        reading, journal = self.reading, self.context.journal
        if reading is None:
            return
        with self.context.saying():
            edits = edits_of(journal, reading.id)
            if not edits:
                return
            for edit in reversed(edits):
                take_back(journal, edit.number)
            self.context.say("As the analysis had it: all edits by hand are taken back.")
        self.context.undo.clear()  # its steps speak of edits that are gone
        self.context.journal_changed.emit()

    def _edit(self, reason: Reason | None, words: str) -> None:
        reading, intervals, journal = self.reading, self.intervals, self.context.journal
        if reading is None or intervals is None or self.beat < 0:
            return
        figures_of, number = figures_with(reading, self.reviewed), [0]

        def forth() -> None:
            number[0] = edit_intervals(journal, reading.id, reasons, figures_of).number

        with self.context.saying():
            reasons = beside(self.beat, intervals, reason)
            of_day = f"{words} of {short_day(reading.local_date)}"
            said = f"Done: {words}. {controls.shown('Ctrl+Z')} undoes it."
            self.context.do(of_day, forth, lambda: take_back(journal, number[0]), said)

    def _when(self) -> str:
        beats_s = self.plots.beats_s
        return clock(beats_s[self.beat]) if 0 <= self.beat < beats_s.size else "–"

    # Inside

    def _recording(self) -> Path | None:
        reading = self.reading
        if reading is None or reading.recording is None or not is_safe_path(reading.recording):
            return None
        path = self.context.home / reading.recording
        return path if path.exists() else None

    def _loaded(self, reviewed: Reviewed) -> None:
        self.reviewed = reviewed
        self.refresh()
        self.plots.show_all()

    def _not_loaded(self, why: str) -> None:
        self.context.say(f"The recording can't be shown: {why}")

    def _about(self, edits: str) -> None:
        reading = self.reading
        if reading is None:
            return
        rate = "" if reading.frame_rate_hz is None else f", {reading.frame_rate_hz:.1f} frames a second"
        error = "" if reading.timing_error_ms is None else f", beats timed to {reading.timing_error_ms:.1f} ms"
        words = f"{reading.camera}, {reading.posture}, {reading.duration_s:.0f} s{rate}{error}."
        if self._recording() is None:
            words += " Its recording is not in the journal, so only the intervals are shown."
        elif self.reviewed is None:
            words += " Reading the recording…"
        self.about.setText(f"{words} {edits}")

    def _other(self, place: int) -> None:
        reading = self.others.itemData(place)
        if isinstance(reading, StoredReading) and (self.reading is None or reading.id != self.reading.id):
            self.show_reading(reading)


def _told(reading: StoredReading) -> str:
    said = None if reading.answer is None else from_json(reading.answer)
    return "" if said is None else f" Told that morning: {headline(said)}. {lead(said)}"


def _load(path: Path, settings: Settings, task: Task) -> Reviewed:
    from dawnbeat.capture.recording import read_recording

    recording = read_recording(path)
    task.progress(1, 2)
    return review(recording.trace, settings)
