"""One parameter of the settings as a control, made from what its field says of itself."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from PySide6.QtCore import QLocale, QSignalBlocker, Qt, Signal
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import (
    QComboBox,
    QDoubleSpinBox,
    QGridLayout,
    QLabel,
    QSlider,
    QToolButton,
    QWidget,
)

_MOST_DECIMALS = 6
_STEPS_ACROSS = 60


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
        self.default = parameter.default
        self._value: Any = self.default
        self.mark = QLabel()
        self.mark.setTextFormat(Qt.TextFormat.PlainText)
        self.mark.setProperty("class", "small")
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
        meaning = QLabel(f"{self.meaning}, {self.range}")
        meaning.setProperty("class", "small")
        meaning.setWordWrap(True)
        self.editor.setAccessibleName(f"{self.name}: {self.meaning}")
        self.editor.setToolTip(f"{self.meaning}, {self.range}; usually {shown_value(self.default, self.unit)}")
        self.back = QToolButton()
        self.back.setText("↺")
        self.back.setToolTip(f"Back to {shown_value(self.default, self.unit)}")
        self.back.setAccessibleName(f"Reset {self.name} to {shown_value(self.default, self.unit)}")
        self.back.clicked.connect(lambda: self._give(self.default))
        title = QLabel(self.name)
        title.setBuddy(self.editor)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 2, 6, 10)
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(1)
        grid.addWidget(title, 0, 0)
        grid.addWidget(self.mark, 0, 1, 1, 2, Qt.AlignmentFlag.AlignRight)
        grid.addWidget(meaning, 1, 0, 1, 3)
        grid.addWidget(self.editor, 2, 0)
        if self.slider is not None:
            grid.addWidget(self.slider, 2, 1)
        grid.addWidget(self.back, 2, 2)
        grid.setColumnStretch(0, 3)
        grid.setColumnStretch(1, 2)
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
        return words.casefold() in f"{self.name} {self.name.replace('_', ' ')} {self.meaning}".casefold()

    def _give(self, value: Any) -> None:
        if value == self._value:
            return
        if self.back.hasFocus():
            self.editor.setFocus()  # the button goes grey, and the keyboard must not lose its place
        self.show_value(value)
        self.changed.emit(self.name, value)

    def _choices(self, choices: tuple[str, ...]) -> QComboBox:
        box = _CalmComboBox()
        box.addItems(choices)
        box.currentTextChanged.connect(self._give)
        return box

    def _number(self, low: float, high: float) -> QDoubleSpinBox:
        box = _CalmSpinBox()
        box.setLocale(QLocale.c())
        box.setDecimals(_MOST_DECIMALS)
        box.setRange(low, high)
        box.setSingleStep(step_of(low, high))
        box.setSuffix(f" {self.unit}" if self.unit else "")
        box.setKeyboardTracking(False)
        box.valueChanged.connect(self._give)
        return box

    def _slider(self, low: float, high: float) -> QSlider:
        """For the mouse; keys step the number beside it."""
        slider = _CalmSlider(Qt.Orientation.Horizontal)
        slider.setRange(0, round((high - low) / self._step))
        slider.setAccessibleName(f"{self.name}, slider")
        slider.valueChanged.connect(lambda at: self._give(round(min(low + at * self._step, high), _MOST_DECIMALS)))
        return slider


class _CalmSpinBox(QDoubleSpinBox):
    """Writes no more decimals than there are, and leaves the wheel to the list it lies in unless it has focus."""

    def __init__(self) -> None:
        super().__init__()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def textFromValue(self, value: float) -> str:  # noqa: N802  Qt's name
        return f"{value:.6g}"

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802  Qt's name
        if self.hasFocus():
            super().wheelEvent(event)
        else:
            event.ignore()


class _CalmComboBox(QComboBox):
    """Leaves the wheel to the list it lies in unless it has focus."""

    def __init__(self) -> None:
        super().__init__()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802  Qt's name
        if self.hasFocus():
            super().wheelEvent(event)
        else:
            event.ignore()


class _CalmSlider(QSlider):
    """Leaves the wheel to the list it lies in, and focus to the number beside it."""

    def __init__(self, orientation: Qt.Orientation) -> None:
        super().__init__(orientation)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802  Qt's name
        event.ignore()
