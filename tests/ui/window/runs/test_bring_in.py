"""Runs come in: files, folders, drops, questions about them, and runs by hand."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.training import run_store
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.runs.page import RunsPage
from tests.training.run_files import csv_text, fit_bytes, gpx_text, steady, tcx_text, write


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
    qtbot.waitUntil(lambda: not page.strip.running)
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
    qtbot.waitUntil(lambda: not page.strip.running)
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
    qtbot.waitUntil(lambda: not page.strip.running)
    assert len(run_store.runs(journal)) == 1


def test_a_csv_without_a_date_is_asked_for_its_beginning(
    qtbot: QtBot, page: RunsPage, journal: Journal, tmp_path: Path
) -> None:
    page.shown()
    page.strip.start([write(tmp_path / "run.csv", csv_text(steady(300), None))])
    qtbot.waitUntil(lambda: not page.strip.running)
    assert page.strip.began_button.isVisible()
    assert "--began" not in page.strip.details.toPlainText()
    dialog = page.strip.ask_beginning()
    dialog.began.setDateTime(dialog.began.dateTime().addDays(-3))
    dialog.accept()
    qtbot.waitUntil(lambda: not page.strip.running)
    (run,) = run_store.runs(journal)
    assert run.local_date == date.today() - timedelta(days=3)


def test_a_track_without_a_sport_counts_once_the_runner_says_so(
    qtbot: QtBot, page: RunsPage, journal: Journal, tmp_path: Path
) -> None:
    page.shown()
    page.strip.start([write(tmp_path / "track.gpx", gpx_text(steady(300), kind=""))])
    qtbot.waitUntil(lambda: not page.strip.running)
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
        qtbot.waitUntil(lambda: not page.strip.running)
        assert page.strip.replace_button.isVisibleTo(page.strip) == offered
    page.strip.replace_button.click()
    qtbot.waitUntil(lambda: not page.strip.running)
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
