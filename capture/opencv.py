"""The one place where OpenCV is imported, late and quietly; and what of it the sources use."""

from __future__ import annotations

import functools
import os
from typing import Any, Protocol

import numpy as np

from dawnbeat.capture.frames import Image
from dawnbeat.shared.errors import DawnbeatError, one_line

_QUIET = {
    "OPENCV_LOG_LEVEL": "SILENT",
    "OPENCV_FFMPEG_LOGLEVEL": "-8",
    # A camera that was pulled out would hold its reader for ten seconds.
    "OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT": "2",
}


class Capture(Protocol):
    """What of `cv2.VideoCapture` the sources use; tests put a scripted one in its place."""

    def isOpened(self) -> bool: ...  # noqa: N802, D102  the names are OpenCV's
    def grab(self) -> bool: ...  # noqa: D102
    def retrieve(self) -> tuple[bool, Image | None]: ...  # noqa: D102
    def get(self, prop: int, /) -> float: ...  # noqa: D102
    def set(self, prop: int, value: float, /) -> bool: ...  # noqa: D102
    def release(self) -> None: ...  # noqa: D102


@functools.cache
def load_cv2() -> Any:
    """The cv2 module, with its chatter off.

    Raises DawnbeatError when OpenCV can't be loaded.
    """
    for name, value in _QUIET.items():
        os.environ.setdefault(name, value)
    try:
        import cv2
    except ImportError as error:
        raise DawnbeatError(
            f"OpenCV can't be loaded ({one_line(error)}): install opencv-python-headless for this Python"
        ) from error
    if hasattr(cv2, "setLogLevel"):
        cv2.setLogLevel(0)  # for a cv2 that somebody imported before us
    return cv2


def three_channels(image: Image) -> Image:
    """The picture with three channels, whatever the decoder gave."""
    if image.ndim == 2:
        image = image[:, :, np.newaxis]
    return image if image.shape[2] == 3 else np.repeat(image[:, :, :1], 3, axis=2)
