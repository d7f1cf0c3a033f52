"""A tour of the window as it stands on the screen: every page and every view, one after the other."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from PySide6.QtWidgets import QWidget

from dawnbeat.morning.bench import Score
from dawnbeat.ui.window.bench.page import BenchPage
from dawnbeat.ui.window.mornings.page import MorningsPage
from dawnbeat.ui.window.read.page import ReadPage
from dawnbeat.ui.window.runs.page import VIEWS, RunsPage
from dawnbeat.ui.window.shell.help import FirstStart
from dawnbeat.ui.window.shell.main_window import MainWindow
from tests.ui.window.read_fakes import AWAY, FakeReading, calm, moment, short

SCORES = (
    Score(Path("motion-burst"), True, False, 0.97, 4.1, 3.2, 0.84, 1.9, 51.2, 46.0, "little was kept"),
    Score(Path("calm-morning"), True, True, 1.0, 1.2, -0.3, 0.99, 1.1, 49.8, 53.4),
    Score(Path("cut-short"), trouble="trace.csv ends in the middle of a line: record it again"),
)
SAMPLE = Path(__file__).resolve().parents[3] / "recordings" / "motion-burst"


def visit(window: MainWindow, rest: Callable[[], object]) -> Iterator[tuple[str, QWidget]]:
    """The name and the widget of each view, shown. rest: let the window work until it has nothing to do.

    The journal must hold mornings and runs. The readings that are shown are scripted ones.
    """
    for name, shown in _views(window):
        rest()
        yield name, shown


def _views(window: MainWindow) -> Iterator[tuple[str, QWidget]]:
    context = window.context
    window.go("read")
    read = window.pages["read"]
    assert isinstance(read, ReadPage)
    read._make_reading = FakeReading  # type: ignore[assignment]
    yield "read", window
    read.start.show_trouble("There is no camera.")
    yield "read, no camera", window
    read.start.main.click()
    for seen in (
        moment("finger", AWAY),
        moment("settling"),
        moment("reading", kept_s=22.0),
        moment("paused", AWAY, kept_s=22.0),
    ):
        FakeReading.last.show(seen)
        read._look()
        yield f"read, {seen.phase}", window
    read.live.end_button.click()
    yield "read, asked whether to end", window
    for analysis, words in ((short(), "not usable"), (calm(), "usable")):
        FakeReading.last.keep(analysis)
        read._look()
        yield f"read, {words}", window
        read._done()
        read.start.main.click()
    FakeReading.last.end(kept_s=0.0)
    read._look()
    window.go("mornings")
    mornings = window.pages.get("mornings")
    if mornings is None:
        yield "opening", window
        mornings = window.pages["mornings"]
    assert isinstance(mornings, MorningsPage)
    yield "mornings", window
    mornings.open_months()
    yield "mornings, months", window
    mornings.back()
    mornings.open_context()
    yield "mornings, context", window
    mornings.back()
    mornings.open_reading(context.journal.readings()[-3])
    yield "mornings, a day", window
    window.go("zones")
    yield "zones", window
    window.go("runs")
    runs = window.pages["runs"]
    assert isinstance(runs, RunsPage)
    for view in VIEWS:
        runs.show_view(view)
        yield f"runs, {view}", window
    runs.open_run(runs.judged[-1].run.id)
    yield "runs, a run", window
    window.go("bench")
    bench = window.pages["bench"]
    assert isinstance(bench, BenchPage)
    assert bench.panel.controls  # they are made a few at a time
    yield "bench, empty", window
    bench.open([SAMPLE])
    for place in range(bench.views.count()):
        bench.views.setCurrentIndex(place)
        yield f"bench, {bench.views.tabText(place)}", window
    bench.views.scoring.model.set_rows(SCORES)
    bench.views.scoring._show_state()
    bench.views.show_view("scoring")
    yield "bench, scores", window
    for page in ("settings", "help"):
        window.go(page)
        yield page, window
    first = FirstStart(context, window)
    first.open()
    yield "first start", first
    first.close()
