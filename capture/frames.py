"""What a source of frames is: frames with their own times, what the camera really took, and a thread that fetches.

And the one place where OpenCV, which most sources use, is imported: late and quietly.
"""

from __future__ import annotations

import functools
import os
import queue
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from dawnbeat.shared.errors import DawnbeatError, one_line

Image = NDArray[np.uint8]
SOURCE_ENDED = "the source came to its end"

_QUEUE_BYTES = 48 * 2**20
_FEWEST_QUEUED, _MOST_QUEUED = 8, 120
_QUIET = {
    "OPENCV_LOG_LEVEL": "SILENT",
    "OPENCV_FFMPEG_LOGLEVEL": "-8",
    # A camera that was pulled out would hold its reader for ten seconds.
    "OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT": "2",
}


@dataclass(frozen=True, slots=True)
class Sample:
    """One frame reduced to its mean colour, with how well the finger covered the lens.

    time_s: seconds from the source's first frame. red, green, blue: means over the covered part, 0 to 255.
    covered: share of the frame under the finger, 0 to 1.
    clipped_red, clipped_green, clipped_blue: share of pixels at the top of the scale, 0 to 1.
    """

    time_s: float
    red: float
    green: float
    blue: float
    covered: float = 1.0
    clipped_red: float = 0.0
    clipped_green: float = 0.0
    clipped_blue: float = 0.0

    @property
    def clipped(self) -> float:
        """Of the worst channel, as the recording format keeps it."""
        return max(self.clipped_red, self.clipped_green, self.clipped_blue)


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame with its own time.

    time_s: the driver's time where plausible, else the monotonic clock at the grab; seconds from the source's
        first frame, strictly increasing.
    dropped_before: frames known to be lost between the previous frame and this one.
    image: (height, width, 3) blue, green, red bytes; None where the source only has colours.
    sample: the colours of a source that has no image (a recorded trace); None where there is an image.
    arrived_s: when it came, on the monotonic clock, as a Feed notes it.
    """

    time_s: float
    dropped_before: int = 0
    image: Image | None = None
    sample: Sample | None = None
    arrived_s: float | None = field(default=None, compare=False)


@dataclass(frozen=True)
class SourceAbout:
    """What is known of a source once it is open.

    camera: plain words. width, height: pixels, 0 where there is no image. nominal_rate_hz: what the source
    promises, None if it promises nothing. controls: what the camera really took, by name of the control.
    live: whether frames come at their own pace and are lost when nobody takes them. invented: whether this light never
    shone through anybody's finger. patience_s: how long it may be silent before it counts as gone. taken: when what
    it plays was filmed; None for now, or unknown. doubt: what is to be said of its clock, empty where it is good.
    """

    camera: str
    width: int = 0
    height: int = 0
    nominal_rate_hz: float | None = None
    controls: Mapping[str, str] = field(default_factory=dict)
    live: bool = False
    invented: bool = False
    patience_s: float = 5.0
    taken: datetime | None = None
    doubt: str = ""


class FrameSource(Protocol):
    """An open source of frames. Opening happens in the constructor, which raises DawnbeatError."""

    @property
    def about(self) -> SourceAbout:
        """What is known of the source now; controls change after `settle`."""
        ...

    def frames(self) -> Iterator[Frame]:
        """Yield frames until the source ends; raises DawnbeatError if it breaks in the middle."""
        ...

    def settle(self) -> None:
        """Called once the finger lies still: lock exposure, gain, white balance and focus where possible."""
        ...

    def close(self) -> None:
        """Let the device go; calling it twice does no harm."""
        ...


@runtime_checkable
class WithScreen(FrameSource, Protocol):
    """A source with a screen of its own, which shows the runner how the reading goes."""

    def tell(self, phase: str, left_s: float, pulse_bpm: float | None, words: str) -> None:
        """Show the phase, the seconds left in it, the pulse and one sentence. "over" is the last phase."""
        ...


@dataclass(frozen=True, slots=True)
class End:
    """The last thing that a feed gives: why there are no more frames, and whether that is a fault."""

    reason: str
    broken: bool
    lost: int = 0  # frames that found the queue full right before the end


class Frames(Protocol):
    """Where a reading takes its frames from."""

    def take(self, timeout_s: float) -> Frame | End | None:
        """The next frame or the end; None when neither comes in time."""
        ...

    def stop(self) -> None:
        """No more frames are wanted."""
        ...


class Feed:
    """A thread of its own that takes frames from the source into a bounded queue.

    A live source never waits: what finds the queue full is dropped, and counted with the next frame. Any
    other source waits until there is room.
    """

    def __init__(self, source: FrameSource) -> None:
        about = source.about
        frame_bytes = max(1, 3 * about.width * about.height)
        room = min(_MOST_QUEUED, max(_FEWEST_QUEUED, _QUEUE_BYTES // frame_bytes))
        self._source = source
        self._live = about.live
        self._queue: queue.Queue[Frame | End] = queue.Queue(room)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True, name="frames")
        self._thread.start()

    def take(self, timeout_s: float) -> Frame | End | None:
        """The next frame or the end; None when neither comes in time."""
        try:
            return self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None

    def stop(self) -> None:
        """Ask the thread to end and give it a moment; a driver that holds it longer is left behind."""
        self._stop.set()
        while True:  # a waiting put needs room to see that it should stop
            try:
                self._queue.get_nowait()
            except queue.Empty:
                break
        self._thread.join(timeout=3.0)

    def _run(self) -> None:
        end = End(SOURCE_ENDED, False)
        overrun = 0
        try:
            for frame in self._source.frames():
                if self._stop.is_set():
                    return
                frame = replace(frame, dropped_before=frame.dropped_before + overrun, arrived_s=time.monotonic())
                overrun = 0 if self._put(frame, wait=not self._live) else frame.dropped_before + 1
        except DawnbeatError as error:
            end = End(str(error), True)
        except Exception as error:  # a driver's own fault must not take the kept frames with it
            end = End(f"the source failed: {type(error).__name__}: {one_line(error)}", True)
        self._put(replace(end, lost=overrun), wait=True)

    def _put(self, what: Frame | End, wait: bool) -> bool:
        """Whether it found room, at once or before the thread is to stop."""
        while not self._stop.is_set():
            try:
                self._queue.put(what, wait, timeout=0.1)
                return True
            except queue.Full:
                if not wait:
                    break
        return False


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
