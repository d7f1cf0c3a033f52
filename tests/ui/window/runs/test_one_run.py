"""One run opened: its curve, time in zones, what the runner adds or overrules."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.training import run_store, zone_store
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.runs.page import RunsPage
from tests.ui.window.runs.views import opened, run_with


def test_time_in_zones_adds_up_and_what_is_missing_is_said(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = opened(page, run_with(invented, "20 km"))
    assert view.each is not None
    assert view.each.judged is not None
    assert sum(view.each.judged.zone_s) == pytest.approx(view.each.run.figures.measured_s)
    assert "missing" in view.figures.text()
    assert "drop-out" in view.figures.text()
    assert view.bars.table.rowCount() == 5
    assert "easy, at or below" in view.summary.text()


def test_a_cadence_lock_is_overruled_and_the_figures_follow(
    page: RunsPage, invented: Journal, context: AppContext
) -> None:
    page.shown()
    run_id = run_with(invented, "cadence lock")
    view = opened(page, run_id)
    before = run_store.run(invented, run_id).figures.measured_s
    assert view.overrule_button.text() == "Let it count"
    place = next(n for n, mark in enumerate(view.marks) if mark.kind == "cadence lock")
    view.marks_table.selectRow(place)
    view.overrule_button.click()
    assert run_store.run(invented, run_id).figures.measured_s > before
    assert view.marks_table.item(place, 4).text() == "overruled: it counts"
    assert view.overrule_button.text() == "Leave it out again"
    assert not view.overrule_button.shortcut().isEmpty()
    context.undo.undo()
    assert run_store.run(invented, run_id).figures.measured_s == before
    assert view.marks_table.item(place, 4).text() == "left out"


def test_a_gap_has_no_pulse_to_believe(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = opened(page, run_with(invented, "gap"))
    view.marks_table.selectRow(next(n for n, mark in enumerate(view.marks) if mark.kind == "gap"))
    assert not view.overrule_button.isEnabled()


def test_the_curve_shows_what_counts_apart_from_what_is_left_out(
    qtbot: QtBot, page: RunsPage, invented: Journal
) -> None:
    page.shown()
    view = opened(page, run_with(invented, "cadence lock"))
    samples = view.samples
    assert samples is not None
    mark = next(mark for mark in view.marks if mark.kind == "cadence lock")
    inside = (samples.time_s >= mark.start_s) & (samples.time_s < mark.end_s)
    _, counted = view.curve._line.getOriginalDataset()
    _, left_out = view.curve._left_out.getOriginalDataset()
    assert np.isnan(counted[inside]).all()
    assert np.isfinite(left_out[inside]).all()
    assert np.isfinite(counted[~inside][:-1]).all()
    canvas = view.curve.plot.canvas
    canvas.setFocus()
    qtbot.keyClick(canvas, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert view.marks_table.currentRow() == 0
    assert view.curve.readout.text().startswith("Mark 1")


def test_the_curve_is_high_enough_beside_its_figures_and_above_them(
    qtbot: QtBot, page: RunsPage, invented: Journal, context: AppContext
) -> None:
    page.shown()
    view = opened(page, run_with(invented, "20 km"))
    for width, height in ((860, 640), (1120, 760), (770, 604)):
        page.resize(width, height)
        qtbot.wait(50)
        assert view.curve.plot.height() >= context.theme.px(200), (width, height)
        assert view.splitter.sizes()[1] >= context.theme.px(200), (width, height)


@pytest.mark.parametrize(
    ("width", "height", "percent", "beside"),
    [
        *((2280, 1360, 200, True), (1880, 1000, 200, True), (1120, 760, 100, True)),
        *((860, 620, 100, False), (1100, 700, 200, False), (880, 640, 200, False)),
    ],
)
def test_figures_do_not_scroll_sideways_nor_inside_a_page_that_scrolls(
    qtbot: QtBot,
    page: RunsPage,
    invented: Journal,
    context: AppContext,
    width: int,
    height: int,
    percent: int,
    beside: bool,
) -> None:
    page.shown()
    view = opened(page, run_with(invented, "45 min hilly"))
    context.choose(text_percent=percent)
    page.resize(width, height)
    qtbot.wait(60)
    assert (view.splitter.orientation() == Qt.Orientation.Horizontal) == beside
    assert view.side.horizontalScrollBar().maximum() == 0
    assert beside or view.side.verticalScrollBar().maximum() == 0
    if beside:
        assert view.bars.table.horizontalScrollBar().maximum() == 0


def test_race_note_and_felt_effort_are_changed_where_the_run_is_open(page: RunsPage, invented: Journal) -> None:
    page.shown()
    run_id = run_with(invented, "45 min hilly")
    view = opened(page, run_id)
    view.race.click()
    view.note.setText("hills again, invented")
    view.note.editingFinished.emit()
    view.felt.setCurrentIndex(8)
    view.felt.activated.emit(8)
    run = run_store.run(invented, run_id)
    assert (run.race, run.note, run.felt_effort) == (True, "hills again, invented", 7)


def test_a_thirty_minute_test_gives_a_threshold_pulse_with_cautions(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = opened(page, run_with(invented, "30-minute test"))
    dialog = view.ask_test()
    assert dialog is not None
    said = "\n".join(label.text() for label in dialog.findChildren(QLabel))
    assert "Ask a doctor first" in said
    dialog.begins.setText("10:00")
    assert "From 10:00 on: threshold pulse" in dialog.found.text()
    before = len(zone_store.thresholds(invented))
    dialog.accept()
    assert len(zone_store.thresholds(invented)) == before + 1
    dialog = view.ask_test()
    assert dialog is not None
    dialog.begins.setText("40:00")
    assert not dialog.keep_button.isEnabled()


def test_a_run_shown_by_another_page_opens(page: RunsPage, invented: Journal) -> None:
    run_id = run_with(invented, "a race")
    page.shown(run_id)
    assert page.run_view is not None
    assert page.whole.currentWidget() is page.run_view
    day = run_store.run(invented, run_id).local_date
    page.shown(day)
    current = page.table.current()
    assert current is not None
    assert current.run.local_date == day
