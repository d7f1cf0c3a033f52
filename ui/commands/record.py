"""`dawnbeat record`: frames in, a recording out, nothing analysed."""

from __future__ import annotations

from pathlib import Path

import typer

from dawnbeat.shared.errors import DawnbeatError

_LONGEST_S = 12 * 3600.0
SOURCE_HELP = (
    "Where frames come from: camera (the first one) or a camera's number, an http, https or rtsp address, a recording, "
    "a video file, or rehearsal (an invented finger)."
)
VIDEO_HELP = "Keep a small video too (off by default: privacy and size)."


def record(
    out: Path = typer.Argument(..., help="Folder for the recording; it must be new or empty."),
    source: str = typer.Option("camera", help=SOURCE_HELP),
    seconds: float = typer.Option(120.0, help="How long to record, in seconds."),
    settle_s: float = typer.Option(
        0.0,
        "--settle",
        help="Start once the finger has lain well for so many seconds, and lock the camera then; "
        "0 starts at once and locks nothing.",
    ),
    video: bool = typer.Option(False, "--video", help=VIDEO_HELP),
) -> None:
    """Record without analysing.

    Stop early with Ctrl+C: what was captured is kept.
    """
    from dawnbeat.morning.sources import open_source
    from dawnbeat.ui.live_progress import record_session

    check_seconds(seconds)
    if not 0.0 <= settle_s <= 60.0:
        raise DawnbeatError(f"--settle {settle_s:g} is out of range: give 0 to 60 seconds")
    if is_rehearsal(source):
        frames = open_source(source, duration_s=seconds + settle_s + 2.0, realtime=True)
    else:
        frames = open_source(source)
    try:
        result = record_session(frames, out, seconds, settle_s, video=video)
    finally:
        frames.close()
    print(f"{out}: {len(result.trace)} frames, {result.trace.duration_s:.1f} s, {result.dropped} dropped")
    if result.broken or not len(result.trace):
        raise DawnbeatError(f"the recording ended early, what came before is kept: {result.ended_because}")


def check_seconds(seconds: float) -> None:
    """Raise DawnbeatError for a length that can't be recorded."""
    if not 1.0 <= seconds <= _LONGEST_S:
        raise DawnbeatError(f"--seconds {seconds:g} is out of range: give 1 to {_LONGEST_S:.0f}")


def is_rehearsal(source: str) -> bool:
    """Whether the words mean the rehearsal finger."""
    return source.strip().lower() == "rehearsal"
