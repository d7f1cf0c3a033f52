"""All parameters of the detection beside the plots: change, find, reset, read and write, make the default."""

from __future__ import annotations

import dataclasses
import functools
import math
from pathlib import Path
from typing import Any

from PySide6.QtCore import QLocale, QSignalBlocker, Qt, QTimer, Signal
from PySide6.QtGui import QUndoCommand
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QSizePolicy,
    QSlider,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings, settings_from_toml, settings_to_toml
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, DoubleSpinBox, Slider
from dawnbeat.ui.window.parts.layouts import Scrolled

WHERE = "Bench"
_TOML = "Settings (*.toml)"
_MOST_DECIMALS = 6
_STEPS_ACROSS = 60


# What the parameters are called here; a file of settings calls them by the names at the left.
_PLAIN = {
    "channel": "Colour",
    "max_gap_s": "Longest hole bridged",
    "highpass_hz": "Band, lower end",
    "lowpass_hz": "Band, upper end",
    "timing_lowpass_hz": "Band for timing, upper end",
    "lowest_bpm": "Slowest pulse",
    "highest_bpm": "Fastest pulse",
    "period_window_s": "Window for the rhythm",
    "rhythm_cost": "Weight of the rhythm",
    "edge_before_ms": "Edge, from before the beat",
    "edge_after_ms": "Edge, until after the beat",
    "min_likeness": "Likeness, least",
    "min_height_ratio": "Height, least",
    "max_height_ratio": "Height, greatest",
    "max_excursion_ratio": "Swing between beats, greatest",
    "max_misfit_ratio": "Misfit, greatest",
    "max_beat_error_ms": "Timing error, greatest",
    "min_kept_s": "Kept time needed",
    "min_kept_share": "Kept share needed",
    "min_long_share": "Kept share of a long reading",
    "min_duration_s": "Shortest reading",
    "min_frame_rate_hz": "Frames a second, fewest",
    "min_frames_a_beat": "Frames in an interval, fewest",
    "min_median_likeness": "Median likeness needed",
    "max_timing_share": "Timing's share of RMSSD, greatest",
    "min_agreement": "Agreement needed",
}
_UNITS = ("_s", "_ms", "_hz", "_bpm")


def plain_name(name: str) -> str:
    """What a parameter is called where people read it."""
    words = _PLAIN.get(name)
    if words is None:
        for unit in _UNITS:
            name = name.removesuffix(unit)
        words = name.replace("_", " ").capitalize()
    return words


def step_of(low: float, high: float) -> float:
    """A round step (1, 2 or 5 times a power of ten) that crosses the range in about sixty."""
    rough = (high - low) / _STEPS_ACROSS
    power = 10.0 ** math.floor(math.log10(rough))
    return power * min((1, 2, 5, 10), key=lambda times: abs(math.log(times * power / rough)))


def shown_value(value: Any, unit: str) -> str:
    """A value with its unit, as controls and tables write it."""
    text = value if isinstance(value, str) else f"{value:.6g}"
    return f"{text} {unit}".rstrip()


class ParameterControl(QWidget):
    """Name, meaning, value with unit and range, a mark where it differs from the default, and a way back.

    changed: the name of the parameter and its new value.
    """

    changed = Signal(str, object)

    def __init__(self, parameter: dataclasses.Field[Any]) -> None:
        super().__init__()
        about = parameter.metadata
        self.name, self.meaning, self.unit = parameter.name, about["meaning"], about["unit"]
        self.title = plain_name(parameter.name)
        self.default = parameter.default
        self._value: Any = self.default
        self.mark = controls.label("small", "", wraps=False)
        self.slider: QSlider | None = None
        self.editor: QDoubleSpinBox | QComboBox
        if "choices" in about:
            self.range = ", ".join(about["choices"])
            self.editor = self._choices(about["choices"])
        else:
            self._low, self._step = about["low"], step_of(about["low"], about["high"])
            self.range = f"{about['low']:g} to {shown_value(about['high'], self.unit)}"
            self.editor = self._number(about["low"], about["high"])
            self.slider = self._slider(about["low"], about["high"])
        self.editor.setAccessibleName(f"{self.title}: {self.meaning}")
        usually = f"usually {shown_value(self.default, self.unit)}"
        self.editor.setToolTip(f"{self.meaning}, {self.range}; {usually} ({self.name} in a file of settings)")
        self.back = QToolButton()
        self.back.setText("↺")
        self.back.setToolTip(f"Back to {shown_value(self.default, self.unit)}")
        self.back.setAccessibleName(f"Reset {self.title} to {shown_value(self.default, self.unit)}")
        self.back.clicked.connect(lambda: self._give(self.default))
        title = controls.label("", "", self.title)
        title.setBuddy(self.editor)
        title.setToolTip(f"{self.name} in a file of settings")
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 2, 6, 10)
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(1)
        named = QHBoxLayout()
        named.addWidget(title, 1)
        named.addWidget(self.mark)
        grid.addLayout(named, 0, 0, 1, 3)
        grid.addWidget(controls.label("small", "", f"{self.meaning}, {self.range}"), 1, 0, 1, 3)
        grid.addWidget(self.editor, 2, 0)
        if self.slider is not None:
            self.slider.setMinimumWidth(60)
            grid.addWidget(self.slider, 2, 1)
        grid.addWidget(self.back, 2, 2)
        # A share that holds the widest editor, so that all of them end below one another.
        grid.setColumnStretch(0, 2)
        grid.setColumnStretch(1, 1)
        self.editor.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.show_value(self.default)

    @property
    def differs(self) -> bool:
        """Whether the value is not the default."""
        return bool(self._value != self.default)

    def show_value(self, value: Any) -> None:
        """Show this value without telling anybody."""
        self._value = value
        with QSignalBlocker(self.editor):
            if isinstance(self.editor, QComboBox):
                self.editor.setCurrentText(value)
            else:
                self.editor.setValue(value)
        if self.slider is not None:
            with QSignalBlocker(self.slider):
                self.slider.setValue(round((value - self._low) / self._step))
        self.mark.setText(f"● usually {shown_value(self.default, self.unit)}" if self.differs else "")
        self.editor.setAccessibleDescription(
            f"{self.range}. {'Differs from the usual' if self.differs else 'As usual,'} "
            f"{shown_value(self.default, self.unit)}."
        )
        self.back.setEnabled(self.differs)

    def speaks_of(self, words: str) -> bool:
        """Whether name or meaning hold these words."""
        return words.casefold() in f"{self.title} {self.name} {self.name.replace('_', ' ')} {self.meaning}".casefold()

    def _give(self, value: Any) -> None:
        if value == self._value:
            return
        if self.back.hasFocus():
            self.editor.setFocus()  # the button goes grey, and the keyboard must not lose its place
        self.show_value(value)
        self.changed.emit(self.name, value)

    def _choices(self, choices: tuple[str, ...]) -> QComboBox:
        box = ComboBox()
        box.addItems(choices)
        box.currentTextChanged.connect(self._give)
        return box

    def _number(self, low: float, high: float) -> QDoubleSpinBox:
        box = _Number(decimals=_MOST_DECIMALS, minimum=low, maximum=high, singleStep=step_of(low, high))
        box.setLocale(QLocale.c())
        box.setSuffix(f" {self.unit}" if self.unit else "")
        box.setKeyboardTracking(False)
        box.valueChanged.connect(self._give)
        return box

    def _slider(self, low: float, high: float) -> QSlider:
        """For the mouse; keys step the number beside it."""
        slider = Slider()
        slider.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        slider.setRange(0, round((high - low) / self._step))
        slider.setAccessibleName(f"{self.title}, slider")
        slider.valueChanged.connect(lambda at: self._give(round(min(low + at * self._step, high), _MOST_DECIMALS)))
        return slider


class _Number(DoubleSpinBox):
    """Writes no more decimals than there are."""

    def textFromValue(self, value: float) -> str:  # noqa: N802  Qt's name
        return f"{value:.6g}"


class SettingsPanel(QWidget):
    """The settings that the bench analyses with. They are exactly what was given, whatever a control can show.

    changed: the new Settings. wanted_as_default: somebody wants readings to be analysed with them.
    """

    changed = Signal(object)
    wanted_as_default = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.settings = context.detection
        self.saved = self.settings
        self._made: dict[str, ParameterControl] = {}
        self._unmade = list(dataclasses.fields(Settings))
        # A few at a time: all at once would keep the window from drawing when the page is first shown.
        self._making = QTimer(self, interval=0)
        self._making.timeout.connect(self._make_some)
        self.setAccessibleName("Parameters of the detection")
        self.summary = controls.label("soft", "")
        self.sought = QLineEdit()
        self.sought.setPlaceholderText("Find a parameter")
        self.sought.setAccessibleName("Find a parameter")
        self.sought.setClearButtonEnabled(True)
        self.sought.textChanged.connect(self._sift)
        self.only = QCheckBox("Only what differs")
        self.only.toggled.connect(self._sift)
        self._nothing = controls.label("soft", "", "No parameter is like that.")
        give = functools.partial(controls.button, where=WHERE)
        self.reset = give("Reset all", "Ctrl+Shift+R", "Back to the default of every parameter", self._reset)
        self.load = give("Load…", "Ctrl+J", "Load settings from a TOML file", self._load)
        self.save = give("Save…", "Ctrl+S", "Save the settings as TOML, for `replay --settings`", self._save)
        tip = "Show what would change if readings used these"
        self.default = give("Use for readings…", "Ctrl+U", tip, self.wanted_as_default.emit)
        context.detection_changed.connect(self._describe)
        context.theme_changed.connect(self._fit)
        self._lay_out()
        self._make_some()
        self._making.start()
        self._describe()

    @property
    def controls(self) -> dict[str, ParameterControl]:
        """By name of the parameter; makes those that are not there yet."""
        self._make_some(len(self._unmade))
        return self._made

    def _make_some(self, count: int = 3) -> None:
        for parameter in self._unmade[:count]:
            control = ParameterControl(parameter)
            control.show_value(getattr(self.settings, parameter.name))
            control.changed.connect(self._change)
            self._column.insertWidget(len(self._made), control)
            control.show()  # or Qt does later, when the list is measured and drawn already
            self._made[parameter.name] = control
        self._unmade = self._unmade[count:]
        if not self._unmade:
            self._making.stop()
            self._fit()

    def _fit(self, _theme: object = None) -> None:
        """As wide as the controls need, so that nothing is scrolled sideways."""
        self._scroll.setMinimumWidth(self.context.theme.px(280))

    def unsaved(self) -> str | None:
        """What is tuned here and stands neither in a file nor with the readings."""
        known = (self.saved, self.context.detection, Settings())
        return None if self.settings in known else "The parameters on the Bench are tuned, and saved nowhere."

    def _lay_out(self) -> None:
        inside = self._list = QWidget()
        column = self._column = QVBoxLayout(inside)
        column.setContentsMargins(2, 4, 2, 4)
        column.setSpacing(0)
        column.addWidget(self._nothing)
        column.addStretch(1)
        self._nothing.hide()
        self._scroll = Scrolled(inside)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        buttons = QGridLayout()
        buttons.setSpacing(6)
        for column_at, button in enumerate((self.reset, self.load, self.save)):
            buttons.addWidget(button, 0, column_at)
        buttons.addWidget(self.default, 1, 0, 1, 3)
        layout = self._whole = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.sought)
        layout.addWidget(self.only)
        layout.addWidget(self._scroll, 1)
        layout.addWidget(self.summary)
        layout.addLayout(buttons)

    def spread(self, wanted: bool) -> None:
        """Whether the list stands below everything else at its full height, for the page around it to scroll."""
        if wanted == (self._scroll.widget() is None):
            return
        if wanted:
            self._whole.addWidget(self._scroll.takeWidget())
            self._list.show()
        else:
            self._scroll.setWidget(self._list)
        self._scroll.setVisible(not wanted)

    def put(self, settings: Settings, words: str, name: str = "") -> None:
        """Take these settings; Ctrl+Z goes back. Steps at one parameter in a row (`name`) are undone together."""
        if settings != self.settings:
            self.context.undo.push(_Step(self, words, self.settings, settings, name))

    def show_settings(self, settings: Settings) -> None:
        """Show these and tell everybody; the undo stack is left alone."""
        self.settings = settings
        for name, control in self._made.items():
            control.show_value(getattr(settings, name))
        self._describe()
        self.changed.emit(settings)

    @property
    def differing(self) -> list[str]:
        """Names of the parameters that are not at their default."""
        usual = Settings()
        names = [each.name for each in dataclasses.fields(Settings)]
        return [name for name in names if getattr(self.settings, name) != getattr(usual, name)]

    def _change(self, name: str, value: Any) -> None:
        try:
            settings = dataclasses.replace(self.settings, **{name: value})
        except DawnbeatError as error:
            self.context.say(str(error))
            self.controls[name].show_value(getattr(self.settings, name))
            return
        self.put(settings, f"{plain_name(name)} to {value if isinstance(value, str) else format(value, '.6g')}", name)

    def _describe(self) -> None:
        count = len(self.differing)
        text = "All at default" if count == 0 else f"{count} differ{'s' if count == 1 else ''} from default"
        same = self.settings == self.context.detection
        self.summary.setText(f"{text}; {'readings use these.' if same else 'readings use others.'}")
        self.reset.setEnabled(count > 0)
        self.default.setEnabled(not same)
        if self.only.isChecked():
            self._sift()

    def _sift(self) -> None:
        words, only = self.sought.text().strip(), self.only.isChecked()
        shown = 0
        for control in self.controls.values():
            fits = control.speaks_of(words) and (control.differs or not only)
            control.setVisible(fits or control.isAncestorOf(self.focusWidget() or self))
            shown += fits
        self._nothing.setVisible(shown == 0)

    def _reset(self) -> None:
        self.put(Settings(), "all parameters back to default")

    def _load(self) -> None:
        chosen, _ = QFileDialog.getOpenFileName(self, "Load settings", "", f"{_TOML};;All files (*)")
        if chosen:
            self.load_from(Path(chosen))

    def load_from(self, path: Path) -> None:
        """Take the settings of a TOML file; what is wrong with it is said."""
        with self.context.saying():
            settings = settings_from_toml(path)
            self.saved = settings
            self.put(settings, f"settings of {path.name}")
            self.context.say(f"Loaded {path.name}.")

    def _save(self) -> None:
        def write(path: Path) -> None:
            saving.write_whole(path, settings_to_toml(self.settings).encode("utf-8"), "save the settings")
            self.saved = self.settings

        saving.save(self.context, self, "Save settings", "dawnbeat-settings.toml", _TOML, write)


class _Step(QUndoCommand):
    def __init__(self, panel: SettingsPanel, words: str, before: Settings, after: Settings, name: str) -> None:
        super().__init__(words)
        self._panel, self._before, self._after, self._name = panel, before, after, name

    def id(self) -> int:
        return hash(self._name) % 2**30 if self._name else -1

    def mergeWith(self, other: QUndoCommand) -> bool:  # noqa: N802  Qt's name
        if not isinstance(other, _Step) or other._name != self._name:
            return False
        self._after = other._after
        self.setText(other.text())
        self.setObsolete(self._before == self._after)
        return True

    def redo(self) -> None:
        self._panel.show_settings(self._after)

    def undo(self) -> None:
        self._panel.show_settings(self._before)
        self._panel.context.say(f"Undone: {self.text()}.")
