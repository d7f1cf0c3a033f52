from __future__ import annotations

from collections.abc import Callable

import pytest
from PySide6.QtCore import QDate, QDateTime, QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QKeySequence, QShortcut, QWheelEvent
from PySide6.QtWidgets import QApplication, QLineEdit, QPushButton, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.shared.wording import UNKNOWN
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import (
    Armed,
    ComboBox,
    DateEdit,
    DateTimeEdit,
    DoubleSpinBox,
    Slider,
    SpinBox,
)
from dawnbeat.ui.window.parts.layouts import stack
from dawnbeat.ui.window.parts.tables import plain_table, share_out, write_rows
from tests.ui.window.cut import cut_in


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


@pytest.mark.usefixtures("qapp")
def test_headings_stand_over_their_figures_and_the_widest_columns_give_way_first() -> None:
    table = plain_table(("Day", "What was noted on it", "RMSSD, ms"), "Mornings")
    write_rows(table, [("2025-06-01", "slept badly, and late", "53"), ("2025-06-02", "", UNKNOWN)])
    sides = []
    for column in range(3):
        heading = table.horizontalHeaderItem(column)
        assert heading is not None
        sides.append(bool(int(heading.data(Qt.ItemDataRole.TextAlignmentRole)) & Qt.AlignmentFlag.AlignRight.value))
    assert sides == [False, False, True]
    write_rows(table, [("2025", "182 bpm, counts", "53"), ("2026", "181 bpm", UNKNOWN)])
    for column, side in enumerate(
        (Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignRight)
    ):
        for row in range(2):
            item = table.item(row, column)
            assert item is not None
            assert item.textAlignment() & side, (row, column)
    assert list(share_out((80, 300, 90), (70, 60, 50), 500)) == [80, 300, 90]
    assert list(share_out((80, 300, 90), (70, 60, 50), 300)) == [80, 130, 90]
    assert list(share_out((80, 300, 90), (70, 60, 50), 100)) == [70, 60, 50]


def test_a_column_stands_at_one_side_and_its_figures_neither_wrap_nor_drift_apart(qtbot: QtBot) -> None:
    table = plain_table(("Distance", "Easy runs", "Drift an hour"), "Races", most=3)
    qtbot.addWidget(table)
    rows = [("1500 m", "10 of 19", "+3.2 %"), ("3 km", "9 of 17", UNKNOWN), ("half marathon", "4 of 8", "0.1 %")]
    write_rows(table, rows)
    sides = []
    for column in range(3):
        items = [table.item(row, column) for row in range(3)]
        found = {bool(int(each.textAlignment()) & Qt.AlignmentFlag.AlignRight.value) for each in items if each}
        assert len(found) == 1
        sides += found
    assert sides == [False, True, True]
    words_px = table.fontMetrics().horizontalAdvance
    for width in (1800, 100):
        table.resize(width, 300)
        table.show()
        table.arrange()
        assert table.columnWidth(1) > words_px("10 of 19"), width
        assert table.columnWidth(2) < words_px("Drift an hour") + 6 * table.fontMetrics().height(), width


def test_a_figure_wraps_only_where_the_table_would_scroll_sideways_for_it(qtbot: QtBot) -> None:
    table = plain_table(("Day", "Pulse"), "Thresholds", most=3)
    qtbot.addWidget(table)
    write_rows(table, [("2026-10-18", "1169 bpm")])
    table.show()  # only then its words have their size
    _, whole, least = zip(*(table._widths_of(column) for column in range(2)), strict=True)
    assert sum(least) < sum(whole)
    frame = 2 * table.frameWidth()
    for width, kept in ((sum(whole), True), (sum(whole) - 1, False), (sum(least), False), (sum(least) - 1, True)):
        table.resize(width + frame, 300)
        table.show()
        table.arrange()
        assert (table.columnWidth(1) >= whole[1]) == kept, width
        assert bool(table.horizontalScrollBar().maximum()) == (width < sum(least)), width


def test_a_heading_that_fits_takes_one_line_and_a_row_is_as_high_as_its_words(qtbot: QtBot) -> None:
    table = plain_table(("Day", "First, bpm"), "Held", most=4)
    qtbot.addWidget(table)
    write_rows(table, [("inside your usual range", "132")])
    line = table.fontMetrics().height()
    table.resize(900, 300)
    table.show()
    table.arrange()
    assert table.horizontalHeader().height() < 2 * line
    table.resize(60, 300)
    table.arrange()
    assert table.columnWidth(0) < table.fontMetrics().horizontalAdvance("inside your usual")
    assert table.rowHeight(0) > 3 * line


@pytest.mark.parametrize("text_percent", [100, 200])
def test_words_in_cells_and_headings_are_read_whole_at_every_width(
    qtbot: QtBot, context: AppContext, text_percent: int
) -> None:
    context.choose(text_percent=text_percent)
    holder = QWidget()
    qtbot.addWidget(holder)
    table = plain_table(("Zone", "Pulse, bpm", "Talk test"), "Zones", most=4)
    stack(holder, table)
    holder.show()
    write_rows(table, [("zone 3", "48.1 (47.2 to 49.0)", "steady: short sentences, and you would rather not")])
    wrapped = 0
    for width in range(240, 960, 20):
        holder.resize(width * text_percent // 100, 900)
        QApplication.processEvents()
        assert not cut_in(holder), width
        wrapped += table.rowHeight(0) > 2 * table.fontMetrics().height()
    assert 5 < wrapped < 36


def test_rows_that_wrapped_are_one_line_high_again_where_there_is_room(qtbot: QtBot) -> None:
    table = plain_table(("Day", "What was noted on it"), "Mornings", most=4)
    qtbot.addWidget(table)
    write_rows(table, [("2025-06-01", "slept badly and late, then woke early in a strange bed")])
    heights = []
    for width in (900, 260, 900):
        table.resize(width, 300)
        table.show()
        table.arrange()
        heights.append((table.rowHeight(0), table.height()))
    assert heights[0] == heights[2]
    assert heights[1] > heights[0]


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
