from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractSpinBox, QApplication, QComboBox, QLabel, QSlider, QTabBar, QTableWidget, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.ui.window.bench.page import BenchPage
from dawnbeat.ui.window.mornings.page import MorningsPage
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.plots import Plot
from dawnbeat.ui.window.runs.page import VIEWS, RunsPage
from dawnbeat.ui.window.shell.main_window import MainWindow
from tests.ui.window.conftest import shown
from tests.ui.window.cut import cut_in, low_plots_in, unread_axes_in
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
            *page.findChildren(QTabBar),
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


def test_an_empty_page_invents_no_axes(qtbot: QtBot, context: AppContext) -> None:
    context.choose(met=True)
    window = MainWindow(context, "mornings")
    shown(qtbot, window, 1180, 760)
    seen = 0
    for name in empty_views(qtbot, window):
        QApplication.processEvents()
        for plot in window.findChildren(Plot):
            if plot.isVisible():
                seen += 1
                axes = {plot.item.getAxis(side).opacity() for side in ("bottom", "left")}
                assert axes == {0.0}, f"{name}: {plot.name}"
    assert seen > 2  # most views that would be nothing but empty plots show a sentence in their place


def empty_views(qtbot: QtBot, window: MainWindow) -> Iterator[str]:
    """Every view that can hold a plot, shown on a journal without anything."""
    made = {}
    for key in ("mornings", "runs", "bench"):
        window.go(key)
        qtbot.waitUntil(lambda key=key: window.current == key)
        yield key
        made[key] = window.pages[key]
    mornings, runs, bench = made.values()
    assert isinstance(mornings, MorningsPage)
    assert isinstance(runs, RunsPage)
    assert isinstance(bench, BenchPage)
    for place in range(bench.views.count()):
        bench.views.setCurrentIndex(place)
        yield f"bench, {bench.views.tabText(place)}"
    window.go("runs")
    for view in VIEWS:
        runs.show_view(view)
        yield f"runs, {view}"
    window.go("mornings")
    for view in (mornings.open_context, mornings.open_months):
        view()
        yield f"mornings, {view.__name__}"


@pytest.mark.parametrize("text_percent", [100, 200])
def test_on_a_small_screen_nothing_is_cut_covered_or_out_of_sight_and_plots_can_be_read(
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
        wrong = (*cut_in(widget), *low_plots_in(widget, text_percent), *unread_axes_in(widget))
        cut += [f"{name}: {what}" for what in wrong]
    assert seen > 25
    assert not cut, "\n".join(cut)


def test_an_empty_page_says_what_will_stand_there_and_what_to_do_first(qtbot: QtBot, context: AppContext) -> None:
    context.choose(met=True)
    window = MainWindow(context, "mornings")
    shown(qtbot, window, 1180, 760)
    said = {}
    for name in empty_views(qtbot, window):
        QApplication.processEvents()
        words = [each for each in window.findChildren(QLabel) if each.isVisible() and "will stand here" in each.text()]
        said[name] = [each.text() for each in words]
        holders = [each for each in window.findChildren(QTableWidget) if each.isVisible() and not each.rowCount()]
        assert not holders, f"{name}: {holders[0].accessibleName()}"
    wanted = ("Weeks", "Months", "After", "open_months", "open_context", "mornings", "Score")
    for place in wanted:
        [words] = next(each for name, each in said.items() if name.endswith(place))
        assert re.search(r"page Read|“Import…”|“Score a folder…”", words), place


def test_views_that_were_empty_come_with_the_first_run_and_morning(qtbot: QtBot, context: AppContext) -> None:
    context.choose(met=True)
    window = MainWindow(context, "runs")
    shown(qtbot, window, 1180, 760)
    runs = window.pages["runs"]
    assert isinstance(runs, RunsPage)
    for view in ("Weeks", "Months", "After"):
        runs.show_view(view)
        assert runs.nothing.isVisible() != runs.views.isVisible()
        assert runs.nothing.isVisible()
    runs.show_view("List")
    assert runs.views.isVisible()
    runs.show_view("Weeks")
    fill_with_invented_mornings(context.journal, date.today() - timedelta(days=1))
    fill_with_invented_runs(context.journal, date.today())
    context.journal_changed.emit()
    qtbot.waitUntil(runs.views.isVisible)
    assert not runs.nothing.isVisible()
    window.go("mornings")
    mornings = window.pages["mornings"]
    assert isinstance(mornings, MorningsPage)
    mornings.open_months()
    assert not any("will stand here" in each.text() for each in window.findChildren(QLabel) if each.isVisible())
