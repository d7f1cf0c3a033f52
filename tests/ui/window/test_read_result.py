"""What the page Read shows of a reading that was taken."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QShortcut
from PySide6.QtWidgets import QAbstractButton, QComboBox, QLabel
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.reading import Analysis
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.context_form import ContextForm
from dawnbeat.ui.window.read.page import ReadPage
from tests.ui.window.conftest import shown
from tests.ui.window.read_fakes import FakeReading, calm, later, moment, with_gaps


@pytest.fixture
def page(qtbot: QtBot, context: AppContext) -> ReadPage:
    made = ReadPage(context, make_reading=FakeReading)  # type: ignore[arg-type]
    qtbot.addWidget(made)
    made.resize(1150, 760)
    made.show()
    made.shown()
    return made


def take(page: ReadPage, analysis: Analysis | None = None, **ended: object) -> ReadPage:
    page.begin()
    FakeReading.last.show(moment("reading"))
    page._look()
    FakeReading.last.keep(analysis, **ended)  # type: ignore[arg-type]
    page._look()
    return page


def test_the_figures_come_with_their_95_percent_intervals(page: ReadPage) -> None:
    take(page)
    low, high = calm().intervals95["rmssd_ms"]
    assert page.result.rmssd.bounds.text() == f"95 % interval\n{low:.0f} to {high:.0f} ms"
    assert page.result.pulse.value.text() == f"{calm().metrics.mean_hr_bpm:.0f} bpm"


@pytest.mark.parametrize("irregular", [False, True])
def test_a_pulse_that_may_be_used_is_told_from_a_variability_that_may_not(page: ReadPage, irregular: bool) -> None:
    verdict = replace(calm().verdict, usable=False, irregular=irregular)
    take(page, replace(calm(), verdict=verdict))
    result = page.result
    assert "esting pulse usable, variability not usable" in result.verdict.text()
    assert ("irregularly" in result.verdict.text()) == irregular
    assert result.pulse.value.property("class") == "figure"
    assert result.pulse.standing.text() != "Not to be relied on"
    assert result.rmssd.value.property("class") == "large"
    assert result.rmssd.standing.text() == "Not to be relied on"
    # A heart that beats irregularly does so again.
    assert (result.main if irregular else result.take_again).property("class") == "main"


def test_a_fault_is_told_in_one_sentence_on_the_page_and_at_the_foot(context: AppContext, page: ReadPage) -> None:
    take(page, why="camera 0 stopped sending frames: check that it is connected", broken=True, kept_s=49.9)
    told = page.result.ended.text()
    assert told.startswith("The reading ended after 0:49: camera 0 stopped sending frames")
    assert told.endswith("what was captured until then is not lost.")
    assert context.last_said == told


def test_a_journal_that_refuses_saves_at_the_second_try(
    qtbot: QtBot, context: AppContext, page: ReadPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Journal.save

    def refuse(*_: object, **__: object) -> None:
        raise DawnbeatError("can't save the reading: the disk is full")

    monkeypatch.setattr(Journal, "save", refuse)
    take(page)
    assert "the disk is full" in page.result.ended.text()
    assert "`dawnbeat rescue`" in page.result.ended.text()
    assert page.result.rmssd.value.text() == f"{calm().metrics.rmssd_ms:.0f} ms"
    assert page.result.pulse.value.text() == f"{calm().metrics.mean_hr_bpm:.0f} bpm"
    monkeypatch.setattr(Journal, "save", real)
    page.result.save_again.click()
    qtbot.waitUntil(lambda: len(context.journal.readings()) == 1)
    qtbot.waitUntil(lambda: not page.result.save_again.isVisible())


def test_the_context_is_saved_with_the_reading_and_undone(qtbot: QtBot, context: AppContext, page: ReadPage) -> None:
    take(page)
    form = page.result.form
    form._boxes["sleep"].setFocus()
    qtbot.keyClick(form._boxes["sleep"], Qt.Key.Key_3)
    form._lines["hours_slept"].setFocus()
    qtbot.keyClicks(form._lines["hours_slept"], "7,5")
    form._lines["yesterday_run"].setFocus()
    qtbot.keyClicks(form._lines["yesterday_run"], "10 km easy, D")
    page.result.main.click()
    (saved,) = context.journal.readings()
    assert (saved.context.sleep, saved.context.hours_slept) == (3, 7.5)
    assert saved.context.yesterday_run == "10 km easy, D"
    context.undo.undo()
    assert context.journal.readings()[0].context.is_empty


def test_the_reading_stands_in_the_usual_range(context: AppContext, page: ReadPage) -> None:
    fill_with_invented_mornings(context.journal, date.today() - timedelta(days=1))
    take(page)
    # Two ranges, and each says whose: that of single mornings, and that of a week's average.
    assert "your usual range of single mornings (" in page.result.pulse.standing.text()
    assert "a usual week" in page.result.rmssd.strip.accessibleDescription()
    assert "not a medical device" in page.result.paragraph.text()
    assert "needs medical help" in page.result.card.heed.text()


def test_the_answer_comes_first_and_changes_while_the_runner_ticks(context: AppContext, page: ReadPage) -> None:
    fill_with_invented_mornings(context.journal, date.today() - timedelta(days=1))
    take(page)
    card = page.result.card
    assert card.answer is not None
    assert card.answer.what != "none"
    page.result.form._boxes["ill"].setCurrentIndex(2)
    assert card.headline.text() == "No run today"
    assert "fever" in card.heed.text()
    assert context.journal.readings()[-1].context.ill is None, "nothing is stored before Done"
    card.more.click()
    assert "One morning by itself says little" in card.details.text()
    page.result.keep_context()
    stored = context.journal.readings()[-1]
    assert stored.context.ill is True
    assert stored.answer is not None
    assert stored.answer["what"] == "none"


def test_an_illness_of_yesterday_is_asked_about_and_answered_by_a_press(context: AppContext, page: ReadPage) -> None:
    fill_with_invented_mornings(context.journal, date.today() - timedelta(days=1))
    yesterday = context.journal.readings()[-1]
    context.journal.edit_context(yesterday.id, replace(yesterday.context, ill=True))
    take(page)
    card = page.result.card
    assert card.answer is not None
    assert card.answer.what == "none"
    assert card.well.isVisible()
    card.well.click()
    assert card.answer.what != "none"
    assert not card.well.isVisible()
    page.result.keep_context()
    assert context.journal.readings()[-1].context.well_again is True


def test_a_second_reading_can_be_chosen_to_count(context: AppContext, page: ReadPage) -> None:
    take(page)
    assert not page.result.pick.isVisible()
    take(page)
    assert page.result.pick.isVisible()
    page.result.pick.click()
    first, second = context.journal.day(date.today())
    assert second.counts
    context.undo.undo()
    assert context.journal.reading(first.id).counts


def test_a_second_reading_of_a_day_says_that_the_first_one_counts(context: AppContext, page: ReadPage) -> None:
    take(page)
    first = page.result.rmssd.standing.text()
    take(page, later(calm(), 61.0))
    assert "Too few mornings" in first
    assert page.result.rmssd.standing.text().startswith("Another reading of today counts: ")
    assert len(context.journal.readings()) == 2


def test_what_was_left_out_is_shown_and_does_not_push_anything_off_the_page(qtbot: QtBot, page: ReadPage) -> None:
    take(page, with_gaps())
    qtbot.wait(50)
    assert "gap" in page.result.plots.trace.readout.text()
    assert page.result._area.widget().width() <= page.result._area.viewport().width()


def test_the_bin_takes_a_reading_and_gives_it_back(context: AppContext, page: ReadPage) -> None:
    take(page)
    page.result.bin.click()
    assert context.journal.readings() == []
    assert "in the bin" in page.result.paragraph.text()
    context.undo.undo()
    assert len(context.journal.readings()) == 1


def test_every_control_has_a_name_and_every_button_a_key(page: ReadPage) -> None:
    take(page)
    for button in page.findChildren(QAbstractButton):
        assert button.accessibleName() or button.text(), button
    for view in (page.start, page.finger, page.result):
        (key,) = view.main.findChildren(QShortcut)
        assert f"({key.key().toString()})" in view.main.toolTip()
    shown = [each.text() for each in page.result.findChildren(QLabel)]
    assert not any("None" in text or "nan" in text for text in shown)


@pytest.mark.parametrize(("width", "percent", "beside"), [(900, 100, 2), (900, 200, 1), (2300, 200, 2), (2300, 100, 2)])
def test_fields_stand_beside_each_other_where_there_is_room_and_are_no_wider_than_their_answers_need(
    qtbot: QtBot, context: AppContext, width: int, percent: int, beside: int
) -> None:
    context.choose(text_percent=percent)
    form = ContextForm(context)
    shown(qtbot, form, width, 900)
    lists = [each for each in form.findChildren(QComboBox) if each.isVisible()]
    assert len({each.x() for each in lists}) == beside
    assert all(each.geometry().right() < context.theme.px(1100) for each in lists)
