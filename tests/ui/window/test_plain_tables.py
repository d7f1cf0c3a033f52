from __future__ import annotations

import pytest
from PySide6.QtCore import QLocale, Qt
from PySide6.QtTest import QSignalSpy, QTest
from PySide6.QtWidgets import QAbstractItemView, QApplication, QPushButton, QScrollArea, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.shared.wording import UNKNOWN, unbroken
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.layouts import stack
from dawnbeat.ui.window.parts.tables import plain_table, share_out, write_rows
from tests.ui.window.conftest import shown
from tests.ui.window.cut import cut_in


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
    table.show()  # only then its words have their size
    words_px = table.fontMetrics().horizontalAdvance
    narrowest = sum(table._widths_of(column)[1] for column in range(3)) + 2 * table.frameWidth()
    for width in (1800, narrowest):
        table.resize(width, 300)
        table.arrange()
        assert table.columnWidth(1) > words_px("10 of 19"), width
        assert table.columnWidth(2) < words_px("Drift an hour") + 6 * table.fontMetrics().height(), width


def test_a_figure_and_its_unit_part_only_where_cells_cannot_stand_below_one_another(qtbot: QtBot) -> None:
    table = plain_table(("Day", "Pulse"), "Thresholds", most=3)
    qtbot.addWidget(table)
    said = "1169 bpm, once 163 to 171"
    write_rows(table, [("2026-10-18", said)])
    table.show()  # only then its words have their size
    *_, whole, least = zip(*(table._widths_of(column) for column in range(2)), strict=True)
    assert sum(least) < sum(whole)
    frame = 2 * table.frameWidth()
    held, parted, stacked = unbroken(said), said, None
    for edited, wanted in (
        (False, {sum(whole): held, sum(whole) - 1: stacked, sum(least): stacked}),
        (True, {sum(whole): held, sum(whole) - 1: parted, sum(least): parted, sum(least) - 1: held}),
    ):
        if edited:
            table.setEditTriggers(QAbstractItemView.EditTrigger.DoubleClicked)
        for width, words in wanted.items():
            table.resize(width + frame, 300)
            table.arrange()
            assert table.stacked == (words is None), width
            assert not list(cut_in(table)) or width < sum(least), width
            if words is None:
                assert held in [piece.words for piece in table.pieces(0)]
            else:
                index = table.model().index(0, 1)
                assert table.itemDelegate().displayText(index.data(), QLocale.c()) == words, width
                assert index.data() == said  # as it was given, for whoever reads it out


def test_headings_wrap_before_the_cells_below_them(qtbot: QtBot) -> None:
    table = plain_table(("Day", "RMSSD, the morning after it"), "Hardest days", most=3)
    qtbot.addWidget(table)
    write_rows(table, [("2026-11-02", "too few mornings"), ("2026-11-05", "inside the range")])
    table.show()  # only then its words have their size
    natural, cells, *_ = zip(*(table._widths_of(column) for column in range(2)), strict=True)
    assert sum(cells) < sum(natural)
    line = table.fontMetrics().height()
    for width, high, wrapped in ((sum(natural), 1, False), (sum(cells), 2, False), (sum(cells) - line, 2, True)):
        table.resize(width + 2 * table.frameWidth(), 300)
        table.arrange()
        assert (table.horizontalHeader().height() > 2 * line) == (high > 1), width
        assert (table.rowHeight(0) > 2 * line) == wrapped, width
        assert not table.stacked


@pytest.mark.parametrize("text_percent", [100, 200])
def test_cells_that_find_no_room_beside_one_another_stand_below_one_another_and_are_read_whole(
    qtbot: QtBot, context: AppContext, text_percent: int
) -> None:
    context.choose(text_percent=text_percent)
    holder = QWidget()
    qtbot.addWidget(holder)
    table = plain_table(("Month", "RMSSD, ms", "Easy runs", "Remarks", ""), "Months", most=4)
    stack(holder, table)
    holder.show()
    write_rows(
        table,
        [
            ("2026-11", "53 (48 to 58)", "10 of 19", "a cold in the second week, then a race", "kept"),
            ("2026-10", *4 * [""]),
        ],
    )
    table.selectRow(1)
    selected = QSignalSpy(table.itemSelectionChanged)
    seen = set()
    for width in (1200, 420, 300, 200, 1200):
        holder.resize(width * text_percent // 100, 900)
        QApplication.processEvents()
        assert not cut_in(holder), width
        assert table.horizontalScrollBar().maximum() == 0
        assert table.height() >= table.rowHeight(0) + table.rowHeight(1)
        first = table.item(0, 0)
        assert first is not None
        said = first.data(Qt.ItemDataRole.AccessibleTextRole)
        if table.stacked:
            words = [piece.words for piece in table.pieces(0)]
            assert words[:5] == ["2026-11", "RMSSD, ms", unbroken("53 (48 to 58)"), "Easy runs", "10 of 19"]
            assert [piece.words for piece in table.pieces(1)] == ["2026-10"]
            assert unbroken("RMSSD, ms 53 (48 to 58)") in said
        assert table.horizontalHeader().isVisible() != table.stacked
        assert table.isColumnHidden(1) == table.stacked == bool(said)
        seen.add((table.stacked, table.rowHeight(0) // table.fontMetrics().height()))
    assert {stacked for stacked, _ in seen} == {True, False}
    assert len(seen) > 2  # more of them side by side where there is room
    assert table.currentRow() == 1
    assert selected.count() == 0


def test_no_row_is_a_pillar_of_words_beside_a_few_figures(qtbot: QtBot) -> None:
    table = plain_table(("From", "Top of easy", "Boundaries, bpm", "What it rests on"), "Zones", most=4)
    qtbot.addWidget(table)
    sentence = "resting pulse 48 bpm, mean of 7 mornings from 2 September on; maximum 182 bpm of a test in the hills; "
    write_rows(table, [("2026-09-08", "142 bpm", "128 / 142 / 155 / 169", 2 * sentence)])
    table.show()  # only then its words have their size
    line, frame = table.fontMetrics().height(), 2 * table.frameWidth()
    natural, _, whole, _ = zip(*(table._widths_of(column) for column in range(4)), strict=True)
    assert whole[2] > table.fontMetrics().horizontalAdvance("128 / 142 / 155 / 169")
    for width, stacked in ((sum(natural), False), (sum(whole) + natural[3] // 3, False), (sum(whole), True)):
        table.resize(width + frame, 600)
        table.arrange()
        assert table.stacked == stacked, width
    sentences = [piece for piece in table.pieces(0) if piece.words.startswith("resting")]
    assert sentences[0].place.width() > table.viewport().width() - 2 * line


def test_the_page_follows_who_goes_through_a_table_by_key(qtbot: QtBot) -> None:
    page = QScrollArea(widgetResizable=True)
    inside = QWidget()
    table = plain_table(("Month", "RMSSD, ms"), "Months", most=40)
    elsewhere = QPushButton("Elsewhere")
    stack(inside, elsewhere, table)
    page.setWidget(inside)
    write_rows(table, [(f"month {number}", "53") for number in range(40)])
    shown(qtbot, page, 300, 200)
    elsewhere.setFocus()
    qtbot.waitUntil(elsewhere.hasFocus)
    table.selectRow(30)
    assert page.verticalScrollBar().value() == 0  # nobody went there
    table.selectRow(0)
    table.setFocus()
    qtbot.waitUntil(table.hasFocus)
    for _ in range(30):
        QTest.keyClick(table, Qt.Key.Key_Down)
    row = table.visualRect(table.currentIndex())
    at = table.viewport().mapTo(page.viewport(), row.topLeft())
    assert table.currentRow() == 30
    assert 0 <= at.y() <= page.viewport().height() - row.height()


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
