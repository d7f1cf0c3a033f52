from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QImage, QPainter
from PySide6.QtPrintSupport import QPrinter
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from dawnbeat.shared.wording import DAY_S, seconds_of
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.drawing import NUMBERS, Band, Ink
from dawnbeat.ui.window.parts.plots import Plot
from dawnbeat.ui.window.parts.saving import packed, print_on
from dawnbeat.ui.window.parts.theme import DARK, LIGHT
from tests.ui.window.test_controls import turn


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


def test_an_axis_too_short_for_its_name_keeps_the_unit(plot: Plot) -> None:
    plot.resize(600, 110)
    QApplication.processEvents()
    assert plot.item.getAxis("left").labelText == "ms"
    plot.resize(600, 300)
    QApplication.processEvents()
    assert plot.item.getAxis("left").labelText == "Interval, ms"


@pytest.mark.parametrize("text_percent", [100, 200])
def test_the_name_of_the_lower_axis_stands_right_below_its_numbers(
    plot: Plot, context: AppContext, text_percent: int
) -> None:
    context.choose(text_percent=text_percent)
    QApplication.processEvents()
    axis, letters = plot.item.getAxis("bottom"), QFontMetricsF(plot.theme.font(NUMBERS))
    numbers_end = axis.style["tickTextOffset"][1] + letters.height()
    name_begins = axis.label.pos().y() + axis.label.document().documentMargin()
    assert -1 <= name_begins - numbers_end <= 0.3 * letters.height()
    plot.name_axis("bottom", "", "")
    QApplication.processEvents()
    assert -1 <= axis.size().height() - numbers_end <= 0.3 * letters.height()


def test_nothing_of_a_plot_lies_under_its_frame(plot: Plot) -> None:
    QApplication.processEvents()
    seen = plot.canvas.viewport().rect()
    right, foot = plot.box.sceneBoundingRect(), plot.item.getAxis("bottom").sceneBoundingRect()
    assert right.right() <= seen.right() + 1
    assert foot.bottom() <= seen.bottom() + 1


def test_what_is_written_at_the_right_is_left_out_where_it_would_touch(plot: Plot) -> None:
    plot.box.setYRange(0.0, 100.0, padding=0)
    plot.mark_right(Ink("soft"), [(50.0, "2"), (20.0, "1"), (51.0, "3"), (80.0, "4")])
    QApplication.processEvents()
    image = QImage(1, 1, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    written = [words for _, _, words in plot.item.getAxis("right").generateDrawSpecs(painter)[2]]
    painter.end()
    assert written == ["1", "2", "4"]
    assert plot.right == [(20.0, "1"), (50.0, "2"), (51.0, "3"), (80.0, "4")]


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


def test_the_wheel_scrolls_the_page_and_zooms_only_with_ctrl(plot: Plot) -> None:
    plot.line(Ink(), np.arange(100.0), np.arange(100.0))
    plot.show_x(20, 60)
    view = plot.box.viewRange()
    assert not turn(plot.canvas.viewport(), 1)
    assert plot.box.viewRange() == view
    assert plot.home_button.isHidden()
    assert turn(plot.canvas.viewport(), 1, Qt.KeyboardModifier.ControlModifier)
    low, high = plot.visible_x()
    assert 20 <= low < high <= 60
    assert high - low == pytest.approx(32)
    assert plot.home_button.isVisible()


def test_a_plot_keeps_to_its_data_and_shows_the_way_back(plot: Plot) -> None:
    plot.line(Ink(), np.arange(100.0), np.arange(100.0))
    plot.show_all()
    for _ in range(60):
        turn(plot.canvas.viewport(), -1, Qt.KeyboardModifier.ControlModifier)
    low, high = plot.visible_x()
    assert -20 < low < high < 120
    for _ in range(200):
        turn(plot.canvas.viewport(), 1, Qt.KeyboardModifier.ControlModifier)
    assert np.ptp(plot.visible_x()) > 1e-3, "never down to a point"
    plot.home_button.click()
    assert plot.home_button.isHidden()
    assert plot.visible_x()[0] <= 0
    assert plot.visible_x()[1] >= 99


@pytest.mark.parametrize(("dates", "least"), [(True, 3 * DAY_S), (False, 1.0)])
def test_one_point_alone_stays_in_sight_however_far_it_is_zoomed(
    qtbot: QtBot, context: AppContext, dates: bool, least: float
) -> None:
    plot = Plot(context, "One point", ("Day", ""), ("Interval", "ms"), dates=dates)
    qtbot.addWidget(plot)
    plot.resize(600, 300)
    plot.show()
    at = seconds_of(date(2025, 6, 1))
    plot.dots(Ink()).setData([at], [50.0])
    for notches in 60 * [1] + 60 * [-1]:
        turn(plot.canvas.viewport(), notches, Qt.KeyboardModifier.ControlModifier)
        low, high = plot.visible_x()
        assert low < at < high
        assert high - low == pytest.approx(least)


def test_a_plot_of_days_ends_at_a_few_days(qtbot: QtBot, context: AppContext) -> None:
    days = Plot(context, "Days", ("Day", ""), ("Interval", "ms"), dates=True)
    qtbot.addWidget(days)
    days.show()
    days.line(Ink(), DAY_S * np.arange(60.0), np.arange(60.0))
    days.show_all()
    for _ in range(60):
        days.zoom(0.8)
    assert np.ptp(days.visible_x()) == pytest.approx(3 * DAY_S)


@pytest.mark.parametrize(("kind", "begins"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_a_picture_for_print_leaves_the_plot_as_it_was(
    plot: Plot, context: AppContext, kind: str, begins: bytes
) -> None:
    curve = plot.line(Ink("accent"), np.arange(100.0), np.arange(100.0))
    context.choose(theme="dark")
    plot.legend = "━ an invented line"
    plot.show_x(20, 60)
    before = plot.box.viewRange()
    made = packed(plot.picture, kind)
    assert made.startswith(begins)
    assert plot.box.viewRange()[0] == pytest.approx(before[0])
    assert QColor(curve.opts["pen"].color()) == QColor(DARK.accent)
    if kind == "svg":
        text = made.decode()
        assert LIGHT.accent in text
        assert "<image" not in text
        assert all(words in text for words in ("A plot", "Time, s", "Interval, ms", "an invented line"))
    context.choose(theme="system")


def test_a_picture_for_print_is_three_times_as_fine_as_a_screen(plot: Plot) -> None:
    image = QImage.fromData(packed(plot.picture, "png"))
    assert image.width() > 2500
    assert image.dotsPerMeterX() / 39.37 == pytest.approx(288, abs=3)


def test_a_picture_can_be_copied_and_printed(plot: Plot, qapp: QApplication, tmp_path: Path) -> None:
    plot.line(Ink(), np.arange(9.0), np.arange(9.0))
    plot.copy_picture()
    assert qapp.clipboard().image().width() > 2500
    printer = QPrinter()
    printer.setOutputFileName(str(tmp_path / "out.pdf"))
    print_on(printer, plot.picture)
    assert (tmp_path / "out.pdf").read_bytes().startswith(b"%PDF")


def test_a_picture_of_one_of_several_plots_keeps_its_view_and_gets_the_values_of_x(
    qtbot: QtBot, context: AppContext, plot: Plot
) -> None:
    above = Plot(context, "Above", ("", ""), ("Light", "%"))
    qtbot.addWidget(above)
    above.resize(300, 120)
    above.show()
    above.hide_x_values(("Time", "s"))
    above.follow_x(plot)
    for each in (plot, above):
        each.line(Ink(), np.arange(100.0), np.arange(100.0))
    plot.show_x(20.0, 60.0)
    seen: list[tuple[float, float]] = []
    drawn: list[tuple[bool, str]] = []
    plot.box.sigXRangeChanged.connect(lambda *_: seen.append(plot.visible_x()))
    paint = above.paint_on

    def watched(painter: QPainter, rect: QRectF, scale: float) -> None:
        paint(painter, rect, scale)
        bottom = above.item.getAxis("bottom")
        drawn.append((bottom.style["showValues"], bottom.labelText))

    above.paint_on = watched  # type: ignore[method-assign]
    packed(above.picture, "png")
    assert drawn == [(True, "Time, s")]
    assert not above.item.getAxis("bottom").style["showValues"]
    assert all(each == pytest.approx((20.0, 60.0), abs=0.5) for each in seen), "the other plot moved meanwhile"
    assert plot.visible_x() == pytest.approx((20.0, 60.0), abs=0.5)
