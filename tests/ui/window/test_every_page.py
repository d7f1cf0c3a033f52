from __future__ import annotations

from datetime import date, timedelta

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractSpinBox, QComboBox, QSlider, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.main_window import MainWindow
from tests.ui.window.conftest import shown
from tests.ui.window.cut import cut_in
from tests.ui.window.every_page import make_every_page
from tests.ui.window.test_controls import turn, value_of
from tests.ui.window.tour import visit


def test_scrolling_over_a_page_changes_nothing_on_it(
    qtbot: QtBot, context: AppContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(controls, "_known", {})
    checked = 0
    for page in make_every_page(context):
        qtbot.addWidget(page)
        widgets: list[QWidget] = [
            *page.findChildren(QAbstractSpinBox),
            *page.findChildren(QComboBox),
            *page.findChildren(QSlider),
        ]
        for widget in widgets:
            before = value_of(widget)
            name = f"{type(page).__name__}: {widget.accessibleName()}"
            assert widget.focusPolicy() != Qt.FocusPolicy.WheelFocus, name
            assert not turn(widget, 1), name
            assert not turn(widget, -1), name
            assert value_of(widget) == before, name
            checked += 1
    assert checked > 25


@pytest.mark.parametrize("text_percent", [100, 200])
def test_on_a_small_screen_nothing_is_cut_covered_or_out_of_sight(
    qtbot: QtBot, context: AppContext, text_percent: int
) -> None:
    fill_with_invented_mornings(context.journal, date.today() - timedelta(days=1))
    fill_with_invented_runs(context.journal, date.today())
    context.choose(met=True, text_percent=text_percent)
    window = MainWindow(context, "read")
    shown(qtbot, window, 1024, 700)

    def rest() -> None:
        qtbot.wait(50)
        qtbot.waitUntil(lambda: not context.background.busy, timeout=20_000)
        qtbot.wait(50)

    seen, cut = 0, []
    for name, widget in visit(window, rest):
        seen += 1
        cut += [f"{name}: {what}" for what in cut_in(widget)]
    assert seen > 25
    assert not cut, "\n".join(cut)
