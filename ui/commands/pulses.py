"""The pulses that zones hang on: `dawnbeat pulse`, `dawnbeat runs maximum` and `dawnbeat runs threshold`."""

from __future__ import annotations

import sys
import time
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from dawnbeat.shared.checked_fields import one_of
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import between, clock, day_from, pace_of, seconds_from, short_day
from dawnbeat.training.maximum import ADDED_BEATS, MAXIMAL_TEST, SELDOM_REACHED
from dawnbeat.ui.as_json import line_of
from dawnbeat.ui.commands.options import JournalFolder, ObjectsByLine, OneObject, SaveAsBefore, open_journal, show

if TYPE_CHECKING:
    from dawnbeat.training.zone_store import ZoneSet

COUNT_S = 30
maximum_app = typer.Typer(no_args_is_help=True, help="Dated maxima: measured, proposed by a run, or by age.")


def pulse_command(
    beats: Annotated[
        int | None, typer.Argument(help="Beats counted in 30 seconds; without it a timer runs and asks.")
    ] = None,
    day: Annotated[str | None, typer.Option("--date", help="Morning of the count, else today.")] = None,
    list_all: Annotated[bool, typer.Option("--list", help="List the counts that are saved.")] = False,
    as_json: OneObject = False,
    journal: JournalFolder = None,
) -> None:
    """Count your resting pulse by hand.

    30 seconds, doubled, on three mornings, before getting up.
    """
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
        used_bpm = None if used is None else used.bpm
        typer.echo(line_of({"counts": kept, "hand_count_bpm": bpm, "used_bpm": used_bpm}))
        return
    if list_all:
        for each in sorted(counts, key=lambda each: each.date):
            typer.echo(f"{each.date.isoformat()}  {each.beats_in_30_s} beats in 30 s, {2 * each.beats_in_30_s} bpm")
    elif beats is not None:
        typer.echo(f"{2 * beats} bpm on {short_day(when)}, saved as counted by hand")
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

    from dawnbeat.ui.terminal import console

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
    screen.bell()
    screen.print("Stop.", style="bold")
    return int(typer.prompt("How many beats did you count?", type=int))


@maximum_app.command("add")
def add_command(
    bpm: Annotated[float | None, typer.Argument(help="Maximum pulse in bpm; leave it out with --age.")] = None,
    kind: Annotated[str, typer.Option(help="field test, hill repeats, hard mile, race or lab test.")] = "field test",
    day: Annotated[str | None, typer.Option("--date", help="Day of the measurement, else today.")] = None,
    added: Annotated[int, typer.Option(help="Beats added, 0 to 3, where you could have gone on.")] = 0,
    age: Annotated[float | None, typer.Option(help="Age in years, for a maximum by formula.")] = None,
    formula: Annotated[str, typer.Option(help="Formula by age: tanaka, nes, gellish or fox.")] = "tanaka",
    note: Annotated[str, typer.Option(help="A note.")] = "",
    journal: JournalFolder = None,
) -> None:
    """Add a maximum.

    A new zone set begins where it changes the one that counts.
    """
    from dawnbeat.training import zone_store
    from dawnbeat.training.maximum import Maximum, maximum_by_age

    when = date.today() if day is None else day_from(day)
    if (bpm is None) == (age is None):
        raise DawnbeatError("give either a measured pulse or --age")
    if age is not None:
        by_age = maximum_by_age(age, formula)  # type: ignore[arg-type]
        entry = Maximum(when, "formula", by_age.bpm, note=note)
        show(by_age.label)
    else:
        assert bpm is not None
        if kind in ("run", "formula"):
            raise DawnbeatError(f"kind {kind!r} is not typed in: use `runs maximum use` or --age")
        entry = Maximum(when, kind, bpm, added, note)  # type: ignore[arg-type]
    with open_journal(journal) as opened:
        _tell(zone_store.add_maximum(opened, entry, date.today()), entry.label)


@maximum_app.command("list")
def list_command(
    as_json: ObjectsByLine = False,
    journal: JournalFolder = None,
) -> None:
    """List the maxima, which one counts today, and what a run proposes."""
    from dawnbeat.training import run_store, zone_store
    from dawnbeat.training.maximum import KIND_WORDS, maximum_on, maximum_proposal
    from dawnbeat.ui.terminal import plain_table

    today = date.today()
    with open_journal(journal) as opened:
        entries = zone_store.maxima(opened)
        proposed = maximum_proposal(run_store.runs(opened), entries, today)
    counts = maximum_on(entries, today)
    if as_json:
        for each in entries:
            typer.echo(line_of({**vars(each), "date": each.date.isoformat(), "counts_today": each is counts}))
        return
    table = plain_table("Maxima", ("No.", "Date", "Maximum", "Added", "Kind", "Counts today", "Note"))
    for each in entries:
        table.add_row(
            str(each.id),
            each.date.isoformat(),
            f"{each.counts_as_bpm:.0f} bpm",
            str(each.added_bpm) if each.added_bpm else "",
            f"{each.kind}: {KIND_WORDS[each.kind]}",
            "yes" if each is counts else "",
            each.note,
        )
    show(table if entries else "No maximum yet: add one with `dawnbeat runs maximum add 190 --kind race`.")
    if proposed is not None:
        said = f"{proposed.words} {proposed.caution}".strip()
        show(f"{said} `dawnbeat runs maximum use {proposed.run.id}` adds it.")
    show(ADDED_BEATS, *MAXIMAL_TEST)


@maximum_app.command("ages")
def ages_command(
    age: Annotated[float, typer.Argument(help="Age in years.")],
    as_json: OneObject = False,
    journal: JournalFolder = None,
) -> None:
    """Show every formula by age.

    Beside the tested maximum, with their spread: rest zones on none of them.
    """
    from dawnbeat.training import zone_store
    from dawnbeat.training.maximum import maxima_by_age
    from dawnbeat.ui.terminal import plain_table

    found = maxima_by_age(age)
    with open_journal(journal) as opened:
        tested = zone_store.standing(opened, date.today()).maximum
    if as_json:
        rows = [{**vars(each.formula), "bpm": each.bpm} for each in found]
        measured = None if tested is None or not tested.measured else tested.counts_as_bpm
        typer.echo(line_of({"age": age, "formulas": rows, "measured_bpm": measured}))
        return
    table = plain_table(f"Maximum at {age:g} by formula", ("Formula", "Maximum", "Two in three within", "Source"))
    for each in found:
        around = between(each.bpm - each.error_bpm, each.bpm + each.error_bpm, unit="bpm")
        table.add_row(each.formula.name, f"{each.bpm:.0f} bpm", around, each.formula.source)
    if tested is not None and tested.measured:
        table.add_row("tested", f"{tested.counts_as_bpm:.0f} bpm", "", tested.label)
    guess = "One runner in three is further off than that, so a formula is a guess: test, or go by the talk test."
    show(table, guess, *MAXIMAL_TEST)


@maximum_app.command("take", hidden=True)  # its name of before
@maximum_app.command("use")
def use_command(
    run_id: Annotated[int, typer.Argument(help="Number of the run whose highest pulse is wanted.")],
    added: Annotated[int, typer.Option(help="Beats added, 0 to 3, where you could have gone on.")] = 0,
    protocol: Annotated[
        str | None, typer.Option(help="The test that the run was: hills or mile, see `dawnbeat runs protocol`.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Also from a run that is no race or test.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Add the highest pulse of a run as a maximum.

    Spikes are left out.
    """
    from dataclasses import replace

    from dawnbeat.training import run_store, zone_store
    from dawnbeat.training.maximum import PROTOCOL_KEYS, PROTOCOLS, MaximumProposal, maximum_on

    with open_journal(journal) as opened:
        run = run_store.run(opened, run_id)
        if run.figures.peak_bpm is None:
            raise DawnbeatError(f"run {run_id} has no pulse that was held for five seconds: choose another")
        entry = replace(MaximumProposal(run, run.figures.peak_bpm, None).entry(), added_bpm=added)
        if protocol is not None:
            tested = PROTOCOLS[one_of("protocol", protocol, PROTOCOL_KEYS)].kind
            if tested is None:
                raise DawnbeatError("a threshold test gives no maximum: use `dawnbeat runs threshold`")
            entry = replace(entry, kind=tested)
        present = maximum_on(zone_store.maxima(opened), date.today())
        # Above a measured maximum even an ordinary run says something; with none it is only a lower limit.
        if not run.race and protocol is None and not yes and (present is None or not present.measured):
            raise DawnbeatError(
                f"run {run_id} held {run.figures.peak_bpm:.0f} bpm and is not marked as a race. "
                f"{SELDOM_REACHED} If you gave everything in it, say --yes; nothing was changed"
            )
        _tell(zone_store.add_maximum(opened, entry, date.today()), entry.label)
        kept_id = max(each.id or 0 for each in zone_store.maxima(opened))
        typer.echo(f"`dawnbeat runs maximum remove {kept_id}` deletes it again.")
    if not run.race and protocol is None:
        show(SELDOM_REACHED)
    show(ADDED_BEATS)


@maximum_app.command("remove")
def remove_command(
    entry_id: Annotated[int, typer.Argument(help="Number of the entry, as `list` shows it.")],
    journal: JournalFolder = None,
) -> None:
    """Delete an entry made by mistake, for good."""
    from dawnbeat.training import zone_store

    with open_journal(journal) as opened:
        _tell(zone_store.remove_maximum(opened, entry_id, date.today()), f"entry {entry_id} removed")


def threshold_command(
    run_id: Annotated[int, typer.Argument(help="Number of a run with a 30-minute test in it.")],
    begins: Annotated[
        str | None,
        typer.Option("--from", help="Where the test begins in the run, as m:ss; else the fastest half hour."),
    ] = None,
    save: Annotated[bool, typer.Option("--save", help="Use it as the threshold pulse from that day on.")] = False,
    keep: SaveAsBefore = False,
    journal: JournalFolder = None,
) -> None:
    """Work out the threshold of a 30-minute test.

    Pulse and pace are the means of its last 20 minutes.
    """
    from dawnbeat.training import run_store, zone_store
    from dawnbeat.training.estimates import THRESHOLD_ERROR, threshold_test

    with open_journal(journal) as opened:
        run = run_store.run(opened, run_id)
        start = None if begins is None else seconds_from(begins)
        test = threshold_test(run_store.samples(opened, run_id), run_store.marks(opened, run_id), start)
        pace = pace_of(test.pace_s_per_km, zone_store.chosen_units(opened))
        said = (
            f"threshold pulse {test.bpm:.0f} bpm (standard deviation {test.spread_bpm:.1f} within the 20 minutes), "
            f"pace {pace}, test from {clock(test.from_s)} on (common practice, no source)"
        )
        show(said, THRESHOLD_ERROR)
        if save or keep:
            entry = zone_store.Threshold(run.local_date, test.bpm, test.pace_s_per_km, run_id=run_id)
            _tell(zone_store.add_threshold(opened, entry, date.today()), "saved")
    show(*MAXIMAL_TEST)


def _tell(begun: ZoneSet | None, what: str) -> None:
    typer.echo(what)
    if begun is not None:
        typer.echo(
            f"New zones from {short_day(begun.from_date)} on: top of easy {begun.zones.top_of_easy_bpm} bpm; "
            "earlier runs keep theirs."
        )
