"""A video file as a source of frames, at the speed it decodes, and its trace."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from dawnbeat.capture.contact import ContactGauge
from dawnbeat.capture.frames import Frame, Sample, SourceAbout
from dawnbeat.capture.live import three_channels
from dawnbeat.capture.opencv import Capture, load_cv2
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.trace import FloatArray, Trace

_ASSUMED_RATE_HZ = 30.0


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
    table = np.array([_row(each) for each in samples], dtype=np.float64).reshape(len(samples), 6)
    return Trace(table[:, 0], table[:, 1:4], table[:, 4], table[:, 5])


def _row(sample: Sample) -> tuple[float, ...]:
    clipped = max(sample.clipped_red, sample.clipped_green, sample.clipped_blue)
    return sample.time_s, sample.red, sample.green, sample.blue, sample.covered, clipped


class VideoFileSource:
    """The frames of a video file with the times of its container.

    times_s: (n,) times to use instead, one a frame: a recording's trace knows them to the microsecond, where
        some containers round to a millisecond. Frames beyond the last of them are left out.

    invented: whether the light never shone through anybody's finger.

    A container that gives no rising times is timed by its frame rate. A file that breaks off in the middle
    ends there. Raises DawnbeatError when the file can't be read, is no video, or holds no frames.
    """

    def __init__(self, path: Path, times_s: FloatArray | None = None, invented: bool = False) -> None:
        self._path = path
        self._times_s = times_s
        try:
            with path.open("rb") as file:
                empty = not file.read(1)
        except OSError as error:
            raise DawnbeatError(f"can't read {path}: {one_line(error.strerror or error)}") from error
        if empty:
            raise DawnbeatError(f"{path} is empty: record or copy it again")
        cv2 = load_cv2()
        self._cv2 = cv2
        self._capture: Capture = cv2.VideoCapture(str(path.resolve()), cv2.CAP_FFMPEG)
        if not self._capture.isOpened():
            self._capture.release()
            raise DawnbeatError(f"{path} is not a video that can be read: convert it to MJPEG in an AVI file")
        rate_hz = float(self._capture.get(cv2.CAP_PROP_FPS))
        self._rate_hz = rate_hz if math.isfinite(rate_hz) and 1.0 <= rate_hz <= 1000.0 else None
        # The first frame is read here, so that a video without any is refused when it is opened.
        self._first = self._next()
        if self._first is None:
            self._capture.release()
            raise DawnbeatError(f"{path} holds no frames that can be decoded: record or copy it again")
        image = self._first.image
        assert image is not None
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

    @property
    def frame_count(self) -> int | None:
        """How many frames the container promises; None where it doesn't say."""
        if self._times_s is not None:
            return int(self._times_s.size)
        count = float(self._capture.get(self._cv2.CAP_PROP_FRAME_COUNT))
        return int(count) if math.isfinite(count) and 0 < count < 1e9 else None

    def frames(self) -> Iterator[Frame]:
        """Yield the frames once, from the first."""
        first, self._first = self._first, None
        if first is None or first.image is None:
            return
        start_s = first.time_s
        last_s = 0.0
        step_s = 1.0 / (self._rate_hz or _ASSUMED_RATE_HZ)
        frame: Frame | None = first
        index = 0
        while frame is not None:
            if self._times_s is None:
                time_s = frame.time_s - start_s
                if index and not (math.isfinite(time_s) and time_s > last_s):
                    time_s = last_s + step_s
            elif index < self._times_s.size:
                time_s = float(self._times_s[index] - self._times_s[0])
            else:
                return
            last_s = time_s
            yield Frame(time_s, 0, frame.image)
            index += 1
            frame = self._next()

    def settle(self) -> None:
        """What was filmed can't be changed any more."""

    def close(self) -> None:
        """Let the file go."""
        self._capture.release()

    def _next(self) -> Frame | None:
        """The next frame with the container's own time, or None at the end."""
        taken = self._capture.grab()
        if not taken:
            return None
        time_s = float(self._capture.get(self._cv2.CAP_PROP_POS_MSEC)) / 1000.0
        taken, image = self._capture.retrieve()
        if not taken or image is None or not image.size:
            return None
        return Frame(time_s if math.isfinite(time_s) else 0.0, 0, three_channels(image))
