"""The page before a reading: one thing to press, how the reading is to go, what was broken off, and light of a file."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from PySide6.QtCore import QDateTime, QMimeData, Signal
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QCheckBox,
    QFileDialog,
    QHBoxLayout,
    QRadioButton,
    QWidget,
)

from dawnbeat.capture.recording import TRACE, VIDEO, VIDEO_SUFFIXES, is_video
from dawnbeat.morning.choices import DURATIONS_S
from dawnbeat.morning.keeping import BrokenOff, Kept, broken_off_readings, discard_recording, keep_broken_off
from dawnbeat.morning.reading_text import LAMP, NOT_MEDICAL, REHEARSAL, clock, interval_words, verdict_lines
from dawnbeat.morning.sources import is_rehearsal, taken_at
from dawnbeat.shared.morning import POSTURES, StoredReading
from dawnbeat.shared.wording import count_of, long_day, past_moment
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.background import Task
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import Armed, DateTimeEdit, Key, label, named, say_or_hide
from dawnbeat.ui.window.parts.layouts import FormDialog, Sheet, flow_of, row_of, scrolled, stack
from dawnbeat.ui.window.parts.saving import paths_in

WHERE = "Read"
REHEARSE = "Try it with the rehearsal finger"
BY_PHONE = "Take the reading with a phone's camera, through its browser"
HOW = "Lay a fingertip over the whole lens, lie or sit still, and breathe as you like."


_SHEET_MARGINS = (18, 14, 18, 14)
BeginFile = Callable[[Path, datetime], object]


class StartView(QWidget):
    """begin: a reading is wanted; phone: with a phone; file: of this path. rehearsing: with an invented finger."""

    begin = Signal()
    phone = Signal()
    file = Signal(object)

    def __init__(self, context: AppContext, tone_available: bool) -> None:
        super().__init__()
        self.context = context
        self.offer = BrokenOffOffer(context)
        give = functools.partial(controls.button, where=WHERE)
        self.done_today = label("soft", "Readings of today")
        self.done_today.hide()
        self.trouble = label("large", "What went wrong")
        self._instead = give(REHEARSE, "F", REHEARSE, self._rehearse_instead)
        self.main = give("Begin", "B", "Begin a reading", self.begin.emit, main=True)
        self.use_phone = give("Use a phone", "Alt+P", BY_PHONE, self.phone.emit)
        self.takes = label("soft", "How long it takes")
        self._lengths = self._radios("Length", "duration_s", {each: f"{each // 60} min" for each in DURATIONS_S})
        self._postures = self._radios("Posture", "posture", {each: each for each in POSTURES})
        self.tone = QCheckBox("Soft tones")
        self.tone.setToolTip(
            "At start, pause and end, so that your eyes may stay closed"
            if tone_available
            else "This system has no sound player for it"
        )
        self.tone.setEnabled(tone_available)
        self.tone.clicked.connect(lambda on: self._choose(tone=on))
        self.rehearsal = QCheckBox("Rehearse (not saved)")
        self.rehearsal.setToolTip(REHEARSAL)
        self.rehearsal.setChecked(is_rehearsal(context.source or context.choices.source))
        self.source = label("soft", "Where frames come from")
        go, tip = functools.partial(context.go, "settings"), "Go to Settings, where the camera is chosen"
        self._set_up = give("Camera settings", "Alt+G", tip, go)
        tip = "Measure every camera of this computer"
        self._list = give("List cameras", "Alt+L", tip, functools.partial(go, "cameras"))
        self._phone_instead = give("Use a phone", "", BY_PHONE, self.phone.emit)
        tip = "Open a clip or recording as a reading; or drop it here"
        self.use_file = give("Read a file…", "O", tip, lambda: self._file(chosen_path(self)))
        self.setAcceptDrops(True)
        self.rehearsal.toggled.connect(lambda _on: self._refresh())
        self._lay_out()
        controls.register(Key("Space", "Press the button that has the focus; Return does the same", WHERE))
        context.choices_changed.connect(self._refresh)
        self._refresh()

    @property
    def rehearsing(self) -> bool:
        """Whether the invented finger is to be read."""
        return self.rehearsal.isChecked()

    def show_trouble(self, sentence: str) -> None:
        """Say what went wrong last time; empty for nothing."""
        self.trouble.setText(sentence)
        self._trouble_sheet.setVisible(bool(sentence))
        for each in (self._list, self._phone_instead, self._instead):
            each.setVisible(bool(sentence) and not self.rehearsing)
        if sentence:
            self._page.verticalScrollBar().setValue(0)  # where it stands

    def say_today(self) -> None:
        """Say what was taken today, where anything was."""
        today: list[StoredReading] = []
        with self.context.saying():
            today = self.context.journal.day(date.today())
        words = ""
        if today:
            last = next((each for each in today if each.counts), today[-1])
            pulse, rmssd = interval_words(last, "mean_hr_bpm", "bpm"), interval_words(last, "rmssd_ms", "ms")
            said = f"resting pulse {pulse}, RMSSD {rmssd}" if last.verdict.usable else "not usable"
            words = f"Taken today at {last.began:%H:%M}: {said}."
        say_or_hide(self.done_today, words)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802  Qt's name
        """Take one clip or recording."""
        if dropped_path(event.mimeData()) is not None:
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802  Qt's name
        """Make a reading of what was dropped."""
        self._file(dropped_path(event.mimeData()))
        event.acceptProposedAction()

    def _file(self, path: Path | None) -> None:
        if path is not None:
            self.file.emit(path)

    def _rehearse_instead(self) -> None:
        self.rehearsal.setChecked(True)
        self.begin.emit()

    def _radios(self, name: str, choice: str, answers: Mapping[Any, str]) -> QButtonGroup:
        """Answers to one of the choices, by what is kept of them."""
        group = QButtonGroup(self)
        for value, text in answers.items():
            radio = named(QRadioButton(text), f"{name}: {text}")
            radio.setProperty("value", value)
            group.addButton(radio)
        group.buttonClicked.connect(lambda radio: self._choose(**{choice: radio.property("value")}))
        return group

    def _choose(self, **changes: object) -> None:
        with self.context.saying():
            self.context.choose(**changes)

    def _refresh(self) -> None:
        choices = self.context.choices
        for group, value in ((self._lengths, choices.duration_s), (self._postures, choices.posture)):
            for radio in group.buttons():
                radio.setChecked(radio.property("value") == value)
        self.tone.setChecked(choices.tone)
        minutes = count_of(choices.duration_s // 60, "minute")
        self.takes.setText(f"15 seconds to settle, then {minutes}. It starts by itself once the finger lies well.")
        where = {"camera": f"Camera {choices.camera}", "stream": choices.stream or "No address given yet"}
        chosen = self.context.source or where.get(choices.source, "No camera chosen")
        self.source.setText(REHEARSAL if self.rehearsing else chosen)

    def _lay_out(self) -> None:
        tools = flow_of(self._list, self._phone_instead, self._instead, gap=14)
        self._trouble_sheet = Sheet(self.trouble, tools, margins=_SHEET_MARGINS, gap=10)
        self._trouble_sheet.hide()
        presses = flow_of(self.main, self.use_phone, self.use_file, gap=22)
        presses.setContentsMargins(0, 8, 0, 0)
        lengths = self._choice_row("Length", self._lengths.buttons())
        lengths.setContentsMargins(0, self.context.theme.px(24), 0, 0)
        self._page = scrolled(
            self.offer,
            self._trouble_sheet,
            (None, 2),
            label("title", "", "This morning's reading", wraps=True),
            label("large", "", HOW),
            presses,
            self.takes,
            self.done_today,
            lengths,
            self._choice_row("Posture", self._postures.buttons()),
            self._choice_row("Sound", [self.tone]),
            self._choice_row("Finger", [self.rehearsal]),
            row_of(self._set_up, (self.source, 1), gap=16),  # an address is long
            (None, 3),
            label("small", "", f"{LAMP} {NOT_MEDICAL}"),
            margins=(36, 28, 36, 20),
            gap=14,
        )
        stack(self, self._page)  # large text needs more height than a small screen has

    def _choice_row(self, name: str, widgets: Sequence[QWidget]) -> QHBoxLayout:
        title = label("soft", "", name, wraps=False)
        title.setMinimumWidth(self.context.theme.px(84))
        return row_of(title, (flow_of(*widgets, gap=16), 1), gap=16)


class BrokenOffOffer(Sheet):
    """Shows one broken-off reading after another; hidden where there is none."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self._waiting: list[BrokenOff] = []
        self._looking = False
        give = functools.partial(controls.button, where=WHERE)
        self.words = label("large", "Broken-off reading")
        self.keep = give("Rescue it", "K", "Rescue the broken-off reading", self._keep)
        self.discard = give("Discard it", "X", "Discard the broken-off reading", None)
        self.later = give("Later", "Ctrl+Shift+N", "Put it off: decide about the reading at the next start", self._next)
        # For good, so it is asked once.
        self._armed = Armed(self.discard, "Discard it", "Really discard it, for good?", self._discard)
        stack(self, self.words, row_of(self.keep, self.discard, self.later, None), margins=_SHEET_MARGINS)
        self.hide()

    def look(self) -> None:
        """Look for broken-off readings, off the window's thread; once a start."""
        if self._looking:
            return
        self._looking = True
        home = self.context.home
        self.context.background.run(lambda _task: broken_off_readings(home), self._found, self.context.say)

    def _found(self, found: list[BrokenOff]) -> None:
        self._waiting = found
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
        self._run(lambda _task: keep_broken_off(first, home, settings, ranges), self._was_kept)

    def _was_kept(self, kept: Kept) -> None:
        verdict = kept.analysis.verdict
        how = "it is usable" if verdict.usable else f"it is not usable: {verdict_lines(verdict)[0]}"
        self.context.say(f"Saved the reading of {long_day(kept.taken.began.date())}; {how}.")
        self.context.journal_changed.emit()
        self._next()

    def _discard(self) -> None:
        first, home = self._waiting[0], self.context.home
        self._run(lambda _task: discard_recording(first.path, home), self._was_discarded)

    def _was_discarded(self, _nothing: object) -> None:
        self.context.say("The broken-off reading was discarded.")
        self._next()

    def _run(self, function: Callable[[Task], object], done: Callable[[Any], object]) -> None:
        for each in (self.keep, self.discard, self.later):
            each.setEnabled(False)
        self.context.background.run(function, done, self._failed)

    def _failed(self, why: str) -> None:
        self.context.say(why)
        self._show()


def dropped_path(dropped: QMimeData) -> Path | None:
    """The one clip, trace or folder of a recording that is dropped; None for anything else."""
    paths = paths_in(dropped)
    if len(paths) != 1:
        return None
    path = paths[0]
    folder = path.is_dir() and any((path / name).exists() for name in (TRACE, VIDEO))
    return path if folder or is_video(path) or path.name.endswith((".csv", ".csv.gz")) else None


def chosen_path(parent: QWidget) -> Path | None:
    """The clip or trace that the runner chooses; None for none."""
    kinds = " ".join(f"*{each}" for each in sorted(VIDEO_SUFFIXES))
    name, _ = QFileDialog.getOpenFileName(parent, "A clip or a trace", "", f"Clips and traces ({kinds} *.csv *.csv.gz)")
    return Path(name) if name else None


def read_file(context: AppContext, path: Path, begin: BeginFile, parent: QWidget) -> None:
    """Begin with when the file says that it was taken; where it doesn't say, ask."""
    with context.saying():
        taken = taken_at(path)
        if taken is not None:
            begin(path, taken)
        else:
            TakenDialog(context, path, begin, parent).open()


class TakenDialog(FormDialog):
    """Asks when the light of a file was taken."""

    def __init__(self, context: AppContext, path: Path, begin: BeginFile, parent: QWidget) -> None:
        super().__init__(context, "When it was taken", self._begin, parent, height=240)
        self._path, self._then = path, begin
        self.taken = DateTimeEdit(QDateTime.fromSecsSinceEpoch(int(path.stat().st_mtime)))
        self.taken.setDisplayFormat("yyyy-MM-dd HH:mm")
        self.row("Taken", self.taken, "Local time at which the clip or recording began")
        self.say(f"{path.name} does not say when it was taken; offered is when the file was last written.", "soft")
        self.keep_button.setText("&Read it")

    def _begin(self) -> None:
        taken = datetime.fromisoformat(str(self.taken.dateTime().toString("yyyy-MM-ddTHH:mm:ss"))).astimezone()
        self._then(self._path, past_moment(taken))
