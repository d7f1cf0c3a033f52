"""`dawnbeat runs`: import, list and judge runs. What takes a while to import is imported where it is used."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dawnbeat.shared.checked_fields import one_of
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import (
    M_PER_UNIT,
    UNITS,
    Units,
    capital,
    clock,
    decimal_from,
    moment_from,
    number,
    pace,
    pace_of,
    percent,
    rating,
    seconds_from,
    short_day,
    signed,
    span,
)
from dawnbeat.ui.commands import runs_findings
from dawnbeat.ui.commands.options import (
    Bin,
    BinAsJson,
    EmptyBin,
    First,
    JournalFolder,
    Last,
    ObjectsByLine,
    Quiet,
    RunId,
    UnaskedBin,
    days_between,
    open_journal,
    show,
    use_bin,
)
from dawnbeat.ui.commands.pulses import maximum_app, threshold_command

if TYPE_CHECKING:
    from dawnbeat.training.run import Run

runs_app = typer.Typer(no_args_is_help=True, help="Runs: import, list and judge them by your zones.")

_LISTED_DAYS = 56


@runs_app.command("import")
def import_command(
    paths: Annotated[list[Path], typer.Argument(help="FIT, TCX, GPX or CSV files, or folders or zip files of them.")],
    began: Annotated[
        str | None, typer.Option(help="When a CSV whose times count from 0 began, as 2025-03-01T06:30.")
    ] = None,
    sport: Annotated[
        str | None, typer.Option(help="Sport of files that don't say theirs, such as running or walking.")
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="A file that tells more than the run of its time takes its place.")
    ] = False,
    quiet: Quiet = False,
    journal: JournalFolder = None,
) -> None:
    """Bring runs of files into the journal.

    Ctrl+C stops between two files, and what was added stays.
    """
    from dawnbeat.training import run_store
    from dawnbeat.training.import_runs import import_runs
    from dawnbeat.training.run import SPORTS
    from dawnbeat.training.zone_store import chosen_units
    from dawnbeat.ui.terminal import progress

    moment = None if began is None else moment_from(began)
    said = None if sport is None else one_of("sport", sport, SPORTS)
    with open_journal(journal, new=True) as opened, _stop_between_files() as stop:
        with progress("reading runs", hidden=quiet) as tell:
            result = import_runs(
                opened, paths, moment, said, replace, lambda done, of, outcome: tell(done, of), stop.is_set
            )
        unsaid = result.unsaid_ids
        if unsaid and not quiet and sys.stdin.isatty() and sys.stderr.isatty():
            found = [run_store.run(opened, each) for each in unsaid]
            if typer.confirm(_sport_question(found, chosen_units(opened)), err=True):
                for each in unsaid:
                    run_store.edit(opened, each, sport="running")
                result = result.now_running(unsaid)
    if result.files == 1 and result.count("not taken"):
        raise DawnbeatError(result.outcomes[0].message)
    if not quiet or result.count("not taken"):
        typer.echo("\n".join(result.lines()))
    if result.count("not taken"):
        raise typer.Exit(2)
    if result.cancelled:
        raise typer.Exit(130)


@runs_app.command("add")
def add_command(
    duration: Annotated[str, typer.Argument(help="Duration, as 42:30, 1:02:30 or minutes.")],
    began: Annotated[
        str | None, typer.Option(help="When it began, as 2025-03-01T06:30; else it has just ended.")
    ] = None,
    km: Annotated[str | None, typer.Option(help="Distance in km, as 8.2 or 8,2.")] = None,
    miles: Annotated[str | None, typer.Option(help="Distance in miles instead.")] = None,
    felt: Annotated[float | None, typer.Option(help="How hard the whole run felt, 0 to 10.")] = None,
    note: Annotated[str, typer.Option(help="A note.")] = "",
    race: Annotated[bool, typer.Option("--race", help="It was a race.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Add a run without a file.

    By its duration, distance and how hard it felt.
    """
    from datetime import datetime

    from dawnbeat.training import run_store

    seconds = seconds_from(duration)
    moment = datetime.now().astimezone() - timedelta(seconds=seconds) if began is None else moment_from(began)
    with open_journal(journal) as opened:
        run = run_store.add_by_hand(
            opened, moment.replace(microsecond=0), seconds, _metres(km, miles), felt, note, race
        )
    typer.echo(f"Run {run.id} of {short_day(run.local_date)}, {clock(seconds)}, added.")


@runs_app.command("list")
def list_command(
    first: First = None, last: Last = None, as_json: ObjectsByLine = False, journal: JournalFolder = None
) -> None:
    """List runs, each judged by the zones of its day.

    Those of the last eight weeks, or of the days given.
    """
    from dawnbeat.training import zone_store
    from dawnbeat.training.periods import judged_runs
    from dawnbeat.ui.as_json import line_of, run_json
    from dawnbeat.ui.commands.runs_tables import runs_table

    start, end = days_between(first, last)
    end = end or date.today()
    start = start or end - timedelta(days=_LISTED_DAYS - 1)
    with open_journal(journal) as opened:
        judged = judged_runs(opened, date.today(), start, end)
        units = zone_store.chosen_units(opened)
    if as_json:
        for each in judged:
            typer.echo(line_of(run_json(each)))
    elif judged:
        show(runs_table(judged, units))
    else:
        typer.echo(f"No run from {span(start, end)}: bring some in with `dawnbeat runs import`.")


@runs_app.command("show")
def show_command(run_id: RunId, as_json: ObjectsByLine = False, journal: JournalFolder = None) -> None:
    """Show one run in full.

    Time in zones, easy share, drift, and what is marked in it.
    """
    from dawnbeat.training import run_store
    from dawnbeat.training.periods import judge_runs
    from dawnbeat.training.run_figures import DRIFT_IN_WORDS
    from dawnbeat.training.zone_store import chosen_units, present_sets
    from dawnbeat.ui.as_json import line_of, run_json
    from dawnbeat.ui.commands.runs_tables import marks_table, zones_table

    with open_journal(journal) as opened:
        (each,) = judge_runs([run_store.run(opened, run_id)], present_sets(opened, date.today()))
        marks = run_store.marks(opened, run_id)
        units = chosen_units(opened)
    run, figures = each.run, each.run.figures
    if as_json:
        typer.echo(line_of({**run_json(each), "marks": [vars(mark) for mark in marks]}))
        return
    missing = "; ".join(f"{kind} {clock(seconds)}" for kind, seconds in figures.missing_s.items())
    show(
        f"Run {run.id}, {run.began:%Y-%m-%d %H:%M}, {run.format} {run.source}".rstrip(),
        f"Duration {clock(figures.duration_s)} ({clock(figures.elapsed_s)} with pauses), pace "
        f"{pace(figures.distance_m, figures.duration_s, units)}",
        f"Pulse measured for {clock(figures.measured_s)}"
        + (f"; missing: {missing}" if missing and run.has_pulse else "")
        + f"; mean {number(figures.mean_bpm)}, highest {number(figures.peak_bpm)} bpm",
    )
    if each.judged is not None and each.zone_set is not None:
        begun = f"zones from {short_day(each.zone_set.from_date)} on"
        if each.before_sets:
            begun += ", the first there are: this run is older"
        show(
            zones_table(each),
            f"Easy share {percent(each.judged.easy_share)} at or below {each.judged.top_of_easy_bpm} bpm; above it for "
            f"{clock(each.judged.above_s)} ({begun})",
        )
    elif run.has_pulse:
        show("No zones yet: `dawnbeat zones` says what is missing.")
    if figures.drift_pct is not None:
        show(f"Drift {signed(figures.drift_pct, 1)} %. {DRIFT_IN_WORDS}")
    show(
        f"Training impulse {number(each.trimp['men'])} (men), {number(each.trimp['women'])} (women); felt "
        f"{rating(run.felt_effort)}, rating load {number(each.session_load)}"
    )
    if not run.counts:
        show(f"It does not count as a run (sport: {run.sport}); `dawnbeat runs edit {run.id} --counts` changes that.")
    show(*(f"{capital(noted.words)}." for noted in run.notes))
    if marks:
        show(marks_table(marks))
    if run.note:
        show(run.note)


runs_app.command("week")(runs_findings.week_command)


@runs_app.command("settings")
def settings_command(
    units: Annotated[str | None, typer.Option(help="km or miles, for every distance and pace shown.")] = None,
    coefficients: Annotated[
        str | None, typer.Option(help="women or men: whose factors in training impulse and oxygen uptake.")
    ] = None,
    journal: JournalFolder = None,
) -> None:
    """Choose km or miles, and whose coefficients count.

    Without options, show what is chosen.
    """
    from dawnbeat.training import zone_store
    from dawnbeat.training.run_figures import COEFFICIENTS

    with open_journal(journal) as opened:
        if units is not None:
            zone_store.set_setting(opened, "units", one_of("units", units, UNITS))
        if coefficients is not None:
            zone_store.set_setting(opened, "coefficients", one_of("coefficients", coefficients, COEFFICIENTS))
        whose = zone_store.chosen_coefficients(opened) or "not chosen yet (women or men)"
        typer.echo(f"units: {zone_store.chosen_units(opened)}; coefficients: {whose}")


runs_app.command("export")(runs_findings.export_command)


@runs_app.command("edit")
def edit_command(
    run_id: RunId,
    felt: Annotated[float | None, typer.Option(help="How hard the whole run felt, 0 to 10.")] = None,
    note: Annotated[str | None, typer.Option(help="A note.")] = None,
    race: Annotated[bool | None, typer.Option("--race/--no-race", help="It was a race, or not.")] = None,
    sport: Annotated[str | None, typer.Option(help="What it was: running, walking, hiking, cycling or other.")] = None,
    counts: Annotated[bool | None, typer.Option("--counts/--no-counts", help="It counts as a run, or not.")] = None,
    talk: Annotated[
        str | None, typer.Option(help="How talking went: 'whole sentences', 'short sentences' or 'a few words'.")
    ] = None,
    journal: JournalFolder = None,
) -> None:
    """Change what you said of a run.

    How it felt, its note, its sport, how talking went, whether it counts, or whether it was a race.
    """
    from dawnbeat.training import run_store
    from dawnbeat.training.run import SPORTS, TALKS

    if all(each is None for each in (felt, note, race, sport, counts, talk)):
        raise DawnbeatError("nothing to change: give --felt, --note, --race, --sport, --counts or --talk")
    what = None if sport is None else one_of("sport", sport, SPORTS)
    talked = None if talk is None else one_of("talk", talk, TALKS)
    with open_journal(journal) as opened:
        run_store.edit(opened, run_id, felt, note, race, sport=what, counts=counts, talk=talked)
    typer.echo(f"run {run_id} changed")


@runs_app.command("overrule")
def overrule_command(
    run_id: RunId,
    mark: Annotated[int, typer.Argument(help="Number of the mark, as `runs show` lists it.")],
    undo: Annotated[bool, typer.Option("--undo", help="Leave that pulse out again.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Let a marked pulse count after all; the run is judged again."""
    from dawnbeat.training import run_store

    with open_journal(journal) as opened:
        run = run_store.overrule(opened, run_id, mark, not undo)
    typer.echo(f"mark {mark} {'holds again' if undo else 'overruled'}: {clock(run.figures.measured_s)} measured now")


@runs_app.command("bin")
def bin_command(
    run_id: Annotated[
        int | None, typer.Argument(metavar="NUMBER", help="A run to put in the bin; without one, the bin is listed.")
    ] = None,
    back: Annotated[
        int | None, typer.Option("--back", metavar="NUMBER", help="A run to take out of the bin again.")
    ] = None,
    empty: EmptyBin = False,
    yes: UnaskedBin = False,
    as_json: BinAsJson = False,
    journal: JournalFolder = None,
) -> None:
    """Put a run in the bin, or take it out again.

    Without a number the bin is listed; only --empty deletes for good.
    """
    from dawnbeat.training import run_store

    with open_journal(journal) as opened:
        runs = Bin(
            "Run",
            "runs bin",
            put_in=partial(run_store.put_in_bin, opened),
            take_out=partial(run_store.restore_from_bin, opened),
            held=partial(run_store.binned, opened),
            delete=partial(run_store.empty_bin, opened),
            line=lambda run: f"{run.id}  {run.began:%Y-%m-%d %H:%M}  {clock(run.figures.duration_s)}",
            content=lambda run: {
                "id": run.id,
                "began": run.began.isoformat(),
                "duration_s": run.figures.duration_s,
                "source": run.source,
            },
        )
        use_bin(runs, run_id, back, empty, yes, as_json)


def _metres(km: str | None, miles: str | None) -> float | None:
    if km is not None and miles is not None:
        raise DawnbeatError("give the distance in km or in miles, not both")
    if miles is not None:
        return M_PER_UNIT["miles"] * decimal_from(miles, "the distance")
    return None if km is None else M_PER_UNIT["km"] * decimal_from(km, "the distance")


def _sport_question(found: Sequence[Run], units: Units) -> str:
    """Asks once about all runs that don't say their sport, with their pace."""
    figures = [run.figures for run in found]
    paces = sorted(each.duration_s / (each.distance_m / 1000) for each in figures if each.distance_m)
    at = "" if not paces else f" at {pace_of(paces[0], units)} to {pace_of(paces[-1], units)}"
    return f"{len(found)} files don't say what sport they are{at}: did you run them?"


@contextmanager
def _stop_between_files() -> Iterator[threading.Event]:
    """Ctrl-C sets the event instead of breaking off in the middle of a file."""
    stop = threading.Event()
    before = signal.signal(signal.SIGINT, lambda number, frame: stop.set())
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)


# After the others, so that help begins with what one does first.
runs_app.command("month")(runs_findings.month_command)
runs_app.command("mornings")(runs_findings.mornings_command)
runs_app.command("estimate")(runs_findings.estimate_command)
runs_app.command("race")(runs_findings.race_command)
runs_app.command("protocol")(runs_findings.protocol_command)
runs_app.command("threshold")(threshold_command)
runs_app.add_typer(maximum_app, name="maximum")
