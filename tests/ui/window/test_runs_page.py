from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, QRectF, Qt, QUrl
from PySide6.QtGui import QColor, QDropEvent, QImage, QPainter
from PySide6.QtWidgets import QApplication, QComboBox, QLabel, QLineEdit, QMessageBox
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.weeks import judged_runs, monday_of, weeks_of
from dawnbeat.ui.window.parts import saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.layouts import Scrolled
from dawnbeat.ui.window.parts.tables import IN_THE_BIN
from dawnbeat.ui.window.runs.after_view import AfterView
from dawnbeat.ui.window.runs.bars import Bar, StackedBars
from dawnbeat.ui.window.runs.estimates_view import EstimatesView
from dawnbeat.ui.window.runs.page import AFTER, ESTIMATES, MONTHS, RACE, VIEWS, WEEKS, RunsPage
from dawnbeat.ui.window.runs.run_view import RunView
from dawnbeat.ui.window.runs.table import COLUMNS, UNRATED, WITHOUT_PULSE
from dawnbeat.ui.window.runs.weeks_view import WeeksView
from tests.training.run_files import csv_text, fit_bytes, gpx_text, steady, tcx_text, write
from tests.ui.window.conftest import TODAY
from tests.ui.window.many_runs import fill_up_with_runs

TITLES = [column.title for column in COLUMNS]


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Journal]:
    """Filled once; each test gets a copy."""
    with Journal.open(tmp_path_factory.mktemp("template") / "home") as made:
        made.connection.execute("PRAGMA synchronous = OFF")
        fill_with_invented_mornings(made, TODAY)
        fill_with_invented_runs(made, TODAY)
        yield made


@pytest.fixture
def invented(template: Journal, journal: Journal) -> Journal:
    template.connection.backup(journal.connection)
    return journal


@pytest.fixture
def page(qtbot: QtBot, context: AppContext) -> Iterator[RunsPage]:
    made = RunsPage(context, lambda: TODAY)
    qtbot.addWidget(made)
    made.resize(1120, 760)
    with qtbot.waitExposed(made):
        made.show()
    yield made
    context.background.stop()


def run_with(journal: Journal, word: str) -> int:
    """The last run with this word in its note or among what is missing in it."""
    found = [run for run in run_store.runs(journal) if word in run.note or word in run.figures.missing_s]
    return found[-1].id


def weeks_view(page: RunsPage) -> WeeksView:
    page.show_view(WEEKS)
    assert page.weeks is not None
    return page.weeks


def after_view(page: RunsPage) -> AfterView:
    page.show_view(AFTER)
    assert page.after is not None
    return page.after


def estimates_view(page: RunsPage) -> EstimatesView:
    page.show_view(ESTIMATES)
    assert page.estimates is not None
    return page.estimates


def opened(page: RunsPage, run_id: int) -> RunView:
    page.open_run(run_id)
    assert page.run_view is not None
    return page.run_view


def words_of(widget: EstimatesView) -> str:
    shown = [label.text() for label in widget.findChildren(QLabel) if label.isVisible()]
    return "\n".join(shown)


# Opening


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


# List


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
        view.setCurrentIndex(page.table.model.index(0, TITLES.index("Felt")))
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


# Import


def test_files_of_every_format_come_in_off_the_windows_thread(
    qtbot: QtBot, page: RunsPage, journal: Journal, tmp_path: Path
) -> None:
    page.shown()
    folder = tmp_path / "files"
    folder.mkdir()
    start = datetime(2025, 3, 3, 6, 30).astimezone()
    for n, (name, content) in enumerate((("a.fit", fit_bytes), ("b.tcx", tcx_text), ("c.gpx", gpx_text))):
        write(folder / name, content(steady(600), start + timedelta(days=n)))
    write(folder / "d.csv", "nothing of a run\n")
    page.strip.start([folder])
    assert page.busy() == "Runs are being imported."
    assert page.strip.cancel_button.isVisible()
    qtbot.waitUntil(lambda: not page.strip.running, timeout=20_000)
    assert page.strip.words.text() == "3 added, 0 here already, 1 not taken."
    assert "d.csv" in page.strip.details.toPlainText()
    assert page.table.model.rowCount() == 3
    assert page.busy() is None
    page.strip.close_button.click()
    assert page.strip.isHidden()


def test_a_cancelled_import_keeps_what_was_added_and_says_so(
    qtbot: QtBot, page: RunsPage, journal: Journal, tmp_path: Path
) -> None:
    page.shown()
    paths = [
        write(tmp_path / f"run{n}.csv", csv_text(steady(120), datetime(2025, 3, n + 1, 6).astimezone()))
        for n in range(5)
    ]
    page.strip.start(paths)
    page.strip.cancel()
    qtbot.waitUntil(lambda: not page.strip.running, timeout=20_000)
    kept = len(run_store.runs(journal))
    assert 1 <= kept < 5
    assert f"stopped after {kept} of 5 files" in page.strip.details.toPlainText()


def test_dropped_files_are_imported(qtbot: QtBot, page: RunsPage, journal: Journal, tmp_path: Path) -> None:
    page.shown()
    path = write(tmp_path / "run.csv", csv_text(steady(300)))
    dropped = QMimeData()
    dropped.setUrls([QUrl.fromLocalFile(str(path))])
    event = QDropEvent(
        QPointF(20, 20),
        Qt.DropAction.CopyAction,
        dropped,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    page.dropEvent(event)
    qtbot.waitUntil(lambda: not page.strip.running, timeout=20_000)
    assert len(run_store.runs(journal)) == 1


def test_a_csv_without_a_date_is_asked_for_its_beginning(
    qtbot: QtBot, page: RunsPage, journal: Journal, tmp_path: Path
) -> None:
    page.shown()
    page.strip.start([write(tmp_path / "run.csv", csv_text(steady(300), None))])
    qtbot.waitUntil(lambda: not page.strip.running, timeout=20_000)
    assert page.strip.began_button.isVisible()
    assert "--began" not in page.strip.details.toPlainText()
    dialog = page.strip.ask_beginning()
    dialog.began.setDateTime(dialog.began.dateTime().addDays(-3))
    dialog.accept()
    qtbot.waitUntil(lambda: not page.strip.running, timeout=20_000)
    (run,) = run_store.runs(journal)
    assert run.local_date == date.today() - timedelta(days=3)


def test_a_track_without_a_sport_counts_once_the_runner_says_so(
    qtbot: QtBot, page: RunsPage, journal: Journal, tmp_path: Path
) -> None:
    page.shown()
    page.strip.start([write(tmp_path / "track.gpx", gpx_text(steady(300), kind=""))])
    qtbot.waitUntil(lambda: not page.strip.running, timeout=20_000)
    assert [run.counts for run in run_store.runs(journal)] == [False]
    assert page.strip.sports_button.isVisibleTo(page.strip)
    page.strip.sports_button.click()
    assert [run.counts for run in run_store.runs(journal)] == [True]
    assert not page.strip.sports_button.isVisibleTo(page.strip)


def test_a_fuller_file_of_the_same_run_takes_its_place_when_asked(
    qtbot: QtBot, page: RunsPage, journal: Journal, tmp_path: Path
) -> None:
    page.shown()
    for name, seconds, offered in (("short.tcx", 300, False), ("whole.tcx", 900, True)):
        page.strip.start([write(tmp_path / name, tcx_text(steady(seconds)))])
        qtbot.waitUntil(lambda: not page.strip.running, timeout=20_000)
        assert page.strip.replace_button.isVisibleTo(page.strip) == offered
    page.strip.replace_button.click()
    qtbot.waitUntil(lambda: not page.strip.running, timeout=20_000)
    assert [run.figures.duration_s for run in run_store.runs(journal)] == [899]


def test_a_run_by_hand_is_kept_with_its_felt_effort_and_undone(
    page: RunsPage, journal: Journal, context: AppContext
) -> None:
    page.shown()
    dialog = page.ask_by_hand()
    dialog.accept()
    assert "needs a duration" in dialog.trouble.text()
    dialog.duration.setText("42:30")
    dialog.km.setText("8,2")
    dialog.felt.setCurrentIndex(4)
    dialog.accept()
    (run,) = run_store.runs(journal)
    assert (run.figures.duration_s, run.figures.distance_m, run.felt_effort) == (2550, 8200, 3)
    context.undo.undo()
    assert run_store.runs(journal) == []
    context.undo.redo()
    assert [each.id for each in run_store.runs(journal)] == [run.id]


def test_a_run_by_hand_that_cannot_be_keeps_the_dialog_open(page: RunsPage, journal: Journal) -> None:
    page.shown()
    dialog = page.ask_by_hand()
    dialog.duration.setText("42:30")
    dialog.felt.setEditText("eleven")
    dialog.accept()
    assert dialog.isVisible()
    assert "is no number" in dialog.trouble.text()
    assert run_store.runs(journal) == []


# One run


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


# Weeks


def test_weeks_are_stacked_by_zone_with_the_aim_and_the_range_before(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = weeks_view(page)
    judged = judged_runs(invented, TODAY)
    weeks = weeks_of(judged, judged[0].run.local_date, TODAY)
    assert view.weeks == weeks
    _, shares = view.chart._shares.getData()
    assert list(shares) == pytest.approx([100 * (w.easy_runs_share or 0) for w in weeks if w.judged_runs])
    _, timed = view.chart._times.getData()
    assert list(timed) == pytest.approx([100 * week.easy_share for week in weeks if week.easy_share is not None])
    monday = weeks[-2].first
    view.select(monday)
    counted = f"{weeks[-2].easy_runs} of {weeks[-2].judged_runs} easy (aim 80 %; eight weeks before"
    assert counted in view.said.text()
    assert f"{100 * (weeks[-2].easy_share or 0):.0f} % of the time (aim 90 %)" in view.said.text()
    view.as_table.click()
    row = len(weeks) - 1 - weeks.index(weeks[-2])
    assert view.table.currentRow() == row
    assert view.table.item(row, 0).text() == monday.isoformat()


def test_the_four_plots_share_one_time_axis(page: RunsPage, invented: Journal) -> None:
    page.shown()
    chart = weeks_view(page).chart
    chart.show_last(4)
    QApplication.processEvents()
    spans = [plot.visible_x() for plot in chart.plots]
    assert spans == [pytest.approx(spans[0])] * 4


def test_weeks_are_stepped_by_key_and_pressed_twice_to_open(qtbot: QtBot, page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = weeks_view(page)
    last = monday_of(TODAY)
    view.select(last)
    canvas = view.chart.hours.canvas
    canvas.setFocus()
    qtbot.keyClick(canvas, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert view.chart.selected == last - timedelta(weeks=1)
    view.opened.emit(view.chart.selected)
    assert page.views.currentWidget() is page.table
    current = page.table.current()
    assert current is not None
    assert monday_of(current.run.local_date) == last - timedelta(weeks=1)


def test_the_choice_of_load_is_kept_and_shown(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = weeks_view(page)
    shown = {}
    for name in ("men", "women"):
        view.which.setCurrentIndex(view.which.findData(name))
        view.which.activated.emit(view.which.currentIndex())
        assert zone_store.setting(invented, "coefficients") == name
        assert view.which.currentData() == name
        shown[name] = view.chart._load_line.getOriginalDataset()[1].copy()
    assert np.nansum(shown["women"]) > np.nansum(shown["men"])
    # A week with a run that has no impulse has no dot.
    assert [bool(math.isnan(value)) for value in shown["men"]] == [bool(week.without_trimp) for week in view.weeks]


def test_bars_keep_their_pattern_in_any_zoom(context: AppContext) -> None:
    bars = StackedBars(context)
    bars.set_bars([Bar(0, 1, (1.0, 2.0, 0.5), 0.5)], 2)
    assert bars.boundingRect() == QRectF(0, 0, 1, 4.0)
    shades = []
    for scale in (20, 60):
        picture = QImage(scale * 2, scale * 4, QImage.Format.Format_RGB32)
        picture.fill(QColor("white"))
        painter = QPainter(picture)
        painter.scale(scale * 2, scale)

        class Option:
            exposedRect = QRectF(0, 0, 1, 4)  # noqa: N815

        bars.paint(painter, Option())  # type: ignore[arg-type]
        painter.end()
        shades.append([picture.pixelColor(QPoint(scale, round(scale * y))).lightness() for y in (0.5, 2.0, 3.75)])
    for shade in shades:
        assert shade[0] > shade[1]
        assert shade[2] == 255


# The morning after, estimates, export


def test_the_hardest_days_stand_with_the_morning_after(page: RunsPage, invented: Journal, context: AppContext) -> None:
    page.shown()
    view = after_view(page)
    loads = [float(view.table.item(row, 1).text()) for row in range(view.table.rowCount())]
    assert loads == sorted(loads, reverse=True)
    assert "rank correlation" in view.found.text()
    assert "95 % interval" in view.found.text()
    assert "pairs" in view.found.text()
    gone: list[tuple[str, object]] = []
    context.wanted.connect(lambda key, what: gone.append((key, what)))
    place = next(n for n, day in enumerate(view.days) if day.next_morning is not None)
    view.table.selectRow(place)
    view.morning_button.click()
    assert gone == [("mornings", view.days[place].date + timedelta(days=1))]
    view.open_button.click()
    assert page.run_view is not None
    assert page.run_view.each is not None
    assert page.run_view.each.run.local_date == view.days[place].date


def test_nothing_is_said_of_few_pairs(page: RunsPage, journal: Journal) -> None:
    fill_with_invented_mornings(journal, TODAY, days=20)
    fill_with_invented_runs(journal, TODAY, weeks=2)
    page.shown()
    assert "rank correlation" not in after_view(page).found.text()


def test_every_estimate_has_formula_source_and_error(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = estimates_view(page)
    zone_store.set_setting(invented, "coefficients", "women")
    view._show()
    names = [card.accessibleName() for card in view.cards]
    assert any("Oxygen uptake from pulses" in name for name in names)
    assert any(name.startswith("Marathon: 3:") for name in names)
    for card in view.cards:
        said = "\n".join(label.text() for label in card.findChildren(QLabel))
        if not any(word in card.accessibleName() for word in ("from a race", "from pulses", "from a test")):
            continue
        assert "Formula:" in said
        assert "Error:" in said
        assert "Source:" in said or "no source" in said
    assert view.race.count() == 4
    assert view.equals.rowCount() > 3
    assert "Ask a doctor first" in words_of(view)


def test_runs_and_weeks_are_saved_as_csv(
    page: RunsPage, invented: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.shown()
    for save, name, count in (
        (page.save_runs, "runs.csv", len(run_store.runs(invented))),
        (page.save_weeks, "weeks.csv", 12),
    ):
        out = tmp_path / name
        monkeypatch.setattr(saving, "ask_save", lambda *_, out=out: out)
        save()
        with out.open(encoding="utf-8", newline="") as file:
            assert len(list(csv.DictReader(file))) == count


# For everyone


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


# Months, races, units, what counts


def test_months_are_listed_newest_first_and_saved(page: RunsPage, invented: Journal, tmp_path: Path) -> None:
    page.shown()
    page.show_view(MONTHS)
    view = page.months
    assert view is not None
    assert view.fixed is not None
    assert f"Pace at {view.fixed.pulse_bpm:.0f} bpm" in view.said.text()
    assert view.table.item(0, 0).text() == "2025-06"
    assert view.table.item(view.table.rowCount() - 1, 0).text() == view.periods[0].first.strftime("%Y-%m")
    assert len(view._dots.getData()[0]) == sum(each.pace_s_per_km is not None for each in view.periods) >= 2
    view.years_button.click()
    assert [view.table.item(row, 0).text() for row in range(view.table.rowCount())] == ["2025"]
    assert view.save(tmp_path / "years.csv") == 1
    assert "pace_s_per_km" in (tmp_path / "years.csv").read_text(encoding="utf-8")


def test_a_race_is_asked_for_and_answered_from_own_runs(page: RunsPage, invented: Journal) -> None:
    page.shown()
    page.show_view(RACE)
    view = page.race
    assert view is not None
    assert view.plan is not None
    assert "Start at" in view.first.text()
    view.goal.setText("1:45:00")
    view.distance.setCurrentIndex(2)
    view.distance.activated.emit(2)
    assert view.plan is not None
    assert view.plan.goal_s == 6300
    assert "Stay under" in view.lines.text()
    assert view.held.rowCount() == len(view.plan.held) > 0
    assert "Ask a doctor first" in words_of(view)
    view.goal.setText("soon")
    view.goal.editingFinished.emit()
    assert view.plan is None
    assert "is not a time" in view.trouble.text()


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


def test_whose_factors_are_used_is_asked_where_they_count(page: RunsPage, invented: Journal) -> None:
    zone_store.set_setting(invented, "coefficients", None)
    page.shown()
    view = estimates_view(page)
    assert not any("from pulses:" in card.accessibleName() for card in view.cards)
    view.factors.setCurrentIndex(view.factors.findData("men"))
    view.factors.activated.emit(view.factors.currentIndex())
    assert zone_store.chosen_coefficients(invented) == "men"
    assert any("from pulses:" in card.accessibleName() for card in view.cards)
