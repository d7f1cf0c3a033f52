"""`dawnbeat cameras`: what is connected, how fast it really is, what it lets us lock."""

from __future__ import annotations

import typer

from dawnbeat.shared.errors import DawnbeatError


def cameras(
    seconds: float = typer.Option(2.0, help="How long each camera is measured, in seconds."),
    json: bool = typer.Option(False, "--json", help="One JSON object a line and a camera."),
) -> None:
    """List the cameras and what they can do.

    With size, measured frame rate and its jitter, and which of exposure, gain, white balance and focus can be locked.
    """
    from rich.table import Table

    from dawnbeat.capture.camera import list_cameras
    from dawnbeat.ui.report import console

    if not 0.5 <= seconds <= 30.0:
        raise DawnbeatError(f"--seconds {seconds:g} is out of range: give 0.5 to 30")
    out = console()
    if json:
        import dataclasses
        import json as json_library

        for camera in list_cameras(seconds):
            print(json_library.dumps(dataclasses.asdict(camera), allow_nan=False, ensure_ascii=False))
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
