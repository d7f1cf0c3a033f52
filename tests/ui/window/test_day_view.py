from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from dawnbeat.journal.hand_edits import edits_of
from dawnbeat.journal.store import Journal
from dawnbeat.morning.revising import beside, figures_with, review, settings_of
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.reading import Intervals
from dawnbeat.shared.settings import Settings
from dawnbeat.ui.window.mornings.day_view import DayView
from dawnbeat.ui.window.parts.context import AppContext


@pytest.fixture
def view(qtbot: QtBot, context: AppContext, recorded: StoredReading) -> Iterator[DayView]:
    made = DayView(context)
    qtbot.addWidget(made)
    made.resize(1000, 760)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow)
    context.journal_changed.connect(made.refresh)
    made.show_reading(recorded)
    qtbot.waitUntil(lambda: made.reviewed is not None)
    yield made
    context.background.stop()


def kept_beat(view: DayView) -> int:
    assert view.intervals is not None
    kept = view.intervals.kept
    return int(np.flatnonzero(kept[1:] & kept[:-1])[5]) + 1


def test_the_recording_is_drawn_with_its_beats_and_intervals(view: DayView, recorded: StoredReading) -> None:
    assert view.intervals is not None
    plots = view.plots
    assert plots.light.isVisible()
    assert plots._kept.data.size == view.intervals.kept.sum()
    drawn = plots._kept_beats.data.size + plots._other_beats.data.size
    assert drawn == len(view.intervals) + 1
    assert "movement" in plots.legend.text()
    assert f"{recorded.metrics.mean_hr_bpm:.1f} bpm" in view.figures.text()
    assert "ms" in view.figures.text()


def test_without_a_recording_only_the_intervals_are_shown(
    qtbot: QtBot, context: AppContext, one_reading: Journal
) -> None:
    made = DayView(context)
    qtbot.addWidget(made)
    made.show()
    made.show_reading(one_reading.readings()[0])
    assert not made.plots.light.isVisible()
    assert made.plots.intervals.isVisible()
    assert "not in the journal" in made.about.text()
    made.choose(10)
    made.leave_out()
    assert len(edits_of(one_reading, one_reading.readings()[0].id)) == 1
    context.background.stop()


def test_a_beat_left_out_by_key_changes_the_figures_and_undo_brings_them_back(
    qtbot: QtBot, view: DayView, recorded: StoredReading, journal: Journal
) -> None:
    beat = kept_beat(view)
    view.choose(beat)
    view.reason.setCurrentText("weak pulse")
    qtbot.keyClick(view, Qt.Key.Key_L)
    after = journal.reading(recorded.id)
    assert journal.intervals(recorded.id).left_out[beat - 1 : beat + 1] == ("weak pulse", "weak pulse")
    assert after.metrics.rmssd_ms != recorded.metrics.rmssd_ms
    assert f"{after.metrics.rmssd_ms:.1f} ms" in view.figures.text()
    assert "Changed by hand once, 2 intervals" in view.about.text()
    view.context.undo.undo()
    assert journal.reading(recorded.id) == recorded
    view.context.undo.redo()
    assert journal.reading(recorded.id) == after


def test_a_beat_that_was_left_out_can_count_again(
    qtbot: QtBot, view: DayView, recorded: StoredReading, journal: Journal
) -> None:
    assert view.intervals is not None
    out = next(place for place, reason in enumerate(view.intervals.left_out) if reason == "movement")
    view.choose(out)
    assert view.in_button.isEnabled()
    qtbot.keyClick(view, Qt.Key.Key_U)
    assert journal.intervals(recorded.id).left_out[out] is None
    qtbot.keyClick(view, Qt.Key.Key_R, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
    assert journal.reading(recorded.id) == recorded
    assert not view.all_back_button.isEnabled()


def test_leaving_out_most_of_a_reading_makes_it_not_usable(
    view: DayView, recorded: StoredReading, journal: Journal
) -> None:
    assert recorded.verdict.usable
    beat = 2
    while journal.reading(recorded.id).verdict.usable and beat < view.plots.beats_s.size - 2:
        view.choose(beat)
        if view.out_button.isEnabled():
            view.leave_out()
        beat += 3
    verdict = journal.reading(recorded.id).verdict
    assert not verdict.usable
    assert verdict.findings[0].code in ("little_kept", "left_out_by_hand")
    assert "Not usable" in view.verdict.text()


def test_beats_are_chosen_by_key(qtbot: QtBot, view: DayView) -> None:
    qtbot.keyClick(view, Qt.Key.Key_Period)
    assert view.beat == 0
    qtbot.keyClick(view.plots.intervals.canvas, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert view.beat == 1
    qtbot.keyClick(view, Qt.Key.Key_Comma)
    assert view.beat == 0
    assert "Beat 1 of" in view.chosen.text()
    view.plots.intervals.pressed.emit(float(view.plots.beats_s[7]) + 0.05, 0.0)
    assert view.beat == 7


def test_unchanged_intervals_give_the_figures_of_the_analysis(recorded: StoredReading, journal: Journal) -> None:
    from dawnbeat.capture.recording import read_recording

    assert recorded.recording is not None
    trace = read_recording(journal.home / recorded.recording).trace
    reviewed = review(trace, settings_of(recorded, Settings()))
    figures = figures_with(recorded, reviewed)(journal.intervals(recorded.id))
    assert figures.metrics == recorded.metrics
    # The file rounds colours and times, so the timing error differs in the sixth digit.
    for name, bounds in recorded.intervals95.items():
        assert figures.intervals95[name] == pytest.approx(bounds, rel=1e-5), name
    assert figures.verdict.usable == recorded.verdict.usable
    assert figures.timing_error_ms == pytest.approx(recorded.timing_error_ms, rel=1e-3)


def test_the_intervals_of_a_beat_are_those_on_both_sides() -> None:
    intervals = Intervals(np.arange(4.0), np.full(4, 1000.0), (None, "movement", "gap", None))
    assert beside(0, intervals, "movement") == {0: "movement"}
    assert beside(1, intervals, "weak pulse") == {0: "weak pulse"}
    assert beside(1, intervals, None) == {1: None}
    assert beside(2, intervals, None) == {1: None}
    with pytest.raises(DawnbeatError, match="counts already"):
        beside(3, intervals, None)
    with pytest.raises(DawnbeatError, match="left out already"):
        beside(2, intervals, "movement")


def test_settings_of_another_version_are_read_as_far_as_they_are_known(recorded: StoredReading) -> None:
    from dataclasses import replace

    other = replace(recorded, settings_json='{"highpass_hz": 0.7, "moonlight": 3}')
    assert settings_of(other, Settings()) == Settings(highpass_hz=0.7)
    assert settings_of(replace(recorded, settings_json="{"), Settings(lowpass_hz=9.0)) == Settings(lowpass_hz=9.0)
