"""`dawnbeat read`: a morning reading without a window."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dawnbeat.journal.folder import HOME_VARIABLE
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.commands.mornings import JOURNAL_HELP
from dawnbeat.ui.commands.record import SOURCE_HELP, VIDEO_HELP, check_seconds, is_rehearsal
from dawnbeat.ui.commands.replay import SETTINGS_HELP

if TYPE_CHECKING:
    from dawnbeat.capture.frames import FrameSource
    from dawnbeat.journal.store import Journal
    from dawnbeat.shared.morning import StoredReading
    from dawnbeat.shared.reading import Analysis
    from dawnbeat.shared.settings import Settings

_HOLD = "Lay a fingertip over the whole lens and hold still. A lamp can get hot: take the finger off before it hurts."


@dataclass(frozen=True)
class _Wanted:
    """How to measure: length and settling in seconds, whether to keep a video, and the detection's settings."""

    seconds: float
    settle_s: float
    video: bool
    settings: Settings


def read(
    source: str = typer.Option("camera", help=SOURCE_HELP),
    seconds: float = typer.Option(120.0, help="Length of the reading in seconds."),
    settle_s: float = typer.Option(15.0, "--settle", help="The finger must lie well for so many seconds first."),
    posture: str = typer.Option("lying", help="lying, sitting or standing."),
    context: str | None = typer.Option(
        None, metavar="WORDS", help='Your morning, such as: sleep=2 hours=7.5 run="10 km easy". Not asked for then.'
    ),
    ask: bool = typer.Option(True, "--ask/--no-ask", help="Ask for the context in one line at the end."),
    save: bool | None = typer.Option(
        None, "--save/--no-save", help="Keep the reading in the journal; the rehearsal finger only in one you name."
    ),
    video: bool = typer.Option(False, "--video", help=VIDEO_HELP),
    settings: Path | None = typer.Option(None, metavar="TOML", help=SETTINGS_HELP),
    journal: Path | None = typer.Option(None, metavar="FOLDER", help=JOURNAL_HELP),
) -> None:
    """Take a morning reading and keep it.

    Waits until the finger lies well, measures, says what it means and saves it. Stop early with Ctrl+C: what was
    captured is kept.
    """
    from dawnbeat.journal.context_line import NOTHING, context_from_line
    from dawnbeat.morning.choices import reading_settings
    from dawnbeat.shared.morning import Circumstances, posture_from
    from dawnbeat.ui.report import console

    check_seconds(seconds)
    if not 0.0 <= settle_s <= 60.0:
        raise DawnbeatError(f"--settle {settle_s:g} is out of range: give 0 to 60 seconds")
    wanted = _Wanted(seconds, settle_s, video, reading_settings(settings))
    lies = posture_from(posture)
    said = context_from_line(context) if context else NOTHING
    screen = console()
    if is_rehearsal(source):
        screen.print("This is the rehearsal finger: invented beats, for trying things out.")
        # Invented mornings must not slip among the runner's own.
        if save is None and journal is None and not os.environ.get(HOME_VARIABLE):
            save = False
            screen.print("It is not kept in your journal; name another with --journal, or say --save, to keep it.")
    if seconds < wanted.settings.min_duration_s:
        least = f"{wanted.settings.min_duration_s:.0f} s"
        screen.print(f"{seconds:g} s can't become usable: a reading needs at least {least}, and two minutes say most.")
    began = _began(source)
    if save is False:
        _without_journal(source, wanted, began)
        return
    from dawnbeat.morning.choices import open_journal

    with open_journal(journal, new=True) as opened:
        notice = opened.clock_notice(began)
        if notice:
            screen.print(notice)
        frames = _open(source, wanted)
        try:
            folder = opened.new_recording_folder(began)
            analysis = _measure(frames, folder, wanted, began)
        finally:
            frames.close()
        # Saved before anything is said or asked, so that a closed pipe or an answer that never comes costs nothing.
        stored = opened.save(Circumstances(began, lies, frames.about.camera, said), analysis, folder)
        _show(analysis)
        _say_kept(opened, stored, ask and context is None)


def _began(source: str) -> datetime:
    """Now, or when a recording that is read again was taken."""
    from dawnbeat.capture.recording import read_recording

    if Path(source).is_dir():
        try:
            then = datetime.fromisoformat(str(read_recording(Path(source)).about.get("began")))
        except ValueError:
            return datetime.now().astimezone()
        if then.utcoffset() is not None:
            return then
    return datetime.now().astimezone()


def _without_journal(source: str, wanted: _Wanted, began: datetime) -> None:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory(prefix="dawnbeat-") as temporary:
        frames = _open(source, wanted)
        try:
            _show(_measure(frames, Path(temporary, "recording"), wanted, began))
        finally:
            frames.close()


def _open(source: str, wanted: _Wanted) -> FrameSource:
    from dawnbeat.morning.sources import open_source
    from dawnbeat.ui.report import console

    if is_rehearsal(source):
        return open_source(source, duration_s=wanted.seconds + wanted.settle_s + 2.0, realtime=True)
    frames = open_source(source)
    if frames.about.live:
        console().print(_HOLD)
    return frames


def _measure(frames: FrameSource, folder: Path, wanted: _Wanted, began: datetime) -> Analysis:
    """Record into the folder and analyse; a recording without a single frame leaves no folder behind."""
    import shutil

    from dawnbeat.signal.analysis import analyse
    from dawnbeat.signal.live import LiveBeats
    from dawnbeat.ui.live_progress import record_session
    from dawnbeat.ui.report import console

    live = LiveBeats(wanted.settings)
    result = record_session(
        frames, folder, wanted.seconds, wanted.settle_s, video=wanted.video, beats=live, began=began
    )
    if not len(result.trace):
        shutil.rmtree(folder, ignore_errors=True)
        raise DawnbeatError(f"no frame was captured, nothing is saved: {result.ended_because}")
    if result.broken:
        console().print(f"The reading ended early, what came before it is kept: {result.ended_because}")
    return analyse(result.trace, wanted.settings)


def _show(analysis: Analysis) -> None:
    from dawnbeat.ui.report import NOT_MEDICAL, console, reading

    screen = console()
    screen.print()
    screen.print(reading("this reading", analysis))
    screen.print(NOT_MEDICAL, style="italic")


def _say_kept(journal: Journal, stored: StoredReading, ask: bool) -> None:
    from dawnbeat.journal.context_line import HELP, context_from_line
    from dawnbeat.journal.today import today_of
    from dawnbeat.journal.words import paragraph
    from dawnbeat.morning.choices import chosen_ranges
    from dawnbeat.ui.report import console

    screen = console()
    screen.print()
    screen.print(f"Saved as reading {stored.id}.")
    screen.print()
    screen.print(paragraph(today_of(journal, stored.local_date, chosen_ranges())))
    if not ask or not sys.stdin.isatty():
        return
    screen.print()
    screen.print(f"How are you? One line, or Enter for nothing: {HELP}")
    while line := _answer():
        try:
            journal.edit_context(stored.id, context_from_line(line))
            return
        except DawnbeatError as error:
            screen.print(str(error))


def _answer() -> str:
    """One line from the keyboard; nothing where the runner ends the asking with Ctrl+D or Ctrl+C."""
    try:
        return input("> ").strip()
    except (EOFError, KeyboardInterrupt):
        print()
        return ""
