"""A video file as a source of frames, at the speed it decodes; its trace, and when it was taken."""

from __future__ import annotations

import math
import os
import re
import struct
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import chain
from pathlib import Path
from typing import BinaryIO

import numpy as np

from dawnbeat.capture.contact import ContactGauge
from dawnbeat.capture.frames import Capture, Frame, Image, SourceAbout, load_cv2, three_channels
from dawnbeat.shared.errors import DawnbeatError, plain_errors
from dawnbeat.shared.files import refuse_special
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.shared.wording import CLOCKS_APART

_ASSUMED_RATE_HZ = 30.0
_POS_MSEC = 0  # cv::CAP_PROP_POS_MSEC
_1904 = datetime(1904, 1, 1, tzinfo=UTC)
_2001 = datetime(2001, 1, 1, tzinfo=UTC)
# A camera whose clock was never set says one of the epochs, or nearly so.
_EARLIEST = datetime(2005, 1, 1, tzinfo=UTC)
_MOST_HEADER = 1 << 20
_LOCAL = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:?\d\d")
_MATROSKA = b"\x1a\x45\xdf\xa3"
_DATE_UTC = b"\x44\x61\x88"


def trace_of_video(path: Path, times_s: FloatArray | None = None) -> Trace:
    """Measure every frame of a video file, as a camera's frames are; raises DawnbeatError when it has none.

    times_s: (n,) as in VideoFileSource.
    """
    source = VideoFileSource(path, times_s)
    gauge = ContactGauge()
    try:
        samples = [gauge.measure(frame) for frame in source.frames()]
    finally:
        source.close()
    rows = [(each.time_s, each.red, each.green, each.blue, each.covered, each.clipped) for each in samples]
    table = np.array(rows, dtype=np.float64).reshape(len(rows), 6)
    return Trace(table[:, 0], table[:, 1:4], table[:, 4], table[:, 5])


class VideoFileSource:
    """The frames of a video file with the times of its container.

    times_s: (n,) times to use instead, one a frame: a recording's trace knows them to the microsecond, where
        some containers round to a millisecond. Frames beyond the last of them are left out.

    invented: whether the light never shone through anybody's finger.

    A container that gives no rising times is timed by its frame rate. A file that breaks off in the middle
    ends there. Raises DawnbeatError when the file can't be read, is no video, or holds no frames.
    """

    def __init__(self, path: Path, times_s: FloatArray | None = None, invented: bool = False) -> None:
        self._times_s = times_s
        with plain_errors("read the video", path):
            refuse_special(path)
            with path.open("rb") as file:
                empty = not file.read(1)
        if empty:
            raise DawnbeatError(f"{path} is empty: record or copy it again")
        cv2 = load_cv2()
        self._capture: Capture = cv2.VideoCapture(str(path.resolve()), cv2.CAP_FFMPEG)
        if not self._capture.isOpened():
            self._capture.release()
            raise DawnbeatError(f"{path} is not a video that can be read: convert it to MJPEG in an AVI file")
        rate_hz = float(self._capture.get(cv2.CAP_PROP_FPS))
        self._rate_hz = rate_hz if math.isfinite(rate_hz) and 1.0 <= rate_hz <= 1000.0 else None
        # The first frame is read here, so that a video without any is refused when it is opened.
        decoded = self._decoded()
        first = next(decoded, None)
        if first is None:
            self._capture.release()
            raise DawnbeatError(f"{path} holds no frames that can be decoded: record or copy it again")
        self._frames: Iterator[tuple[float, Image]] = chain([first], decoded)
        image = first[1]
        self._about = SourceAbout(
            camera=f"video file {path.name}",
            width=int(image.shape[1]),
            height=int(image.shape[0]),
            nominal_rate_hz=self._rate_hz,
            invented=invented,
        )

    @property
    def about(self) -> SourceAbout:
        """Size and rate as the file gives them."""
        return self._about

    def frames(self) -> Iterator[Frame]:
        """Yield the frames once, from the first."""
        frames, self._frames = self._frames, iter(())
        step_s = 1.0 / (self._rate_hz or _ASSUMED_RATE_HZ)
        start_s = last_s = 0.0
        for index, (time_s, image) in enumerate(frames):
            if self._times_s is not None:
                if index >= self._times_s.size:
                    return
                time_s = float(self._times_s[index] - self._times_s[0])
            elif index == 0:
                start_s, time_s = time_s, 0.0
            else:
                time_s -= start_s
                if time_s <= last_s:
                    time_s = last_s + step_s
            last_s = time_s
            yield Frame(time_s, 0, image)

    def settle(self) -> None:
        """What was filmed can't be changed any more."""

    def close(self) -> None:
        """Let the file go."""
        self._capture.release()

    def _decoded(self) -> Iterator[tuple[float, Image]]:
        """The frames with the container's own times, 0 where it gives no number."""
        while self._capture.grab():
            time_s = float(self._capture.get(_POS_MSEC)) / 1000.0
            taken, image = self._capture.retrieve()
            if not taken or image is None or not image.size:
                return
            yield time_s if math.isfinite(time_s) else 0.0, three_channels(image)


def creation_time(path: Path) -> datetime | None:
    """When the film says it was taken, with an offset; None where it doesn't say or what it says can't be.

    OSError passes through.
    """
    with path.open("rb") as file:
        start = file.read(4)
        file.seek(0)
        found = _of_matroska(file) if start == _MATROSKA else _of_boxes(file)
    plausible = found is not None and _EARLIEST <= found <= datetime.now(UTC) + CLOCKS_APART
    return found if plausible else None


def _of_boxes(file: BinaryIO) -> datetime | None:
    """The place's own time where there is one, else the movie header's, which knows no place."""
    movie = next((span for kind, span in _boxes(file, 0, os.fstat(file.fileno()).st_size) if kind == b"moov"), None)
    if movie is None:
        return None
    header: datetime | None = None
    for kind, (start, end) in _boxes(file, *movie):
        file.seek(start)
        if kind == b"mvhd":
            header = _of_movie_header(file.read(min(end - start, 32)))
        elif kind in (b"meta", b"udta"):
            local = _LOCAL.search(file.read(min(end - start, _MOST_HEADER)))
            if local is not None:
                try:
                    return datetime.fromisoformat(local[0].decode("ascii"))
                except ValueError:
                    continue
    return header


def _boxes(file: BinaryIO, start: int, end: int) -> Iterator[tuple[bytes, tuple[int, int]]]:
    """The boxes between two places: kind, and where its content lies. Ends at the first that can't be."""
    while start + 8 <= end:
        file.seek(start)
        size, kind = struct.unpack(">I4s", file.read(8))
        content = start + 8
        if size == 1:
            wide = file.read(8)
            size = struct.unpack(">Q", wide)[0] if len(wide) == 8 else 0
            content += 8
        elif size == 0:
            size = end - start
        if start + size > end or start + size < content:
            return
        yield kind, (content, start + size)
        start += size


def _of_movie_header(content: bytes) -> datetime | None:
    form, size = (">Q", 8) if content[:1] == b"\x01" else (">I", 4)
    if len(content) < 4 + size:
        return None
    seconds = struct.unpack(form, content[4 : 4 + size])[0]
    try:
        return _1904 + timedelta(seconds=seconds)
    except OverflowError:
        return None


def _of_matroska(file: BinaryIO) -> datetime | None:
    head = file.read(_MOST_HEADER)
    at = head.find(_DATE_UTC)
    if at < 0 or len(head) < at + 11:
        return None
    try:
        return _2001 + timedelta(microseconds=struct.unpack(">q", head[at + 3 : at + 11])[0] / 1000)
    except OverflowError:
        return None
