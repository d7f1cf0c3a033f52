"""`dawnbeat cameras` and `dawnbeat record`: light in, nothing analysed; and the way to the phone's page."""

from __future__ import annotations

import dataclasses
import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.as_json import line_of
from dawnbeat.ui.commands.options import SOURCE_HELP, VIDEO_HELP, Network, Settle, check_seconds

if TYPE_CHECKING:
    from rich.console import Console

    from dawnbeat.capture.frames import FrameSource
    from dawnbeat.capture.phone.link import News

# A rehearsal goes on for so much longer than it was asked for: the finger comes, and contact is found good.
_BEFORE_S = 8.0


def cameras(
    seconds: float = typer.Option(2.0, help="How long each camera is measured, in seconds."),
    json: bool = typer.Option(False, "--json", help="One JSON object a line and a camera."),
) -> None:
    """List the cameras and what they can do.

    With size, measured frame rate and its jitter, and which of exposure, gain, white balance and focus can be locked.
    """
    from rich.table import Table

    from dawnbeat.capture.camera import list_cameras
    from dawnbeat.ui.terminal import console

    if not 0.5 <= seconds <= 30.0:
        raise DawnbeatError(f"--seconds {seconds:g} is out of range: give 0.5 to 30")
    out = console()
    if json:
        for camera in list_cameras(seconds):
            print(line_of(dataclasses.asdict(camera)))
        return
    with out.status("looking at the cameras ..."):
        found = list_cameras(seconds)
    if not found:
        out.print("No camera found. Everything can be tried with an invented finger: dawnbeat read --source rehearsal")
        return
    table = Table()
    for title in ("number", "name", "size", "rate (Hz)", "jitter (ms)", "locks"):
        table.add_column(title)
    for camera in found:
        if camera.problem is not None:
            table.add_row(str(camera.index), camera.name, "", "", "", camera.problem)
            continue
        table.add_row(
            str(camera.index),
            camera.name,
            f"{camera.width} x {camera.height}",
            "unknown" if camera.rate_hz is None else f"{camera.rate_hz:.1f}",
            "unknown" if camera.jitter_ms is None else f"{camera.jitter_ms:.1f}",
            "\n".join(f"{name}: {answer}" for name, answer in camera.locks.items()),
        )
    out.print(table)


def record(
    out: Path = typer.Argument(..., help="Folder for the recording; it must be new or empty."),
    source: str = typer.Option("camera", help=SOURCE_HELP),
    seconds: float = typer.Option(120.0, help="How long to record, in seconds."),
    settle_s: Settle = 0.0,
    network: Network = "",
    video: bool = typer.Option(False, "--video", help=VIDEO_HELP),
) -> None:
    """Record without analysing.

    Stop early with Ctrl+C: what was captured is saved.
    """
    from dataclasses import replace

    from dawnbeat.capture.recording import refuse_used
    from dawnbeat.morning.flow import plan_without_buttons
    from dawnbeat.morning.taking import Order
    from dawnbeat.ui.terminal import take_in_terminal

    check_seconds(seconds, settle_s)
    refuse_used(out)
    taken = take_in_terminal(
        Order(
            open_source=opener(source, seconds + settle_s, network),
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
        raise DawnbeatError(f"the recording ended early, what came before is saved: {taken.ended.why}")


def opener(words: str, seconds: float, network: str) -> Callable[[], FrameSource]:
    """A function that opens the source that `words` name, of light for so many seconds; a phone's is shown the way."""
    from dawnbeat.morning.sources import is_phone, rehearsal_or

    return (lambda: phone_in_terminal(network)) if is_phone(words) else rehearsal_or(words, seconds + _BEFORE_S)


def phone_in_terminal(where: str, screen: Console | None = None) -> FrameSource:
    """Open the address, show the way there on standard error, and wait until the phone sends.

    where: as `open_phone` takes it. Raises DawnbeatError when it can't be opened or is over before that; Ctrl+C closes
    the address.
    """
    from rich.text import Text

    from dawnbeat.capture.phone.identity import addresses, needed
    from dawnbeat.capture.phone.source import wait_for_phone
    from dawnbeat.morning.reading_text import LAMP, PHONE_WARNING, phone_line
    from dawnbeat.morning.sources import open_phone
    from dawnbeat.ui.terminal import console

    screen = screen or console(sys.stderr)
    needed("segno")  # before anything is open
    server = open_phone(where)
    try:
        # Dark on light whatever the terminal's own colours are, or scanners can't read it.
        screen.print(Text(code_in_letters(server.url), style="#000000 on #ffffff"), soft_wrap=True)
        screen.print("Scan this code with the phone, or type the address into its browser:")
        screen.print(Text(server.url, style="bold"), soft_wrap=True)
        screen.print(f"{PHONE_WARNING} The fingerprint:")
        screen.print(Text(server.fingerprint), soft_wrap=True)  # as it is: ":AB:" would become a picture
        others = [str(each) for each in addresses() if each.ip != server.ip]
        if others:
            screen.print(f"Only {server.ip} is open; --network names another of this computer: {', '.join(others)}.")
        screen.print(f"{server.firewall} The address works for one phone and ten minutes. {LAMP}")
        said = [""]

        def say(news: News) -> None:
            words = phone_line(news)
            if words != said[0]:
                said[0] = words
                screen.print(words)

        source = wait_for_phone(server, say)
        say(server.news)
        return source
    except KeyboardInterrupt:
        server.stop()
        raise DawnbeatError("it was stopped before the phone sent anything") from None
    except BaseException:
        server.stop()
        raise


def code_in_letters(url: str) -> str:
    """The code of an address in half blocks."""
    from dawnbeat.capture.phone.identity import needed

    rows = [[bool(module) for module in row] for row in needed("segno").make(url, micro=False).matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append([False] * len(rows[0]))
    blocks = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
    return "\n".join(
        "".join(blocks[above, below] for above, below in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    )
