"""`dawnbeat mornings` and `dawnbeat note`: the history in the terminal, and the runner's words in it."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dawnbeat.shared.errors import DawnbeatError

if TYPE_CHECKING:
    from rich.console import Console

    from dawnbeat.journal.store import Journal

_LN_RMSSD = 5
_LONGEST_CELL = 60
JOURNAL_HELP = "Folder of the journal instead of the usual one (or set DAWNBEAT_HOME)."


def mornings(
    weeks: int = typer.Option(4, help="How many weeks to list."),
    journal: Path | None = typer.Option(None, help=JOURNAL_HELP),
) -> None:
    """Show the last weeks, and where today stands in your own usual range."""
    from dawnbeat.journal.store import Journal
    from dawnbeat.ui.report import console

    if not 1 <= weeks <= 520:
        raise DawnbeatError(f"--weeks {weeks} is out of range: give 1 to 520")
    with Journal.open(journal) as opened:
        print_mornings(console(), opened, date.today(), weeks)


def print_mornings(screen: Console, journal: Journal, today: date, weeks: int) -> None:
    """Print table, sparkline and today's paragraph."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    from dawnbeat.journal.listing import HEADINGS, sparkline, table
    from dawnbeat.journal.today import today_of
    from dawnbeat.journal.words import paragraph, rests_on

    first = today - timedelta(days=7 * weeks - 1)
    readings = journal.readings(first, today)
    if readings:
        rows = [_in_terminal(row) for row in table(readings)]
        shown = Table(box=box.SIMPLE, show_edge=False, padding=(0, 1, 0, 0))
        for column, heading in enumerate(HEADINGS):
            # Figures stay whole however narrow the terminal is; words may fold.
            figures = column < len(HEADINGS) - 2
            width = max(len(row[column]) for row in [list(HEADINGS), *rows])
            shown.add_column(heading, no_wrap=figures, min_width=width if figures else 12)
        for row in rows:
            shown.add_row(*row)
        screen.print(shown)
        by_day = {morning.date: morning.ln_rmssd for morning in journal.mornings(first, today) if morning.usable}
        days = [by_day.get(first + timedelta(days=day)) for day in range(7 * weeks)]
        screen.print(Text(f"lnRMSSD by day  {sparkline(days)}"))
    stand = today_of(journal, today)
    screen.print()
    screen.print(Text(paragraph(stand)))
    for line in rests_on(stand):
        screen.print(Text(f"  {line}"))


def _in_terminal(row: tuple[str, ...]) -> list[str]:
    """The cells of one reading, with lnRMSSD without its interval and long words cut, to fit a line or two."""
    cells = list(row)
    cells[_LN_RMSSD] = cells[_LN_RMSSD].split(" (")[0]
    return [cell if len(cell) <= _LONGEST_CELL else cell[: _LONGEST_CELL - 1] + "…" for cell in cells]


def note(
    day: str = typer.Argument(..., help="The day, such as 2026-05-03, or today or yesterday."),
    words: list[str] = typer.Argument(None, help='Items, such as: sleep=3 hours=7.5 note="slept badly".'),
    posture: str | None = typer.Option(None, help="lying, sitting or standing, to correct what was stored."),
    pick: int | None = typer.Option(None, help="Let the reading with this number count for its day."),
    journal: Path | None = typer.Option(None, help=JOURNAL_HELP),
) -> None:
    """Edit what you said of a morning; without items, show it."""
    from dawnbeat.journal.context_line import context_from_line, line_of
    from dawnbeat.journal.store import Journal
    from dawnbeat.shared.morning import posture_from

    with Journal.open(journal) as opened:
        if pick is not None:
            opened.pick(pick)
        reading = opened.counting(day_of(day))
        if posture is not None:
            reading = opened.set_posture(reading.id, posture_from(posture))
        if words:
            reading = opened.edit_context(reading.id, context_from_line(_one_line(words), reading.context))
        print(f"{reading.began.date()}  reading {reading.id}, {reading.posture}")
        print(line_of(reading.context) or "nothing noted")


def _one_line(words: list[str]) -> str:
    """The words as the shell split them, quoted again so that a note keeps its spaces."""
    import shlex

    return " ".join(shlex.quote(word) for word in words)


def day_of(text: str) -> date:
    """A day by its ISO date or by today or yesterday; raises DawnbeatError for anything else."""
    if text in ("today", "yesterday"):
        return date.today() - timedelta(days=text == "yesterday")
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise DawnbeatError(f"{text!r} is not a day: write it like 2026-05-03, or today or yesterday") from None
