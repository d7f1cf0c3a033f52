"""The small video beside a trace: MJPEG in AVI, whose frames stay readable when the writer is killed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np

from dawnbeat.capture.frames import Image
from dawnbeat.capture.opencv import load_cv2
from dawnbeat.shared.errors import DawnbeatError

_WIDEST = 160
_TALLEST = 120
_ASSUMED_RATE_HZ = 30.0


class SmallVideo:
    """Frames shrunk to at most 160 x 120, at the best JPEG quality; the true times are in the trace."""

    def __init__(self, path: Path, rate_hz: float | None) -> None:
        self._path = path
        self._rate_hz = rate_hz or _ASSUMED_RATE_HZ
        self._cv2 = load_cv2()
        self._writer: Any = None
        self._size = (0, 0)

    def write(self, image: Image) -> None:
        """Append one frame; the first decides the size. Raises DawnbeatError when no video can be made."""
        if self._writer is None:
            self._open(image)
        small = self._cv2.resize(image, self._size, interpolation=self._cv2.INTER_AREA)
        self._writer.write(np.ascontiguousarray(small))

    def close(self) -> None:
        """Finish the file's index; raises OSError when the disk refuses it."""
        if self._writer is not None:
            self._writer.release()
            self._writer = None
            with self._path.open("rb+") as file:
                os.fsync(file.fileno())

    def _open(self, image: Image) -> None:
        cv2 = self._cv2
        height, width = image.shape[:2]
        scale = min(1.0, _WIDEST / width, _TALLEST / height)
        # Even sides, since colour is kept for pairs of pixels.
        self._size = (max(2, round(width * scale / 2) * 2), max(2, round(height * scale / 2) * 2))
        self._path.touch(mode=0o600, exist_ok=False)
        code = cv2.VideoWriter_fourcc(*"MJPG")
        for backend in (cv2.CAP_OPENCV_MJPEG, cv2.CAP_ANY):
            writer = cv2.VideoWriter(str(self._path), backend, code, float(self._rate_hz), self._size)
            if writer.isOpened():
                writer.set(cv2.VIDEOWRITER_PROP_QUALITY, 100)
                self._writer = writer
                return
            writer.release()
        raise DawnbeatError(f"no video can be written to {self._path}: record without video")
