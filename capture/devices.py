"""The cameras of this machine: their names, what pace they really keep, and which locks they accept."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from dawnbeat.capture.camera import SYSFS, CameraSource, camera_name
from dawnbeat.shared.errors import DawnbeatError

_MOST_TRIED = 6


@dataclass(frozen=True)
class CameraAbout:
    """One camera.

    width, height: pixels of its frames. rate_hz: frames a second as they came, from the median step.
    jitter_ms: standard deviation of the steps. locks: what it answered to each lock, by name of the control.
    problem: why it can't be used, None if it can; then the other figures are empty.
    """

    index: int
    name: str
    width: int = 0
    height: int = 0
    rate_hz: float | None = None
    jitter_ms: float | None = None
    locks: Mapping[str, str] = field(default_factory=dict)
    problem: str | None = None


def list_cameras(
    measure_s: float = 2.0,
    *,
    open_camera: Callable[[int], CameraSource] = CameraSource,
    platform: str = sys.platform,
    sysfs: Path = SYSFS,
    monotonic: Callable[[], float] = time.monotonic,
) -> list[CameraAbout]:
    """Every camera, measured for `measure_s` seconds each; an empty list where there is none."""
    if platform.startswith("linux"):
        found = _linux_cameras(sysfs)
        return [_look_at(index, name, measure_s, open_camera, monotonic) for index, name in found]
    # Other systems give no list through OpenCV: numbers are tried until one isn't there.
    cameras = []
    for index in range(_MOST_TRIED):
        camera = _look_at(index, f"camera {index}", measure_s, open_camera, monotonic)
        if camera.problem is not None:
            break
        cameras.append(camera)
    return cameras


def _linux_cameras(sysfs: Path) -> list[tuple[int, str]]:
    """Number and name of each device node that gives pictures; one camera has a second node for metadata."""
    found = []
    for node in sysfs.glob("video*"):
        number = node.name.removeprefix("video")
        if number.isdecimal() and _is_first_node(node):
            found.append((int(number), camera_name(int(number), sysfs) or f"camera {number}"))
    return sorted(found)


def _is_first_node(node: Path) -> bool:
    try:
        return (node / "index").read_text(encoding="ascii", errors="replace").strip() == "0"
    except OSError:
        return True


def _look_at(
    index: int,
    name: str,
    measure_s: float,
    open_camera: Callable[[int], CameraSource],
    monotonic: Callable[[], float],
) -> CameraAbout:
    try:
        source = open_camera(index)
    except DawnbeatError as error:
        return CameraAbout(index, name, problem=str(error))
    try:
        times_s = []
        until_s = monotonic() + measure_s
        for frame in source.frames():
            times_s.append(frame.time_s)
            if monotonic() >= until_s:
                break
        steps_s = np.diff(times_s)
        about = source.about
        return CameraAbout(
            index,
            name,
            about.width,
            about.height,
            float(1.0 / np.median(steps_s)) if steps_s.size else None,
            float(1000.0 * np.std(steps_s)) if steps_s.size else None,
            source.try_locks(),
        )
    except DawnbeatError as error:
        return CameraAbout(index, name, problem=str(error))
    finally:
        source.close()
