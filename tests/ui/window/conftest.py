from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEvent
from PySide6.QtWidgets import QApplication, QMenu, QWidget
from pytestqt.logging import QtLoggingPlugin
from pytestqt.qtbot import QtBot

from dawnbeat.capture.recording import write_recording
from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.recordings.invented.faults import Faults, Stretch
from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, render_trace
from dawnbeat.recordings.invented.heart import Rhythm, beat_times
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings, invented_analysis
from dawnbeat.shared.morning import Circumstances, StoredReading
from dawnbeat.shared.settings import Settings
from dawnbeat.signal.analysis import analyse
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.main_window import make_app

TODAY = date(2025, 6, 1)


@pytest.fixture(scope="session")
def qapp_cls() -> type[QApplication]:
    return QApplication


@pytest.fixture(scope="session")
def qapp() -> QApplication:
    return make_app()


@pytest.fixture(autouse=True)
def _no_qt_warning(qtlog: QtLoggingPlugin) -> Iterator[None]:
    """Every test of the window fails where Qt complained about anything."""
    yield
    # The offscreen platform says this of every window; no screen does.
    said = [each.message for each in qtlog.records if "propagateSizeHints" not in each.message]
    assert not said, f"Qt wrote to its log: {said}"


@pytest.fixture(autouse=True)
def _nothing_left_open(qapp: QApplication) -> Iterator[None]:
    """The menus that a plot leaves behind are restyled by every later change of theme or text."""
    yield
    for widget in qapp.topLevelWidgets():
        if isinstance(widget, QMenu):
            widget.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


@pytest.fixture(autouse=True)
def _own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No test reads or writes the user's own folders."""
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path / "home"))


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "home") as opened:
        yield opened


@pytest.fixture
def one_reading(journal: Journal) -> Journal:
    began = datetime(2025, 6, 1, 6, 30, tzinfo=timezone(timedelta(hours=1)))
    taken = Circumstances(began, "lying", "invented camera")
    journal.save(taken, invented_analysis(3.9, 50.0, np.random.default_rng(1)))
    return journal


@pytest.fixture
def ninety_days(journal: Journal) -> Journal:
    fill_with_invented_mornings(journal, TODAY)
    return journal


@pytest.fixture
def ten_years(ninety_days: Journal) -> Journal:
    """The ninety days again and again, 3,650 readings in all, without their intervals."""
    connection = ninety_days.connection
    rows = connection.execute("SELECT * FROM readings ORDER BY id").fetchall()
    names = [each[1] for each in connection.execute("PRAGMA table_info(readings)")]
    at = {name: names.index(name) for name in ("id", "uid", "local_date", "began")}
    copies, back = [], 0
    while len(rows) + len(copies) < 3650:
        back += 90
        for row in rows[: 3650 - len(rows) - len(copies)]:
            copy = list(row)
            began = datetime.fromisoformat(copy[at["began"]]) - timedelta(days=back)
            copy[at["id"]], copy[at["uid"]] = None, f"{copy[at['uid']]}-{back}"
            copy[at["began"]], copy[at["local_date"]] = began.isoformat(), began.date().isoformat()
            copies.append(copy)
    with ninety_days.transaction("copy the mornings"):
        marks = ", ".join("?" * len(names))
        connection.executemany(f"INSERT INTO readings VALUES ({marks})", copies)
    return ninety_days


@pytest.fixture
def context(qapp: QApplication, journal: Journal, tmp_path: Path) -> Iterator[AppContext]:
    made = AppContext(journal, ChoiceStore(tmp_path / "config"))
    yield made
    made.background.stop()


def shown(qtbot: QtBot, page: QWidget, width: int, height: int) -> None:
    """Show a page of this size, until it is on the screen."""
    qtbot.addWidget(page)
    page.resize(width, height)
    with qtbot.waitExposed(page):
        page.show()


@pytest.fixture
def recorded(journal: Journal) -> StoredReading:
    """A minute of an invented finger that moves once, saved with its recording."""
    beats_s = beat_times(Rhythm(mean_hr_bpm=55, seed=4), 70.0, start_s=-4.0)
    faults = Faults(movement=(Stretch(20.0, 3.0, 0.2),))
    trace = render_trace(beats_s, LAMP_FINGER, faults, 60.0, 30.0, 5)
    began = datetime(2025, 6, 1, 6, 30, tzinfo=timezone(timedelta(hours=1)))
    folder = journal.new_recording_folder(began)
    write_recording(folder, trace, {"camera": "invented camera"})
    return journal.save(Circumstances(began, "lying", "invented camera"), analyse(trace, Settings()), folder)
