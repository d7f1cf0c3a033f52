"""The page Read before and while a reading goes on; what a reading itself does is tested in tests/morning."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.capture.camera import NoCameraError
from dawnbeat.capture.frames import FrameSource
from dawnbeat.capture.recording import write_recording
from dawnbeat.morning import keeping, sources
from dawnbeat.morning.background import LiveFigures
from dawnbeat.morning.choices import Choices
from dawnbeat.morning.flow import Plan
from dawnbeat.shared.installed import shipped_recording
from dawnbeat.ui.window.parts import theme
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.finger import NO_PICTURE, CameraPicture, GaugeBar
from dawnbeat.ui.window.read.page import ReadPage
from tests.capture.scenes import as_frame, webcam_finger
from tests.morning.scripted import Clocks, Scripted
from tests.ui.window.conftest import shown
from tests.ui.window.read_fakes import AWAY, FakeReading, cut, moment, short

MakePage = Callable[[], ReadPage]


@pytest.fixture
def make_page(qtbot: QtBot, context: AppContext) -> MakePage:
    def make() -> ReadPage:
        page = ReadPage(context, make_reading=FakeReading)  # type: ignore[arg-type]
        qtbot.addWidget(page)
        page.resize(1150, 760)
        page.show()
        page.shown()
        qtbot.waitUntil(page.isActiveWindow)
        return page

    return make


def press(qtbot: QtBot, page: QWidget) -> None:
    """Space, wherever the focus is."""
    qtbot.waitUntil(lambda: page.isActiveWindow() and page.focusWidget() is not None)
    qtbot.keyClick(page.focusWidget(), Qt.Key.Key_Space)


def begun(page: ReadPage, *phases: str) -> FakeReading:
    """A reading that has come through these phases, the last of them shown."""
    page.start.main.click()
    for phase in phases:
        FakeReading.last.show(moment(phase))  # type: ignore[arg-type]
        page._look()
    return FakeReading.last


def test_what_calls_the_finger_back_is_in_sight_in_a_small_window_with_large_text(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    context.choose(text_percent=200)
    page = make_page()
    page.resize(770, 604)
    begun(page, "finger", "reading")
    FakeReading.last.show(moment("paused", AWAY, kept_s=22.0))
    page._look()
    words = page.live.words
    qtbot.waitUntil(lambda: words.height() >= words.heightForWidth(words.width()))
    qtbot.waitUntil(lambda: words.visibleRegion().boundingRect() == words.rect())
    page.live.end_button.click()
    qtbot.waitUntil(page.live.question.isVisible)
    for each in (words, page.live.question, page.live.go_on, page.live.stop_button, page.live.discard_button):
        qtbot.waitUntil(lambda each=each: each.visibleRegion().boundingRect() == each.rect())  # type: ignore[misc]


@pytest.mark.parametrize(("width", "height"), [(300, 600), (900, 1100)])
def test_where_there_is_no_picture_its_ground_is_no_higher_than_a_picture_would_be(
    qtbot: QtBot, context: AppContext, width: int, height: int
) -> None:
    picture = CameraPicture(context, LiveFigures())
    shown(qtbot, picture, width, height)
    picture.clear(NO_PICTURE)
    seen = picture.grab().toImage()
    lit = [row for row in range(height) if seen.pixelColor(9, row) == context.theme.colour("sheet")]
    assert 0.6 * width < lit[-1] - lit[0] < 0.8 * width


def test_a_figure_stands_near_its_name_however_wide_the_window_is(qtbot: QtBot, context: AppContext) -> None:
    gauge = GaugeBar(context, "Lens covered", " %", 100.0, 80.0, 100.0)
    gauge.set_value(40.0)
    shown(qtbot, gauge, 1500, 70)
    seen, ground = gauge.grab().toImage(), gauge.palette().window().color()
    drawn = [x for x in range(1500) if any(seen.pixelColor(x, y) != ground for y in range(60))]
    assert 500 < drawn[-1] - drawn[0] < 800


def test_two_presses_lead_from_opening_to_a_saved_reading(
    qtbot: QtBot, context: AppContext, make_page: MakePage
) -> None:
    page = make_page()
    press(qtbot, page)
    reading = FakeReading.last
    assert reading.wishes == ["start"]
    assert reading.order.plan == Plan(duration_s=120.0)
    assert reading.home == context.home
    for phase in ("finger", "settling", "reading"):
        reading.show(moment(phase))  # type: ignore[arg-type]
        page._look()
    assert "is not lost" in str(page.busy())
    assert page.live.pulse.text() == "54 bpm"
    reading.stage = "working"
    page._look()
    reading.keep()
    page._look()
    (saved,) = context.journal.readings()
    assert f"{saved.metrics.mean_hr_bpm:.0f} bpm" in page.result.pulse.value.text()
    assert page.result.main.hasFocus()
    press(qtbot, page)
    assert page.stack.currentWidget() is page.start
    assert "Taken today" in page.start.done_today.text()


def test_the_real_reading_runs_behind_the_page(qtbot: QtBot, context: AppContext) -> None:
    def quick(*given: object, **more: object) -> object:
        from dawnbeat.morning.background import BackgroundReading

        return BackgroundReading(*given, **more, **Clocks().all)  # type: ignore[arg-type]

    plan = Plan(duration_s=8.0, good_s=1.0, settle_s=1.0)
    page = ReadPage(context, Scripted, plan, make_reading=quick)  # type: ignore[arg-type]
    qtbot.addWidget(page)
    page.show()
    page.start.main.click()
    qtbot.waitUntil(lambda: page.stack.currentWidget() is page._result)
    (saved,) = context.journal.readings()
    assert saved.duration_s == pytest.approx(8.0, abs=0.1)
    assert not saved.verdict.usable


@pytest.mark.parametrize(
    "why",
    [
        "camera 0 can't be opened: check that it is connected and that no other program uses it",
        "no permission to use camera 0: add yourself to the group video and log in again",
        "can't make a folder for the recording: no room left",
    ],
)
def test_what_can_not_begin_is_told_and_the_rehearsal_finger_is_offered(
    context: AppContext, make_page: MakePage, why: str
) -> None:
    page = make_page()
    begun(page).end(why, broken=True, kept_s=0.0)
    page._look()
    assert page.stack.currentWidget() is page.start
    assert why[1:] in page.start.trouble.text()
    assert page.start._instead.isVisible()
    assert page.capture is None


def test_closing_in_the_middle_leaves_the_recording_for_the_next_start(make_page: MakePage) -> None:
    page = make_page()
    reading = begun(page, "finger", "settling", "reading")
    page.closing()
    assert reading.wishes == ["start", "leave", "join"]


@pytest.fixture
def broken_off(context: AppContext, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(keeping, "_STILL_WRITTEN_S", -1.0)
    folder = context.journal.new_recording_folder(datetime.now().astimezone())
    rows = "".join(f"{number / 10},1,1,1\n" for number in range(410))
    (folder / "trace.csv").write_text(f"time_s,red,green,blue\n{rows}")
    return folder


def test_the_next_start_offers_what_was_broken_off(
    qtbot: QtBot, context: AppContext, make_page: MakePage, broken_off: Path
) -> None:
    page = make_page()
    offer = page.start.offer
    qtbot.waitUntil(offer.isVisible)
    assert "was broken off after 0:40" in offer.words.text()
    offer.keep.click()
    qtbot.waitUntil(lambda: len(context.journal.readings()) == 1)
    qtbot.waitUntil(lambda: not offer.isVisible())
    assert context.journal.orphans() == []


def test_what_was_broken_off_is_discarded_only_at_the_second_press(
    qtbot: QtBot, make_page: MakePage, broken_off: Path
) -> None:
    page = make_page()
    offer = page.start.offer
    qtbot.waitUntil(offer.isVisible)
    offer.discard.click()
    assert broken_off.exists()
    assert "Really" in offer.discard.text()
    offer.discard.click()
    qtbot.waitUntil(lambda: not broken_off.exists())


def test_a_lost_finger_pauses_and_words_picture_gauge_and_tone_call_it_back(
    context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = make_page()
    sounds: list[str] = []
    monkeypatch.setattr(page.tone, "play", sounds.append)
    context.choose(tone=True)
    reading = begun(page, "finger", "settling", "reading")
    reading.show(moment("paused", AWAY, 30.0, picture=as_frame(webcam_finger(160, 120))))
    page._look()
    assert "28 s" in page.live.words.text()
    assert page.live.remaining.text() == "0:30"
    assert page.live.panel.isVisible()
    assert page.live.panel.picture._image is not None
    assert page.live.panel.covered.accessibleDescription() == "5 %, not yet as it should be"
    assert sounds == ["start", "pause"]
    reading.show(dataclasses.replace(moment("paused", AWAY, 30.0), time_s=62.0))  # ten seconds later
    page._look()
    assert sounds == ["start", "pause", "pause"]
    reading.show(moment("reading", kept_s=31.0))
    page._look()
    assert sounds[-1] == "start"
    assert page.live.wave.isVisible()


def test_space_in_half_sleep_ends_nothing(qtbot: QtBot, make_page: MakePage) -> None:
    page = make_page()
    reading = begun(page, "finger", "settling", "reading")
    for _ in range(3):
        press(qtbot, page)
        qtbot.keyClick(page.focusWidget(), Qt.Key.Key_Return)
    assert reading.wishes == ["start"]
    assert not page.live.stop_button.isVisible()


def test_ending_asks_and_keeps_going_on_at_hand(qtbot: QtBot, make_page: MakePage) -> None:
    page = make_page()
    reading = begun(page, "finger", "settling", "reading")
    assert not page.live.end_button.hasFocus()
    page.live.end_button.click()
    assert page.live.go_on.hasFocus()
    assert page.live.stop_button.isVisible()
    assert page.live.discard_button.isVisible()
    press(qtbot, page)
    assert reading.wishes == ["start"]
    assert not page.live.stop_button.isVisible()
    page.live.end_button.click()
    page.live.discard_button.click()
    assert reading.wishes == ["start", "discard"]
    reading.end("it was stopped", kept_s=12.0)
    page._look()
    assert page.stack.currentWidget() is page.start


def test_stop_keeps_what_there_is_and_a_short_one_is_not_usable(context: AppContext, make_page: MakePage) -> None:
    page = make_page()
    page.live.begin(rehearsing=True)
    reading = begun(page, "finger", "settling", "reading")
    page.live.end_button.click()
    assert "save" in page.live.stop_button.text(), "a rehearsal before leaves no words behind"
    page.live.stop_button.click()
    assert reading.wishes[-1] == "stop"
    reading.keep(short(), "it was stopped", kept_s=12.0)
    page._look()
    (saved,) = context.journal.readings()
    assert not saved.verdict.usable
    assert page.result.verdict.text() == "Not usable: measure again"
    assert page.result.take_again.hasFocus()
    assert page.result.take_again.property("class") == "main"


def test_going_back_while_settling_saves_nothing(qtbot: QtBot, context: AppContext, make_page: MakePage) -> None:
    page = make_page()
    reading = begun(page, "finger", "settling")
    press(qtbot, page)
    assert reading.wishes == ["start"]
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    assert reading.wishes[-1] == "cancel"
    reading.end("it was stopped", kept_s=0.0)
    page._look()
    assert page.stack.currentWidget() is page.start
    assert not page.start._trouble_sheet.isVisible()
    assert context.journal.readings() == []


def test_without_a_camera_the_window_has_its_own_ways_out(make_page: MakePage) -> None:
    page = make_page()
    wanted: list[tuple[str, object]] = []
    page.context.wanted.connect(lambda key, what: wanted.append((key, what)))
    begun(page).end("there is no camera 0", broken=True, kept_s=0.0)
    page._look()
    assert page.start.trouble.text() == "There is no camera 0."
    page.start._list.click()
    assert wanted == [("settings", "cameras")]
    page.start._instead.click()
    assert FakeReading.last.order.open_source().about.invented


def test_what_went_wrong_is_in_sight_on_a_page_that_was_scrolled(qtbot: QtBot, make_page: MakePage) -> None:
    page = make_page()
    page.context.choose(text_percent=200)
    page.resize(700, 400)
    page.start.show_trouble("There is no camera.")
    bar = page.start._page.verticalScrollBar()
    qtbot.waitUntil(lambda: bar.maximum() > 300)
    bar.setValue(bar.maximum())
    assert page.start.trouble.visibleRegion().isEmpty()
    page.start.show_trouble("There is no camera.")
    assert not page.start.trouble.visibleRegion().isEmpty()


def test_what_the_terminal_says_of_a_missing_camera_stays_in_the_terminal(qtbot: QtBot, context: AppContext) -> None:
    def refuse() -> FrameSource:
        raise NoCameraError("there is no camera 0", "`dawnbeat cameras` lists those that are there")

    page = ReadPage(context, open_source=refuse)
    qtbot.addWidget(page)
    page.show()
    page.start.main.click()
    qtbot.waitUntil(lambda: page.capture is None)
    assert page.start.trouble.text() == "There is no camera 0."


def test_a_source_for_this_once_goes_before_the_chosen_one(
    context: AppContext, make_page: MakePage, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    asked: list[str] = []
    monkeypatch.setattr(sources, "open_source", lambda words, **more: asked.append(words))
    context.source = "http://127.0.0.1:9/video"
    page = make_page()
    assert page.start.source.text() == context.source
    begun(page).order.open_source()
    assert asked == [context.source]
    FakeReading.last.end("it was stopped", kept_s=0.0)
    page._look()
    recording = write_recording(tmp_path / "mine", cut(0.0, 30.0), {"began": "2025-03-01T06:30:00+01:00"})
    context.source = str(recording)
    assert begun(page).order.began == datetime.fromisoformat("2025-03-01T06:30:00+01:00")
    assert context.store.load() == context.choices == Choices()


def test_another_page_lets_the_camera_go_while_the_finger_is_placed_but_not_a_reading(make_page: MakePage) -> None:
    page = make_page()
    waiting = begun(page, "finger")
    page.hidden()
    assert waiting.wishes == ["start", "cancel"]
    waiting.end("it was stopped", kept_s=0.0)
    page._look()
    reading = begun(page, "finger", "settling", "reading")
    assert reading.after is waiting
    page.hidden()
    assert reading.wishes == ["start"]


def test_a_rehearsal_is_shown_but_not_saved(context: AppContext, make_page: MakePage) -> None:
    page = make_page()
    page.start.rehearsal.setChecked(True)
    reading = begun(page, "finger", "settling", "reading")
    assert reading.home is None
    assert reading.order.open_source().about.invented
    assert "kept" not in str(page.busy()), "closing promises nothing that isn't so"
    stop, leave = page.live.stop_button, page.live.discard_button
    assert "save" not in stop.text()
    assert "nothing of it is saved" in stop.toolTip()
    assert stop.toolTip().endswith("(S)")
    assert leave.toolTip().endswith("(X)")
    assert "delete" not in leave.toolTip(), "there is nothing to delete"
    assert "rehearsal" in page.live.question.text()
    reading.keep()
    page._look()
    assert context.journal.readings() == []
    assert "nothing of it is saved" in page.result.paragraph.text()
    assert not page.result.bin.isVisible()


def test_a_shipped_sample_that_is_dropped_is_shown_and_not_saved(context: AppContext, make_page: MakePage) -> None:
    page = make_page()
    page.begin_file(shipped_recording("calm-morning"), datetime.now().astimezone())
    reading = FakeReading.last
    assert reading.order.open_source().about.invented
    reading.home = None  # as BackgroundReading does with such light
    reading.keep()
    page._look()
    assert context.journal.readings() == []
    assert "This light is invented" in page.result.paragraph.text()


def test_the_delay_from_the_frame_to_the_painting_is_counted(qtbot: QtBot, make_page: MakePage) -> None:
    page = make_page()
    picture = as_frame(webcam_finger(160, 120))
    reading = begun(page, "finger")
    for number in range(3):
        painted = page.figures.painted
        reading.show(moment("finger", AWAY, kept_s=float(number), picture=picture))
        page._look()
        qtbot.waitUntil(lambda painted=painted: page.figures.painted > painted)
    assert page.context.live_figures is page.figures
    assert page.figures.delay is not None


def test_letters_alone_lead_through_a_reading(qtbot: QtBot, make_page: MakePage) -> None:
    page = make_page()
    qtbot.waitUntil(page.isActiveWindow)
    qtbot.keyClick(page, Qt.Key.Key_B)
    FakeReading.last.show(moment("finger", AWAY))
    page._look()
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    assert FakeReading.last.wishes[-1] == "cancel"
    FakeReading.last.end("it was stopped", kept_s=0.0)
    page._look()
    qtbot.keyClick(page, Qt.Key.Key_B)
    FakeReading.last.show(moment("finger", AWAY))
    page._look()
    qtbot.keyClick(page, Qt.Key.Key_S)
    assert FakeReading.last.wishes[-1] == "begin now"
    FakeReading.last.show(moment("reading"))
    page._look()
    qtbot.keyClick(page, Qt.Key.Key_S)
    assert FakeReading.last.wishes[-1] == "begin now"
    qtbot.keyClick(page, Qt.Key.Key_E)
    qtbot.keyClick(page, Qt.Key.Key_S)
    assert FakeReading.last.wishes[-1] == "stop"
    FakeReading.last.keep()
    page._look()
    qtbot.keyClick(page, Qt.Key.Key_D)
    qtbot.waitUntil(lambda: page.stack.currentWidget() is page.start)


def test_the_start_keeps_length_and_posture_and_the_reading_obeys(context: AppContext, make_page: MakePage) -> None:
    page = make_page()
    page.start._lengths.buttons()[2].click()
    page.start._postures.buttons()[1].click()
    assert (context.choices.duration_s, context.choices.posture) == (180, "sitting")
    order = begun(page).order
    assert (order.plan.duration_s, order.posture) == (180.0, "sitting")


def test_the_theme_and_large_text_reach_every_view(context: AppContext, make_page: MakePage) -> None:
    page = make_page()
    begun(page, "finger", "settling", "reading").keep()
    page._look()
    context.choose(theme="dark", text_percent=200)
    for view in (page.start, page.finger, page.live, page.result):
        page.stack.setCurrentWidget(view)
        assert not view.grab().isNull()
    assert page.live.remaining.font().pointSizeF() > 2 * theme.BASE_PT
