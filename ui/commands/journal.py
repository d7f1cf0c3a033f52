"""The journal's care: `rescue`, `bin`, `export`, `import`, `backup`, `restore`, `reanalyse`."""

from __future__ import annotations

from pathlib import Path

import typer

from dawnbeat.shared.errors import DawnbeatError, printable
from dawnbeat.shared.files import STANDARD_OUTPUT
from dawnbeat.shared.wording import count_of
from dawnbeat.ui.commands.options import (
    Bin,
    BinAsJson,
    CsvOut,
    EmptyBin,
    First,
    JournalFolder,
    Last,
    Overwrite,
    Quiet,
    SettingsFile,
    UnaskedBin,
    ask_first,
    check_output,
    day_of,
    days_between,
    open_journal,
    use_bin,
)

export_app = typer.Typer(help="Write mornings or intervals to CSV.", no_args_is_help=True)
import_app = typer.Typer(help="Read mornings back from CSV.", no_args_is_help=True)


@export_app.command("mornings")
def export_mornings(
    out: CsvOut,
    first: First = None,
    last: Last = None,
    everything: bool = typer.Option(False, "--all", help="Include readings that are not usable."),
    overwrite: Overwrite = False,
    journal: JournalFolder = None,
) -> None:
    """Write one row a reading.

    The names of the columns hold the units. Readings that are not usable are left out unless --all is given.
    """
    from dawnbeat.journal.csv_files import export_mornings as write

    check_output(out)
    with open_journal(journal) as opened:
        start, end = days_between(first, last)
        count = write(opened, out, start, end, everything, overwrite)
    _say_written(out, count_of(count, "reading"))


@export_app.command("months")
def export_months(
    out: CsvOut,
    overwrite: Overwrite = False,
    journal: JournalFolder = None,
) -> None:
    """Write one row a month and a year: means with 95 % intervals, and the change from the one before."""
    from dawnbeat.journal.periods import export_periods

    check_output(out)
    with open_journal(journal) as opened:
        count = export_periods(opened, out, overwrite)
    _say_written(out, count_of(count, "row"))


@export_app.command("intervals")
def export_intervals(
    out: Path = typer.Argument(
        ..., help="Name to write: OUT.csv with all intervals, OUT.txt with those kept, in ms; - is standard output."
    ),
    day: str = typer.Option("today", help="The day, such as 2026-05-03, or today or yesterday."),
    overwrite: bool = typer.Option(False, "--overwrite", help="Replace files of that name."),
    journal: JournalFolder = None,
) -> None:
    """Write the intervals of one day.

    A CSV with all of them and why some are left out, and the plain list that analysis programs commonly read.
    """
    from dawnbeat.journal.csv_files import export_intervals as write

    check_output(out)
    with open_journal(journal) as opened:
        written = write(opened, out, day_of(day), overwrite)
    for path in written:
        print(path)


@import_app.command("mornings")
def import_mornings(
    path: Path = typer.Argument(..., help="CSV file that export wrote."),
    apply: bool = typer.Option(False, "--apply", help="Do it; without this, only show what would be done."),
    replace_different: bool = typer.Option(
        False, "--replace-different", help="Let the file win where it differs from the journal."
    ),
    quiet: Quiet = False,
    journal: JournalFolder = None,
) -> None:
    """Show what a file would add; --apply adds it.

    Rows with errors are listed by line, and then nothing is imported.
    """
    from dawnbeat.journal.csv_files import apply_import, plan_import

    with open_journal(journal, new=True) as opened:
        plan = plan_import(opened, path)
        if plan.errors or not quiet:
            print(printable("\n".join(plan.lines())))
        if plan.errors:
            raise DawnbeatError(
                f"{path} has {count_of(len(plan.errors), 'bad line')}: mend the file, nothing was imported"
            )
        if apply:
            imported = apply_import(opened, plan, replace_different)
            if not quiet:
                print(f"{count_of(imported, 'reading')} imported")
        elif not quiet:
            print("Nothing was changed; add --apply to do it.")


@import_app.callback()
def _import() -> None:
    pass


def backup(
    out: Path = typer.Argument(..., help="Zip file to write."),
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    journal: JournalFolder = None,
) -> None:
    """Write the whole journal into one zip.

    With all recordings, and checksums that `dawnbeat restore` looks at.
    """
    from dawnbeat.journal.backup import backup as write
    from dawnbeat.ui.terminal import progress

    check_output(out)
    with open_journal(journal) as opened, progress("backing up", hidden=quiet) as show:
        made = write(opened, out, overwrite, show)
    what = f"{count_of(made.readings, 'reading')}, {count_of(made.recordings, 'recording')}"
    if not quiet:
        print(f"{out}: {what}, {made.bytes / 1e6:.1f} MB before packing")


@import_app.command("intervals")
def import_intervals(
    path: Path = typer.Argument(..., help="Text file of beat intervals: one a line, or a time and an interval."),
    taken: str = typer.Option(..., help='When it was taken, such as "2026-11-24 06:40".'),
    posture: str = typer.Option("lying", help="lying, sitting or standing."),
    context: str | None = typer.Option(None, metavar="WORDS", help="Your morning, as for `dawnbeat note`."),
    settings: SettingsFile = None,
    quiet: Quiet = False,
    journal: JournalFolder = None,
) -> None:
    """Make a reading of a chest strap's beat intervals.

    The intervals go through the checks of the rhythm; the reading has a usual range of its own, since a strap and a
    camera don't give quite the same RMSSD.
    """
    from dawnbeat.journal.listing import NOTHING, context_from_line
    from dawnbeat.morning import strap
    from dawnbeat.morning.answer_text import lines
    from dawnbeat.morning.choices import chosen_home, chosen_ranges, reading_settings
    from dawnbeat.shared.morning import posture_from
    from dawnbeat.shared.wording import moment_from, past_moment
    from dawnbeat.ui.terminal import console, reading

    began = past_moment(moment_from(taken), "the intervals were taken")
    said = context_from_line(context) if context else NOTHING
    lies, home = posture_from(posture), chosen_home(journal)
    kept = strap.take_in(path, began, lies, home, chosen_ranges(), reading_settings(settings), said)
    if quiet:
        return
    screen = console()
    if kept.grounds is not None:
        for line in lines(kept.grounds.answer()):
            screen.print(line)
        screen.print()
    screen.print(reading("these intervals", kept.analysis))
    assert kept.stored is not None
    screen.print(kept.notice if kept.known else f"Saved as reading {kept.stored.id}.")


def restore(
    archive: Path = typer.Argument(..., help="Zip file that backup wrote."),
    yes: bool = typer.Option(False, "--yes", help="Don't ask."),
    journal: JournalFolder = None,
) -> None:
    """Put a backup in the journal's place.

    The backup is checked first, and the present journal is set aside.
    """
    from dawnbeat.journal.backup import restore as put_back
    from dawnbeat.morning.choices import chosen_home

    if not archive.is_file():
        raise DawnbeatError(f"there is no file {archive}: name a zip that `dawnbeat backup` wrote")
    ask_first("Replace the present journal (it is set aside)?", yes)
    found = put_back(archive, chosen_home(journal))
    print(f"{count_of(found.readings, 'reading')} and {count_of(found.recordings, 'recording')} restored")
    if found.aside is not None:
        print(f"the journal that was there is now in {found.aside}")


def reanalyse(
    yes: bool = typer.Option(False, "--yes", help="Accept the changes without being asked."),
    settings: SettingsFile = None,
    quiet: Quiet = False,
    journal: JournalFolder = None,
) -> None:
    """Analyse every reading again.

    Each from its recording, with today's detection; shows what changes, and stores it once you accept.
    """
    from dawnbeat.capture.recording import read_recording
    from dawnbeat.morning.answer_text import HEADLINES
    from dawnbeat.morning.answering import other_answers
    from dawnbeat.morning.choices import chosen_ranges, reading_settings
    from dawnbeat.morning.revising import accept, edit_again
    from dawnbeat.morning.revising import reanalyse as analyse_again
    from dawnbeat.signal.analysis import analyse
    from dawnbeat.ui.terminal import progress

    chosen = reading_settings(settings)
    with open_journal(journal) as opened:
        with progress("analysing", hidden=quiet) as show:
            outcome = analyse_again(opened, read_recording, analyse, chosen, show)
        # What is asked about is shown first.
        told = not quiet or (bool(outcome.changes) and not yes)
        if told:
            print(printable("\n".join(outcome.lines())))
        others = other_answers(opened, chosen_ranges(), {each.before.id: each.after for each in outcome.changes})
        for each, said, now in others if told else ():
            print(
                f'{each.began:%Y-%m-%d %H:%M}: was told "{HEADLINES[said.what]}", would be told '
                f'"{HEADLINES[now.what]}" now; what was said stays with the reading'
            )
        if not outcome.changes:
            return
        ask_first("Store these analyses?", yes)
        stored = count_of(accept(opened, outcome), "reading")
        edited = edit_again(opened, outcome, chosen)
        if not quiet:
            print(f"{stored} stored")
        if edited and not quiet:
            print(f"{count_of(edited, 'reading')} left out by hand in places as before")


def _say_written(out: Path, what: str) -> None:
    if out != STANDARD_OUTPUT:
        print(f"{out}: {what}")


def rescue(
    folder: Path | None = typer.Argument(None, help="Recording whose reading is saved; without one, all are listed."),
    journal: JournalFolder = None,
) -> None:
    """Save a reading that was broken off.

    Such recordings lie in the journal's folder without a reading: a power cut, a closed terminal, a killed program.
    """
    from dawnbeat.capture.recorder import is_being_taken
    from dawnbeat.morning.choices import chosen_ranges, reading_settings
    from dawnbeat.morning.keeping import broken_off_readings, keep_broken_off
    from dawnbeat.ui.terminal import console, reading

    with open_journal(journal) as opened:
        home = opened.home
    found = broken_off_readings(home)
    if folder is None:
        for each in found:
            print(printable(str(each.path)))
        print("`dawnbeat rescue FOLDER` saves the reading of one." if found else "No recording waits for a reading.")
        return
    wanted = [each for each in found if each.path.resolve() == folder.expanduser().resolve()]
    if not wanted and is_being_taken(folder):
        raise DawnbeatError(f"{folder} is being taken right now: wait until that reading has ended")
    if not wanted:
        raise DawnbeatError(f"{folder} is no recording that waits in this journal: `dawnbeat rescue` lists them")
    kept = keep_broken_off(wanted[0], home, reading_settings(None), chosen_ranges())
    console().print(reading(folder.name, kept.analysis))
    if kept.stored is not None:
        print(kept.notice if kept.known else f"Saved as reading {kept.stored.id}.")


def bin_command(
    reading: int | None = typer.Argument(
        None, help="Number of a reading that should go; without one, the bin is listed."
    ),
    back: int | None = typer.Option(None, "--back", metavar="NUMBER", help="A reading to take out of the bin again."),
    empty: EmptyBin = False,
    yes: UnaskedBin = False,
    as_json: BinAsJson = False,
    journal: JournalFolder = None,
) -> None:
    """Put a reading in the bin, or take it out again.

    Without a number the bin is listed; only --empty deletes for good.
    """
    from dawnbeat.ui.as_json import reading_object

    with open_journal(journal) as opened:
        readings = Bin(
            "Reading",
            "bin",
            put_in=opened.put_in_bin,
            take_out=opened.bring_back,
            held=opened.bin,
            delete=opened.empty_bin,
            line=lambda each: f"{each.id}  {each.began:%Y-%m-%d %H:%M}",
            content=reading_object,
        )
        use_bin(readings, reading, back, empty, yes, as_json)
