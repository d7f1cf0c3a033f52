"""The views of the page Runs, opened."""

from __future__ import annotations

from PySide6.QtWidgets import QLabel

from dawnbeat.journal.store import Journal
from dawnbeat.training import run_store
from dawnbeat.ui.window.runs.after_view import AfterView
from dawnbeat.ui.window.runs.estimates_view import EstimatesView
from dawnbeat.ui.window.runs.page import AFTER, ESTIMATES, WEEKS, RunsPage
from dawnbeat.ui.window.runs.run_view import RunView
from dawnbeat.ui.window.runs.weeks_view import WeeksView


def run_with(journal: Journal, word: str) -> int:
    """The last run with this word in its note or among what is missing in it."""
    found = [run for run in run_store.runs(journal) if word in run.note or word in run.figures.missing_s]
    return found[-1].id


def weeks_view(page: RunsPage) -> WeeksView:
    page.show_view(WEEKS)
    assert page.weeks is not None
    return page.weeks


def after_view(page: RunsPage) -> AfterView:
    page.show_view(AFTER)
    assert page.after is not None
    return page.after


def estimates_view(page: RunsPage) -> EstimatesView:
    page.show_view(ESTIMATES)
    assert page.estimates is not None
    return page.estimates


def opened(page: RunsPage, run_id: int) -> RunView:
    page.open_run(run_id)
    assert page.run_view is not None
    return page.run_view


def words_of(widget: EstimatesView) -> str:
    shown = [label.text() for label in widget.findChildren(QLabel) if label.isVisible()]
    return "\n".join(shown)
