"""`dawnbeat read`: a morning reading without a window."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.commands.mornings import JOURNAL_HELP
from dawnbeat.ui.commands.record import check_seconds, is_rehearsal
from dawnbeat.ui.commands.replay import chosen_settings


def read(
    source: str = typer.Option("camera", help="Camera number, address of a stream, recording, video file, rehearsal."),
    seconds: float = typer.Option(120.0, help="Length of the reading."),
    settle_s: float = typer.Option(15.0, "--settle", help="The finger must lie well for so many seconds first."),
    posture: str = typer.Option("lying", help="lying, sitting or standing."),
    context: str | None = typer.Option(None, help='Such as: sleep=2 hours=7.5 run="10 km easy". Not asked for then.'),
    ask: bool = typer.Option(True, "--ask/--no-ask", help="Ask for the context in one line at the end."),
    save: bool = typer.Option(True, "--save/--no-save", help="Keep the reading in the journal."),
    video: bool = typer.Option(False, "--video", help="Keep a small video too (off by default: privacy and size)."),
    settings: Path | None = typer.Option(None, help="TOML file of detection settings."),
    journal: Path | None = typer.Option(None, help=JOURNAL_HELP),
) -> None:
    """Take a morning reading: settle, measure, say what it means, keep it."""
    from dawnbeat.journal.context_line import NOTHING, context_from_line
    from dawnbeat.shared.morning import posture_from

    check_seconds(seconds)
    if not 0.0 <= settle_s <= 60.0:
        raise DawnbeatError(f"--settle {settle_s:g} is out of range: give 0 to 60 seconds")
    chosen = chosen_settings(settings)
    lies = posture_from(posture)
    said = context_from_line(context) if context else NOTHING
    print("Lay a fingertip over the whole lens and hold still. A lamp can get hot: take the finger off if it hurts.")
    if is_rehearsal(source):
        print("This is the rehearsal finger: invented beats, for trying things out.")
    _take(source, seconds, settle_s, lies, said, ask and context is None, save, video, chosen, journal)


def _take(source, seconds, settle_s, posture, context, ask, save, video, settings, home):  # type: ignore[no-untyped-def]
    from datetime import datetime
    from tempfile import TemporaryDirectory

    from dawnbeat.capture.open_source import open_source
    from dawnbeat.journal.store import Journal

    rehearsed = {"duration_s": seconds + settle_s + 2.0, "realtime": True} if is_rehearsal(source) else {}
    began = datetime.now().astimezone()
    with Journal.open(home) as journal, TemporaryDirectory(prefix="dawnbeat-") as temporary:
        notice = journal.clock_notice(began)
        if notice:
            print(notice)
        frames = open_source(source, **rehearsed)
        try:
            folder = journal.new_recording_folder(began) if save else Path(temporary, "recording")
            result, analysis = _measure(frames, folder, seconds, settle_s, video, settings, began)
        finally:
            frames.close()
        if result.broken:
            print(f"The reading ended early, what came before it is kept: {result.ended_because}")
        _show(analysis)
        if save:
            _keep(journal, began, posture, frames.about.camera, context, ask, analysis, folder)


def _measure(frames, folder, seconds, settle_s, video, settings, began):  # type: ignore[no-untyped-def]
    from dawnbeat.signal.analysis import analyse
    from dawnbeat.signal.live import LiveBeats
    from dawnbeat.ui.live_progress import record_session

    result = record_session(frames, folder, seconds, settle_s, video=video, beats=LiveBeats(settings), began=began)
    if not len(result.trace):
        raise DawnbeatError(f"no frame was captured: {result.ended_because}")
    return result, analyse(result.trace, settings)


def _show(analysis) -> None:  # type: ignore[no-untyped-def]
    from dawnbeat.ui.report import NOT_MEDICAL, console, reading

    screen = console()
    screen.print()
    screen.print(reading("this reading", analysis))
    screen.print(NOT_MEDICAL, style="italic")


def _keep(journal, began, posture, camera, context, ask, analysis, folder) -> None:  # type: ignore[no-untyped-def]
    from dawnbeat.journal.context_line import HELP, context_from_line
    from dawnbeat.journal.today import today_of
    from dawnbeat.journal.words import paragraph
    from dawnbeat.shared.morning import Circumstances

    # Saved before anything is asked, so that an answer that never comes costs nothing.
    stored = journal.save(Circumstances(began, posture, camera, context), analysis, folder)
    print(f"Saved as reading {stored.id}.")
    print()
    print(paragraph(today_of(journal, began.date())))
    if not ask or not sys.stdin.isatty():
        return
    print()
    print(f"How are you? One line, or Enter for nothing: {HELP}")
    while line := input("> ").strip():
        try:
            journal.edit_context(stored.id, context_from_line(line))
            return
        except DawnbeatError as error:
            print(error)
