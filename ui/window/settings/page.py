"""Settings: the camera, the reading, how the window looks, where the journal lies, the usual range."""

from __future__ import annotations

import dataclasses
import functools
import os
from pathlib import Path
from typing import Any

from PySide6.QtGui import QImage, QPixmap
from PySide6.QtWidgets import QCheckBox, QComboBox, QFileDialog, QLabel, QLineEdit

from dawnbeat.journal.folder import HOME_VARIABLE
from dawnbeat.journal.ranges import RangeSettings
from dawnbeat.morning.choices import DURATIONS_S, TEXT_PERCENT
from dawnbeat.shared.morning import POSTURES
from dawnbeat.shared.wording import capital, count_of
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.background import Task
from dawnbeat.ui.window.parts.context import AppContext, PageWidget
from dawnbeat.ui.window.parts.controls import (
    ComboBox,
    DoubleSpinBox,
    Slider,
    SpinBox,
    label,
    named,
    say_or_hide,
    to_copy,
)
from dawnbeat.ui.window.parts.layouts import RowsForm, flow_of, scrolled, stack
from dawnbeat.ui.window.settings.camera_trial import CameraTest, Measured
from dawnbeat.ui.window.settings.journal_care import JournalCare

_give = functools.partial(controls.button, where="Settings")
_SOURCE_WORDS = {
    "camera": "a camera of this computer",
    "stream": "a camera in the network",
    "rehearsal": "an invented finger, to rehearse",
}
_HEAT = "A lamp or flash under the finger can get hot: take the finger off before it hurts."
_THEME_WORDS = {"system": "as the system says", "light": "light", "dark": "dark"}


def make_page(context: AppContext) -> PageWidget:
    """The page Settings."""
    return SettingsPage(context)


class SettingsPage(PageWidget):
    """Every change is kept at once."""

    key = "settings"
    title = "Settings"

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self._filling = False
        self._forms: list[RowsForm] = []
        self.test = CameraTest(context)
        self.test.measured.connect(self._measured)
        self.test.failed.connect(lambda why: self._show_answer(f"{capital(why)}."))
        self.test.ended.connect(lambda: self.try_button.setText("Try it"))
        self._camera_group()
        self._reading_group()
        self._looks_group()
        self._journal_group()
        self._range_group()
        stack(self, scrolled(label("title", "", "Settings"), *self._forms, None, margins=(20, 14, 20, 20), gap=16))
        context.choices_changed.connect(self._fill)
        self._fill()

    def shown(self, what: Any = None) -> None:
        """Start at the first control; `what` may be "cameras", to list them at once."""
        self.source.setFocus()
        if what == "cameras" and self.list_button.isEnabled():
            self._list()

    def hidden(self) -> None:
        """Let the camera go."""
        self.test.stop()

    def busy(self) -> str | None:
        """Work on the journal that closing would break off."""
        return (
            "Work on the journal is under way; closing breaks it off, and nothing is left half done."
            if self.care.running
            else None
        )

    def closing(self) -> None:
        """Let the camera go."""
        self.test.stop()

    # Groups

    def _camera_group(self) -> None:
        form = self._group("Camera")
        self.source = self._combo(form, "Light comes from", _SOURCE_WORDS, "source")
        self.number = SpinBox(maximum=99)
        form.row("Number of the camera", self.number, "0 is the first; the list below names them")
        self.number.valueChanged.connect(lambda value: self._choose(camera=value))
        self.stream = QLineEdit()
        self.stream.setPlaceholderText("http://…, https://… or rtsp://…")
        form.row("Address of the camera", self.stream, "The only address that the program ever connects to")
        self.stream.editingFinished.connect(lambda: self._choose(stream=self.stream.text().strip()))
        self.try_button = _give("Try it", "Alt+T", "See whether it will do, with a picture", self._try)
        self.list_button = _give("List cameras", "Alt+L", "Measure every camera of this computer", self._list)
        form.below(flow_of(self.try_button, self.list_button, gap=10))
        self.answer = label("large", "What the camera answered")
        self.picture = named(QLabel(), "What the camera sees")
        self.figures = to_copy("soft", "The figures behind the answer")
        for each in (self.answer, self.picture, self.figures):
            form.below(each)
            each.hide()
        form.below(to_copy("soft", "", _HEAT))

    def _reading_group(self) -> None:
        form = self._group("Reading")
        durations = {each: count_of(each // 60, "minute") for each in DURATIONS_S}
        self.duration = self._combo(form, "Length", durations, "duration_s")
        self.posture = self._combo(form, "Posture", {each: each for each in POSTURES}, "posture")
        self.tone = self._check(form, "Soft tones at start, pause and end", "tone")
        self.video = self._check(form, "Save the picture too", "video")
        form.below(to_copy("soft", "", "No figure needs the picture; it takes room on the disk and shows your skin."))

    def _looks_group(self) -> None:
        form = self._group("Looks")
        self.theme = self._combo(form, "Theme", _THEME_WORDS, "theme")
        self.text = Slider()
        self.text.setRange(*TEXT_PERCENT)
        self.text.setSingleStep(10)
        self.text.setPageStep(20)
        self.text.setTracking(False)
        self.text_words = QLabel()
        form.row("Text size", self.text, "100 to 200 %; Ctrl++ and Ctrl+- work everywhere")
        self.text.valueChanged.connect(lambda value: self._choose(text_percent=10 * round(value / 10)))
        form.below(self.text_words)

    def _journal_group(self) -> None:
        form = self._group("Journal")
        self.place = to_copy("soft", "Where the journal lies")
        form.below(self.place, "Place")
        self.move_button = _give("Choose a folder…", "", "Open another journal at the next start", self._move)
        self.usual_button = _give("Usual place", "", "Use the usual place at the next start", self._usual)
        form.below(flow_of(self.move_button, self.usual_button, gap=10))
        self.care = JournalCare(self.context)
        form.below(self.care)

    def _range_group(self) -> None:
        form = self._group("Usual range")
        self.ranges: dict[str, SpinBox | DoubleSpinBox] = {}
        for parameter in dataclasses.fields(RangeSettings):
            about = parameter.metadata
            whole = isinstance(parameter.default, int)
            spin: SpinBox | DoubleSpinBox = SpinBox() if whole else DoubleSpinBox(decimals=1, singleStep=0.1)
            spin.setRange(about["low"], about["high"])
            spin.setSuffix(f" {about['unit']}")
            spin.setKeyboardTracking(False)
            tip = f"{about['low']:g} to {about['high']:g} {about['unit']}; usually {parameter.default:g}"
            form.row(capital(about["meaning"]), spin, tip)
            spin.valueChanged.connect(lambda _=0: self._choose_ranges())
            self.ranges[parameter.name] = spin
        tip = "Back to four weeks, a week and their counts"
        self.reset_button = _give("Usual values", "", tip, lambda: self._choose(ranges={}))
        form.below(flow_of(self.reset_button))

    # Showing and choosing

    def _fill(self) -> None:
        choices = self.context.choices
        self._filling = True
        for combo, value in (
            (self.source, choices.source),
            (self.duration, choices.duration_s),
            (self.posture, choices.posture),
            (self.theme, choices.theme),
        ):
            combo.setCurrentIndex(combo.findData(value))
        self.number.setValue(choices.camera)
        if not self.stream.hasFocus():
            self.stream.setText(choices.stream)
        self.tone.setChecked(choices.tone)
        self.video.setChecked(choices.video)
        self.text.setValue(choices.text_percent)
        self.text_words.setText(f"{choices.text_percent} %")
        ranges = self.context.ranges
        for name, spin in self.ranges.items():
            spin.setValue(getattr(ranges, name))
        self.number.setEnabled(choices.source == "camera")
        self.stream.setEnabled(choices.source == "stream")
        self._show_place()
        self._filling = False

    def _show_place(self) -> None:
        named, chosen = os.environ.get(HOME_VARIABLE), self.context.choices.journal
        words = str(self.context.home)
        if named:
            words += f"\nThe variable {HOME_VARIABLE} decides, so it can't be chosen here."
        elif chosen and Path(chosen) != self.context.home:
            words += f"\nFrom the next start on: {chosen}"
        self.place.setText(words)
        self.move_button.setEnabled(not named)
        self.usual_button.setEnabled(not named and bool(chosen))

    def _choose(self, **changes: Any) -> bool:
        """Keep a choice; False where it was refused."""
        if self._filling:
            return False
        chosen = False
        with self.context.saying():
            self.context.choose(**changes)
            chosen = True
        if not chosen:
            self._fill()
        return chosen

    def _choose_ranges(self) -> None:
        usual = RangeSettings()
        found = {name: spin.value() for name, spin in self.ranges.items()}
        self._choose(ranges={name: value for name, value in found.items() if value != getattr(usual, name)})

    # Camera

    def _try(self) -> None:
        if self.test.running:
            self.test.stop()
            return
        words = self.context.choices.source_words
        if not words:
            self._show_answer("Type the address of the camera first.")
            return
        self._show_answer("Opening…")
        self.try_button.setText("Stop")
        self.test.start(words)

    def _measured(self, measured: Measured) -> None:
        say_or_hide(self.answer, measured.answer())
        say_or_hide(self.figures, measured.words())
        pixels = measured.picture
        self.picture.setVisible(pixels is not None)
        if pixels is not None:
            height, width = pixels.shape[:2]
            drawn = QImage(pixels.data, width, height, 3 * width, QImage.Format.Format_BGR888)
            self.picture.setPixmap(QPixmap.fromImage(drawn))

    def _list(self) -> None:
        self._show_answer("Looking for cameras…")
        self.list_button.setEnabled(False)
        self.context.background.run(
            _cameras, self._show_listed, self._show_answer, ended=lambda: self.list_button.setEnabled(True)
        )

    def _show_answer(self, words: str) -> None:
        """Say something that has no picture and no figures."""
        say_or_hide(self.answer, words)
        say_or_hide(self.figures, "")
        self.picture.hide()

    def _show_listed(self, lines: str) -> None:
        self._show_answer("")
        say_or_hide(self.figures, lines)

    # Journal

    def _move(self) -> None:
        chosen = QFileDialog.getExistingDirectory(self, "Folder of the journal", str(self.context.home))
        if chosen and self._choose(journal=chosen):
            self.context.say("The window opens this folder from the next start on; nothing was moved.")

    def _usual(self) -> None:
        self._choose(journal="")
        self.context.say("The window opens the usual place from the next start on; nothing was moved.")

    # Rows

    def _group(self, words: str) -> RowsForm:
        form = RowsForm(self.context, words)
        self._forms.append(form)
        return form

    def arrange(self) -> None:
        """Labels beside the controls or above them, as there is room."""
        for form in self._forms:
            form.fit(self.width() - 64)

    def _combo(self, form: RowsForm, words: str, choices: dict[Any, str], name: str) -> QComboBox:
        combo = ComboBox()
        combo.offer((shown, value) for value, shown in choices.items())
        form.row(words, combo, words)
        combo.currentIndexChanged.connect(lambda _: self._choose(**{name: combo.currentData()}))
        return combo

    def _check(self, form: RowsForm, words: str, name: str) -> QCheckBox:
        check = named(QCheckBox(words), words, f"{words} (Space)")
        check.toggled.connect(lambda on: self._choose(**{name: on}))
        form.below(check)
        return check


def _cameras(task: Task) -> str:
    from dawnbeat.capture.camera import list_cameras

    lines = []
    for camera in list_cameras():
        if camera.problem is not None:
            lines.append(f"{camera.index}: {camera.name}: {camera.problem}")
            continue
        rate = "no frames" if camera.rate_hz is None else f"{camera.rate_hz:.1f} frames a second"
        jitter = "" if camera.jitter_ms is None else f", jitter {camera.jitter_ms:.1f} ms"
        locks = ", ".join(f"{name} {answer}" for name, answer in camera.locks.items())
        lines.append(f"{camera.index}: {camera.name}, {camera.width} x {camera.height}, {rate}{jitter}; {locks}")
    return "\n".join(lines) or "No camera was found: connect one, or try the rehearsal finger."
