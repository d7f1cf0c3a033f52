from __future__ import annotations

import dataclasses
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractSpinBox, QFileDialog, QLabel
from pytestqt.qtbot import QtBot

from dawnbeat.capture.camera import NoCameraError
from dawnbeat.capture.frames import FrameSource
from dawnbeat.journal.backup import backup
from dawnbeat.journal.csv_files import export_mornings
from dawnbeat.journal.ranges import RangeSettings
from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.recordings.invented.finger_video import RehearsalSource
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.settings import Settings
from dawnbeat.ui.window.parts import saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.layouts import RowsForm
from dawnbeat.ui.window.settings.camera_trial import CameraTest, Measured
from dawnbeat.ui.window.settings.journal_care import Found
from dawnbeat.ui.window.settings.page import SettingsPage


@pytest.fixture
def page(qtbot: QtBot, context: AppContext) -> Iterator[SettingsPage]:
    made = SettingsPage(context)
    qtbot.addWidget(made)
    made.resize(900, 700)
    made.show()
    yield made
    made.closing()
    context.background.stop()


def kept(context: AppContext) -> object:
    return ChoiceStore(context.store.folder).load()


def test_every_choice_is_kept_at_once(qtbot: QtBot, page: SettingsPage, context: AppContext) -> None:
    page.source.setCurrentIndex(page.source.findData("stream"))
    page.stream.setText(" http://10.0.0.9/video ")
    qtbot.keyClick(page.stream, Qt.Key.Key_Return)
    page.duration.setCurrentIndex(page.duration.findData(300))
    page.posture.setCurrentIndex(page.posture.findData("sitting"))
    page.tone.setChecked(True)
    page.video.setChecked(True)
    page.theme.setCurrentIndex(page.theme.findData("dark"))
    page.text.setValue(150)
    page.ranges["week_days"].setValue(10)
    choices = context.choices
    assert kept(context) == choices
    assert choices.source_words == "http://10.0.0.9/video"
    assert (choices.duration_s, choices.posture, choices.tone, choices.video) == (300, "sitting", True, True)
    assert (choices.theme, choices.text_percent) == ("dark", 150)
    assert choices.ranges == {"week_days": 10}
    assert context.ranges.week_days == 10
    context.choose(theme="system", text_percent=100)


def test_what_is_not_said_yet_takes_no_room(qtbot: QtBot, page: SettingsPage) -> None:
    before = page._forms[0].sizeHint().height()
    line = page.fontMetrics().height()
    assert not page.answer.isVisible()
    page._show_answer("There is no camera.")
    assert page.answer.isVisible()
    qtbot.waitUntil(lambda: page._forms[0].sizeHint().height() >= before + line)
    page._show_answer("")
    qtbot.waitUntil(lambda: page._forms[0].sizeHint().height() == before)
    heat = next(each for each in page._forms[0].findChildren(QLabel) if "hurts" in each.text())

    def between() -> int:
        lowest = page.list_button.mapTo(page, page.list_button.rect().bottomLeft()).y()
        return heat.mapTo(page, heat.rect().topLeft()).y() - lowest

    qtbot.waitUntil(lambda: between() < line)


def test_words_above_a_control_stand_nearer_to_it_than_to_the_one_before(
    qtbot: QtBot, page: SettingsPage, context: AppContext
) -> None:
    context.choose(text_percent=200)
    page.resize(760, 500)
    form = next(each for each in page.findChildren(RowsForm) if len(each.findChildren(QAbstractSpinBox)) > 5)
    qtbot.waitUntil(lambda: form.isVisible() and form.height() > 500)
    fields = sorted(form.findChildren(QAbstractSpinBox), key=lambda each: each.y())
    words = sorted((each for each in form.findChildren(QLabel) if each.text()), key=lambda each: each.y())
    assert len(fields) == len(words)
    for before, field, above in zip(fields, fields[1:], words[1:], strict=False):
        said = above.contentsRect().translated(above.pos())
        assert 0 <= field.y() - said.bottom() < said.top() - before.geometry().bottom(), above.text()


def test_the_usual_windows_come_back(page: SettingsPage, context: AppContext) -> None:
    page.ranges["history_days"].setValue(30)
    page.reset_button.click()
    assert context.choices.ranges == {}
    assert page.ranges["history_days"].value() == RangeSettings().history_days


def test_a_disk_that_refuses_is_said(page: SettingsPage, context: AppContext, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(choices: object) -> None:
        raise DawnbeatError("can't save the settings: no room left")

    monkeypatch.setattr(context.store, "save", refuses)
    page.tone.setChecked(True)
    assert "no room left" in context.last_said


def test_the_rehearsal_finger_is_measured_live(qtbot: QtBot, page: SettingsPage, context: AppContext) -> None:
    told: list[Measured] = []
    test = CameraTest(context, lambda words: RehearsalSource(seed=2, duration_s=30.0))
    test.measured.connect(told.append)
    with qtbot.waitSignal(test.ended):
        test.start("rehearsal")
    assert len(told) > 2
    last = told[-1]
    assert last.rate_hz == pytest.approx(30.0, rel=0.02)
    assert last.jitter_ms is not None
    assert "30.0 frames a second" in last.words()
    assert "jitter" in last.words()
    assert last.answer() == "This will do."
    assert last.picture is not None
    page._measured(last)
    assert page.answer.text() == "This will do."
    assert page.picture.isVisible()
    assert "jitter" in page.figures.text()


def test_a_camera_that_cannot_be_opened_says_why_and_the_button_comes_back(
    qtbot: QtBot, page: SettingsPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(words: str) -> FrameSource:
        raise DawnbeatError("camera 0 can't be opened: check that it is connected")

    page.test._open = fails
    page.try_button.click()
    assert page.try_button.text() == "Stop"
    qtbot.waitUntil(lambda: not page.test.running)
    assert "check that it is connected" in page.answer.text()
    assert page.try_button.text() == "Try it"


def test_leaving_the_page_ends_the_test_and_lets_the_camera_go(
    qtbot: QtBot, page: SettingsPage, context: AppContext
) -> None:
    closed: list[bool] = []

    class Endless(RehearsalSource):
        def close(self) -> None:
            closed.append(True)
            super().close()

    page.test._open = lambda words: Endless(seed=1, duration_s=600.0, realtime=True)
    page._try()
    qtbot.waitUntil(lambda: "frames a second" in page.figures.text())
    page.hidden()
    qtbot.waitUntil(lambda: not page.test.running)
    assert closed


def test_the_locks_of_a_camera_are_told() -> None:
    words = Measured("camera 0", 640, 480, 120, 1, 29.97, 1.2, {"exposure": "locked", "gain": "not offered"}).words()
    assert "640 x 480 pixels" in words
    assert "exposure: locked" in words
    assert "1 lost" in words


@pytest.mark.parametrize(
    ("rate_hz", "dropped", "words"),
    [
        (29.97, 0, "This will do."),
        (14.8, 0, "it is slow: give it more light"),
        (30.0, 20, "frames are lost"),
        (6.0, 0, "This won't do: 6 frames a second, and 9 are needed"),
        (None, 0, "Waiting for frames"),
    ],
)
def test_the_answer_says_whether_it_will_do(rate_hz: float | None, dropped: int, words: str) -> None:
    assert words in Measured("camera 0", 640, 480, 120, dropped, rate_hz, 1.2).answer()


def test_a_camera_that_is_not_there_gets_the_windows_own_ways_out(
    qtbot: QtBot, page: SettingsPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(words: str) -> FrameSource:
        raise NoCameraError("there is no camera 0", "`dawnbeat cameras` lists those that are there")

    page.test._open = fails
    page.try_button.click()
    qtbot.waitUntil(lambda: not page.test.running)
    assert page.answer.text().startswith("There is no camera 0: press List cameras")
    assert "`" not in page.answer.text()


def test_cv2_is_not_loaded_before_a_camera_is_wanted() -> None:
    import subprocess
    import sys

    code = (
        "import sys; import dawnbeat.ui.window.shell.main_window, dawnbeat.ui.window.settings.page;"
        "import dawnbeat.ui.window.shell.help;"
        "print([name for name in ('cv2', 'scipy', 'matplotlib', 'pyqtgraph', 'pandas') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "['scipy']" or done.stdout.strip() == "[]"


def test_the_journal_is_backed_up_into_one_file(
    qtbot: QtBot, page: SettingsPage, one_reading: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(saving, "ask_save", lambda *_: tmp_path / "all.zip")
    page.care.backup_button.click()
    qtbot.waitUntil(lambda: "Backed up 1 reading and" in page.context.last_said)
    assert "journal.sqlite3" in zipfile.ZipFile(tmp_path / "all.zip").namelist()


def test_a_backup_is_restored_and_the_window_goes_on_with_it(
    qtbot: QtBot, page: SettingsPage, recorded: StoredReading, context: AppContext, tmp_path: Path
) -> None:
    with Journal.open(context.home) as other:
        backup(other, tmp_path / "all.zip")
    context.journal.put_in_bin(recorded.id)
    context.journal.empty_bin([recorded.id])
    changed: list[int] = []
    context.journal_changed.connect(lambda: changed.append(len(context.journal.readings())))
    page.care.restore(tmp_path / "all.zip")
    assert not page.window().isEnabled()
    qtbot.waitUntil(lambda: not page.care.running)
    assert page.window().isEnabled()
    assert changed == [1]
    assert (context.home / str(context.journal.readings()[0].recording)).exists()
    assert "now in" in page.care.told.text()


def test_what_is_no_backup_leaves_the_journal_as_it_is(
    qtbot: QtBot, page: SettingsPage, one_reading: Journal, context: AppContext, tmp_path: Path
) -> None:
    (tmp_path / "odd.zip").write_bytes(b"no zip at all")
    page.care.restore(tmp_path / "odd.zip")
    qtbot.waitUntil(lambda: not page.care.running)
    assert len(context.journal.readings()) == 1
    assert "odd.zip" in page.care.told.text()


def test_mornings_come_back_from_a_csv_after_it_was_shown_what_that_adds(
    qtbot: QtBot, page: SettingsPage, one_reading: Journal, context: AppContext, tmp_path: Path
) -> None:
    export_mornings(one_reading, tmp_path / "all.csv", include_not_usable=True)
    gone = one_reading.readings()[0]
    one_reading.put_in_bin(gone.id)
    one_reading.empty_bin([gone.id])
    page.care.plan_import(tmp_path / "all.csv")
    qtbot.waitUntil(lambda: page.window().findChild(Found) is not None)
    dialog = page.window().findChild(Found)
    assert dialog is not None
    assert "1 new" in dialog.lines.toPlainText()
    assert one_reading.readings() == []
    dialog.yes.click()
    qtbot.waitUntil(lambda: not page.care.running and "Imported" in page.care.told.text())
    assert [each.uid for each in context.journal.readings()] == [gone.uid]


def test_the_journal_is_analysed_again_and_stored_only_when_told(
    qtbot: QtBot, page: SettingsPage, recorded: StoredReading, context: AppContext
) -> None:
    context.make_detection_default(dataclasses.replace(Settings(), channel="blue"))
    page.care.analyse_again()
    qtbot.waitUntil(lambda: page.window().findChild(Found) is not None)
    dialog = page.window().findChild(Found)
    assert dialog is not None
    assert "1 analysed again" in dialog.lines.toPlainText()
    assert context.journal.reading(recorded.id).settings_json == recorded.settings_json
    dialog.yes.click()
    qtbot.waitUntil(lambda: "Stored" in page.care.told.text())
    assert "blue" in str(context.journal.reading(recorded.id).settings_json)


def test_without_recordings_nothing_is_analysed_again(qtbot: QtBot, page: SettingsPage, one_reading: Journal) -> None:
    page.care.analyse_again()
    qtbot.waitUntil(lambda: not page.care.running)
    assert "no reading" in page.care.told.text()


def test_another_place_is_taken_at_the_next_start(
    page: SettingsPage, context: AppContext, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert not page.move_button.isEnabled()
    monkeypatch.delenv("DAWNBEAT_HOME")
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_: str(tmp_path / "other"))
    page._move()
    assert context.choices.journal == str(tmp_path / "other")
    assert "next start" in page.place.text()
    assert page.move_button.isEnabled()
    page._usual()
    assert context.choices.journal == ""
