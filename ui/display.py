"""Whether a window can open here, asked before Qt is: Qt answers "no" by ending the process."""

from __future__ import annotations

import ctypes
import os
import re
import socket
import sys

_TERMINAL = "the commands work without one, see dawnbeat --help"


def display_problem() -> str | None:
    """Why no window can open, with what to do, or None where one probably can."""
    if not sys.platform.startswith("linux"):
        return None
    platform = os.environ.get("QT_QPA_PLATFORM", "").split(":")[0]
    if platform not in ("", "xcb") or (platform == "" and os.environ.get("WAYLAND_DISPLAY")):
        return None
    name = os.environ.get("DISPLAY", "")
    if not name:
        return f"there is no display to open a window on: log in to a desktop; {_TERMINAL}"
    if not _answers(name):
        return f"the display {name!r} doesn't answer: check DISPLAY; {_TERMINAL}"
    try:
        ctypes.CDLL("libxcb-cursor.so.0")
    except OSError:
        return f"the window needs a library of the system: apt-get install libxcb-cursor0; {_TERMINAL}"
    return None


def is_seen() -> bool:
    """Whether somebody would see a window opened now; Qt can also draw where nobody looks."""
    unseen = os.environ.get("QT_QPA_PLATFORM", "").split(":")[0] in ("offscreen", "minimal", "minimalegl", "vnc")
    return not unseen and display_problem() is None


def _answers(name: str) -> bool:
    """Whether a local X server listens; one on another machine is taken at its word."""
    local = re.fullmatch(r"(?:unix)?:(\d+)(?:\.\d+)?", name)
    if local is None:
        return True
    path = f"/tmp/.X11-unix/X{local[1]}"
    for address in (path, f"\0{path}"):
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
            probe.settimeout(2.0)
            try:
                probe.connect(address)
            except OSError:
                continue
            return True
    return False
