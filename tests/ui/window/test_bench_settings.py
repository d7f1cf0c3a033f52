from __future__ import annotations

import dataclasses
import stat
import sys
from pathlib import Path

import pytest
from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtWidgets import QApplication, QComboBox, QDoubleSpinBox, QFileDialog, QLabel
from pytestqt.qtbot import QtBot

from dawnbeat.shared.settings import Settings, settings_from_toml, settings_to_toml
from dawnbeat.ui.window.bench.settings import SettingsPanel, plain_name, step_of
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.layouts import Scrolled
from tests.ui.window.conftest import shown


@pytest.fixture
def panel(qtbot: QtBot, context: AppContext) -> SettingsPanel:
    made = SettingsPanel(context)
    qtbot.addWidget(made)
    made.show()
    return made


def number(panel: SettingsPanel, name: str) -> QDoubleSpinBox:
    editor = panel.controls[name].editor
    assert isinstance(editor, QDoubleSpinBox)
    return editor


def test_every_parameter_has_a_control_with_unit_range_and_name(panel: SettingsPanel) -> None:
    assert list(panel.controls) == [each.name for each in dataclasses.fields(Settings)]
    for parameter in dataclasses.fields(Settings):
        control, about = panel.controls[parameter.name], parameter.metadata
        assert plain_name(parameter.name) in control.editor.accessibleName()
        assert parameter.name in control.editor.toolTip()
        assert "_" not in control.title
        assert about["meaning"] in control.editor.accessibleName()
        if "choices" in about:
            assert isinstance(control.editor, QComboBox)
            assert [control.editor.itemText(i) for i in range(control.editor.count())] == list(about["choices"])
            continue
        editor = number(panel, parameter.name)
        assert (editor.minimum(), editor.maximum()) == (about["low"], about["high"])
        assert editor.suffix().strip() == about["unit"]
        assert f"{about['low']:g} to {about['high']:g}" in control.range


def test_steps_are_round_and_cross_the_range_in_some_dozens() -> None:
    for parameter in dataclasses.fields(Settings):
        if "low" in parameter.metadata:
            low, high = parameter.metadata["low"], parameter.metadata["high"]
            step = step_of(low, high)
            assert 30 <= (high - low) / step <= 130
            assert f"{step:e}"[0] in "125"


def test_a_change_by_key_arrives_is_marked_and_can_be_reset(qtbot: QtBot, panel: SettingsPanel) -> None:
    editor, control = number(panel, "lowpass_hz"), panel.controls["lowpass_hz"]
    with qtbot.waitSignal(panel.changed) as caught:
        qtbot.keyClick(editor, Qt.Key.Key_Up)
    assert caught.args == [panel.settings]
    assert panel.settings.lowpass_hz > 8.0
    assert control.differs
    assert "usually 8 Hz" in control.mark.text()
    assert panel.summary.text().startswith("1 differs")
    control.back.setFocus()
    qtbot.keyClick(control.back, Qt.Key.Key_Space)
    assert panel.settings == Settings()
    assert not control.mark.text()
    assert not control.back.isEnabled()


def test_the_slider_moves_the_same_value(panel: SettingsPanel) -> None:
    slider = panel.controls["min_likeness"].slider
    assert slider is not None
    slider.setValue(slider.maximum())
    assert panel.settings.min_likeness == 1.0
    slider.setValue(slider.minimum())
    assert panel.settings.min_likeness == 0.0
    assert number(panel, "min_likeness").value() == 0.0


def test_settings_stay_exact_whatever_a_control_can_show(panel: SettingsPanel) -> None:
    exact = dataclasses.replace(Settings(), lowpass_hz=7.123456789012, max_gap_s=1)
    panel.put(exact, "exact")
    number(panel, "rhythm_cost").setValue(1.5)
    assert panel.settings == dataclasses.replace(exact, rhythm_cost=1.5)


def test_undo_takes_steps_at_one_parameter_back_together(panel: SettingsPanel, context: AppContext) -> None:
    for value in (7.0, 6.0, 5.0):
        number(panel, "lowpass_hz").setValue(value)
    number(panel, "rhythm_cost").setValue(2.0)
    context.undo.undo()
    assert panel.settings == dataclasses.replace(Settings(), lowpass_hz=5.0)
    context.undo.undo()
    assert panel.settings == Settings()
    context.undo.redo()
    assert number(panel, "lowpass_hz").value() == 5.0


def test_reset_all_can_be_undone(qtbot: QtBot, panel: SettingsPanel, context: AppContext) -> None:
    number(panel, "lowpass_hz").setValue(5.0)
    panel.controls["channel"].editor.setCurrentText("red")  # type: ignore[union-attr]
    panel.reset.click()
    assert panel.settings == Settings()
    assert not panel.reset.isEnabled()
    context.undo.undo()
    assert panel.settings == dataclasses.replace(Settings(), lowpass_hz=5.0, channel="red")


def test_parameters_are_found_by_name_and_meaning(panel: SettingsPanel) -> None:
    panel.sought.setText("timing error")
    assert [name for name, control in panel.controls.items() if control.isVisible()] == [
        "max_beat_error_ms",
        "max_timing_share",
    ]
    panel.sought.clear()
    number(panel, "lowpass_hz").setValue(5.0)
    panel.only.setChecked(True)
    assert [name for name, control in panel.controls.items() if control.isVisible()] == ["lowpass_hz"]


def test_saved_settings_are_what_replay_reads(
    panel: SettingsPanel, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    number(panel, "lowpass_hz").setValue(5.5)
    path = tmp_path / "tuned.toml"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(path), ""))
    panel.save.click()
    assert settings_from_toml(path) == panel.settings
    if sys.platform != "win32":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_settings_are_loaded_and_a_bad_file_changes_nothing(
    panel: SettingsPanel, context: AppContext, tmp_path: Path
) -> None:
    wanted = dataclasses.replace(Settings(), rhythm_cost=1.25)
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    good.write_text(settings_to_toml(wanted))
    bad.write_text("rhythm_cost = 99\n")
    panel.load_from(good)
    assert panel.settings == wanted
    panel.load_from(bad)
    assert panel.settings == wanted
    assert "rhythm_cost" in context.last_said


def test_the_bench_begins_with_what_readings_use(qtbot: QtBot, context: AppContext) -> None:
    mine = dataclasses.replace(Settings(), lowpass_hz=6.0)
    context.make_detection_default(mine)
    panel = SettingsPanel(context)
    qtbot.addWidget(panel)
    assert panel.settings == mine
    assert panel.differing == ["lowpass_hz"]
    assert not panel.default.isEnabled()


@pytest.mark.usefixtures("qapp")
def test_no_words_of_a_parameter_are_drawn_cut_while_more_are_made(qtbot: QtBot, context: AppContext) -> None:
    context.choose(text_percent=200)
    panel = SettingsPanel(context)
    cut: list[list[str]] = []

    class Watch(QObject):
        def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  Qt's name
            if event.type() == QEvent.Type.Paint:
                labels = [each for each in watched.findChildren(QLabel) if each.isVisible() and each.text()]
                cut.append([each.text() for each in labels if each.height() < each.heightForWidth(each.width())])
            return False

    watch = Watch()
    shown(qtbot, panel, 560, 900)
    assert panel._unmade
    panel._list.installEventFilter(watch)
    qtbot.waitUntil(lambda: not panel._unmade)
    qtbot.waitUntil(lambda: panel._list.height() > 3000)
    QApplication.processEvents()
    assert cut
    assert not any(cut)


def test_the_list_is_no_higher_in_the_page_than_it_needs_there(qtbot: QtBot, context: AppContext) -> None:
    panel = SettingsPanel(context)
    page = Scrolled(panel)
    shown(qtbot, page, 300, 400)
    assert len(panel.controls) == len(dataclasses.fields(Settings))
    QApplication.processEvents()
    narrow_px = panel._list.height()
    page.resize(1200, 400)
    panel.spread(True)
    panel.sought.setText("no such parameter")  # measured again
    panel.sought.clear()
    QApplication.processEvents()
    column = panel._list.layout()
    assert column is not None
    wide_px = column.totalHeightForWidth(panel._list.width())
    assert wide_px < narrow_px
    assert panel._list.height() <= wide_px + 1
