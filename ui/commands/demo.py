"""`dawnbeat demo`: everything once, without a camera."""

from __future__ import annotations

import os
import shlex
import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.display import is_seen

if TYPE_CHECKING:
    from rich.console import Console

_SECONDS = 120.0


def demo(
    out: Path | None = typer.Option(
        None, metavar="FOLDER", help="New or empty folder for what the demo writes; one is made here unless given."
    ),
    window: bool = typer.Option(
        True, "--window/--no-window", help="End by opening the window, where there is a display."
    ),
) -> None:
    """Show everything once, without a camera.

    Plays a shipped fingertip video through the path that a camera's frames take, then shows an invented runner's
    mornings. Writes only into its own folder.
    """
    from dawnbeat.ui.report import NOT_MEDICAL, console

    screen = console()
    folder = _new_folder(out)
    _reading(screen, folder)
    home = folder / "journal"
    screen.print()
    _mornings(screen, home)
    screen.print()
    screen.print(NOT_MEDICAL, style="italic")
    screen.print()
    _next_steps(screen, folder)
    if window and is_seen():
        screen.print("The window opens on the invented journal; close it to end the demo.")
        from dawnbeat.ui.window.shell.main_window import run_window

        raise typer.Exit(run_window(home, "mornings", folder / "settings"))


def _next_steps(screen: Console, folder: Path) -> None:
    """What to type next, written so that it can be copied."""
    program = _program()
    screen.print("What to do next:", style="bold")
    for step, words in (
        ("see which cameras there are", "cameras"),
        ("take your own reading; a lamp can get hot: take the finger off before it hurts", "read"),
        ("try that without a camera, with an invented finger", "read --source rehearsal --no-save"),
        ("analyse this recording again", f"replay {shlex.quote(str(folder / 'recording'))}"),
        ("look at the invented runner's mornings again", f"mornings --journal {shlex.quote(str(folder / 'journal'))}"),
        ("and at the runs", f"runs week --journal {shlex.quote(str(folder / 'journal'))}"),
        ("everything else", "--help"),
    ):
        screen.print(f"  {step}:", soft_wrap=True)
        screen.print(f"    {program} {words}", soft_wrap=True)


def _program() -> str:
    """How this program is started from here: by its name where the shell finds it, else by its path."""
    started = Path(sys.argv[0])
    if not started.name.startswith("dawnbeat"):
        return "dawnbeat"
    found = shutil.which("dawnbeat")
    same = found is not None and Path(found).resolve() == started.resolve()
    return "dawnbeat" if same else shlex.quote(str(started))


def _reading(screen: Console, folder: Path) -> None:
    """The shipped video through decoder, gauge, recorder, live and final analysis."""
    from dawnbeat.capture.recording import read_recording
    from dawnbeat.morning.flow import plan_without_buttons
    from dawnbeat.morning.sources import open_source
    from dawnbeat.morning.taking import Order
    from dawnbeat.shared.installed import shipped_recording
    from dawnbeat.signal.analysis import analyse
    from dawnbeat.ui.live_progress import take_in_terminal
    from dawnbeat.ui.plot import plot_reading
    from dawnbeat.ui.report import reading

    screen.print("An invented finger, shipped as a video, takes the way of a camera's frames.", style="bold")
    recording = folder / "recording"
    taken = take_in_terminal(
        Order(
            open_source=lambda: open_source(str(shipped_recording("rehearsal.avi"))),
            plan=plan_without_buttons(_SECONDS, 0.0),
            new_folder=lambda _began: recording,
            keep_invented=True,
        )
    )
    taken.let_go()
    screen.print(f"{len(taken.trace)} frames, {taken.dropped} dropped; {taken.ended.why}")
    analysis = analyse(read_recording(recording).trace)
    picture = folder / "reading.png"
    try:
        plot_reading("invented finger", analysis, picture)
        drawn = f"  picture:   {picture}"
    except DawnbeatError as error:  # the reading stands without it
        drawn = f"  no picture: {error}"
    screen.print()
    screen.print(reading("invented finger", analysis))
    screen.print(f"  recording: {recording}", soft_wrap=True)
    screen.print(drawn, soft_wrap=True)


def _mornings(screen: Console, home: Path) -> None:
    """An invented runner's journal, and where today stands in it."""
    from datetime import date

    from dawnbeat.journal.store import Journal
    from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
    from dawnbeat.recordings.invented.runs import fill_with_invented_runs
    from dawnbeat.ui.commands.mornings import print_mornings

    with Journal.open(home) as journal:
        count = fill_with_invented_mornings(journal, date.today())
        screen.print(f"The last two weeks of an invented runner's journal of {count} readings:", style="bold")
        print_mornings(screen, journal, date.today(), weeks=2)
        runs = fill_with_invented_runs(journal, date.today())
        screen.print(f"Beside them the journal holds {runs} runs of the same invented runner, and zones.")


def _new_folder(out: Path | None) -> Path:
    """A folder for the user alone: the one named, else a new one here, or among the temporary files.

    Raises DawnbeatError when the one named holds something already or can't be made.
    """
    from dawnbeat.capture.recording import new_folder

    if out is not None:
        return new_folder(out)
    if not os.access(Path.cwd(), os.W_OK):
        return Path(tempfile.mkdtemp(prefix="dawnbeat-demo-"))
    number = 1
    while (folder := Path("dawnbeat-demo" if number == 1 else f"dawnbeat-demo-{number}")).exists():
        number += 1
    return new_folder(folder)
