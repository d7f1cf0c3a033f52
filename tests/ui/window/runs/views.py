"""The views of the page Runs, opened."""

from __future__ import annotations

from typing import TypeVar

from PySide6.QtWidgets import QLabel, QWidget

from dawnbeat.journal.store import Journal
from dawnbeat.training import run_store
from dawnbeat.ui.window.runs.effects import AfterView, MonthsView
from dawnbeat.ui.window.runs.estimates import EstimatesView, RaceView
from dawnbeat.ui.window.runs.page import AFTER, ESTIMATES, MONTHS, RACE, WEEKS, RunsPage
from dawnbeat.ui.window.runs.run_view import RunView
from dawnbeat.ui.window.runs.weeks_view import WeeksView

View = TypeVar("View", bound=QWidget)


def run_with(journal: Journal, word: str) -> int:
    """The last run with this word in its note or among what is missing in it."""
    found = [run for run in run_store.runs(journal) if word in run.note or word in run.figures.missing_s]
    return found[-1].id


def weeks_view(page: RunsPage) -> WeeksView:
    return _shown(page, WEEKS, WeeksView)


def months_view(page: RunsPage) -> MonthsView:
    return _shown(page, MONTHS, MonthsView)


def after_view(page: RunsPage) -> AfterView:
    return _shown(page, AFTER, AfterView)


def estimates_view(page: RunsPage) -> EstimatesView:
    return _shown(page, ESTIMATES, EstimatesView)


def race_view(page: RunsPage) -> RaceView:
    return _shown(page, RACE, RaceView)


def _shown(page: RunsPage, name: str, kind: type[View]) -> View:
    page.show_view(name)
    view = page.made[name]
    assert isinstance(view, kind)
    return view


def opened(page: RunsPage, run_id: int) -> RunView:
    page.open_run(run_id)
    assert page.run_view is not None
    return page.run_view


def words_of(widget: QWidget) -> str:
    shown = [label.text() for label in widget.findChildren(QLabel) if label.isVisible()]
    return "\n".join(shown)
