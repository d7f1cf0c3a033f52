"""The list of runs: what stands in it, sorting, finding, editing in place, the bin, saving."""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QComboBox, QLineEdit, QMessageBox
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.periods import judged_runs
from dawnbeat.ui.window.parts import saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.journal_table import IN_THE_BIN
from dawnbeat.ui.window.parts.layouts import Scrolled
from dawnbeat.ui.window.runs.page import LIST, VIEWS, WEEKS, RunsPage
from dawnbeat.ui.window.runs.table import COLUMNS, UNRATED, WITHOUT_PULSE
from tests.ui.window.conftest import TODAY
from tests.ui.window.many_runs import fill_up_with_runs
from tests.ui.window.runs.views import after_view, estimates_view, opened, run_with, weeks_view, words_of

TITLES = [column.title for column in COLUMNS]


def test_an_empty_journal_says_how_runs_come_in(page: RunsPage) -> None:
    page.shown()
    assert page.table.nothing.isVisible()
    assert "Drop files or folders here" in page.table.nothing.text()
    assert not page.table.open_button.isEnabled()
    for name in VIEWS:
        page.show_view(name)
    assert "no run" in weeks_view(page).said.text()
    assert "from 20 pairs on" in after_view(page).found.text()
    assert "needs a resting pulse" in words_of(estimates_view(page))


def test_one_run_by_hand_is_everywhere_without_a_claim(page: RunsPage, journal: Journal) -> None:
    began = datetime(2025, 6, 1, 7, 0).astimezone()
    run = run_store.add_by_hand(journal, began, 2400, felt_effort=4)
    page.shown()
    assert page.table.model.rowCount() == 1
    view = opened(page, run.id)
    assert "No pulse" in view.figures.text()
    assert view.curve.isHidden()
    page.back()
    assert "rating load 160" in weeks_view(page).loads.text()
    assert after_view(page).table.item(0, 2).text() == "no reading"


def test_three_thousand_runs_are_all_there(qtbot: QtBot, page: RunsPage, invented: Journal) -> None:
    fill_up_with_runs(invented, 3000)
    page.shown()
    assert page.table.model.rowCount() == len(run_store.runs(invented)) >= 3000
    assert len(weeks_view(page).weeks) > 600
    assert len({each.run.local_date for each in page.judged}) > 2500


def test_the_list_sorts_and_filters(page: RunsPage, invented: Journal) -> None:
    page.shown()
    model = page.table.model
    days = [each.run.local_date for each in model.rows]
    assert days == sorted(days, reverse=True)
    page.table.view.sortByColumn(TITLES.index("km"), Qt.SortOrder.AscendingOrder)
    km = [each.run.figures.distance_m or 0 for each in model.rows]
    assert km == sorted(km)
    page.table.kind.setCurrentText(WITHOUT_PULSE)
    assert model.rows
    assert not any(each.run.has_pulse for each in model.rows)
    page.table.kind.setCurrentText(UNRATED)
    assert {each.run.felt_effort for each in model.rows} == {None}
    page.table.kind.setCurrentIndex(0)
    page.table.words.setText("800 invented")
    assert {each.run.note for each in model.rows} == {"6 x 800 m, invented"}


def test_the_easy_share_in_the_list_is_that_of_the_zones_of_the_day(page: RunsPage, invented: Journal) -> None:
    page.shown()
    judged = judged_runs(invented, TODAY)[-1]
    assert judged.judged is not None
    assert judged.judged.easy_share is not None
    index = page.table.model.index(0, TITLES.index("Easy"))
    assert index.data() == f"{100 * judged.judged.easy_share:.0f} %"
    assert str(judged.judged.top_of_easy_bpm) in index.data(Qt.ItemDataRole.ToolTipRole)


def test_felt_effort_is_edited_in_place_and_undone(
    qtbot: QtBot, page: RunsPage, invented: Journal, context: AppContext
) -> None:
    page.shown()
    view = page.table.view
    run = page.table.model.rows[0].run

    def type_felt(text: str) -> None:
        view.setFocus()
        view.setCurrentIndex(page.table.model.index(0, TITLES.index("Felt, 0 to 10")))
        qtbot.keyClick(view, Qt.Key.Key_F2)
        editor = view.viewport().findChildren(QLineEdit)[-1]
        editor.selectAll()
        qtbot.keyClicks(editor, text)
        qtbot.keyClick(editor, Qt.Key.Key_Return)
        QApplication.processEvents()

    type_felt("6,5")
    assert run_store.run(invented, run.id).felt_effort == 6.5
    type_felt("11")
    assert "0 (rest) to 10" in context.last_said
    assert run_store.run(invented, run.id).felt_effort == 6.5
    context.undo.undo()
    assert run_store.run(invented, run.id).felt_effort == run.felt_effort


def test_runs_go_to_the_bin_and_come_back_by_key(
    qtbot: QtBot, page: RunsPage, invented: Journal, context: AppContext
) -> None:
    page.shown()
    before = [run.id for run in run_store.runs(invented)]
    page.table.view.setFocus()
    page.table.view.selectRow(0)
    qtbot.keyClick(page.table.view, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    qtbot.keyClick(page.table.view, Qt.Key.Key_Delete)
    assert len(run_store.binned(invented)) == 2
    context.undo.undo()
    assert [run.id for run in run_store.runs(invented)] == before


def test_the_bin_is_emptied_only_after_asking(
    page: RunsPage, invented: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.shown()
    page.table.view.selectRow(0)
    page.table.bin()
    page.table.kind.setCurrentText(IN_THE_BIN)
    assert page.table.model.rowCount() == 1
    monkeypatch.setattr(QMessageBox, "question", lambda *_: QMessageBox.StandardButton.Cancel)
    page.table.empty_button.click()
    assert len(run_store.binned(invented)) == 1
    monkeypatch.setattr(QMessageBox, "question", lambda *_: QMessageBox.StandardButton.Yes)
    page.table.empty_button.click()
    assert run_store.binned(invented) == []


def test_enter_opens_a_run_and_escape_goes_back(qtbot: QtBot, page: RunsPage, invented: Journal) -> None:
    page.shown()
    page.table.view.selectRow(3)
    wanted = page.table.model.rows[3].run.id
    qtbot.keyClick(page.table.view, Qt.Key.Key_Return)
    assert page.run_view is not None
    assert page.run_view.each is not None
    assert page.run_view.each.run.id == wanted
    qtbot.keyClick(page.run_view, Qt.Key.Key_Down, Qt.KeyboardModifier.AltModifier)
    assert page.run_view.each.run.id == page.table.model.rows[4].run.id
    qtbot.keyClick(page.run_view, Qt.Key.Key_Escape)
    assert page.whole.currentIndex() == 0


def test_runs_and_weeks_are_saved_as_csv(
    page: RunsPage, invented: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.shown()
    for view, name, count in (
        (LIST, "runs.csv", len(run_store.runs(invented))),
        (WEEKS, "weeks.csv", 12),
    ):
        out = tmp_path / name
        monkeypatch.setattr(saving, "ask_save", lambda *_, out=out: out)
        page.show_view(view)
        page.save_shown()
        with out.open(encoding="utf-8", newline="") as file:
            assert len(list(csv.DictReader(file))) == count


def test_every_control_has_a_name_for_screen_readers(page: RunsPage, invented: Journal) -> None:
    page.shown()
    for name in VIEWS:
        page.show_view(name)
    opened(page, run_with(invented, "gap"))
    for kind in (QComboBox, QLineEdit):
        for control in page.findChildren(kind):
            inside = isinstance(control.parent(), QComboBox) or control.objectName().startswith("qt_")
            assert inside or control.accessibleName(), control


def test_text_at_twice_the_size_fits_the_width_in_every_view(
    page: RunsPage, invented: Journal, context: AppContext
) -> None:
    context.choose(text_percent=200)
    page.shown()
    for name in VIEWS:
        page.show_view(name)
        QApplication.processEvents()
    opened(page, run_with(invented, "gap"))
    QApplication.processEvents()
    for scrolled in page.findChildren(Scrolled):
        assert scrolled.horizontalScrollBar().maximum() == 0, scrolled.widget()


def test_changes_made_elsewhere_are_read_when_the_page_comes_back(
    page: RunsPage, invented: Journal, context: AppContext
) -> None:
    page.shown()
    page.hide()
    run_store.put_in_bin(invented, run_store.runs(invented)[0].id)
    context.journal_changed.emit()
    page.show()
    page.shown()
    assert page.table.model.rowCount() == len(run_store.runs(invented))


def test_miles_are_chosen_once_and_hold_everywhere(page: RunsPage, invented: Journal) -> None:
    page.shown()
    row = next(n for n, each in enumerate(page.table.model.rows) if each.run.figures.distance_m)
    place = TITLES.index("km")
    way_m = page.table.model.rows[row].run.figures.distance_m
    assert page.table.model.index(row, place).data() == f"{way_m / 1000:.2f}"
    page.table.miles_button.click()
    page.shown()
    assert zone_store.setting(invented, "units") == "miles"
    assert page.table.model.columns[place].title == "miles"
    assert page.table.model.index(row, place).data() == f"{way_m / 1609.344:.2f}"
    assert " miles " in page.week.text()
    page.table.miles_button.click()
    page.shown()
    assert page.table.model.columns[place].title == "km"


def test_a_walk_says_that_it_does_not_count_and_can_be_made_to(
    page: RunsPage, invented: Journal, context: AppContext
) -> None:
    page.shown()
    walk = next(each for each in page.table.model.rows if not each.run.counts)
    row = page.table.model.row_of(walk.run.id)
    assert row is not None
    assert page.table.model.index(row, TITLES.index("What")).data() == "not counted"
    page.open_run(walk.run.id)
    view = page.run_view
    assert view is not None
    assert "does not count" in view.summary.text()
    view.counts.click()
    assert run_store.run(invented, walk.run.id).counts
    view.talk.setCurrentText("whole sentences")
    view.talk.activated.emit(1)
    assert run_store.run(invented, walk.run.id).talk == "whole sentences"
    context.undo.undo()
    context.undo.undo()
    back = run_store.run(invented, walk.run.id)
    assert (back.counts, back.talk, back.felt_effort, back.note) == (False, None, walk.run.felt_effort, walk.run.note)
