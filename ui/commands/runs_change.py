"""`dawnbeat runs edit`, `overrule`, `delete`, `restore` and `bin`."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.wording import clock
from dawnbeat.ui.commands.runs_options import JournalFolder, RunId


def edit_command(
    run_id: RunId,
    felt: Annotated[float | None, typer.Option(help="How hard the whole run felt, 0 to 10.")] = None,
    note: Annotated[str | None, typer.Option(help="A note.")] = None,
    race: Annotated[bool | None, typer.Option("--race/--no-race", help="It was a race, or not.")] = None,
    journal: JournalFolder = None,
) -> None:
    """Change how a run felt, its note, or whether it was a race."""
    from dawnbeat.morning.chosen_place import open_journal
    from dawnbeat.training import run_store

    if felt is None and note is None and race is None:
        raise DawnbeatError("nothing to change: give --felt, --note, --race or --no-race")
    with open_journal(journal) as opened:
        run_store.edit(opened, run_id, felt, note, race)
    typer.echo(f"run {run_id} changed")


def overrule_command(
    run_id: RunId,
    mark: Annotated[int, typer.Argument(help="Number of the mark, as `runs show` lists it.")],
    undo: Annotated[bool, typer.Option("--undo", help="Leave that pulse out again.")] = False,
    journal: JournalFolder = None,
) -> None:
    """Believe a marked pulse after all; the run is judged again."""
    from dawnbeat.morning.chosen_place import open_journal
    from dawnbeat.training import run_store

    with open_journal(journal) as opened:
        run = run_store.overrule(opened, run_id, mark, not undo)
    typer.echo(f"mark {mark} {'holds again' if undo else 'overruled'}: {clock(run.figures.measured_s)} measured now")


def delete_command(run_id: RunId, journal: JournalFolder = None) -> None:
    """Put a run in the bin."""
    from dawnbeat.morning.chosen_place import open_journal
    from dawnbeat.training import run_store

    with open_journal(journal) as opened:
        run_store.put_in_bin(opened, run_id)
    typer.echo(f"run {run_id} is in the bin: `dawnbeat runs restore {run_id}` brings it back")


def restore_command(run_id: RunId, journal: JournalFolder = None) -> None:
    """Bring a run back from the bin."""
    from dawnbeat.morning.chosen_place import open_journal
    from dawnbeat.training import run_store

    with open_journal(journal) as opened:
        run_store.restore_from_bin(opened, run_id)
    typer.echo(f"run {run_id} is back")


def bin_command(
    empty: Annotated[bool, typer.Option("--empty", help="Delete what is in the bin for good.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    journal: JournalFolder = None,
) -> None:
    """List the runs in the bin, or empty it."""
    from dawnbeat.morning.chosen_place import open_journal
    from dawnbeat.training import run_store

    with open_journal(journal) as opened:
        found = run_store.binned(opened)
        for run in found:
            typer.echo(f"run {run.id} of {run.local_date.isoformat()}, {clock(run.figures.duration_s)}")
        if not found:
            typer.echo("the bin holds no run")
        elif empty:
            if not yes:
                if not sys.stdin.isatty():
                    raise DawnbeatError("nobody is there to ask: say --yes to empty the bin; nothing was changed")
                typer.confirm("Delete these runs for good?", abort=True)
            typer.echo(f"{run_store.empty_bin(opened, [run.id for run in found])} deleted")
