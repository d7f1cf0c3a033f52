"""`dawnbeat keep` and `dawnbeat bin`: readings that were broken off, and readings that should go."""

from __future__ import annotations

from pathlib import Path

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.commands.journal_files import ask_first
from dawnbeat.ui.commands.mornings import JOURNAL_HELP


def keep(
    folder: Path | None = typer.Argument(None, help="Recording whose reading is saved; without one, all are listed."),
    journal: Path | None = typer.Option(None, metavar="FOLDER", help=JOURNAL_HELP),
) -> None:
    """Save a reading that was broken off.

    Such recordings lie in the journal's folder without a reading: a power cut, a closed terminal, a killed program.
    """
    from dawnbeat.capture.recorder import is_being_taken
    from dawnbeat.morning.choices import chosen_ranges, open_journal, reading_settings
    from dawnbeat.morning.keeping import broken_off_readings, keep_broken_off
    from dawnbeat.ui.report import console, reading

    with open_journal(journal) as opened:
        home = opened.home
    found = broken_off_readings(home)
    if folder is None:
        for each in found:
            print(each.path)
        print("`dawnbeat keep FOLDER` saves the reading of one." if found else "No recording waits for a reading.")
        return
    wanted = [each for each in found if each.path.resolve() == folder.expanduser().resolve()]
    if not wanted and is_being_taken(folder):
        raise DawnbeatError(f"{folder} is being taken right now: wait until that reading has ended")
    if not wanted:
        raise DawnbeatError(f"{folder} is no recording that waits in this journal: `dawnbeat keep` lists those that do")
    kept = keep_broken_off(wanted[0], home, reading_settings(None), chosen_ranges())
    console().print(reading(folder.name, kept.analysis))
    if kept.stored is not None:
        print(f"Saved as reading {kept.stored.id}.")


def bin_command(
    reading: int | None = typer.Argument(
        None, help="Number of a reading that should go; without one, the bin is listed."
    ),
    back: int | None = typer.Option(None, "--back", metavar="NUMBER", help="A reading to take out of the bin again."),
    empty: bool = typer.Option(False, "--empty", help="Delete what is in the bin for good."),
    yes: bool = typer.Option(False, "--yes", help="Don't ask before emptying."),
    as_json: bool = typer.Option(False, "--json", help="List the bin as JSON, one object a line."),
    journal: Path | None = typer.Option(None, metavar="FOLDER", help=JOURNAL_HELP),
) -> None:
    """Put a reading in the bin, or take it out again.

    Without a number the bin is listed; only --empty deletes for good.
    """
    from dawnbeat.morning.choices import open_journal
    from dawnbeat.ui.as_json import json_of_reading

    if sum((reading is not None, back is not None, empty)) > 1:
        raise DawnbeatError("give one of a number, --back and --empty")
    with open_journal(journal) as opened:
        if reading is not None:
            opened.put_in_bin(reading)
            if not as_json:
                print(f"Reading {reading} is in the bin; `dawnbeat bin --back {reading}` takes it out again.")
        elif back is not None:
            opened.bring_back(back)
            if not as_json:
                print(f"Reading {back} is out of the bin again.")
        elif empty:
            ids = [each.id for each in opened.bin()]
            if ids:
                ask_first(f"Delete {len(ids)} from the bin for good?", yes)
            deleted = opened.empty_bin(ids)
            if not as_json:
                print(f"{deleted} deleted for good.")
        elif not as_json:
            for each in opened.bin():
                print(f"{each.id}  {each.began:%Y-%m-%d %H:%M}")
            if not opened.bin():
                print("The bin is empty.")
        if as_json:
            for each in opened.bin():
                print(json_of_reading(each))
