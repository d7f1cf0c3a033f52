from __future__ import annotations

import csv
import dataclasses
import threading
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QAbstractButton, QAbstractSpinBox, QComboBox, QLineEdit, QTableView, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.capture.recording import read_recording, write_recording
from dawnbeat.capture.trace_csv import read_times_csv
from dawnbeat.morning.background import LiveFigures
from dawnbeat.morning.bench_text import beats_csv, intervals_csv
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.settings import Settings, settings_from_toml
from dawnbeat.shared.trace import Trace
from dawnbeat.ui.window.bench.compare import NO_REFERENCE, OPINION, REFERENCE
from dawnbeat.ui.window.bench.page import BenchPage
from dawnbeat.ui.window.bench.scoring import DefaultDialog
from dawnbeat.ui.window.bench.settings import plain_name
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.background import Background, Newest, Task
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.main_window import MainWindow
from tests.ui.window.conftest import shown

SAMPLES = Path(__file__).parents[3] / "recordings"


@pytest.fixture
def page(qtbot: QtBot, context: AppContext) -> Iterator[BenchPage]:
    made = BenchPage(context)
    qtbot.addWidget(made)
    made.resize(1150, 760)
    made.show()
    made.shown()
    yield made
    made.closing()


def open_sample(qtbot: QtBot, page: BenchPage, name: str) -> None:
    page.open([SAMPLES / name])
    qtbot.waitUntil(lambda: page.run is not None and page.run.recording.name == name)
    qtbot.waitUntil(lambda: not page.context.background.busy)


def test_only_what_runs_and_the_newest_wish_are_worked_on(qtbot: QtBot) -> None:
    background, go, done = Background(), threading.Event(), []
    newest = Newest(background, done.append, done.append, background)

    def make(number: int) -> Any:
        def work(_task: Task) -> int:
            go.wait(5)
            return number

        return work

    for number in range(10):
        newest.want(make(number))
    go.set()
    qtbot.waitUntil(lambda: not newest.busy)
    assert done == [0, 9]


def test_what_was_dropped_never_arrives(qtbot: QtBot) -> None:
    background, go, done = Background(), threading.Event(), []
    newest = Newest(background, done.append, done.append, background)
    newest.want(lambda _task: (go.wait(5), "old"))
    newest.drop()
    newest.want(lambda _task: "new")
    go.set()
    qtbot.waitUntil(lambda: not newest.busy)
    assert done == ["new"]


def test_a_recording_is_opened_and_drawn(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "motion-burst")
    assert page.verdict.text().startswith("<b>Usable</b>")
    assert "RMSSD" in page.figures.text()
    assert "movement" in page.views.traces.legend.text()
    low, high = page.views.traces.raw.visible_x()
    assert (low, high) == pytest.approx((0.0, 10.0), abs=0.1), "a stretch that can be read"
    page.views.traces.show_length(None)
    low, high = page.views.traces.raw.visible_x()
    assert low <= 0.0 < 139.0 <= high


def test_the_view_goes_where_it_is_told(qtbot: QtBot, page: BenchPage, context: AppContext) -> None:
    open_sample(qtbot, page, "motion-burst")
    traces = page.views.traces
    traces.show_length(20.0)
    for text, at_s in (("1:10", 70.0), ("90", 90.0)):
        traces.jump.setText(text)
        qtbot.keyClick(traces.jump, Qt.Key.Key_Return)
        low, high = traces.raw.visible_x()
        assert ((low + high) / 2, high - low) == pytest.approx((at_s, 20.0), abs=0.2)
    traces.jump.setText("noon")
    qtbot.keyClick(traces.jump, Qt.Key.Key_Return)
    assert "no time" in context.last_said
    traces.whole.pressed.emit(30.0, 0.0)
    assert sum(traces.raw.visible_x()) / 2 == pytest.approx(30.0, abs=0.2)


def test_what_was_left_out_is_shaded_and_the_wave_can_keep_its_scale(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "motion-burst")
    assert page.run is not None
    intervals = page.run.analysis.intervals
    lost = np.flatnonzero(~intervals.kept)
    left = page.views.traces._whole_shade.path().boundingRect().left()
    assert left == pytest.approx(intervals.start_s[lost[0]])
    heights = []
    for choice in range(3):
        page.views.traces.scale.setCurrentIndex(choice)
        low, high = page.views.traces.wave.box.viewRange()[1]
        heights.append(high - low)
    assert heights[0] < heights[1]
    assert heights[2] == pytest.approx(heights[1] / 2)


def test_a_change_is_shown_against_what_readings_use(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "calm-morning")
    assert page.views.traces.before is None
    page.panel.controls["channel"].editor.setCurrentText("blue")  # type: ignore[union-attr]
    qtbot.waitUntil(lambda: page.views.traces.before is not None)
    assert page.views.traces.before is not None
    assert page.views.traces.before.settings == Settings()
    assert "→" in page.figures.text()
    assert page.views.traces._before_beats.getData()[0].size == len(page.views.traces.before.analysis.beats)
    page.panel.reset.click()
    qtbot.waitUntil(lambda: page.views.traces.before is None)
    assert page.views.traces._before_beats.getData()[0].size == 0


def test_beats_and_intervals_are_saved_for_other_programs(
    qtbot: QtBot, page: BenchPage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_sample(qtbot, page, "motion-burst")
    assert page.run is not None
    analysis = page.run.analysis
    for what, text_of in (("beats", beats_csv), ("intervals", intervals_csv)):
        path = tmp_path / f"{what}.csv"
        monkeypatch.setattr(saving, "ask_save", lambda *_, path=path: path)
        page.save_csv(what, text_of)
    np.testing.assert_allclose(read_times_csv(tmp_path / "beats.csv"), analysis.beats.time_s, atol=1e-6)
    rows = list(csv.DictReader((tmp_path / "intervals.csv").open()))
    assert [float(row["interval_ms"]) for row in rows] == pytest.approx(list(analysis.intervals.interval_ms), abs=1e-3)
    assert [row["left_out"] or None for row in rows] == list(analysis.intervals.left_out)


def test_what_was_open_lately_and_the_journals_own_are_offered(
    qtbot: QtBot, page: BenchPage, recorded: StoredReading, context: AppContext
) -> None:
    open_sample(qtbot, page, "calm-morning")
    offered = [path for _, path in page.lately()]
    assert offered[0] == SAMPLES / "calm-morning"
    assert offered[-1] == context.home / str(recorded.recording)
    again = BenchPage(context)
    qtbot.addWidget(again)
    assert [path for _, path in again.lately()] == offered


def test_tuning_that_stands_nowhere_is_asked_about(page: BenchPage, tmp_path: Path) -> None:
    assert page.unsaved() is None
    page.panel.controls["lowpass_hz"].editor.setValue(5.0)  # type: ignore[union-attr]
    assert "saved nowhere" in str(page.unsaved())
    file = tmp_path / "mine.toml"
    file.write_text("lowpass_hz = 5.0\n")
    page.panel.load_from(file)
    assert page.unsaved() is None


def test_all_plots_over_time_move_together(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "calm-morning")
    page.views.traces.intervals.show_x(20.0, 40.0)
    for plot in page.views.traces.plots:
        assert plot.visible_x() == pytest.approx((20.0, 40.0), abs=0.2)
    assert page.views.shape.seconds == pytest.approx((20.0, 40.0), abs=0.2)


def test_a_changed_parameter_changes_the_result(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "calm-morning")
    page.views.traces.raw.show_x(20.0, 40.0)
    before = page.run
    page.panel.controls["channel"].editor.setCurrentText("blue")  # type: ignore[union-attr]
    qtbot.waitUntil(lambda: page.run is not before)
    assert page.run is not None
    assert page.run.analysis.channel == "blue"
    assert page.views.traces.raw.visible_x() == pytest.approx((20.0, 40.0))


def test_beats_are_chosen_by_key_and_told(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "motion-burst")
    canvas = page.views.traces.wave.canvas
    qtbot.keyClick(canvas, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    first = page.views.traces.beat
    qtbot.keyClick(canvas, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert first is not None
    assert page.views.traces.beat == first + 1
    assert page.views.traces.readout.text().startswith(f"Beat {first + 2} of ")
    page.views.traces.choose(None)
    page.activateWindow()
    canvas.setFocus()
    qtbot.waitUntil(canvas.hasFocus)
    qtbot.keyClick(canvas, Qt.Key.Key_J)
    qtbot.waitUntil(lambda: page.views.traces.beat is not None)  # Qt lets the button be seen to go down first
    assert page.run is not None
    assert page.views.traces.beat == int(np.flatnonzero(~page.run.analysis.intervals.kept)[0]) + 1
    assert "left out: movement" in page.views.traces.readout.text()


def test_a_view_is_made_when_it_is_first_looked_at(qtbot: QtBot, page: BenchPage) -> None:
    assert page.views.made <= {"traces"}
    open_sample(qtbot, page, "calm-morning")
    assert page.views.made == {"traces"}
    page.views.traces.raw.show_x(20.0, 30.0)
    page.views.traces.choose(24)
    page.views.show_view("shape")
    assert page.views.made == {"traces", "shape"}
    qtbot.waitUntil(lambda: page.views.shape.edges is not None)
    assert page.views.shape.seconds == pytest.approx((20.0, 30.0), abs=0.2)
    assert "beat 25 is chosen" in page.views.shape.told.text()
    page.views.show_view("compare")
    qtbot.waitUntil(lambda: page.views.compare.found is not None)
    page.views.show_view("scoring")
    assert page.views.scoring.settings == page.panel.settings


def test_the_plots_of_the_traces_are_made_while_the_window_has_nothing_to_do(qtbot: QtBot, context: AppContext) -> None:
    page = BenchPage(context)
    qtbot.addWidget(page)
    page.shown()
    assert page.views.made == set()
    qtbot.waitUntil(lambda: page.views.made == {"traces"})
    assert not page.views.traces.isVisibleTo(page), "nothing is drawn yet"


def test_edges_and_spectrum_are_worked_out_only_while_seen(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "calm-morning")
    assert page.views.shape.edges is None
    page.views.show_view("shape")
    qtbot.waitUntil(lambda: page.views.shape.edges is not None and page.views.shape.spectrum is not None)
    page.views.traces.raw.show_x(20.0, 30.0)
    qtbot.waitUntil(lambda: page.views.shape.edges is not None and page.views.shape.edges.rows.shape[0] < 12)
    page.views.traces.choose(20)
    assert "beat 21 is chosen" in page.views.shape.told.text()


def test_recordings_are_stepped_through_by_key(qtbot: QtBot, page: BenchPage) -> None:
    page.open([SAMPLES / "calm-morning", SAMPLES / "slow-heart"])
    qtbot.waitUntil(lambda: page.run is not None)
    assert page.paths == [SAMPLES / "calm-morning", SAMPLES / "slow-heart"]
    page.later.click()
    qtbot.waitUntil(lambda: page.run is not None and page.run.recording.name == "slow-heart")
    assert not page.later.isEnabled()
    assert page.earlier.isEnabled()


def test_dropped_files_and_folders_are_opened(qtbot: QtBot, page: BenchPage) -> None:
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile(str(SAMPLES / "calm-morning")), QUrl.fromLocalFile(str(SAMPLES / "poor-light"))])
    where = (Qt.DropAction.CopyAction, mime, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)
    enter = QDragEnterEvent(QPoint(300, 300), *where)
    page.dragEnterEvent(enter)
    assert enter.isAccepted()
    page.dropEvent(QDropEvent(QPointF(300, 300), *where))
    qtbot.waitUntil(lambda: page.run is not None)
    assert [path.name for path in page.paths] == ["calm-morning", "poor-light"]


def seen_px(plots: Iterable[QWidget]) -> int:
    """How many pixels of height are in sight, all together."""
    return sum(plot.visibleRegion().boundingRect().height() for plot in plots)


@pytest.mark.parametrize(("width", "height"), [(1024, 700), (1366, 768)])
def test_with_large_text_in_a_small_window_the_plots_come_first_and_the_parameters_have_a_tab(
    qtbot: QtBot, context: AppContext, width: int, height: int
) -> None:
    context.choose(met=True, text_percent=200)
    window = MainWindow(context, "bench")
    shown(qtbot, window, width, height)
    context.go("bench", SAMPLES / "motion-burst")
    page = window.pages["bench"]
    assert isinstance(page, BenchPage)
    qtbot.waitUntil(lambda: page.run is not None and not context.background.busy)
    views = page.views
    qtbot.waitUntil(lambda: seen_px(views.traces.plots) >= 200)
    views.show_view("shape")
    qtbot.waitUntil(lambda: seen_px([views.shape.edge]) >= 200)
    views.show_view("compare")
    qtbot.waitUntil(lambda: seen_px([views.compare.plot]) >= 200)
    assert views.indexOf(page.panel) == views.count() - 1
    assert not page.aside.isVisible()
    for place in (0, views.indexOf(page.panel)):
        views.setCurrentIndex(place)
        page.chooser.setFocus()
        reached: set[QWidget] = set()
        while (focused := window.focusWidget()) not in reached:
            reached.add(focused)
            window.focusNextChild()
            qtbot.wait(1)
            if page.isAncestorOf(window.focusWidget()):
                assert not window.focusWidget().visibleRegion().isEmpty(), "the page scrolls to it"
        wanted: list[QWidget] = [control.editor for control in page.panel.controls.values()]
        if place == 0:
            wanted = [views.traces.colour, views.traces.jump, page.figures, *(p.canvas for p in views.traces.plots)]
        assert [each.accessibleName() for each in wanted if each not in reached] == []
    qtbot.waitUntil(lambda: page._left.horizontalScrollBar().maximum() == 0)
    context.choose(text_percent=100)
    qtbot.waitUntil(page.aside.isVisible)
    assert views.indexOf(page.panel) == -1
    assert page.aside.isAncestorOf(page.panel)


def test_what_cannot_be_read_is_said_in_one_sentence(qtbot: QtBot, page: BenchPage, tmp_path: Path) -> None:
    (tmp_path / "odd.csv").write_text("time_s,red\n1,2\n")
    page.open([tmp_path / "odd.csv"])
    qtbot.waitUntil(lambda: "green" in page.told.text())
    assert "\n" not in page.told.text()
    page.open([tmp_path / "empty"])
    qtbot.waitUntil(lambda: "empty" in page.told.text())
    open_sample(qtbot, page, "calm-morning")  # and the page goes on


def test_it_compares_with_the_reference(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "calm-morning")
    page.views.show_view("compare")
    page.views.compare.compare_with(REFERENCE)
    qtbot.waitUntil(lambda: page.views.compare.found is not None)
    assert page.views.compare.found is not None
    assert page.views.compare.found.matched_a == 1.0
    assert page.views.compare.values[0].text() == "100 %, 100 %"
    assert page.views.compare.plot.item.getAxis("right").isVisible()
    limits = page.views.compare.found.limits_of_agreement_ms
    assert limits is not None
    assert [at for at, _ in page.views.compare.plot.right] == pytest.approx(sorted(limits))


def test_it_compares_with_another_recording(qtbot: QtBot, page: BenchPage, tmp_path: Path) -> None:
    trace = read_recording(SAMPLES / "calm-morning").trace.between(20.0, None)
    later_s = float(trace.time_s[0])
    other = write_recording(tmp_path / "later", Trace(trace.time_s - later_s, trace.colour), {})
    page.open([SAMPLES / "calm-morning", other])
    qtbot.waitUntil(lambda: page.run is not None)
    page.views.show_view("compare")
    page.views.compare.compare_with(other)
    qtbot.waitUntil(lambda: page.views.compare.found is not None)
    assert page.views.compare.found is not None
    assert page.views.compare.found.lag_s == pytest.approx(-later_s, abs=0.01)
    assert page.views.compare.lag.isVisible()
    assert not page.views.compare.load.isVisible()


def test_it_compares_with_a_second_detector(qtbot: QtBot, page: BenchPage) -> None:
    pytest.importorskip("neurokit2")
    open_sample(qtbot, page, "calm-morning")
    page.views.show_view("compare")
    page.views.compare.compare_with(OPINION)
    qtbot.waitUntil(lambda: page.views.compare.found is not None and "neurokit2" in page.views.compare.told.text())
    assert page.views.compare.found is not None
    assert page.views.compare.found.matched_b == 1.0


def test_without_a_reference_it_says_so_and_takes_one(qtbot: QtBot, page: BenchPage, tmp_path: Path) -> None:
    bare = tmp_path / "bare.csv"
    bare.write_text((SAMPLES / "calm-morning" / "trace.csv").read_text())
    open_sample(qtbot, page, "calm-morning")
    page.open([bare])
    qtbot.waitUntil(lambda: page.run is not None and page.run.recording.path == bare)
    page.views.show_view("compare")
    assert page.views.compare.told.text() == NO_REFERENCE
    page.views.compare.load_reference(SAMPLES / "calm-morning" / "beats.csv")
    qtbot.waitUntil(lambda: page.views.compare.found is not None)


def test_readings_use_other_settings_only_after_confirmation(
    qtbot: QtBot, page: BenchPage, context: AppContext
) -> None:
    open_sample(qtbot, page, "calm-morning")
    page.panel.controls["lowpass_hz"].editor.setValue(5.0)  # type: ignore[union-attr]
    tuned = dataclasses.replace(Settings(), lowpass_hz=5.0)
    page.panel.default.click()
    dialog = page.findChild(DefaultDialog)
    assert dialog is not None
    assert not dialog.yes.isEnabled()
    assert dialog.settings_table.item(0, 0).text() == plain_name("lowpass_hz")  # type: ignore[union-attr]
    assert [dialog.settings_table.item(0, at).text() for at in (2, 3)] == ["8 Hz", "5 Hz"]  # type: ignore[union-attr]
    qtbot.waitUntil(dialog.yes.isEnabled)
    assert dialog.effect_table.item(0, 0).text() == "calm-morning"  # type: ignore[union-attr]
    assert "bpm" in dialog.effect_table.item(0, 1).text()  # type: ignore[union-attr]
    assert dialog.effect_table.item(0, 3).text() == "usable, as now"  # type: ignore[union-attr]
    dialog.no.click()
    assert context.detection == Settings()
    page.ask_default()
    again = next(each for each in page.findChildren(DefaultDialog) if each.isVisible())
    qtbot.waitUntil(again.yes.isEnabled)
    again.yes.click()
    assert context.detection == tuned
    assert settings_from_toml(context.store.detection_path) == tuned
    assert not page.panel.default.isEnabled()
    context.undo.undo()
    assert context.detection == Settings()


def test_without_recordings_the_confirmation_says_that_nothing_can_be_told(qtbot: QtBot, page: BenchPage) -> None:
    page.panel.controls["lowpass_hz"].editor.setValue(5.0)  # type: ignore[union-attr]
    page.ask_default()
    dialog = page.findChild(DefaultDialog)
    assert dialog is not None
    assert dialog.told.text().startswith("No recording is open")
    dialog.reject()


def test_it_shows_what_the_last_live_view_cost(page: BenchPage, context: AppContext) -> None:
    assert not page.live.isVisible()
    figures = LiveFigures()
    context.live_figures = figures
    page.shown()
    assert not page.live.isVisible()
    figures.frame_came(0.0, 0)
    figures.frame_came(0.1, 2)
    page.shown()
    assert page.live.isVisible()
    assert "2 dropped" in page.live.text()


def test_other_pages_can_hand_it_a_recording(qtbot: QtBot, context: AppContext) -> None:
    window = MainWindow(context, "bench")
    qtbot.addWidget(window)
    window.show()
    context.go("bench", SAMPLES / "tired-morning")
    page = window.pages["bench"]
    assert isinstance(page, BenchPage)
    qtbot.waitUntil(lambda: page.run is not None)
    qtbot.waitUntil(lambda: not context.background.busy)
    window.close()


def test_everything_that_takes_keys_has_a_name(qtbot: QtBot, page: BenchPage) -> None:
    open_sample(qtbot, page, "calm-morning")
    for kind in (QAbstractButton, QAbstractSpinBox, QComboBox, QLineEdit, QTableView):
        for widget in page.findChildren(kind):
            inside = isinstance(widget.parent(), QAbstractSpinBox | QComboBox | QLineEdit | QTableView)
            if widget.focusPolicy() != Qt.FocusPolicy.NoFocus and not inside:
                text = widget.text() if isinstance(widget, QAbstractButton) else ""
                assert widget.accessibleName() or text, widget
    keys = {key.keys for key in controls.overview()["Bench"]}
    assert {"Ctrl+O", "Ctrl+S", "Ctrl+U", "Ctrl+G", "J", "PgDown"} <= keys


def test_it_follows_the_theme_and_the_text_size(qtbot: QtBot, page: BenchPage, context: AppContext) -> None:
    open_sample(qtbot, page, "calm-morning")
    context.choose(theme="dark", text_percent=200)
    page.resize(640, 440)
    assert not page.grab().isNull()
    context.choose(theme="light", text_percent=100)
    assert not page.grab().isNull()
