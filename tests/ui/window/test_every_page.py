from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractSpinBox, QComboBox, QSlider, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from tests.ui.window.every_page import make_every_page
from tests.ui.window.test_controls import turn, value_of


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
