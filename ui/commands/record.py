"""`dawnbeat record`: frames in, a recording out, nothing analysed."""

from __future__ import annotations

import math
from pathlib import Path

import typer

from dawnbeat.shared.errors import DawnbeatError

_LONGEST_S = 12 * 3600.0
SOURCE_HELP = (
    "Where frames come from: camera (the first one) or a camera's number, phone (its browser), an http, https or rtsp "
    "address, a recording, a video file, or rehearsal (an invented finger)."
)
SETTLE_HELP = (
    "Start after five seconds of good contact and so many more of lying still, with the camera locked; 0 starts with "
    "the first frame and locks nothing."
)
NETWORK_HELP = "With --source phone: this computer's address or card to open to the phone; else the usual one."
VIDEO_HELP = "Keep a small video too (off by default: privacy and size)."


def record(
    out: Path = typer.Argument(..., help="Folder for the recording; it must be new or empty."),
    source: str = typer.Option("camera", help=SOURCE_HELP),
    seconds: float = typer.Option(120.0, help="How long to record, in seconds."),
    settle_s: float = typer.Option(0.0, "--settle", help=SETTLE_HELP),
    network: str = typer.Option("", help=NETWORK_HELP),
    video: bool = typer.Option(False, "--video", help=VIDEO_HELP),
) -> None:
    """Record without analysing.

    Stop early with Ctrl+C: what was captured is kept.
    """
    from dataclasses import replace

    from dawnbeat.capture.recording import refuse_used
    from dawnbeat.morning.flow import plan_without_buttons
    from dawnbeat.morning.sources import is_phone, rehearsal_or
    from dawnbeat.morning.taking import Order
    from dawnbeat.ui.commands.phone_code import phone_in_terminal
    from dawnbeat.ui.live_progress import take_in_terminal

    check_seconds(seconds)
    check_settle(settle_s)
    refuse_used(out)
    by_words = rehearsal_or(source, seconds + settle_s + 8.0)
    taken = take_in_terminal(
        Order(
            open_source=(lambda: phone_in_terminal(network)) if is_phone(source) else by_words,
            # A recording shows what was there, a lifted finger too.
            plan=replace(plan_without_buttons(seconds, settle_s), lost_s=math.inf),
            new_folder=lambda _began: out,
            keep_invented=True,
            video=video,
            watched=False,
        )
    )
    taken.let_go()
    if not len(taken.trace):
        raise DawnbeatError(f"nothing was recorded: {taken.ended.why}")
    print(f"{out}: {len(taken.trace)} frames, {taken.trace.duration_s:.1f} s, {taken.dropped} dropped")
    if taken.ended.broken:
        raise DawnbeatError(f"the recording ended early, what came before is kept: {taken.ended.why}")


def check_seconds(seconds: float) -> None:
    """Raise DawnbeatError for a length that can't be recorded."""
    if not 1.0 <= seconds <= _LONGEST_S:
        raise DawnbeatError(f"--seconds {seconds:g} is out of range: give 1 to {_LONGEST_S:.0f}")


def check_settle(settle_s: float) -> None:
    """Raise DawnbeatError for a settling that can't be."""
    if not 0.0 <= settle_s <= 60.0:
        raise DawnbeatError(f"--settle {settle_s:g} is out of range: give 0 to 60 seconds")
