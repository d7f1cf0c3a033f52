"""A screen that nobody sees, and keys that are pressed on it."""

from __future__ import annotations

import os
import select
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

_STARTS_WITHIN_S = 15.0
_SIZE = "1280x800x24"

needs_xvfb = pytest.mark.skipif(shutil.which("Xvfb") is None, reason="Xvfb is not installed: there is no X11 screen")
needs_xdotool = pytest.mark.skipif(
    shutil.which("xdotool") is None, reason="xdotool is not installed: nobody can press keys on the X11 screen"
)


def x11_environment(display: str, runtime: Path) -> dict[str, str]:
    """The environment of a program that is to show its window there. runtime: a folder of the user alone.

    Folder and locale are set because Qt complains, rightly, where a bare machine has neither.
    """
    kept = {k: v for k, v in os.environ.items() if k != "WAYLAND_DISPLAY" and not k.startswith("QT_")}
    runtime.mkdir(mode=0o700, exist_ok=True)
    return {**kept, "DISPLAY": display, "XDG_RUNTIME_DIR": str(runtime), "LC_ALL": "C.UTF-8"}


@contextmanager
def xvfb() -> Iterator[str]:
    """Run Xvfb on a display number that it finds free itself; gives the display's name, such as ":3"."""
    reading, writing = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", _SIZE, "-nolisten", "tcp", "-noreset"],
        pass_fds=(writing,),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    try:
        yield f":{_line_from(reading)}"
    finally:
        os.close(reading)
        server.terminate()
        server.wait(10)


def _line_from(descriptor: int) -> str:
    """The line that a starting server writes."""
    line, until_s = b"", time.monotonic() + _STARTS_WITHIN_S
    while not line.endswith(b"\n"):
        ready, _, _ = select.select([descriptor], [], [], max(0.0, until_s - time.monotonic()))
        more = os.read(descriptor, 16) if ready else b""
        assert more, "Xvfb did not start"
        line += more
    return line.decode().strip()


@dataclass(frozen=True)
class Keyboard:
    """Presses keys on one display. No window manager runs there, so a window has to be given the keys."""

    display: str

    def window(self, title: str) -> str:
        """Wait for a visible window by its title, a regular expression, and give it the keys."""
        found = self._xdotool("search", "--sync", "--onlyvisible", "--name", title).split()[0]
        self._xdotool("windowfocus", "--sync", found)
        return found

    def press(self, *keys: str) -> None:
        """Press keys one after the other, each by its name in X11, such as Tab or ctrl+q."""
        self._xdotool("key", "--delay", "60", *keys)

    def type(self, text: str) -> None:
        """Type a text."""
        self._xdotool("type", "--delay", "30", text)

    def _xdotool(self, *words: str) -> str:
        done = subprocess.run(
            ["xdotool", *words],
            env={**os.environ, "DISPLAY": self.display},
            capture_output=True,
            text=True,
            timeout=120,
        )
        assert done.returncode == 0, (words, done.stderr)
        return done.stdout
