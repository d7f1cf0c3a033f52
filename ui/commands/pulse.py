"""`dawnbeat pulse`: the resting pulse counted by hand, with a timer."""

from __future__ import annotations

import json
import sys
import time
from datetime import date
from typing import Annotated

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import day_from, short_day
from dawnbeat.ui.commands.options import JournalFolder

COUNT_S = 30


def pulse_command(
    beats: Annotated[
        int | None, typer.Argument(help="Beats counted in 30 seconds; without it a timer runs and asks.")
    ] = None,
    day: Annotated[str | None, typer.Option("--date", help="Morning of the count, else today.")] = None,
    list_all: Annotated[bool, typer.Option("--list", help="List the counts that are kept.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Count your resting pulse by hand.

    30 seconds, doubled, on three mornings, before getting up.
    """
    from dawnbeat.morning.choices import open_journal
    from dawnbeat.training.resting import FEWEST, add_hand_count, from_hand_counts, hand_counts, resting_pulse

    today = date.today()
    when = today if day is None else day_from(day)
    if when > today:
        raise DawnbeatError(f"{when.isoformat()} lies in the future: give the morning of the count")
    if beats is None and not list_all:
        beats = _count()
    with open_journal(journal, new=True) as opened:
        if beats is not None:
            add_hand_count(opened, when, beats)
        counts = hand_counts(opened)
        mean, used = from_hand_counts(counts, today), resting_pulse(opened, today)
    if as_json:
        kept = [{"date": each.date.isoformat(), "beats_in_30_s": each.beats_in_30_s} for each in counts]
        bpm = None if mean is None else mean.bpm
        typer.echo(json.dumps({"counts": kept, "hand_count_bpm": bpm, "used_bpm": None if used is None else used.bpm}))
        return
    if list_all:
        for each in sorted(counts, key=lambda each: each.date):
            typer.echo(f"{each.date.isoformat()}  {each.beats_in_30_s} beats in 30 s, {2 * each.beats_in_30_s} bpm")
    elif beats is not None:
        typer.echo(f"{2 * beats} bpm on {short_day(when)}, kept as counted by hand")
    if mean is None:
        days = len({each.date for each in counts})
        typer.echo(f"{days} of {FEWEST} mornings counted: their mean is the resting pulse (common practice, no source)")
    elif used is not None:
        typer.echo(f"resting pulse {used.label}")


def _count() -> int:
    """Run the timer, then ask for the number."""
    if not sys.stdin.isatty():
        raise DawnbeatError("nobody is there to count: give the beats counted in 30 seconds, as `dawnbeat pulse 26`")
    from rich.progress import BarColumn, Progress, TextColumn

    from dawnbeat.ui.report import console

    screen = console()
    screen.print(
        "Lie still. Two fingers lightly on the wrist below the thumb, or beside the windpipe, on one side only."
    )
    typer.prompt("Press Enter at a beat and count from 0", default="", show_default=False)
    with Progress(TextColumn("{task.description}"), BarColumn(), console=screen, transient=True) as bar:
        task = bar.add_task("counting", total=COUNT_S)
        began = time.monotonic()
        while (gone := time.monotonic() - began) < COUNT_S:
            bar.update(task, completed=gone, description=f"{COUNT_S - gone:2.0f} s to go")
            time.sleep(0.1)
    screen.print("\a[bold]Stop.[/bold]")
    return int(typer.prompt("How many beats did you count?", type=int))
