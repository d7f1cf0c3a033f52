"""`dawnbeat runs mornings` and `dawnbeat runs estimate`: what runs say beside mornings and about a runner."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.wording import clock, number
from dawnbeat.ui.commands.runs_options import JournalFolder


def mornings_command(
    women: Annotated[bool, typer.Option("--women", help="Training impulse with the coefficients for women.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Show the hardest days with the morning after, and whether load and mornings go together."""
    from dawnbeat.training import mornings_after
    from dawnbeat.training.weeks import judged_runs
    from dawnbeat.ui.chosen_place import open_journal
    from dawnbeat.ui.commands.runs_tables import plain_table
    from dawnbeat.ui.report import console

    with open_journal(journal) as opened:
        judged = judged_runs(opened, date.today())
        mornings = opened.mornings()
    loads = mornings_after.daily_load(judged, "women" if women else "men")
    headings = ("Day", "Load", "RMSSD, morning after", "Resting pulse", "Week's lnRMSSD moved")
    table = plain_table(f"Hardest days by {loads.name}, and the morning after", headings)
    for day in mornings_after.hardest_days(judged, loads, mornings):
        moved = "–" if day.week_moved is None else f"{day.week_moved:+.2f}"
        said = "no reading" if day.next_morning is None else str(day.ln_rmssd)
        pulse = "" if day.next_morning is None else str(day.resting_pulse)
        table.add_row(day.date.isoformat(), number(day.load), said, pulse, moved)
    screen = console()
    screen.print(table)
    for found in (
        mornings_after.next_morning_association(loads, mornings),
        mornings_after.week_association(loads, mornings),
    ):
        if found is not None:
            screen.print(found.words, markup=False)


def estimate_command(
    run_id: Annotated[int | None, typer.Argument(help="A race; without one, from the journal's pulses.")] = None,
    women: Annotated[bool, typer.Option("--women", help="The factor for women.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Estimate oxygen uptake, threshold pace and equal races, each with formula, source and error."""
    from dawnbeat.training import estimates, run_store, zone_store
    from dawnbeat.ui.chosen_place import open_journal

    with open_journal(journal) as opened:
        run = None if run_id is None else run_store.run(opened, run_id)
        known = zone_store.standing(opened, date.today())
    found: list[estimates.Estimate] = []
    if run is not None:
        way_m, time_s = run.figures.distance_m, run.figures.elapsed_s
        if not run.race or way_m is None:
            raise DawnbeatError(
                f"run {run.id} is no race with a distance: mark it with `dawnbeat runs edit {run.id} "
                "--race`, or choose one"
            )
        found = [estimates.uptake_from_race(way_m, time_s), estimates.threshold_pace(way_m, time_s)]
    elif known.resting is not None and known.maximum is not None:
        found = [
            estimates.uptake_from_pulses(known.resting.bpm, known.maximum.counts_as_bpm, known.maximum.measured, women)
        ]
    else:
        raise DawnbeatError("an estimate needs a resting pulse and a maximum, or a race: add them first")
    for each in found:
        value = clock(each.value) if each.unit == "s/km" else f"{each.value:.1f}"
        around = "" if each.low is None or each.high is None else f" ({each.low:.1f} to {each.high:.1f})"
        unit = "/km" if each.unit == "s/km" else each.unit
        typer.echo(f"{each.name}: {value}{around} {unit}; {each.formula} ({each.source}); error: {each.error}")
    if run is not None and run.figures.distance_m is not None:
        for equal in estimates.race_equivalents(run.figures.distance_m, run.figures.elapsed_s):
            typer.echo(f"{equal.name}: {clock(equal.duration_s)}")
        typer.echo(estimates.EQUIVALENTS_ERROR)
