"""The window opens on X11 beside OpenCV, whichever of the two is loaded first, since the headless build has no Qt."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.ui.xvfb import needs_xvfb, x11_environment, xvfb

pytestmark = [
    pytest.mark.skipif(not sys.platform.startswith("linux"), reason="X11 is the screen of Linux"),
    needs_xvfb,
]

_QT = "from PySide6.QtWidgets import QApplication, QLabel"
_OPENCV = {
    "as the program loads it": "from dawnbeat.capture.frames import load_cv2; load_cv2()",
    "imported plainly": "import cv2",
}
_OPEN = """
import os, time
app = QApplication([])
label = QLabel("a word")
label.show()
until_s = time.monotonic() + 10
while not label.windowHandle().isExposed() and time.monotonic() < until_s:
    app.processEvents()
assert label.windowHandle().isExposed()
print(app.platformName(), *sorted(name for name in os.environ if name.startswith("QT_QPA_")))
"""


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    with xvfb() as display:
        runtime: Path = tmp_path_factory.mktemp("runtime") / "own"
        yield {**x11_environment(display, runtime), "QT_QPA_PLATFORM": "xcb"}


def what_a_window_says(environment: dict[str, str], *lines: str) -> str:
    """Run these lines in a Python of their own, then open a window; gives the platform and Qt's variables."""
    code = "\n".join((*lines, _OPEN))
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout.strip()


@pytest.mark.parametrize("opencv", list(_OPENCV))
def test_a_window_opens_where_opencv_was_first(environment: dict[str, str], opencv: str) -> None:
    assert what_a_window_says(environment, _OPENCV[opencv], _QT).startswith("xcb")


@pytest.mark.parametrize("opencv", list(_OPENCV))
def test_a_window_opens_where_qt_was_first(environment: dict[str, str], opencv: str) -> None:
    assert what_a_window_says(environment, _QT, _OPENCV[opencv]).startswith("xcb")


def test_opencv_brings_no_qt_variables(environment: dict[str, str]) -> None:
    said = what_a_window_says(environment, _OPENCV["as the program loads it"], _QT)
    assert said == "xcb QT_QPA_PLATFORM"
