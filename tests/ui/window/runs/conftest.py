from __future__ import annotations

from collections.abc import Iterator

import pytest
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.runs.page import RunsPage
from tests.ui.window.conftest import TODAY, shown


@pytest.fixture(scope="session")
def runs_template(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Journal]:
    """Filled once; each test gets a copy."""
    with Journal.open(tmp_path_factory.mktemp("template") / "home") as made:
        made.connection.execute("PRAGMA synchronous = OFF")
        fill_with_invented_mornings(made, TODAY)
        fill_with_invented_runs(made, TODAY)
        yield made


@pytest.fixture
def invented(runs_template: Journal, journal: Journal) -> Journal:
    runs_template.connection.backup(journal.connection)
    return journal


@pytest.fixture
def page(qtbot: QtBot, context: AppContext) -> Iterator[RunsPage]:
    made = RunsPage(context, lambda: TODAY)
    shown(qtbot, made, 1120, 760)
    yield made
    context.background.stop()
