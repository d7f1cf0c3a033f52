from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from pytestqt.qtbot import QtBot

from dawnbeat.ui.palette import DARK, LIGHT
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.plots import Band, Ink, Plot


@pytest.fixture
def plot(qtbot: QtBot, context: AppContext) -> Plot:
    made = Plot(context, "A plot", ("Time", "s"), ("Interval", "ms"))
    qtbot.addWidget(made)
    made.resize(600, 300)
    made.show()
    return made


def test_axes_carry_their_units(plot: Plot) -> None:
    assert "Time, s" in plot.item.getAxis("bottom").labelText
    assert "Interval, ms" in plot.item.getAxis("left").labelText


def test_everything_drawn_follows_the_theme(plot: Plot, context: AppContext) -> None:
    curve = plot.line(Ink("accent"), [0, 1, 2], [1, 2, 3])
    context.choose(theme="light")
    assert QColor(curve.opts["pen"].color()) == QColor(LIGHT.accent)
    context.choose(theme="dark")
    assert QColor(curve.opts["pen"].color()) == QColor(DARK.accent)
    context.choose(theme="system")


def test_a_band_breaks_where_nothing_is_known() -> None:
    band = Band()
    x = np.arange(6.0)
    low = np.array([1.0, 1.0, np.nan, np.nan, 1.0, 1.0])
    band.set_data(x, low, low + 1)
    path = band.path()
    assert path.contains(path.boundingRect().center()) is False
    assert path.boundingRect().left() == 0
    assert path.boundingRect().right() == 5
    band.set_data(x, np.full(6, np.nan), np.full(6, np.nan))
    assert band.path().isEmpty()


def test_keys_move_zoom_and_step(qtbot: QtBot, plot: Plot) -> None:
    plot.line(Ink(), np.arange(100.0), np.arange(100.0))
    plot.show_x(20, 60)
    qtbot.keyClick(plot.canvas, Qt.Key.Key_Right)
    assert plot.visible_x() == pytest.approx((25, 65))
    qtbot.keyClick(plot.canvas, Qt.Key.Key_Plus)
    assert np.ptp(plot.visible_x()) == pytest.approx(32)
    qtbot.keyClick(plot.canvas, Qt.Key.Key_Minus)
    assert np.ptp(plot.visible_x()) == pytest.approx(40)
    with qtbot.waitSignal(plot.stepped) as stepped:
        qtbot.keyClick(plot.canvas, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert stepped.args == [-1]
    qtbot.keyClick(plot.canvas, Qt.Key.Key_Home)
    low, high = plot.visible_x()
    assert low <= 0
    assert high >= 99
