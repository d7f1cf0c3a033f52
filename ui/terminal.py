"""What the command line shows: readings in words, a reading while it is taken, how far work is."""

from __future__ import annotations

import dataclasses
import math
import signal
import sys
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import IO, TYPE_CHECKING, Any

from rich import box
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.progress import BarColumn, Progress, TaskID, TextColumn
from rich.table import Table
from rich.text import Text

from dawnbeat.morning.reading_text import gentle, phase_title, verdict_lines, verdict_title
from dawnbeat.shared.errors import printable

if TYPE_CHECKING:
    from dawnbeat.morning.flow import Plan
    from dawnbeat.morning.taking import Order, Snapshot, Taken
    from dawnbeat.shared.reading import Analysis

NOT_MEDICAL = (
    "Not a medical device. "
    "See a doctor about chest pain, fainting, palpitations or a pulse that keeps coming irregularly."
)
_REFRESH_EVERY_S = 0.25
_WITHOUT_WIDTH = 100_000


class _PlainConsole(Console):
    """A terminal that shows the letters of a text and obeys none: a note can hold what would move its cursor."""

    def render_str(self, text: str, **how: Any) -> Text:
        return super().render_str(printable(text), **how)


def console(output: IO[str] | None = None) -> Console:
    """The terminal; a pipe or a file has no width, and gets everything whole. Brackets in a name are letters."""
    terminal = _PlainConsole(file=output, highlight=False, markup=False, emoji=False)
    if not terminal.is_terminal:
        terminal.width = _WITHOUT_WIDTH
    return terminal


@contextmanager
def progress(title: str, hidden: bool = False) -> Iterator[Callable[[int, int | None], None]]:
    """A bar on standard error where that is a terminal, as a function of how many are done and of how many."""
    screen = Console(stderr=True)
    off = hidden or not screen.is_terminal
    # What goes to standard output meanwhile stays there, and isn't drawn beside the bar.
    with Progress(console=screen, transient=True, disable=off, redirect_stdout=False) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)


def reading(name: str, analysis: Analysis) -> RenderableType:
    """The reading of one recording as something rich can print."""
    usable, title = analysis.verdict.usable, verdict_title(analysis.verdict)
    rate = f", {analysis.frame_rate_hz:.1f} frames a second" if analysis.frame_rate_hz else ""
    parts: list[RenderableType] = [
        Text.assemble((printable(name), "bold"), f"  {analysis.duration_s:.0f} s{rate}"),
        Text(
            title if usable else title.replace("not usable", "NOT USABLE"), style="bold" if usable else "bold reverse"
        ),
    ]
    parts += [Text(f"  {'' if usable else 'because '}{reason}") for reason in verdict_lines(analysis.verdict)]
    if analysis.intervals95:
        if not usable:
            which = "The figures of variability" if analysis.verdict.pulse_usable else "The figures"
            parts.append(Text(f"  {which} below are for looking into it, not to be relied on.", style="italic"))
        parts.append(Padding(_figures(analysis), (0, 0, 0, 2), expand=False))
    parts.append(Text(f"  {_left_out(analysis)}"))
    if analysis.channel:
        parts.append(Text(f"  colour: {analysis.channel}"))
    return Group(*parts)


def _figures(analysis: Analysis) -> Table:
    table = Table(box=box.SIMPLE, show_edge=False, pad_edge=False)
    table.add_column("")
    table.add_column("value", justify="right")
    table.add_column("unit")
    table.add_column("95 % interval", justify="right")
    for each in dataclasses.fields(analysis.metrics):
        about, value = each.metadata, getattr(analysis.metrics, each.name)
        if value is not None and about["decimals"] is not None:
            unit = "" if about["whole"] else about["unit"]
            _add_figure(table, about["title"], value, unit, about["decimals"], analysis.intervals95.get(each.name))
    if analysis.timing_error_ms is not None:
        _add_figure(table, "timing error of a beat", analysis.timing_error_ms, "ms", 1)
    return table


def _add_figure(
    table: Table, title: str, value: float, unit: str, decimals: int, span: tuple[float, float] | None = None
) -> None:
    around = f"{span[0]:.{decimals}f} to {span[1]:.{decimals}f}" if span else ""
    table.add_row(title, f"{value:.{decimals}f}", unit, around)


def _left_out(analysis: Analysis) -> str:
    metrics = analysis.metrics
    counted = Counter(reason for reason in analysis.intervals.left_out if reason is not None)
    kept = len(analysis.intervals) - sum(counted.values())
    words = f"{metrics.kept_beats} beats kept; {kept} of {len(analysis.intervals)} intervals count"
    if counted:
        words += "; left out: " + ", ".join(f"{number} {reason}" for reason, number in counted.most_common())
    return words


def take_in_terminal(order: Order, quiet: bool = False) -> Taken:
    """Take one reading, with a bar on standard error where that is a terminal.

    Ctrl+C ends it and keeps what there is. Raises DawnbeatError as `Taking.run` does.
    """
    from dawnbeat.morning.taking import Taking

    screen = Console(stderr=True)
    bar = Progress(
        TextColumn("{task.description:<9}"),
        BarColumn(bar_width=24),
        TextColumn("{task.completed:>4.0f} of {task.total:.0f} s"),
        TextColumn("{task.fields[note]}"),
        console=screen,
        disable=quiet or not screen.is_terminal,
    )
    order = replace(order, watched=order.watched and not bar.disable)
    with bar:
        drawing = _Drawing(bar, order.plan)
        taking = Taking(order, drawing.show)
        with _stoppable(taking.stop):
            return taking.run()


class _Drawing:
    """Draws a snapshot a few times a second, on the clock of the source."""

    def __init__(self, bar: Progress, plan: Plan) -> None:
        self._bar, self._plan = bar, plan
        self._task: TaskID = bar.add_task("", total=plan.duration_s, note="")
        self._shown_s = -math.inf
        self._phase = ""

    def show(self, moment: Snapshot) -> None:
        """Draw this moment, unless the last one was drawn just now."""
        if moment.phase == self._phase and abs(moment.time_s - self._shown_s) < _REFRESH_EVERY_S:
            return
        self._shown_s, self._phase = moment.time_s, moment.phase
        plan = self._plan
        done_s, of_s = {
            "finger": (min(moment.good_for_s, plan.good_s), plan.good_s),
            "settling": (moment.settled_s, plan.settle_s),
        }.get(moment.phase, (moment.kept_s, plan.duration_s))
        note = f"{pulse_words(moment)}{gentle(moment)}"
        self._bar.update(self._task, description=phase_title(moment.phase), total=of_s, completed=done_s, note=note)


def pulse_words(moment: Snapshot) -> str:
    """The pulse of the last seconds and the share of beats kept, before what there is to say; empty before both."""
    live = moment.live
    if live is None or live.pulse_bpm is None or moment.phase != "reading":
        return ""
    kept = "" if moment.kept_share is None else f", {100 * moment.kept_share:.0f} % of beats kept"
    return f"pulse {live.pulse_bpm:.0f} bpm{kept}. "


@contextmanager
def _stoppable(stop: Callable[[], None]) -> Iterator[None]:
    """A first Ctrl+C calls `stop`, so that the reading ends by itself and keeps what it has."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before: Callable[..., object] | int | None = signal.signal(signal.SIGINT, lambda number, frame: stop())
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        sys.stderr.flush()
