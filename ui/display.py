"""Whether a window can open here, or a picture be drawn, asked before Qt is: Qt answers "no" by ending the process."""

from __future__ import annotations

import ctypes
import os
import re
import socket
import sys

_TERMINAL = "the commands work without one, see dawnbeat --help"
# Libraries of the system that Qt needs, each with Debian's package of it: to draw at all, and for a window under X11.
TO_DRAW = {
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libglib-2.0.so.0": "libglib2.0-0",
}
FOR_A_WINDOW = {
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-image.so.0": "libxcb-image0",
}


def display_problem() -> str | None:
    """Why no window can open, with what to do, or None where one probably can."""
    if not sys.platform.startswith("linux"):
        return None
    platform = os.environ.get("QT_QPA_PLATFORM", "").split(":")[0]
    if platform not in ("", "xcb") or (platform == "" and os.environ.get("WAYLAND_DISPLAY")):
        return _lacking(TO_DRAW)
    name = os.environ.get("DISPLAY", "")
    if not name:
        return f"there is no display to open a window on: log in to a desktop; {_TERMINAL}"
    if not _answers(name):
        return f"the display {name!r} doesn't answer: check DISPLAY; {_TERMINAL}"
    return _lacking(TO_DRAW | FOR_A_WINDOW)


def _lacking(libraries: dict[str, str]) -> str | None:
    lacking = missing(libraries)
    return f"the window needs libraries of the system: {install(lacking)}; {_TERMINAL}" if lacking else None


def drawing_problem() -> str | None:
    """Why no picture can be drawn here, with what to do, or None where one probably can."""
    if not sys.platform.startswith("linux"):
        return None
    lacking = missing(TO_DRAW)
    return f"pictures need libraries of the system: {install(lacking)}" if lacking else None


def missing(libraries: dict[str, str]) -> list[str]:
    """Debian's packages of those libraries that can't be loaded, in the order given."""
    packages = []
    for library, package in libraries.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            packages.append(package)
    return packages


def install(packages: list[str]) -> str:
    """What to type on Debian and its kin."""
    return f"apt-get install {' '.join(packages)} (on Debian; elsewhere the packages of these libraries)"


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
