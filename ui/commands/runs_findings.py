"""`dawnbeat runs mornings` and `dawnbeat runs estimate`: what runs say beside mornings and about a runner."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import cautions
from dawnbeat.training.wording import clock, decimal_from, number, pace_of, seconds_from
from dawnbeat.ui.commands.options import JournalFolder
from dawnbeat.ui.report import console

if TYPE_CHECKING:
    from dawnbeat.training.estimates import Race


def mornings_command(
    women: Annotated[bool, typer.Option("--women", help="Training impulse with the coefficients for women.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Show the hardest days with the morning after, and whether load and mornings go together."""
    from dawnbeat.morning.choices import chosen_ranges, open_journal
    from dawnbeat.training import mornings_after
    from dawnbeat.training.weeks import judged_runs
    from dawnbeat.ui.commands.runs_tables import plain_table

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
    run_id: Annotated[
        int | None, typer.Argument(metavar="NUMBER", help="A race; without one, the newest race and the pulses.")
    ] = None,
    women: Annotated[bool | None, typer.Option("--women/--men", help="Whose factors; asked once by settings.")] = None,
    weekly_km: Annotated[
        str | None, typer.Option("--weekly-km", help="Distance of a usual week; else that of the last eight weeks.")
    ] = None,
    effort: Annotated[
        list[str] | None,
        typer.Option("--effort", help="An effort for critical speed, metres and time as 1200/4:05; give two or three."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Estimate oxygen uptake, threshold pace, equal races, a marathon and critical speed, each with its error."""
    from dawnbeat.morning.choices import open_journal
    from dawnbeat.training import estimates, run_store, zone_store
    from dawnbeat.training.race import estimates_of

    with open_journal(journal) as opened:
        race = None if run_id is None else run_store.run(opened, run_id)
        if race is not None and (not race.race or race.figures.distance_m is None):
            raise DawnbeatError(
                f"run {race.id} is no race with a distance: mark it with `dawnbeat runs edit {race.id} --race`, or "
                "choose one"
            )
        units = zone_store.chosen_units(opened)
        found = estimates_of(
            run_store.runs(opened),
            zone_store.standing(opened, date.today()),
            zone_store.chosen_coefficients(opened) if women is None else "women" if women else "men",
            date.today(),
            race,
            None if weekly_km is None else decimal_from(weekly_km, "the distance of a week"),
            [_effort(each) for each in effort or ()],
        )
    if as_json:
        typer.echo(json.dumps(found.to_json(), ensure_ascii=False, allow_nan=False))
        return
    if not found.estimates and not effort:
        raise DawnbeatError("; ".join(found.missing))
    screen = console()
    for each in found.estimates:
        value = pace_of(each.value, units) if each.unit == "s/km" else f"{each.value:.1f} {each.unit}"
        around = "" if each.low is None or each.high is None else f" (95 %: {each.low:.0f} to {each.high:.0f})"
        screen.print(f"{each.name}: {value}{around}; {each.formula} ({each.source}); error: {each.error}", markup=False)
    if found.disagreement is not None:
        screen.print(found.disagreement.words, style="bold")
    for equal in found.equals:
        screen.print(f"{equal.name}: {clock(equal.duration_s)}")
    if found.equals:
        screen.print(estimates.EQUIVALENTS_ERROR, markup=False)
    if found.marathon is not None:
        screen.print(f"marathon: {clock(found.marathon.duration_s)}, {found.marathon.words}", markup=False)
    if found.critical is not None:
        screen.print(
            f"critical speed: {pace_of(found.critical.pace_s_per_km, units)}, {found.critical.reserve_m:.0f} m above "
            f"it, {estimates.CRITICAL_SPEED_SOURCE}",
            markup=False,
        )
    for line in (*found.missing, *cautions.MAXIMAL_TEST):
        screen.print(line, markup=False)


def _effort(text: str) -> Race:
    from dawnbeat.training.estimates import Race

    metres, slash, time = text.partition("/")
    if not slash:
        raise DawnbeatError(f"effort {text!r}: give metres and time, as 1200/4:05")
    return Race(decimal_from(metres.strip().removesuffix("m"), "the distance"), seconds_from(time))
