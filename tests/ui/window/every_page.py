"""Every page and view of the window made once, as for the overview of keys.

`QT_QPA_PLATFORM=offscreen python -m tests.ui.window.every_page` writes the overview anew after keys have changed.
"""

from __future__ import annotations

import tempfile
from datetime import date
from pathlib import Path
from typing import Any

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.ui.window.bench.page import BenchPage
from dawnbeat.ui.window.mornings.page import MorningsPage
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.page import ReadPage
from dawnbeat.ui.window.runs.page import VIEWS, RunsPage
from dawnbeat.ui.window.settings.page import SettingsPage
from dawnbeat.ui.window.shell.help import KEYS_FILE
from dawnbeat.ui.window.shell.main_window import MainWindow, make_app
from dawnbeat.ui.window.zones.page import ZonesPage

TODAY = date(2025, 6, 1)


def make_every_page(context: AppContext) -> list[Any]:
    """All pages on a journal with mornings and runs, each view of theirs shown once."""
    fill_with_invented_mornings(context.journal, TODAY)
    fill_with_invented_runs(context.journal, TODAY)
    read, mornings, runs = ReadPage(context), MorningsPage(context), RunsPage(context, lambda: TODAY)
    assert read.result is not None
    mornings.refresh()
    mornings.open_context()
    mornings.open_months()
    mornings.open_reading(context.journal.readings()[-1])
    runs.refresh()
    for view in VIEWS:
        runs.show_view(view)
    runs.open_run(runs.judged[-1].run.id)
    zones, bench = ZonesPage(context, lambda: TODAY), BenchPage(context)
    for place in range(bench.views.count()):
        bench.views.setCurrentIndex(place)
    assert bench.views.traces is not None
    others = [zones, bench, SettingsPage(context)]
    return [read, mornings, runs, *others, MainWindow(context, "help")]


def registered() -> set[tuple[str, str, str]]:
    """Every key that pages and views have told of: where, keys, what it does."""
    return {(key.where, key.keys, key.does) for each in controls.overview().values() for key in each}


def write_keys() -> None:
    """Write the overview of keys from what the pages tell."""
    app = make_app()
    with tempfile.TemporaryDirectory() as folder, Journal.open(Path(folder, "home")) as journal:
        context = AppContext(journal, ChoiceStore(Path(folder, "config")))
        pages = make_every_page(context)
        order = {where: place for place, where in enumerate(controls.overview())}
        found = sorted(registered(), key=lambda each: (order[each[0]], each[1]))
        for page in pages:
            page.deleteLater()
        context.background.stop()
        app.processEvents()
    KEYS_FILE.write_text("".join("\t".join(each) + "\n" for each in found), encoding="utf-8")


if __name__ == "__main__":
    write_keys()
