"""What the command line shows: readings in words, a reading while it is taken, how far work is, and tables.

No figure of a table is cut: what has no room goes on in the next line, or is named. Standard output that is no terminal
has no width, and gets each row whole.
"""

from __future__ import annotations

import dataclasses
import math
import signal
import sys
import threading
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import IO, TYPE_CHECKING, Any

from rich import box
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.padding import Padding
from rich.progress import BarColumn, Progress, TaskID, TextColumn
from rich.table import Table
from rich.text import Text

from dawnbeat.morning.reading_text import gentle, phase_title, verdict_lines, verdict_title
from dawnbeat.shared.errors import printable
from dawnbeat.shared.wording import between

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
    table.add_column("95 % interval", justify="right")
    table.add_column("unit")
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
    around = between(*span, decimals) if span else ""
    table.add_row(title, f"{value:.{decimals}f}", around, unit)


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
        with on_ctrl_c(taking.stop):
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
def on_ctrl_c(stop: Callable[[], None]) -> Iterator[None]:
    """Ctrl+C calls `stop` meanwhile, and raises nothing by itself: so a reading ends and keeps what it has."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before: Callable[..., object] | int | None = signal.signal(signal.SIGINT, lambda number, frame: stop())
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        sys.stderr.flush()


@dataclass(frozen=True)
class Column:
    """A column by its heading.

    words: it may go on in the next line, between words, once it is narrower than that; `least` is as narrow as it
    gets. cut: its words end at the end of their line, since another command shows them whole. goes: in which order a
    narrow terminal loses the column, 1 first, and 0 where it stays; it is then called `called`, else by its heading.
    """

    heading: str
    words: bool = False
    least: int = 0
    cut: bool = False
    goes: int = 0
    called: str = ""


class FittedTable:
    """Rows below headings, laid out for the width of the terminal that they are printed on.

    Where even the columns that stay have no room beside each other, each row becomes a few lines of its own.
    """

    def __init__(self, title: str | None, columns: Sequence[Column]) -> None:
        self.title, self.columns = title, tuple(columns)
        self.rows: list[tuple[str, ...]] = []
        self.caption = ""

    def add_row(self, *cells: str) -> None:
        """Add the cells of one row, one for each column."""
        assert len(cells) == len(self.columns)
        self.rows.append(cells)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """The title, the table and what is said below it."""
        width = options.max_width
        if self.title:
            yield Text(self.title, "italic")
        shown, least = self._that_fit(width)
        gone = [each for each in range(len(self.columns)) if each not in shown and any(row[each] for row in self.rows)]
        if not _fit(least, shown, width):
            least = [self._longest_word(column) for column in range(len(self.columns))]
        if _fit(least, shown, width):
            yield self._side_by_side(shown, least, width)
        else:
            yield from self._one_below_the_other(shown)
        if self.caption:
            yield Text(self.caption, "dim italic")
        if gone:
            names = ", ".join(self.columns[each].called or self.columns[each].heading for each in gone)
            yield Text(f"Too narrow here for {names}.", "dim italic")

    def _that_fit(self, width: int) -> tuple[list[int], list[int]]:
        """The columns that stay, and how narrow each column may be."""
        least = [self._least(column) for column in range(len(self.columns))]
        shown = list(range(len(self.columns)))
        for column in sorted(
            (each for each in shown if self.columns[each].goes), key=lambda each: self.columns[each].goes
        ):
            if _fit(least, shown, width):
                break
            shown.remove(column)
        return shown, least

    def _side_by_side(self, shown: Sequence[int], least: Sequence[int], width: int) -> Table:
        # Where two blanks between the columns are too many, one must do.
        loose = sum(least[each] for each in shown) + 2 * (len(shown) - 1) <= width
        room = width - (2 if loose else 1) * (len(shown) - 1)
        widths = _filled([least[each] for each in shown], [self._whole(each) for each in shown], room)
        table = Table(box=box.SIMPLE if loose else None, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
        for each, wide in zip(shown, widths, strict=True):
            column = self.columns[each]
            table.add_column(
                column.heading, width=wide, no_wrap=column.cut, overflow="ellipsis" if column.cut else "fold"
            )
        for row in self.rows:
            table.add_row(*(row[each] for each in shown))
        return table

    def _one_below_the_other(self, shown: Sequence[int]) -> Iterator[Padding]:
        for row in self.rows:
            filled = [each for each in shown if row[each]]
            for n, each in enumerate(filled):
                heading = self.columns[each].heading
                text = f"{heading}: {row[each]}" if heading else row[each]
                yield Padding(text, (0, 0, 0, 2 if n else 0), expand=False)

    def _whole(self, column: int) -> int:
        return max(map(_length, self._texts(column)))

    def _least(self, column: int) -> int:
        about = self.columns[column]
        if about.words or about.cut:
            return min(max(about.least, 1 if about.cut else self._longest_word(column)), self._whole(column))
        return max(_longest(about.heading), *(_length(row[column]) for row in self.rows), 0)

    def _longest_word(self, column: int) -> int:
        return max(map(_longest, self._texts(column)))

    def _texts(self, column: int) -> list[str]:
        return [self.columns[column].heading, *(row[column] for row in self.rows)]


def plain_table(title: str | None, headings: Sequence[str]) -> FittedTable:
    """An empty table of words, which keeps all of its columns."""
    return FittedTable(title, [Column(heading, words=True) for heading in headings])


def _fit(least: Sequence[int], shown: Sequence[int], width: int) -> bool:
    return sum(least[each] for each in shown) + len(shown) - 1 <= width


def _filled(widths: list[int], wanted: Sequence[int], room: int) -> list[int]:
    """The widths with the room that is left given out, each time to the narrowest column that wants more."""
    spare = room - sum(widths)
    while spare > 0 and (short := [n for n, wide in enumerate(widths) if wide < wanted[n]]):
        widths[min(short, key=widths.__getitem__)] += 1
        spare -= 1
    return widths


def _length(text: str) -> int:
    return cell_len(printable(text))


def _longest(text: str) -> int:
    return max(map(_length, text.split()), default=0)
