"""A thread of its own that takes frames from a source into a bounded queue, and counts what finds it full."""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass, replace
from typing import Protocol

from dawnbeat.capture.frames import Frame, FrameSource
from dawnbeat.shared.errors import DawnbeatError, one_line

SOURCE_ENDED = "the source came to its end"

_QUEUE_BYTES = 48 * 2**20
_FEWEST_QUEUED, _MOST_QUEUED = 8, 120


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
                if overrun:
                    frame = replace(frame, dropped_before=frame.dropped_before + overrun)
                overrun = 0 if self._put(frame) else frame.dropped_before + 1
        except DawnbeatError as error:
            end = End(str(error), True)
        except Exception as error:  # a driver's own fault must not take the kept frames with it
            end = End(f"the source failed: {type(error).__name__}: {one_line(error)}", True)
        self._put_end(replace(end, lost=overrun))

    def _put(self, frame: Frame) -> bool:
        if self._live:
            try:
                self._queue.put_nowait(frame)
            except queue.Full:
                return False
            return True
        while not self._stop.is_set():
            try:
                self._queue.put(frame, timeout=0.1)
            except queue.Full:
                continue
            return True
        return False

    def _put_end(self, end: End) -> None:
        while not self._stop.is_set():
            try:
                self._queue.put(end, timeout=0.1)
            except queue.Full:
                continue
            return
