from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QComboBox, QLineEdit, QMessageBox, QPushButton
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.morning.answering import grounds, keep_answer
from dawnbeat.recordings.invented.mornings import invented_analysis
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Circumstances
from dawnbeat.shared.wording import seconds_of
from dawnbeat.ui.window.mornings.looking_back import MonthsView
from dawnbeat.ui.window.mornings.page import MorningsPage
from dawnbeat.ui.window.mornings.table import COLUMNS
from dawnbeat.ui.window.parts import saving
from dawnbeat.ui.window.parts.context import AppContext

TITLES = [column.title for column in COLUMNS]


@pytest.fixture
def page(qtbot: QtBot, context: AppContext) -> Iterator[MorningsPage]:
    made = MorningsPage(context)
    qtbot.addWidget(made)
    made.resize(1100, 760)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow)
    yield made
    context.background.stop()


def second_of_the_day(journal: Journal) -> int:
    began = datetime(2025, 6, 1, 9, 0, tzinfo=timezone(timedelta(hours=1)))
    saved = journal.save(
        Circumstances(began, "lying", "invented camera"), invented_analysis(4.2, 52.0, np.random.default_rng(2))
    )
    return saved.id


def type_into(qtbot: QtBot, page: MorningsPage, title: str, text: str) -> None:
    """Edit the cell of the selected row as hands do: F2, type or choose, Enter."""
    view = page.table.view
    page.table.wide_button.setChecked(True)
    index = page.table.model.index(view.currentIndex().row(), TITLES.index(title))
    view.setCurrentIndex(index)
    qtbot.keyClick(view, Qt.Key.Key_F2)
    editor = view.viewport().findChildren(QComboBox if COLUMNS[index.column()].choices else QLineEdit)[-1]
    if isinstance(editor, QComboBox):
        editor.setCurrentText(text)
    else:
        qtbot.keyClick(editor, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
        qtbot.keyClicks(editor, text)
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    QApplication.processEvents()  # the editor hands its text over only then
    assert page.views.currentIndex() == 0, "Enter ends the editing and opens nothing"


# Opening


def test_an_empty_journal_says_what_to_do(page: MorningsPage) -> None:
    page.shown()
    assert "No mornings yet" in page.sheet.card.headline.text()
    assert "pacemaker" in page.sheet.card.details.text()
    assert page.sheet.card.details.isVisible()
    page.sheet.resize(1100, 300)
    page.sheet.layout().activate()
    assert page.sheet.card.width() > 1000, "the words have the whole width"
    assert page.table.model.rowCount() == 0
    assert not page.table.open_button.isEnabled()
    page.open_context()
    page.back()
    page.chart.step(+1)
    page.chart.show_last(None)


def test_one_reading_is_shown_without_a_claim(one_reading: Journal, page: MorningsPage) -> None:
    page.shown()
    assert "Can't say" in page.sheet.card.headline.text()
    assert "Too few mornings to say: 0 of the 14" in page.sheet.card.said.text()
    assert page.table.model.rowCount() == 1
    assert page.chart.above.kept.data.size == 1
    page.chart.show_last(None)
    page.open_context()


def test_ten_years_of_mornings_are_all_there(ten_years: Journal, page: MorningsPage) -> None:
    page.shown()
    assert page.table.model.rowCount() == len(ten_years.readings()) == 3650
    series = page.chart.above.series
    assert series is not None
    drawn = sum(dots.data.size for dots in (page.chart.above.kept, page.chart.above.other, page.chart.above.apart))
    assert drawn == np.count_nonzero(series.usable)
    page.chart.show_last(None)
    low, high = page.chart.above.plot.visible_x()
    assert low < series.day_s[0] < series.day_s[-1] < high
    page.open_context()


# Chart


def test_mornings_of_another_kind_have_another_shape(ninety_days: Journal, page: MorningsPage) -> None:
    page.shown()
    page.chart.show_last(None)
    half = page.chart.above
    mornings = ninety_days.mornings()
    sitting = [each for each in mornings if each.posture == "sitting" and each.usable]
    assert half.other.data.size == sum(not each.ill for each in sitting)
    assert half.apart.data.size == sum(bool(each.ill) and each.usable for each in mornings)
    assert half.unusable.data.size == sum(not each.usable for each in mornings)
    shapes = {str(dots.opts["symbol"]) for dots in (half.kept, half.other, half.unusable)}
    assert len(shapes) == 3


def test_each_morning_in_view_has_its_interval_as_a_bar(ninety_days: Journal, page: MorningsPage) -> None:
    page.shown()
    page.chart.show_last(None)
    reading = next(each for each in ninety_days.readings() if each.counts)
    x, y = page.chart.above.bars.getData()
    at = x == seconds_of(reading.local_date)
    np.testing.assert_allclose(y[at], reading.intervals95["ln_rmssd"])


def test_range_buttons_show_so_much(ninety_days: Journal, page: MorningsPage) -> None:
    page.shown()
    last = seconds_of(date(2025, 6, 1))
    for days in (28, 91, 365):
        page.chart.show_last(days)
        low, high = page.chart.above.plot.visible_x()
        assert high > last
        assert (last - low) / 86400 == pytest.approx(days, abs=1 + 0.02 * days)
        assert page.chart.below.plot.visible_x() == pytest.approx((low, high))


def test_keys_read_zoom_and_move_the_chart(qtbot: QtBot, ninety_days: Journal, page: MorningsPage) -> None:
    page.shown()
    plot = page.chart.above.plot
    canvas = plot.canvas
    before = plot.visible_x()
    qtbot.keyClick(canvas, Qt.Key.Key_Left)
    assert plot.visible_x()[0] < before[0]
    qtbot.keyClick(canvas, Qt.Key.Key_Plus)
    assert np.ptp(plot.visible_x()) < np.ptp(before)
    qtbot.keyClick(canvas, Qt.Key.Key_Home)
    assert np.ptp(plot.visible_x()) > 89 * 86400
    page.chart.select(None)
    qtbot.keyClick(canvas, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert page.chart.selected == date(2025, 6, 1)
    qtbot.keyClick(canvas, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert page.chart.selected == date(2025, 5, 31)
    assert "Saturday 31 May 2025" in page.chart.readout.text()
    current = page.table.current()
    assert current is not None
    assert current.local_date == date(2025, 5, 31)


def test_pointing_reads_the_day(ninety_days: Journal, page: MorningsPage) -> None:
    page.shown()
    page.chart.above.plot.pointed.emit(seconds_of(date(2025, 5, 20)) + 3600.0, 3.9)
    said = page.chart.readout.text()
    reading = ninety_days.counting(date(2025, 5, 20))
    assert "Tuesday 20 May 2025" in said
    assert f"{reading.metrics.rmssd_ms:.0f} ms" in said
    assert "bpm" in said
    page.chart.above.plot.pointed.emit(float("nan"), float("nan"))
    assert "Tuesday" not in page.chart.readout.text()


@pytest.mark.parametrize(("width", "height"), [(850, 560), (1100, 560), (2400, 1300)])
def test_the_chart_keeps_its_room_in_a_small_window_and_takes_it_in_a_large_one(
    qtbot: QtBot, ninety_days: Journal, page: MorningsPage, width: int, height: int
) -> None:
    page.resize(width, height)
    page.shown()
    least = max(page.context.theme.px(300), height // 2)
    qtbot.waitUntil(lambda: page.chart.height() >= least)
    assert page.chart.width() > 0.4 * width


# Table


@pytest.mark.parametrize("width", [1180, 700, 500])
def test_what_is_not_usable_is_marked_first_and_no_figure_is_cut(
    ninety_days: Journal, page: MorningsPage, width: int
) -> None:
    page.resize(width, 760)
    page.shown()
    QApplication.processEvents()
    view, model = page.table.view, page.table.model
    texts = [[model.index(row, column).data() for row in range(model.rowCount())] for column in range(len(TITLES))]
    assert [text == "✕" for text in texts[0]] == [not each.verdict.usable for each in model.rows]
    assert view.columnViewportPosition(0) == 0
    assert view.horizontalScrollBar().maximum() == 0
    in_sight = [column for column in range(len(TITLES)) if not view.isColumnHidden(column)]
    assert {TITLES[column] for column in in_sight} >= {"", "Day", "RMSSD, ms", "Pulse, bpm"}
    for column in in_sight:
        if COLUMNS[column].item not in ("note", "yesterday_run"):
            widest = max(view.fontMetrics().horizontalAdvance(text) for text in texts[column])
            assert widest < view.columnWidth(column), TITLES[column]
    for column, said in enumerate(texts):
        numbers = [text for text in said if text not in ("", "–")]
        side = Qt.AlignmentFlag(int(model.index(0, column).data(Qt.ItemDataRole.TextAlignmentRole)))
        figures = column != 1 and all(re.fullmatch(r"[\d.:]+", text) for text in numbers)
        assert bool(side & Qt.AlignmentFlag.AlignRight) == figures, TITLES[column]


def test_a_press_on_a_heading_sorts(ninety_days: Journal, page: MorningsPage) -> None:
    page.shown()
    header = page.table.view.horizontalHeader()
    header.setSortIndicator(TITLES.index("RMSSD, ms"), Qt.SortOrder.AscendingOrder)
    values = [each.metrics.rmssd_ms for each in page.table.model.rows]
    assert values == sorted(values)
    header.setSortIndicator(TITLES.index("Day"), Qt.SortOrder.DescendingOrder)
    assert page.table.model.rows[0].local_date == date(2025, 6, 1)


def test_the_filter_finds_words_and_kinds(qtbot: QtBot, ninety_days: Journal, page: MorningsPage) -> None:
    page.shown()
    qtbot.keyClicks(page.table.words, "sore throat")
    assert page.table.model.rowCount() == 1
    page.table.words.clear()
    page.table.kind.setCurrentText("not usable")
    assert page.table.model.rowCount() == sum(not each.verdict.usable for each in ninety_days.readings())
    page.table.kind.setCurrentText("several a day")
    assert page.table.model.rowCount() == 0
    page.table.kind.setCurrentText("all")
    assert page.table.model.rowCount() == len(ninety_days.readings())


@pytest.mark.parametrize(
    ("title", "text", "item", "value"),
    [
        ("Hours", "7,5", "hours_slept", 7.5),
        ("Sleep", "2", "sleep", 2),
        ("Ill", "yes", "ill", True),
        ("Alcohol", "no", "alcohol", False),
        ("Note", "a 'quoted' note", "note", "a 'quoted' note"),
    ],
)
def test_context_is_edited_in_place_and_undone(
    qtbot: QtBot, one_reading: Journal, page: MorningsPage, title: str, text: str, item: str, value: object
) -> None:
    page.shown()
    page.table.view.selectRow(0)
    type_into(qtbot, page, title, text)
    number = page.table.model.rows[0].id
    assert getattr(one_reading.reading(number).context, item) == value
    page.context.undo.undo()
    assert one_reading.reading(number).context.is_empty
    page.context.undo.redo()
    assert getattr(one_reading.reading(number).context, item) == value


def test_a_value_that_cannot_be_is_said_and_not_kept(qtbot: QtBot, one_reading: Journal, page: MorningsPage) -> None:
    page.shown()
    page.table.view.selectRow(0)
    type_into(qtbot, page, "Hours", "99")
    assert one_reading.readings()[0].context.is_empty
    assert "0 to 24" in page.context.last_said
    assert not page.context.undo.canUndo()


def test_posture_is_corrected_in_place(qtbot: QtBot, one_reading: Journal, page: MorningsPage) -> None:
    page.shown()
    page.table.view.selectRow(0)
    type_into(qtbot, page, "Posture", "sitting")
    assert one_reading.readings()[0].posture == "sitting"
    page.context.undo.undo()
    assert one_reading.readings()[0].posture == "lying"


def test_another_reading_of_the_day_can_count(qtbot: QtBot, one_reading: Journal, page: MorningsPage) -> None:
    second = second_of_the_day(one_reading)
    page.shown()
    page.table.view.selectRow(page.table.model.row_of(second) or 0)
    assert page.table.count_button.isEnabled()
    qtbot.keyClick(page.table.view, Qt.Key.Key_C)
    assert one_reading.counting(date(2025, 6, 1)).id == second
    page.context.undo.undo()
    assert one_reading.counting(date(2025, 6, 1)).id != second


def test_binning_is_undone_by_key_and_from_the_bin(qtbot: QtBot, ninety_days: Journal, page: MorningsPage) -> None:
    page.shown()
    before = len(ninety_days.readings())
    page.table.view.selectRow(4)
    row_day = page.table.current()
    assert row_day is not None
    qtbot.keyClick(page.table.view, Qt.Key.Key_Delete)
    assert len(ninety_days.readings()) == before - 1
    assert page.table.view.currentIndex().row() == 4
    page.context.undo.undo()
    assert len(ninety_days.readings()) == before
    page.context.undo.redo()
    page.table.kind.setCurrentText("in the bin")
    assert [each.id for each in page.table.model.rows] == [row_day.id]
    page.table.view.selectRow(0)
    page.table.bring_back()
    assert len(ninety_days.readings()) == before


def test_nothing_is_drawn_or_listed_where_there_is_nothing_but_what_is_in_the_bin(
    one_reading: Journal, page: MorningsPage
) -> None:
    def seen() -> list[bool]:
        save = next(each for each in page.findChildren(QPushButton) if each.text() == "Picture…")
        return [each.isVisible() for each in (page.chart, save, page.table)]

    assert seen() == [False, False, False], "nothing is read yet"
    page.shown()
    assert seen() == [True, True, True]
    one_reading.put_in_bin(page.table.model.rows[0].id)
    page.journal_changed()
    assert seen() == [False, False, True]
    page.table.wide_button.setChecked(True)
    page.table.wide_button.setChecked(False)
    assert seen() == [False, False, True]
    one_reading.empty_bin([each.id for each in one_reading.bin()])
    page.journal_changed()
    assert seen() == [False, False, False]


def test_the_bin_is_emptied_only_after_asking(
    one_reading: Journal, page: MorningsPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.shown()
    page.table.view.selectRow(0)
    page.table.bin()
    page.table.kind.setCurrentText("in the bin")
    answers = iter([QMessageBox.StandardButton.Cancel, QMessageBox.StandardButton.Yes])
    monkeypatch.setattr(QMessageBox, "question", lambda *_: next(answers))
    page.table.empty()
    assert len(one_reading.bin()) == 1
    page.table.empty()
    assert one_reading.bin() == []
    assert not page.context.undo.canUndo()


def test_a_change_that_the_journal_refuses_is_said(
    one_reading: Journal, page: MorningsPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(number: int) -> None:
        raise DawnbeatError("the disk is full: free some space")

    page.shown()
    page.table.view.selectRow(0)
    monkeypatch.setattr(one_reading, "put_in_bin", refuses)
    page.table.bin()
    assert page.context.last_said == "the disk is full: free some space"
    assert not page.context.undo.canUndo()


# Saving


def save_as(monkeypatch: pytest.MonkeyPatch, path: Path | None) -> None:
    monkeypatch.setattr(saving, "ask_save", lambda *_: path)


def test_csv_picture_and_month_are_saved(
    qtbot: QtBot, ninety_days: Journal, page: MorningsPage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.shown()
    for keys, name in ((Qt.Key.Key_E, "m.csv"), (Qt.Key.Key_P, "m.png"), (Qt.Key.Key_R, "m.pdf")):
        save_as(monkeypatch, tmp_path / name)
        qtbot.keyClick(page, keys, Qt.KeyboardModifier.ControlModifier)
    with (tmp_path / "m.csv").open(newline="", encoding="utf-8") as file:
        assert len(list(csv.DictReader(file))) == len(ninety_days.readings())
    assert (tmp_path / "m.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert (tmp_path / "m.pdf").read_bytes().startswith(b"%PDF-")
    plot = page.chart.below.plot
    save_as(monkeypatch, tmp_path / "plot.png")
    qtbot.keyClick(plot.canvas, Qt.Key.Key_P)
    assert (tmp_path / "plot.png").read_bytes()[:4] == b"\x89PNG"


def test_a_changed_mind_saves_nothing_and_a_full_disk_is_said(
    ninety_days: Journal, page: MorningsPage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.shown()
    save_as(monkeypatch, None)
    page.save_csv()
    page.save_picture()
    page.save_report()
    assert list(tmp_path.glob("*.csv")) == []
    save_as(monkeypatch, tmp_path / "nowhere" / "m.csv")
    page.save_csv()
    assert "can't write the mornings" in page.context.last_said
    save_as(monkeypatch, tmp_path / "nowhere" / "m.png")
    page.save_picture()
    assert "can't save the picture" in page.context.last_said


def test_looking_back_shows_weeks_with_their_answers_months_and_years(page: MorningsPage, ninety_days: Journal) -> None:
    last = ninety_days.readings()[-1]
    keep_answer(ninety_days, last, grounds(ninety_days, last.local_date))
    page.shown()
    page.open_months()
    view = page.findChild(MonthsView)
    assert view is not None
    newest = view.strips.weeks[0]
    answer, stored = newest.said[last.local_date]
    assert stored
    assert answer.what == grounds(ninety_days, last.local_date).answer().what
    assert not all(kept for _, kept in newest.said.values())
    assert "average" in view.strips.accessibleDescription()
    labels = {each.local_date.strftime("%Y-%m") for each in ninety_days.readings()}
    assert view.months.rowCount() == len(labels)
    assert view.years.rowCount() == len({each[:4] for each in labels})
    page.back()
    assert page.views.currentIndex() == 0


def test_well_again_is_said_with_a_press_and_undone(page: MorningsPage, ninety_days: Journal) -> None:
    before, last = ninety_days.mornings()[-2:]
    yesterday = ninety_days.counting(before.date)
    ninety_days.edit_context(yesterday.id, replace(yesterday.context, ill=True))
    page.shown()
    card = page.sheet.card
    assert card.headline.text().endswith("No run today")
    assert not card.well.isHidden()
    card.well.click()
    assert ninety_days.counting(last.date).context.well_again is True
    assert card.well.isHidden()
    page.context.undo.undo()
    assert ninety_days.counting(last.date).context.well_again is None
