"""Locking what a camera would otherwise change by itself: exposure, gain, white balance, focus."""

from __future__ import annotations

import sys
from dataclasses import dataclass

from dawnbeat.capture.opencv import Capture

LOCKED = "locked"
NOT_TAKEN = "not taken: still automatic"
NOT_OFFERED = "not offered"

# Numbers of OpenCV's videoio properties (cv::VideoCaptureProperties), fixed in its public interface.
_GAIN, _EXPOSURE, _AUTO_EXPOSURE, _TEMPERATURE = 14, 15, 21, 23
_FOCUS, _AUTOFOCUS, _AUTO_WB, _WB_TEMPERATURE = 28, 39, 44, 45


@dataclass(frozen=True)
class Control:
    """One control: the property of its value and, where there is one, of its automatic with its two values.

    Where there is no readable switch (`switch_reads` False), setting the value itself turns the automatic
    off.
    """

    name: str
    value: int
    switch: int | None = None
    off: float = 0.0
    on: float = 1.0
    switch_reads: bool = True


# V4L2 takes the values of its own exposure menu, 1 manual and 3 aperture priority. Media Foundation turns the
# automatic off when a value is set, and what it reads back for the switch means nothing. Elsewhere 0.25 and
# 0.75 are OpenCV's old convention.
_LINUX = (
    Control("exposure", _EXPOSURE, _AUTO_EXPOSURE, 1.0, 3.0),
    Control("gain", _GAIN),
    Control("white balance", _WB_TEMPERATURE, _AUTO_WB),
    Control("focus", _FOCUS, _AUTOFOCUS),
)
_WINDOWS = (
    Control("exposure", _EXPOSURE, _AUTO_EXPOSURE, switch_reads=False),
    Control("gain", _GAIN),
    Control("white balance", _TEMPERATURE),
    Control("focus", _FOCUS, _AUTOFOCUS, switch_reads=False),
)
_ELSEWHERE = (
    Control("exposure", _EXPOSURE, _AUTO_EXPOSURE, 0.25, 0.75),
    Control("gain", _GAIN),
    Control("white balance", _WB_TEMPERATURE, _AUTO_WB),
    Control("focus", _FOCUS, _AUTOFOCUS),
)


def controls_here(platform: str = sys.platform) -> tuple[Control, ...]:
    """The controls as this system's camera back end speaks them."""
    return _LINUX if platform.startswith("linux") else _WINDOWS if platform == "win32" else _ELSEWHERE


def lock(capture: Capture, controls: tuple[Control, ...]) -> dict[str, str]:
    """Hold each control where it stands and say, by name, what the camera really took (read back)."""
    return {control.name: _lock_one(capture, control) for control in controls}


def release(capture: Capture, control: Control) -> None:
    """Hand one control back to the camera's automatic."""
    if control.switch is not None:
        capture.set(control.switch, control.on)


def _lock_one(capture: Capture, control: Control) -> str:
    held = capture.get(control.value)
    if control.switch is not None and control.switch_reads:
        if not capture.set(control.switch, control.off):
            return NOT_OFFERED
        # Many drivers fall back to an old manual value here, so the one that stood is set again. A camera
        # that refuses the value but keeps its automatic off has still been locked.
        capture.set(control.value, held)
        return LOCKED if _same(capture.get(control.switch), control.off) else NOT_TAKEN
    if not capture.set(control.value, held):
        return NOT_OFFERED
    return LOCKED if _same(capture.get(control.value), held) else NOT_TAKEN


def _same(read: float, wanted: float) -> bool:
    return abs(read - wanted) <= 0.01 * max(1.0, abs(wanted))
