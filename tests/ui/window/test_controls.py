from __future__ import annotations

from collections.abc import Callable

import pytest
from PySide6.QtCore import QDate, QDateTime, QEvent, QPoint, QPointF, QRect, Qt
from PySide6.QtGui import QKeySequence, QShortcut, QWheelEvent
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget
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
from dawnbeat.ui.window.parts.layouts import flow_of, labelled, stack
from dawnbeat.ui.window.parts.tables import plain_table


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


def test_words_wrap_nowhere_within_a_number_and_its_unit_and_are_told_as_they_were_given(qtbot: QtBot) -> None:
    made = controls.label("", "", "55 bpm on 8 September at 5:47 min/km")
    qtbot.addWidget(made)
    drawn = "55\u00a0bpm on 8\u00a0September at 5:47\u00a0min/\u2060km"
    assert QLabel.text(made) == drawn
    made.setText("25 s")
    assert (made.text(), QLabel.text(made)) == ("25 s", "25\u00a0s")


@pytest.mark.parametrize("width", [300, 900, 4000])
def test_on_a_wide_screen_lines_of_prose_are_no_longer_than_the_eye_follows(qtbot: QtBot, width: int) -> None:
    words = " ".join(["The week is held against the usual range of the four weeks before it."] * 6)
    made, other, holder = controls.label("", "", words), QLabel("below"), QWidget()
    qtbot.addWidget(holder)
    stack(holder, made, other, None)
    holder.resize(width, 3000)
    holder.show()
    qtbot.waitExposed(holder)
    inside = made.contentsRect().width()
    letters = controls.prose_px(made.fontMetrics())
    assert inside == (made.width() if width < 2 * letters else letters)
    assert letters < 2000
    room = QRect(0, 0, inside, 10_000)
    drawn = made.fontMetrics().boundingRect(room, Qt.TextFlag.TextWordWrap, words)
    assert abs(made.height() - drawn.height()) <= 2
    assert made.heightForWidth(made.width()) == made.height()
    legend = controls.label("", "", controls.PARTED.join(["○ a part of a legend"] * 9))
    legend.resize(width, 100)
    assert legend.contentsRect().width() == width


def test_what_stands_at_the_right_stays_together_where_that_takes_no_more_lines(qtbot: QtBot) -> None:
    holder = QWidget()
    qtbot.addWidget(holder)
    parts = [QWidget() for _ in range(5)]
    for part in parts:
        part.setFixedSize(100, 20)
    holder.setLayout(flow_of(*parts[:2], after=parts[2:], gap=0))
    holder.show()
    for width, wanted in (
        (600, [(0, 0), (100, 0), (300, 0), (400, 0), (500, 0)]),
        (499, [(0, 0), (100, 0), (0, 20), (100, 20), (200, 20)]),
        (250, [(0, 0), (100, 0), (0, 20), (100, 20), (0, 40)]),
        (120, [(0, 20 * line) for line in range(5)]),
    ):
        holder.resize(width, 200)
        QApplication.processEvents()
        assert [(part.x(), part.y()) for part in parts] == wanted, width
    parts[2].hide()
    holder.resize(399, 200)
    QApplication.processEvents()
    assert [(part.x(), part.y()) for part in (*parts[:2], *parts[3:])] == [(0, 0), (100, 0), (0, 20), (100, 20)]


def test_an_empty_field_says_as_much_as_it_has_room_for(qtbot: QtBot) -> None:
    field = controls.LineEdit("Find: a date, a run, a word of a note", "Find")
    qtbot.addWidget(field)
    for width, said in (
        (700, "Find: a date, a run, a word of a note"),
        (120, "Find"),
        (700, "Find: a date, a run, a word of a note"),
    ):
        field.resize(width, 30)
        field.show()
        assert field.placeholderText() == said


def test_words_before_a_control_stand_above_it_where_both_find_no_room(qtbot: QtBot) -> None:
    box = controls.ComboBox()
    box.offer([("2026-11-22, 10.06 km in 44:46", 1)])
    pair, holder = labelled("From the race", box), QWidget()
    qtbot.addWidget(holder)
    stack(holder, pair, None)
    holder.show()
    for width, beside in ((1400, True), (box.sizeHint().width() + 30, False)):
        holder.resize(width, 300)
        QApplication.processEvents()
        assert (box.x() > 0) == beside
        assert box.width() >= box.sizeHint().width()


@pytest.mark.usefixtures("qapp")
def test_no_heading_breaks_within_the_unit_of_a_pace() -> None:
    table = plain_table(("Day", "First, min/km"), "Held")
    headings = [table.horizontalHeaderItem(column) for column in range(2)]
    assert [each.text() for each in headings if each is not None] == ["Day", "First, min/\u2060km"]
    metrics = table.fontMetrics()
    narrow = QRect(0, 0, metrics.horizontalAdvance("min/km") - 2, 10_000)
    lines = metrics.boundingRect(narrow, Qt.TextFlag.TextWordWrap, "min/\u2060km").height() // metrics.height()
    assert lines == 1
    assert metrics.horizontalAdvance("min/\u2060km") == metrics.horizontalAdvance("min/km")
