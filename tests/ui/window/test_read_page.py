from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QShortcut
from PySide6.QtWidgets import QAbstractButton, QLabel, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.capture import recorder as recorders
from dawnbeat.capture.frames import FrameSource
from dawnbeat.capture.recording import read_recording
from dawnbeat.journal.store import Journal
from dawnbeat.morning import capturing as read_capture
from dawnbeat.morning import keeping as read_keep
from dawnbeat.morning.flow import Plan
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts import theme
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.page import ReadPage
from tests.ui.window.read_fakes import Paced, Scripted

SHORT = Plan(duration_s=60.0)
# A reading as fast as the machine allows takes a few seconds.
LONG_MS = 60_000

MakePage = Callable[..., ReadPage]


@pytest.fixture
def make_page(qtbot: QtBot, context: AppContext) -> MakePage:
    def make(source: FrameSource | Callable[[], FrameSource], plan: Plan = SHORT) -> ReadPage:
        opened = source if callable(source) else lambda: source
        page = ReadPage(context, open_source=opened, plan=plan, save_rehearsals=True)
        qtbot.addWidget(page)
        page.resize(1150, 760)
        page.show()
        page.shown()
        return page

    return make


def press(qtbot: QtBot, page: QWidget) -> None:
    """Space, wherever the focus is."""
    qtbot.waitUntil(lambda: page.isActiveWindow() and page.focusWidget() is not None)
    qtbot.keyClick(page.focusWidget(), Qt.Key.Key_Space)


def until_result(qtbot: QtBot, page: ReadPage) -> None:
    qtbot.waitUntil(lambda: page._result is not None and page.stack.currentWidget() is page._result, timeout=LONG_MS)


def until_phase(qtbot: QtBot, page: ReadPage, phase: str) -> None:
    qtbot.waitUntil(lambda: page._phase == phase, timeout=LONG_MS)


def test_two_presses_lead_from_opening_to_a_saved_reading(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    source = Paced(speed=20.0)
    page = make_page(source)
    began_s = time.monotonic()
    press(qtbot, page)
    until_phase(qtbot, page, "settling")
    assert source.settled == 1
    until_phase(qtbot, page, "reading")
    assert page.busy() == "A reading is running."
    until_result(qtbot, page)
    assert time.monotonic() - began_s < 40.0
    (saved,) = context.journal.readings()
    assert saved.verdict.usable
    truth_bpm = 57.0  # of the rehearsal finger with seed 1, see quiet_morning
    assert saved.metrics.mean_hr_bpm == pytest.approx(truth_bpm, abs=1.5)
    assert saved.duration_s == pytest.approx(60.0, abs=0.2)
    assert f"{saved.metrics.mean_hr_bpm:.0f} bpm" in page.result.pulse.value.text()
    assert "95 %" in page.result.rmssd.bounds.text()
    assert page.result.main.hasFocus()
    press(qtbot, page)
    assert page.stack.currentWidget() is page.start
    assert "Taken today" in page.start.done_today.text()


def test_the_recording_of_a_saved_reading_lies_in_the_journal(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    page = make_page(Scripted())
    page.start.main.click()
    until_result(qtbot, page)
    (saved,) = context.journal.readings()
    assert saved.recording is not None
    recording = read_recording(context.home / saved.recording)
    assert recording.trace.duration_s == pytest.approx(60.0, abs=0.1)
    assert recording.about["finished"] is True
    assert recording.about["posture"] == "lying"
    assert context.journal.orphans() == []


def test_an_unplugged_camera_keeps_what_was_captured_and_says_so_in_one_sentence(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    source = Scripted(breaks_at_s=70.0)
    page = make_page(source)
    page.start.main.click()
    until_result(qtbot, page)
    (saved,) = context.journal.readings()
    assert saved.duration_s == pytest.approx(50.0, abs=0.5)
    assert source.was_closed
    told = page.result.ended.text()
    assert told.startswith("The reading ended after 0:4")
    assert "stopped sending frames" in told
    assert told.endswith("what was captured until then is kept.")
    assert context.last_said == told


def test_a_camera_that_falls_silent_ends_the_reading(
    qtbot: QtBot, context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(read_capture, "_SILENCE_ALLOWED_S", 0.3)
    page = make_page(Scripted(silent_at_s=60.0))
    page.start.main.click()
    until_result(qtbot, page)
    assert "sent nothing" in page.result.ended.text()
    assert len(context.journal.readings()) == 1


@pytest.mark.parametrize(
    "why",
    [
        "camera 0 can't be opened: check that it is connected and that no other program uses it",
        "no permission to use camera 0: add yourself to the group video and log in again",
    ],
)
def test_a_camera_that_can_not_be_opened_is_told_and_the_rehearsal_finger_is_offered(
    qtbot: QtBot, context: AppContext, make_page: MakePage, why: str
) -> None:
    def refuse() -> FrameSource:
        raise DawnbeatError(why)

    page = make_page(refuse)
    page.start.main.click()
    qtbot.waitUntil(lambda: page.capture is None)
    assert page.stack.currentWidget() is page.start
    assert why[1:] in page.start.trouble.text()
    assert page.start._instead.isVisible()
    assert context.journal.readings() == []


@pytest.mark.parametrize("wall_only", [False, True])
def test_a_sleep_of_the_computer_keeps_what_came_before(
    qtbot: QtBot, context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch, wall_only: bool
) -> None:
    ahead_s = [0.0]
    source = Scripted(jumps_at_s=None if wall_only else 70.0)
    if wall_only:
        source.at = {70.0: lambda: ahead_s.__setitem__(0, 600.0)}
        real = time.time
        monkeypatch.setattr(
            read_capture.ReadCapture.__init__, "__defaults__", (None, lambda: real() + ahead_s[0], time.monotonic)
        )
    page = make_page(source)
    page.start.main.click()
    until_result(qtbot, page)
    (saved,) = context.journal.readings()
    assert 40.0 < saved.duration_s <= 50.5
    assert "slept" in page.result.ended.text()


def test_a_full_disk_in_the_middle_keeps_what_was_captured(
    qtbot: QtBot, context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = [0]
    real = recorders._write_all

    def full(descriptor: int, data: bytes) -> None:
        written[0] += 1
        if written[0] > 1500:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(descriptor, data)

    monkeypatch.setattr(recorders, "_write_all", full)
    page = make_page(Scripted())
    page.start.main.click()
    until_result(qtbot, page)
    (saved,) = context.journal.readings()
    assert saved.duration_s == pytest.approx(1498 / 30, abs=0.5)
    assert "make room on the disk" in page.result.ended.text()
    assert saved.recording is not None
    assert len(read_recording(context.home / saved.recording).trace) == 1499


def test_a_journal_that_refuses_keeps_the_recording_and_saves_at_the_second_try(
    qtbot: QtBot, context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Journal.save

    def refuse(*_: object, **__: object) -> None:
        raise DawnbeatError("can't save the reading: the disk is full")

    monkeypatch.setattr(Journal, "save", refuse)
    page = make_page(Scripted())
    page.start.main.click()
    until_result(qtbot, page)
    assert "the disk is full" in page.result.ended.text()
    assert len(context.journal.orphans()) == 1
    monkeypatch.setattr(Journal, "save", real)
    page.result.save_again.click()
    qtbot.waitUntil(lambda: len(context.journal.readings()) == 1)
    qtbot.waitUntil(lambda: not page.result.save_again.isVisible())
    assert context.journal.orphans() == []


def test_closing_in_the_middle_keeps_the_recording_and_the_next_start_offers_it(
    qtbot: QtBot, context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(read_keep, "_STILL_WRITTEN_S", -1.0)
    page = make_page(Scripted(speed=40.0))
    page.start.main.click()
    until_phase(qtbot, page, "reading")
    qtbot.waitUntil(lambda: page.capture is not None and page.capture.flow.kept_s > 40.0, timeout=LONG_MS)
    began_s = time.monotonic()
    page.closing()
    assert time.monotonic() - began_s < 5.0
    assert context.journal.readings() == []
    (orphan,) = context.journal.orphans()
    assert read_recording(orphan.path).about["finished"] is True

    page = make_page(Scripted())
    offer = page.start.offer
    qtbot.waitUntil(offer.isVisible)
    assert "was interrupted after 0:4" in offer.words.text()
    offer.keep.click()
    qtbot.waitUntil(lambda: len(context.journal.readings()) == 1)
    qtbot.waitUntil(lambda: not offer.isVisible())
    assert context.journal.orphans() == []


def test_an_interrupted_reading_is_discarded_only_at_the_second_press(
    qtbot: QtBot, context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(read_keep, "_STILL_WRITTEN_S", -1.0)
    folder = context.journal.new_recording_folder(datetime.now().astimezone())
    (folder / "trace.csv").write_text("time_s,red,green,blue\n0.0,1,1,1\n1.0,1,1,1\n")
    page = make_page(Scripted())
    offer = page.start.offer
    qtbot.waitUntil(offer.isVisible)
    offer.discard.click()
    assert folder.exists()
    assert "Really" in offer.discard.text()
    offer.discard.click()
    qtbot.waitUntil(lambda: not folder.exists())


def test_a_recording_that_somebody_writes_now_is_not_offered(context: AppContext) -> None:
    folder = context.journal.new_recording_folder(datetime.now().astimezone())
    (folder / "trace.csv").write_text("time_s,red,green,blue\n0.0,1,1,1\n")
    assert read_keep.interrupted_readings(context.home) == []
    for each in (folder, *folder.iterdir()):
        os.utime(each, (time.time() - 60, time.time() - 60))
    assert len(read_keep.interrupted_readings(context.home)) == 1


def test_a_lost_finger_pauses_and_gentle_words_call_it_back(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    page = make_page(Scripted(away=((50.0, 60.0),), speed=25.0))
    page.start.main.click()
    until_phase(qtbot, page, "paused")
    assert page.live.words.text().startswith("Put the finger back")
    until_phase(qtbot, page, "reading")
    until_result(qtbot, page)
    (saved,) = context.journal.readings()
    assert saved.duration_s == pytest.approx(70.0, abs=2.0)
    assert "gap" in page.result.plots.trace.readout.text()


def test_a_finger_that_stays_away_ends_the_reading_with_what_was_kept(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    page = make_page(Scripted(away=((60.0, 199.0),)))
    page.start.main.click()
    until_result(qtbot, page)
    assert "away too long" in page.result.ended.text()
    assert len(context.journal.readings()) == 1


def test_stop_keeps_what_there_is_and_a_short_one_is_not_usable(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    page = make_page(Scripted(speed=20.0))
    page.start.main.click()
    until_phase(qtbot, page, "reading")
    press(qtbot, page)
    until_result(qtbot, page)
    (saved,) = context.journal.readings()
    assert not saved.verdict.usable
    assert page.result.verdict.text() == "Not usable: take it again"
    assert page.result.take_again.hasFocus()
    assert page.result.take_again.property("class") == "main"


def test_going_back_while_settling_saves_nothing(qtbot: QtBot, context: AppContext, make_page: MakePage) -> None:
    page = make_page(Scripted(speed=20.0))
    page.start.main.click()
    until_phase(qtbot, page, "settling")
    qtbot.waitUntil(lambda: page.live.main.text() == "Go back")
    press(qtbot, page)
    qtbot.waitUntil(lambda: page.capture is None)
    assert page.stack.currentWidget() is page.start
    assert not page.start._trouble_sheet.isVisible()
    assert context.journal.readings() == []
    assert list((context.home / "recordings").glob("*/*")) == []


def test_another_page_lets_the_camera_go_while_the_finger_is_placed_but_not_a_reading(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    waiting = Scripted(away=((0.0, 199.0),), speed=20.0)
    page = make_page(waiting)
    page.start.main.click()
    until_phase(qtbot, page, "finger")
    page.hidden()
    qtbot.waitUntil(lambda: page.capture is None)
    assert waiting.was_closed

    page = make_page(Scripted(speed=40.0))
    page.start.main.click()
    until_phase(qtbot, page, "reading")
    page.hidden()
    until_result(qtbot, page)
    assert len(context.journal.readings()) == 1


def test_the_context_is_saved_with_the_reading_and_undone(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    page = make_page(Scripted())
    page.start.main.click()
    until_result(qtbot, page)
    form = page.result.form
    form._ratings["sleep"].setFocus()
    qtbot.keyClick(form._ratings["sleep"], Qt.Key.Key_3)
    form._hours.setFocus()
    qtbot.keyClicks(form._hours, "7,5")
    form._run.setFocus()
    qtbot.keyClicks(form._run, "10 km easy, D")
    page.result.main.click()
    (saved,) = context.journal.readings()
    assert (saved.context.sleep, saved.context.hours_slept) == (3, 7.5)
    assert saved.context.yesterday_run == "10 km easy, D"
    context.undo.undo()
    assert context.journal.readings()[0].context.is_empty


def test_the_reading_stands_in_the_usual_range(qtbot: QtBot, context: AppContext, make_page: MakePage) -> None:
    fill_with_invented_mornings(context.journal, date.today() - timedelta(days=1))
    page = make_page(Scripted())
    page.start.main.click()
    until_result(qtbot, page)
    assert "your usual range (" in page.result.pulse.standing.text()
    assert "week" in page.result.rmssd.strip.accessibleDescription()
    assert "Your week's average sits" in page.result.paragraph.text()
    assert "not a medical device" in page.result.paragraph.text()
    assert "needs medical help" in page.result.paragraph.text()


def test_a_second_reading_of_a_day_says_that_the_first_one_counts(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    sources = iter([Scripted(), Scripted(breaks_at_s=75.0)])
    page = make_page(lambda: next(sources))
    page.start.main.click()
    until_result(qtbot, page)
    first = page.result.rmssd.standing.text()
    page.result.take_again.click()
    qtbot.waitUntil(lambda: page.capture is None, timeout=LONG_MS)
    assert "Too few mornings" in first
    assert page.result.rmssd.standing.text().startswith("Another reading of today counts: ")
    assert len(context.journal.readings()) == 2


def test_what_was_left_out_does_not_push_anything_off_the_page(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    away = tuple((start_s, start_s + 3.0) for start_s in range(28, 75, 8))
    page = make_page(Scripted(away=away))
    page.start.main.click()
    until_result(qtbot, page)
    qtbot.wait(50)
    assert page.result._area.widget().width() <= page.result._area.viewport().width()


def test_the_bin_takes_a_reading_and_gives_it_back(qtbot: QtBot, context: AppContext, make_page: MakePage) -> None:
    page = make_page(Scripted())
    page.start.main.click()
    until_result(qtbot, page)
    page.result.bin.click()
    assert context.journal.readings() == []
    assert "in the bin" in page.result.paragraph.text()
    context.undo.undo()
    assert len(context.journal.readings()) == 1


def test_a_rehearsal_is_shown_but_not_saved(qtbot: QtBot, context: AppContext) -> None:
    page = ReadPage(context, open_source=Scripted, plan=SHORT)
    qtbot.addWidget(page)
    page.show()
    page.start.rehearsal.setChecked(True)
    page.start.main.click()
    until_result(qtbot, page)
    assert context.journal.readings() == []
    assert context.journal.orphans() == []
    assert "nothing of it is saved" in page.result.paragraph.text()
    assert not page.result.bin.isVisible()


def test_frames_that_the_source_lost_and_the_delay_to_the_painting_are_counted(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    page = make_page(Paced(speed=2.0, lost_every=10))
    page.start.main.click()
    until_phase(qtbot, page, "finger")
    qtbot.waitUntil(lambda: page.figures.painted > 5 and page.figures.frames > 60, timeout=10_000)
    assert context.live_figures is page.figures
    assert page.figures.dropped in range(page.figures.frames // 10, page.figures.frames // 7)
    delay = page.figures.delay
    assert delay is not None
    assert 0.0 < delay.median_ms < 1000.0
    assert f"{page.figures.dropped} dropped" in page.figures.words()
    page.finger._cancel.click()
    qtbot.waitUntil(lambda: page.capture is None)


def test_letters_alone_lead_through_a_reading(qtbot: QtBot, context: AppContext, make_page: MakePage) -> None:
    page = make_page(lambda: Scripted(away=((0.0, 3.0),), speed=20.0))
    qtbot.waitUntil(page.isActiveWindow)
    qtbot.keyClick(page, Qt.Key.Key_B)
    until_phase(qtbot, page, "finger")
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: page.capture is None)
    qtbot.keyClick(page, Qt.Key.Key_B)
    until_phase(qtbot, page, "finger")
    qtbot.keyClick(page, Qt.Key.Key_S)
    until_phase(qtbot, page, "reading")
    qtbot.waitUntil(lambda: page.capture is not None and page.capture.flow.kept_s > 5.0)
    qtbot.keyClick(page, Qt.Key.Key_S)
    until_result(qtbot, page)
    qtbot.keyClick(page, Qt.Key.Key_D)
    qtbot.waitUntil(lambda: page.stack.currentWidget() is page.start)
    assert len(context.journal.readings()) == 1


def test_the_start_keeps_length_and_posture(qtbot: QtBot, context: AppContext, make_page: MakePage) -> None:
    page = make_page(Scripted())
    page.start._lengths.buttons()[2].click()
    page.start._postures.buttons()[1].click()
    assert (context.choices.duration_s, context.choices.posture) == (180, "sitting")


def test_every_control_has_a_name_and_every_button_a_key(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    page = make_page(Scripted())
    page.start.main.click()
    until_result(qtbot, page)
    for button in page.findChildren(QAbstractButton):
        assert button.accessibleName() or button.text(), button
    for view in (page.start, page.finger, page.live, page.result):
        (key,) = view.main.findChildren(QShortcut)
        assert f"({key.key().toString()})" in view.main.toolTip()
    shown = [each.text() for each in page.result.findChildren(QLabel)]
    assert not any("None" in text or "nan" in text for text in shown)


def test_the_theme_and_large_text_reach_every_view(qtbot: QtBot, context: AppContext, make_page: MakePage) -> None:
    page = make_page(Scripted())
    page.start.main.click()
    until_result(qtbot, page)
    context.choose(theme="dark", text_percent=200)
    for view in (page.start, page.finger, page.live, page.result):
        page.stack.setCurrentWidget(view)
        assert not view.grab().isNull()
    assert page.live.remaining.font().pointSizeF() > 2 * theme.BASE_PT


def test_no_recording_is_left_behind_by_a_folder_that_can_not_be_made(
    qtbot: QtBot, context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_journal: Journal, _began: object) -> Path:
        raise DawnbeatError("can't make a folder for the recording: no room left")

    monkeypatch.setattr(Journal, "new_recording_folder", refuse)
    page = make_page(Scripted())
    page.start.main.click()
    qtbot.waitUntil(lambda: page.capture is None, timeout=LONG_MS)
    assert "no room left" in page.start.trouble.text()
