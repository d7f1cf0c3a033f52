"""What the page of runs costs with many runs: `python tests/benchmarks/runs_page_cost.py [--runs 3000]`.

Target: the page opens with 3,000 runs in 300 ms, from making it to painted. Runs offscreen unless
QT_QPA_PLATFORM says otherwise, in a journal of its own.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.training import run_store
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.main_window import make_app
from tests.training.run_files import fit_bytes, steady, write
from tests.ui.window.many_runs import fill_up_with_runs

if TYPE_CHECKING:
    from dawnbeat.ui.window.runs.page import RunsPage
from dawnbeat.ui.window.runs.table import ALL, KINDS

TARGET_MS = 300.0
TIMES = 7


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=3000)
    parser.add_argument("--files", type=int, default=100, help="files to import; 0 for none")
    chosen = parser.parse_args()
    app = make_app()
    with tempfile.TemporaryDirectory() as name, Journal.open(Path(name) / "home") as journal:
        fill_with_invented_mornings(journal, date.today(), days=3890)
        fill_with_invented_runs(journal, date.today())
        count = fill_up_with_runs(journal, chosen.runs)
        context = AppContext(journal, ChoiceStore(Path(name)))
        print(f"{count} runs, {len(journal.mornings())} mornings; median of {TIMES}")
        began_s = time.perf_counter()
        from dawnbeat.ui.window.runs.page import AFTER, ESTIMATES, WEEKS, RunsPage
        from dawnbeat.ui.window.zones.page import ZonesPage

        row("import the modules, once in a session", 1000 * (time.perf_counter() - began_s), None)
        pages: list[RunsPage] = []

        def open_page() -> None:
            page = RunsPage(context)
            page.resize(1120, 760)
            page.show()
            page.shown()
            app.processEvents()
            page.grab()
            pages.append(page)

        row("open the page of runs and paint it", timed(open_page), TARGET_MS)
        page = pages[-1]
        for other in pages[:-1]:
            other.hide()
            other.deleteLater()

        def show(view: str) -> None:
            page.show_view(view)
            app.processEvents()
            page.grab()

        for view in (WEEKS, AFTER, ESTIMATES):
            began_s = time.perf_counter()
            show(view)
            row(f"  the view {view}, the first time", 1000 * (time.perf_counter() - began_s), None)
            row(f"  the view {view}, again", timed(lambda view=view: show(view)), None)  # type: ignore[misc]
        run_id = next(run.id for run in reversed(run_store.runs(journal)) if run.source)

        def open_run() -> None:
            page.open_run(run_id)
            app.processEvents()
            page.grab()

        row("  open one run of an hour", timed(open_run), None)
        page.back()
        page.table.view.sortByColumn(0, page.table.view.horizontalHeader().sortIndicatorOrder())
        row("  sort the list", timed(lambda: page.table.model.sort(3)), None)
        row(
            "  find in the list",
            timed(lambda: (page.table.model.want("8", KINDS[ALL]), page.table.model.want("", KINDS[ALL]))),
            None,
        )

        def open_zones() -> None:
            zones = ZonesPage(context)
            zones.resize(1120, 760)
            zones.show()
            zones.shown()
            app.processEvents()
            zones.grab()
            zones.hide()
            zones.deleteLater()

        row("open the page of zones and paint it", timed(open_zones), TARGET_MS)
        if chosen.files:
            _import(Path(name) / "files", chosen.files, page, app.processEvents)
        context.background.stop()


def _import(folder: Path, count: int, page: RunsPage, process: Callable[[], object]) -> None:
    """Runs of an hour through the page, and for how long at most the window answered nothing meanwhile."""
    folder.mkdir()
    samples = steady(3600)
    for n in range(count):
        write(folder / f"run{n}.fit", fit_bytes(samples, datetime(2001, 1, 1, 6, tzinfo=UTC) + timedelta(days=n)))
    began_s = last_s = time.perf_counter()
    longest_s = 0.0
    page.strip.start([folder])
    while page.strip.running:
        process()
        now_s = time.perf_counter()
        longest_s, last_s = max(longest_s, now_s - last_s), now_s
        time.sleep(0.002)
    result = page.strip.result
    assert result is not None
    assert result.count("added") == count
    row(f"import {count} runs of an hour (FIT)", 1000 * (time.perf_counter() - began_s), 60_000 * count / 500)
    row("  longest that the window stood still", 1000 * longest_s, None)


def timed(work: Callable[[], object]) -> float:
    """Median milliseconds; the first call, which fills caches, is not counted."""
    work()
    spent = []
    for _ in range(TIMES):
        began_s = time.perf_counter()
        work()
        spent.append(1000 * (time.perf_counter() - began_s))
    return statistics.median(spent)


def row(name: str, spent_ms: float, target_ms: float | None) -> None:
    """One line of the table."""
    target = "" if target_ms is None else f"{target_ms:.0f} ms"
    missed = "  MISSED" if target_ms is not None and spent_ms > target_ms else ""
    print(f"{name:44}{spent_ms:>9.1f} ms{target:>10}{missed}", flush=True)


if __name__ == "__main__":
    main()
