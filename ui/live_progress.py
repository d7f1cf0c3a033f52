"""A reading drawn in the terminal: a bar, and the words that the window shows too."""

from __future__ import annotations

import math
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn

from dawnbeat.morning.flow import Plan
from dawnbeat.morning.reading_text import gentle, phase_title
from dawnbeat.morning.taking import Order, Snapshot, Taken, Taking

_REFRESH_EVERY_S = 0.25


def take_in_terminal(order: Order, quiet: bool = False) -> Taken:
    """Take one reading, with a bar on standard error where that is a terminal.

    Ctrl+C ends it and keeps what there is. Raises DawnbeatError as `Taking.run` does.
    """
    console = Console(stderr=True)
    bar = Progress(
        TextColumn("{task.description:<9}"),
        BarColumn(bar_width=24),
        TextColumn("{task.completed:>4.0f} of {task.total:.0f} s"),
        TextColumn("{task.fields[note]}"),
        console=console,
        disable=quiet or not console.is_terminal,
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
