"""`dawnbeat runs mornings` and `dawnbeat runs estimate`: what runs say beside mornings and about a runner."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.wording import clock, number
from dawnbeat.ui.commands.options import JournalFolder

if TYPE_CHECKING:
    from dawnbeat.training.estimates import Estimate
    from dawnbeat.training.run import Run


def mornings_command(
    women: Annotated[bool, typer.Option("--women", help="Training impulse with the coefficients for women.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Show the hardest days with the morning after, and whether load and mornings go together."""
    from dawnbeat.morning.choices import chosen_ranges, open_journal
    from dawnbeat.training import mornings_after
    from dawnbeat.training.weeks import judged_runs
    from dawnbeat.ui.commands.runs_tables import plain_table
    from dawnbeat.ui.report import console

    with open_journal(journal) as opened:
        judged = judged_runs(opened, date.today())
        mornings = opened.mornings()
    loads = mornings_after.daily_load(judged, "women" if women else "men")
    headings = ("Day", "Load", "RMSSD, morning after", "Resting pulse", "Week's lnRMSSD moved")
    table = plain_table(f"Hardest days by {loads.name}, and the morning after", headings)
    for day in mornings_after.hardest_days(judged, loads, mornings, settings=chosen_ranges()):
        moved = "–" if day.week_moved is None else f"{day.week_moved:+.2f}"
        said = day.not_compared or str(day.ln_rmssd)
        pulse = "" if day.not_compared else str(day.resting_pulse)
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
    from dawnbeat.morning.choices import open_journal
    from dawnbeat.training import estimates, run_store, zone_store
    from dawnbeat.ui.report import console

    with open_journal(journal) as opened:
        run = None if run_id is None else run_store.run(opened, run_id)
        known = zone_store.standing(opened, date.today())
        races = [
            each for each in run_store.runs(opened) if each.race and each.counts and each.figures.distance_m is not None
        ]
    by_pulses = None
    if known.resting is not None and known.maximum is not None:
        by_pulses = estimates.uptake_from_pulses(
            known.resting.bpm, known.maximum.counts_as_bpm, known.maximum.measured, women
        )
    found: list[estimates.Estimate] = []
    if run is not None:
        way_m, time_s = run.figures.distance_m, run.figures.elapsed_s
        if not run.race or way_m is None:
            raise DawnbeatError(
                f"run {run.id} is no race with a distance: mark it with `dawnbeat runs edit {run.id} "
                "--race`, or choose one"
            )
        found = [estimates.uptake_from_race(way_m, time_s), estimates.threshold_pace(way_m, time_s)]
    elif by_pulses is not None:
        found = [by_pulses]
    else:
        raise DawnbeatError("an estimate needs a resting pulse and a maximum, or a race: add them first")
    screen = console()
    for each in found:
        value = clock(each.value) if each.unit == "s/km" else f"{each.value:.1f}"
        around = "" if each.low is None or each.high is None else f" ({each.low:.1f} to {each.high:.1f})"
        unit = "/km" if each.unit == "s/km" else each.unit
        screen.print(f"{each.name}: {value}{around} {unit}; {each.formula} ({each.source}); error: {each.error}")
    race = run if run is not None else races[-1] if races else None
    if race is not None and by_pulses is not None and (said := _disagreement(race, by_pulses, women)):
        screen.print(said)
    if run is not None and run.figures.distance_m is not None:
        for equal in estimates.race_equivalents(run.figures.distance_m, run.figures.elapsed_s):
            screen.print(f"{equal.name}: {clock(equal.duration_s)}")
        screen.print(estimates.EQUIVALENTS_ERROR)


def _disagreement(race: Run, by_pulses: Estimate, women: bool) -> str:
    """What to make of a race and two pulses that say different uptakes; empty where they agree."""
    from dawnbeat.training import estimates

    way_m = race.figures.distance_m
    assert way_m is not None
    try:
        by_race = estimates.uptake_from_race(way_m, race.figures.elapsed_s)
    except DawnbeatError:
        return ""
    assert by_pulses.low is not None
    assert by_pulses.high is not None
    if by_pulses.low <= by_race.value <= by_pulses.high:
        return ""
    checked = "trained women" if women else "well-trained men"
    return (
        f"The race of {race.local_date.isoformat()} (run {race.id}) says {by_race.value:.1f} ml/min/kg and the pulses "
        f"say {by_pulses.value:.1f}, further apart than the error of the pulses: trust the race more if you gave "
        f"everything in it, as it measures running itself, though a hilly, hot or uneven race says too little; the "
        f"formula by pulses was checked in {checked} only, and a resting pulse or maximum that is a "
        "few beats off moves it."
    )
