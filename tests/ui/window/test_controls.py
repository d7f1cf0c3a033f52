from __future__ import annotations

from collections.abc import Callable

import pytest
from PySide6.QtCore import QDate, QDateTime, QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QKeySequence, QShortcut, QWheelEvent
from PySide6.QtWidgets import QApplication, QLineEdit, QPushButton, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.controls import (
    Armed,
    ComboBox,
    DateEdit,
    DateTimeEdit,
    DoubleSpinBox,
    Slider,
    SpinBox,
)


def turn(widget: QWidget, notches: int = -1, modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> bool:
    """Turn the wheel over a widget; returns whether it took it."""
    at = QPointF(widget.rect().center())
    event = QWheelEvent(
        at,
        QPointF(widget.mapToGlobal(at.toPoint())),
        QPoint(),
        QPoint(0, 120 * notches),
        Qt.MouseButton.NoButton,
        modifiers,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(widget, event)
    return event.isAccepted()


def choices() -> ComboBox:
    made = ComboBox()
    made.addItems(["1", "2", "3", "4"])
    return made


MAKERS: list[Callable[[], QWidget]] = [
    choices,
    lambda: SpinBox(value=7),
    lambda: DoubleSpinBox(value=7.5),
    lambda: DateEdit(QDate(2025, 6, 1)),
    lambda: DateTimeEdit(QDateTime(2025, 6, 1, 6, 30, 0)),
    Slider,
]


def value_of(widget: QWidget) -> object:
    for name in ("currentIndex", "value", "dateTime"):
        if hasattr(widget, name):
            return getattr(widget, name)()
    raise AssertionError(widget)


@pytest.fixture
def window(qtbot: QtBot) -> QWidget:
    made = QWidget()
    QVBoxLayout(made)
    qtbot.addWidget(made)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow)
    return made


def put_in(window: QWidget, *widgets: QWidget) -> None:
    layout = window.layout()
    assert layout is not None
    for each in widgets:
        layout.addWidget(each)
        each.show()


@pytest.mark.parametrize("make", MAKERS)
def test_the_wheel_changes_a_value_only_with_the_focus(window: QWidget, make: Callable[[], QWidget]) -> None:
    control, other = make(), QLineEdit()
    put_in(window, other, control)
    other.setFocus()
    before = value_of(control)
    assert not turn(control), "the page scrolls"
    assert value_of(control) == before
    assert not control.hasFocus()
    control.setFocus()
    turn(control, -1)
    down = value_of(control)
    turn(control, 1)
    assert {str(down), str(value_of(control))} != {str(before)}


@pytest.mark.parametrize("make", [choices, lambda: SpinBox(value=7), QLineEdit, lambda: DateEdit(QDate(2025, 6, 1))])
def test_digits_and_letters_belong_to_what_can_be_typed_into(
    qtbot: QtBot, window: QWidget, make: Callable[[], QWidget]
) -> None:
    control, acted = make(), []
    put_in(window, control)
    for keys in ("4", "N"):
        QShortcut(QKeySequence(keys), window, lambda: acted.append(1))
    control.setFocus()
    qtbot.keyClick(control, Qt.Key.Key_4)
    qtbot.keyClick(control, Qt.Key.Key_N)
    assert not acted
    if isinstance(control, ComboBox):
        assert control.currentText() == "4"


def test_what_cannot_be_undone_takes_two_presses(
    qtbot: QtBot, window: QWidget, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(controls, "ARMED_MS", 20)
    button, other, done = QPushButton("Discard"), QLineEdit(), []
    armed = Armed(button, "Discard", "Really?", lambda: done.append(1))
    put_in(window, button, other)
    button.setFocus()
    button.click()
    assert (button.text(), done) == ("Really?", [])
    other.setFocus()
    assert (button.text(), armed.sure) == ("Discard", False)
    button.setFocus()
    button.click()
    qtbot.waitUntil(lambda: not armed.sure)
    button.click()
    assert not done
    button.click()
    assert done == [1]
    assert button.text() == "Discard"


def test_a_focus_that_comes_back_finds_the_button_disarmed(window: QWidget) -> None:
    button = QPushButton("Discard")
    armed = Armed(button, "Discard", "Really?", lambda: None)
    put_in(window, button)
    button.click()
    QApplication.sendEvent(button, QEvent(QEvent.Type.FocusOut))
    assert not armed.sure


@pytest.mark.parametrize(
    ("words", "held"),
    [
        ("55 bpm, where 45 to 51 bpm is usual.", "55\u00a0bpm, where 45 to 51\u00a0bpm is usual."),
        ("at least 25 s.", "at least 25\u00a0s."),
        ("97 % of beats", "97\u00a0% of beats"),
        ("2 sets, 3 hills, 4 msec", "2 sets, 3 hills, 4 msec"),
    ],
)
def test_a_number_stays_in_one_line_with_its_unit(words: str, held: str) -> None:
    assert controls.unbroken(words) == held
