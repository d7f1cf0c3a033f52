"""`dawnbeat runs week`, `month`, `export`, `mornings`, `estimate`, `race`, `protocol`: what runs say of a runner."""

from __future__ import annotations

import dataclasses
import math
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dawnbeat.shared.checked_fields import one_of
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.files import STANDARD_OUTPUT
from dawnbeat.shared.wording import (
    PACE_UNIT,
    bare_pace,
    between,
    clock,
    decimal_from,
    metres_from,
    number,
    pace_of,
    seconds_from,
    short_day,
    signed,
)
from dawnbeat.training.maximum import ADDED_BEATS, MAXIMAL_TEST
from dawnbeat.ui.as_json import line_of
from dawnbeat.ui.commands.options import (
    CsvOut,
    First,
    JournalFolder,
    Last,
    ObjectsByLine,
    OneObject,
    Overwrite,
    days_between,
    open_journal,
    show,
)

if TYPE_CHECKING:
    from dawnbeat.training.estimates import Race
    from dawnbeat.training.mornings_after import HardDay


def week_command(
    weeks: Annotated[int, typer.Option(min=1, max=520, help="How many weeks.")] = 8,
    as_json: ObjectsByLine = False,
    journal: JournalFolder = None,
) -> None:
    """Show the last weeks: easy share, time, distance, load."""
    from dawnbeat.training import zone_store
    from dawnbeat.training.periods import EASY_AIM_SOURCE, RANGE_WEEKS, judged_runs, monday_of, weeks_of
    from dawnbeat.ui.as_json import week_json
    from dawnbeat.ui.commands.runs_tables import WEEK_MEANINGS, loads_table, weeks_table

    today = date.today()
    first = monday_of(today) - timedelta(weeks=weeks - 1)
    with open_journal(journal) as opened:
        judged = judged_runs(opened, today, first - timedelta(weeks=RANGE_WEEKS), today)
        units, whose = zone_store.chosen_units(opened), zone_store.chosen_coefficients(opened)
    found = weeks_of(judged, first, today)
    if as_json:
        for week in found:
            typer.echo(line_of(week_json(week)))
        return
    if not any(week.runs for week in found):
        typer.echo(
            f"No run since {short_day(first)}: bring some in with `dawnbeat runs import`, or show more with --weeks."
        )
        return
    show(weeks_table(found, units), loads_table(found, whose), EASY_AIM_SOURCE, *WEEK_MEANINGS)


def export_command(
    out: CsvOut,
    weeks: Annotated[bool, typer.Option("--weeks", help="One row a week instead of one a run.")] = False,
    months: Annotated[bool, typer.Option("--months", help="One row a month.")] = False,
    years: Annotated[bool, typer.Option("--years", help="One row a year.")] = False,
    first: First = None,
    last: Last = None,
    overwrite: Overwrite = False,
    journal: JournalFolder = None,
) -> None:
    """Write runs, weeks, months or years to CSV.

    The file is safe to open in a spreadsheet.
    """
    from dawnbeat.training import periods
    from dawnbeat.training.export_runs import export_periods, export_runs, export_weeks
    from dawnbeat.training.periods import judged_runs, weeks_of

    start, end = days_between(first, last)
    with open_journal(journal) as opened:
        judged = judged_runs(opened, date.today(), None, end)
        mornings = periods.usual_mornings(opened, date.today()) if months or years else []
    days = [each.run.local_date for each in judged]
    if months or years:
        fixed = periods.fixed_of(judged, date.today())
        period: periods.Period = "year" if years else "month"
        begin = start or min([*days, *(each.date for each in mornings)], default=date.today())
        found = periods.periods_of(judged, mornings, fixed, begin, end or date.today(), period)
        _say_written(export_periods(found, fixed, out, overwrite), f"{period}s", out)
        return
    if weeks and days:
        count = export_weeks(weeks_of(judged, start or days[0], end or date.today()), out, overwrite)
    else:
        chosen = [each for each in judged if start is None or each.run.local_date >= start]
        count = export_weeks([], out, overwrite) if weeks else export_runs(chosen, out, overwrite)
    _say_written(count, "weeks" if weeks else "runs", out)


def _say_written(count: int, what: str, out: Path) -> None:
    """On standard error where the rows themselves go to standard output."""
    to_standard = out == STANDARD_OUTPUT
    typer.echo(f"{count} {what} written to {'standard output' if to_standard else out}", err=to_standard)


def mornings_command(
    women: Annotated[bool, typer.Option("--women", help="Training impulse with the coefficients for women.")] = False,
    as_json: OneObject = False,
    journal: JournalFolder = None,
) -> None:
    """Show the hardest days with the morning after.

    And whether load and mornings go together.
    """
    from dawnbeat.morning.choices import chosen_ranges
    from dawnbeat.training import mornings_after
    from dawnbeat.training.periods import judged_runs
    from dawnbeat.ui.terminal import plain_table

    with open_journal(journal) as opened:
        judged = judged_runs(opened, date.today())
        mornings = opened.mornings()
    if not judged and not as_json:
        typer.echo("No runs yet: bring some in with `dawnbeat runs import`.")
        return
    loads = mornings_after.daily_load(judged, "women" if women else "men")
    days = mornings_after.hardest_days(judged, loads, mornings, settings=chosen_ranges())
    both = mornings_after.next_morning_association(loads, mornings), mornings_after.week_association(loads, mornings)
    associations = [each for each in both if each is not None]
    if as_json:
        found_in = [{**dataclasses.asdict(each), "words": each.words} for each in associations]
        print(line_of({"load": loads.name, "days": [_hard_day(each) for each in days], "associations": found_in}))
        return
    headings = ("Day", "Load", "RMSSD, morning after", "Resting pulse", "Week's lnRMSSD moved")
    table = plain_table(f"Hardest days by {loads.name}, and the morning after", headings)
    for day in days:
        said = day.not_compared or day.ln_rmssd
        pulse = "" if day.not_compared else day.resting_pulse
        table.add_row(day.date.isoformat(), number(day.load), said, pulse, signed(day.week_moved, 2))
    show(table, *(found.words for found in associations))


def _hard_day(day: HardDay) -> dict[str, object]:
    after = day.next_morning
    compared = not day.not_compared
    ln_rmssd = after.ln_rmssd if after is not None and after.usable else None
    return {
        "date": day.date.isoformat(),
        "load": day.load,
        "runs": day.runs,
        "not_compared": day.not_compared or None,
        "rmssd_ms": None if ln_rmssd is None else math.exp(ln_rmssd),
        "rmssd_words": day.ln_rmssd if compared else None,
        "resting_pulse_bpm": after.resting_pulse_bpm if after is not None and after.usable else None,
        "resting_pulse_words": day.resting_pulse if compared else None,
        "week_ln_rmssd_moved": day.week_moved,
    }


def month_command(
    months: Annotated[int, typer.Option(min=1, max=240, help="How many months.")] = 12,
    years: Annotated[bool, typer.Option("--years", help="One row a year, all there are.")] = False,
    pulse: Annotated[float | None, typer.Option(help="Compare paces at this pulse, in bpm.")] = None,
    pace: Annotated[str | None, typer.Option(help="Compare pulses at this pace a km, as 5:45.")] = None,
    as_json: ObjectsByLine = False,
    journal: JournalFolder = None,
) -> None:
    """Show months or years side by side.

    What was run, how fast at the same pulse, resting pulse and variability beside it.
    """
    from dawnbeat.training import periods, zone_store
    from dawnbeat.training.periods import judged_runs
    from dawnbeat.ui.commands.runs_tables import PERIOD_MEANINGS, periods_table

    today = date.today()
    with open_journal(journal) as opened:
        judged = judged_runs(opened, today)
        mornings = periods.usual_mornings(opened, today)
        units = zone_store.chosen_units(opened)
    fixed = periods.fixed_of(judged, today)
    if pulse is not None or pace is not None:
        fixed = periods.Fixed(
            pulse if pulse is not None else 0.0 if fixed is None else fixed.pulse_bpm,
            seconds_from(pace) if pace is not None else 1e6 if fixed is None else fixed.pace_s_per_km,
        )
    days = [*(each.run.local_date for each in judged), *(each.date for each in mornings)]
    first = min(days, default=today)
    if not years:
        first = max(first, (today.replace(day=1) - timedelta(days=30.44 * (months - 1))))
    found = periods.periods_of(judged, mornings, fixed, first, today, "year" if years else "month")
    if as_json:
        compared = {
            "fixed_pulse_bpm": None if fixed is None else fixed.pulse_bpm,
            "fixed_pace_s_per_km": None if fixed is None else fixed.pace_s_per_km,
        }
        for each in found:
            typer.echo(line_of({**each.to_json(), **compared}))
        return
    show(periods_table(found, fixed, units, years), *PERIOD_MEANINGS)


def race_command(
    distance: Annotated[str, typer.Argument(help="Distance of the race in km, as 10 or 21,1; or as 13.1mi.")],
    goal: Annotated[
        str | None, typer.Option(help="Time aimed at, as 45:00; else what an own race says is equal.")
    ] = None,
    as_json: OneObject = False,
    journal: JournalFolder = None,
) -> None:
    """Show a pulse and a pace for a race.

    From your own runs: to start at, to stay under, and what drift does to it.
    """
    from dawnbeat.training import run_store, zone_store
    from dawnbeat.training.race import RACE_CAUTION, race_plan
    from dawnbeat.ui.terminal import plain_table

    today = date.today()
    with open_journal(journal) as opened:
        known = zone_store.standing(opened, today)
        units = zone_store.chosen_units(opened)
        runs = run_store.runs(opened)
    found = race_plan(metres_from(distance), runs, known, today, None if goal is None else seconds_from(goal))
    if as_json:
        held = [{**vars(each), "day": each.day.isoformat()} for each in found.held]
        typer.echo(line_of({**vars(found), "held": held, "words": found.lines(units)}))
        return
    show(*found.lines(units))
    if found.held:
        headings = ("Run", "Day", "Time", "First pace", "Last pace", "First pulse", "Last pulse", "Drift/h")
        title = f"How your longest runs held, first third and last; {PACE_UNIT[units]} and bpm"
        table = plain_table(title, headings)
        for each in found.held:
            table.add_row(
                str(each.run_id),
                each.day.isoformat(),
                clock(each.duration_s),
                bare_pace(1000.0, each.first_pace_s_per_km, units),
                bare_pace(1000.0, each.last_pace_s_per_km, units),
                number(each.first_bpm),
                number(each.last_bpm),
                f"{signed(each.drift_pct_per_hour, 1)} %",
            )
        show(table)
    show(RACE_CAUTION, *MAXIMAL_TEST)


def protocol_command(
    which: Annotated[str, typer.Argument(help="hills or mile for a maximum, threshold for a threshold.")] = "",
) -> None:
    """Show how to test a maximum or a threshold.

    Step by step, and who must not.
    """
    from dawnbeat.training.maximum import PROTOCOL_KEYS, PROTOCOLS, WHO_MUST_NOT

    show(WHO_MUST_NOT, style="bold")
    show(*MAXIMAL_TEST)
    for each in [PROTOCOLS[one_of("protocol", which, PROTOCOL_KEYS)]] if which else PROTOCOLS.values():
        show(f"\n{each.name} (common practice, no source)", style="bold")
        show(*(f"{n}. {step}" for n, step in enumerate(each.steps, start=1)), f"Result: {each.reading}")
    if which != "threshold":
        show(ADDED_BEATS)


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
    as_json: OneObject = False,
    journal: JournalFolder = None,
) -> None:
    """Estimate oxygen uptake, equal races and more.

    Threshold pace, a marathon and critical speed as well, each with its error.
    """
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
        typer.echo(line_of(found.to_json()))
        return
    if not found.estimates and not effort:
        raise DawnbeatError("; ".join(found.missing))
    for each in found.estimates:
        value = pace_of(each.value, units) if each.unit == "s/km" else f"{each.value:.1f} {each.unit}"
        around = (
            "" if each.low is None or each.high is None else f" (95 %: {between(each.low, each.high, unit=each.unit)})"
        )
        show(f"{each.name}: {value}{around}; {each.formula} ({each.source}); error: {each.error}")
    if found.disagreement is not None:
        show(found.disagreement.words, style="bold")
    if found.equals:
        show(*(f"{equal.name}: {clock(equal.duration_s)}" for equal in found.equals), estimates.EQUIVALENTS_ERROR)
    if found.marathon is not None:
        show(f"marathon: {clock(found.marathon.duration_s)}, {found.marathon.words}")
    if found.critical is not None:
        show(
            f"critical speed: {pace_of(found.critical.pace_s_per_km, units)}, {found.critical.reserve_m:.0f} m above "
            f"it, {estimates.CRITICAL_SPEED_SOURCE}"
        )
    show(*found.missing, *MAXIMAL_TEST)


def _effort(text: str) -> Race:
    from dawnbeat.training.estimates import Race

    metres, slash, time = text.partition("/")
    if not slash:
        raise DawnbeatError(f"effort {text!r}: give metres and time, as 1200/4:05")
    return Race(decimal_from(metres.strip().removesuffix("m"), "the distance"), seconds_from(time))
