"""Weeks, months, mornings after, estimates and a race."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter
from PySide6.QtWidgets import QApplication, QLabel
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.training import zone_store
from dawnbeat.training.periods import judged_runs, monday_of, weeks_of
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.layouts import Scrolled
from dawnbeat.ui.window.runs.page import VIEWS, RunsPage
from dawnbeat.ui.window.runs.weeks_chart import Bar, StackedBars
from tests.ui.window.conftest import TODAY
from tests.ui.window.runs.views import after_view, estimates_view, months_view, race_view, weeks_view, words_of


def test_weeks_are_stacked_by_zone_with_the_aim_and_the_range_before(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = weeks_view(page)
    judged = judged_runs(invented, TODAY)
    weeks = weeks_of(judged, judged[0].run.local_date, TODAY)
    assert view.weeks == weeks
    _, shares = view.chart._shares.getData()
    assert list(shares) == pytest.approx([100 * (w.easy_runs_share or 0) for w in weeks if w.judged_runs])
    _, timed = view.chart._times.getData()
    assert list(timed) == pytest.approx([100 * week.easy_share for week in weeks if week.easy_share is not None])
    monday = weeks[-2].first
    view.select(monday)
    counted = f"{weeks[-2].easy_runs} of {weeks[-2].judged_runs} easy (aim 80 %; eight weeks before"
    assert counted in view.said.text()
    assert f"{100 * (weeks[-2].easy_share or 0):.0f} % of the time (aim 90 %)" in view.said.text()
    view.as_table.click()
    row = len(weeks) - 1 - weeks.index(weeks[-2])
    assert view.table.currentRow() == row
    assert view.table.item(row, 0).text() == monday.isoformat()


def test_the_four_plots_share_one_time_axis(page: RunsPage, invented: Journal) -> None:
    page.shown()
    chart = weeks_view(page).chart
    chart.show_last(4)
    QApplication.processEvents()
    spans = [plot.visible_x() for plot in chart.plots]
    assert spans == [pytest.approx(spans[0])] * 4


def test_weeks_are_stepped_by_key_and_pressed_twice_to_open(qtbot: QtBot, page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = weeks_view(page)
    last = monday_of(TODAY)
    view.select(last)
    canvas = view.chart.hours.canvas
    canvas.setFocus()
    qtbot.keyClick(canvas, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert view.chart.selected == last - timedelta(weeks=1)
    view.opened.emit(view.chart.selected)
    assert page.views.currentWidget() is page.table
    current = page.table.current()
    assert current is not None
    assert monday_of(current.run.local_date) == last - timedelta(weeks=1)


def test_the_choice_of_load_is_kept_and_shown(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = weeks_view(page)
    shown = {}
    for name in ("men", "women"):
        view.which.setCurrentIndex(view.which.findData(name))
        view.which.activated.emit(view.which.currentIndex())
        assert zone_store.setting(invented, "coefficients") == name
        assert view.which.currentData() == name
        shown[name] = view.chart._load_line.getOriginalDataset()[1].copy()
    assert np.nansum(shown["women"]) > np.nansum(shown["men"])
    # A week with a run that has no impulse has no dot.
    assert [bool(math.isnan(value)) for value in shown["men"]] == [bool(week.without_trimp) for week in view.weeks]


def test_bars_keep_their_pattern_in_any_zoom(context: AppContext) -> None:
    bars = StackedBars(context)
    bars.set_bars([Bar(0, 1, (1.0, 2.0, 0.5), 0.5)], 2)
    assert bars.boundingRect() == QRectF(0, 0, 1, 4.0)
    shades = []
    for scale in (20, 60):
        picture = QImage(scale * 2, scale * 4, QImage.Format.Format_RGB32)
        picture.fill(QColor("white"))
        painter = QPainter(picture)
        painter.scale(scale * 2, scale)

        class Option:
            exposedRect = QRectF(0, 0, 1, 4)  # noqa: N815

        bars.paint(painter, Option())  # type: ignore[arg-type]
        painter.end()
        shades.append([picture.pixelColor(QPoint(scale, round(scale * y))).lightness() for y in (0.5, 2.0, 3.75)])
    for shade in shades:
        assert shade[0] > shade[1]
        assert shade[2] == 255


def test_the_hardest_days_stand_with_the_morning_after(page: RunsPage, invented: Journal, context: AppContext) -> None:
    page.shown()
    view = after_view(page)
    loads = [float(view.table.item(row, 1).text()) for row in range(view.table.rowCount())]
    assert loads == sorted(loads, reverse=True)
    assert "rank correlation" in view.found.text()
    assert "95 % interval" in view.found.text()
    assert "pairs" in view.found.text()
    gone: list[tuple[str, object]] = []
    context.wanted.connect(lambda key, what: gone.append((key, what)))
    place = next(n for n, day in enumerate(view.days) if day.next_morning is not None)
    view.table.selectRow(place)
    view.morning_button.click()
    assert gone == [("mornings", view.days[place].date + timedelta(days=1))]
    view.open_button.click()
    assert page.run_view is not None
    assert page.run_view.each is not None
    assert page.run_view.each.run.local_date == view.days[place].date


def test_nothing_is_said_of_few_pairs(page: RunsPage, journal: Journal) -> None:
    fill_with_invented_mornings(journal, TODAY, days=20)
    fill_with_invented_runs(journal, TODAY, weeks=2)
    page.shown()
    assert "rank correlation" not in after_view(page).found.text()


def test_every_estimate_has_formula_source_and_error(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = estimates_view(page)
    zone_store.set_setting(invented, "coefficients", "women")
    view._show()
    names = [card.accessibleName() for card in view.cards]
    assert any("Oxygen uptake from pulses" in name for name in names)
    assert any(name.startswith("Marathon: 3:") for name in names)
    for card in view.cards:
        said = "\n".join(label.text() for label in card.findChildren(QLabel))
        if not any(word in card.accessibleName() for word in ("from a race", "from pulses", "from a test")):
            continue
        assert "Formula:" in said
        assert "Error:" in said
        assert "Source:" in said or "no source" in said
    assert view.race.count() == 4
    assert view.equals.rowCount() > 3
    assert "Ask a doctor first" in words_of(view)


def test_races_are_offered_in_the_units_that_were_chosen(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = estimates_view(page)
    offered = {}
    for units, metres in (("km", 1000.0), ("miles", 1609.344)):
        zone_store.set_setting(invented, "units", units)
        page.refresh()
        offered[units] = [view.race.itemText(row) for row in range(view.race.count())]
        for run, words in zip(view.races, offered[units], strict=True):
            assert f" {(run.figures.distance_m or 0) / metres:.2f} {units} in " in words
    assert not any("km" in words for words in offered["miles"])
    shares = [view.equals.item(row, 2).text() for row in range(view.equals.rowCount())]
    assert shares == sorted(shares, key=lambda words: int(words.split()[0]))


@pytest.mark.parametrize(("width", "height", "percent"), [(880, 640, 200), (700, 560, 150), (860, 620, 100)])
def test_no_view_scrolls_inside_a_page_that_scrolls(
    page: RunsPage, invented: Journal, context: AppContext, qtbot: QtBot, width: int, height: int, percent: int
) -> None:
    context.choose(text_percent=percent)
    page.resize(width, height)
    page.shown()
    scrolling = 0
    for name in VIEWS[1:]:
        page.show_view(name)
        qtbot.wait(60)
        front = page.views.currentWidget()
        assert isinstance(front, Scrolled)
        outer, inner = (each.verticalScrollBar().maximum() for each in (page._list_page, front))
        assert not (outer and inner), (name, outer, inner)
        scrolling += bool(outer)
    assert bool(scrolling) == (percent > 100)


@pytest.mark.parametrize(("width", "percent"), [(860, 200), (860, 100), (1300, 100)])
def test_no_legend_of_the_weeks_lies_on_a_plot(
    page: RunsPage, invented: Journal, context: AppContext, qtbot: QtBot, width: int, percent: int
) -> None:
    context.choose(text_percent=percent)
    page.resize(width, 640)
    page.shown()
    chart = weeks_view(page).chart
    qtbot.wait(60)
    parts = [part for pair in zip(chart.legends, chart.plots, strict=True) for part in pair]
    for above, below in pairwise(parts):
        assert above.geometry().bottom() < below.geometry().top()
    for legend in chart.legends:
        assert legend.height() >= legend.heightForWidth(legend.width())
    for plot in chart.plots:
        assert plot.height() >= plot.minimumHeight()
    assert chart.mornings.geometry().bottom() <= chart.rect().bottom()


def test_the_weeks_need_no_scrolling_in_a_small_window(page: RunsPage, invented: Journal, qtbot: QtBot) -> None:
    page.resize(1120, 715)  # what a window of 1280 x 800 leaves
    page.shown()
    weeks_view(page)
    qtbot.wait(60)
    front = page.views.currentWidget()
    assert isinstance(front, Scrolled)
    assert front.verticalScrollBar().maximum() == 0


def test_months_are_listed_newest_first_and_saved(page: RunsPage, invented: Journal, tmp_path: Path) -> None:
    page.shown()
    view = months_view(page)
    assert view.fixed is not None
    assert f"Pace at {view.fixed.pulse_bpm:.0f} bpm" in view.said.text()
    assert view.table.item(0, 0).text() == "2025-06"
    assert view.table.item(view.table.rowCount() - 1, 0).text() == view.periods[0].first.strftime("%Y-%m")
    # A note on stars is there only for who sees one.
    assert view.star.isHidden()
    assert all("*" not in view.table.item(row, 3).text() for row in range(view.table.rowCount()))
    far = next(place for place, each in enumerate(view.periods) if each.distance_m is not None)
    view.periods[far] = replace(view.periods[far], without_distance=1)
    view._show()
    assert view.table.item(view.table.rowCount() - 1 - far, 3).text().endswith("*")
    assert not view.star.isHidden()
    assert len(view._dots.getData()[0]) == sum(each.pace_s_per_km is not None for each in view.periods) >= 2
    view.years_button.click()
    assert [view.table.item(row, 0).text() for row in range(view.table.rowCount())] == ["2025"]
    assert view.save(tmp_path / "years.csv") == 1
    assert "pace_s_per_km" in (tmp_path / "years.csv").read_text(encoding="utf-8")


def test_a_race_is_asked_for_and_answered_from_own_runs(page: RunsPage, invented: Journal) -> None:
    page.shown()
    view = race_view(page)
    assert view.plan is not None
    assert "Start at" in view.first.text()
    view.goal.setText("1:45:00")
    view.distance.setCurrentIndex(2)
    view.distance.activated.emit(2)
    assert view.plan is not None
    assert view.plan.goal_s == 6300
    assert "Stay under" in view.lines.text()
    assert view.held.rowCount() == len(view.plan.held) > 0
    assert "Ask a doctor first" in words_of(view)
    view.goal.setText("soon")
    view.goal.editingFinished.emit()
    assert view.plan is None
    assert "is not a time" in view.trouble.text()


def test_whose_factors_are_used_is_asked_where_they_count(page: RunsPage, invented: Journal) -> None:
    zone_store.set_setting(invented, "coefficients", None)
    page.shown()
    assert after_view(page).days  # the factors for men, as long as nothing was chosen
    view = estimates_view(page)
    assert not any("from pulses:" in card.accessibleName() for card in view.cards)
    view.factors.setCurrentIndex(view.factors.findData("men"))
    view.factors.activated.emit(view.factors.currentIndex())
    assert zone_store.chosen_coefficients(invented) == "men"
    assert any("from pulses:" in card.accessibleName() for card in view.cards)
