"""The capture loop: frames from a source, through the gauge, to the recorder and to whoever watches."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace

from dawnbeat.capture.contact import Contact, ContactGauge
from dawnbeat.capture.extract import trace_of_samples
from dawnbeat.capture.frames import Frame, FrameSource, Sample
from dawnbeat.capture.recorder import Recorder
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.trace import Trace

TIME_UP = "the time was up"
STOPPED = "it was stopped"
SOURCE_ENDED = "the source came to its end"

_QUEUE_BYTES = 48 * 2**20
_FEWEST_QUEUED, _MOST_QUEUED = 8, 120
# After the locks the camera's picture settles anew; what it sends meanwhile is not kept.
_AFTER_LOCKS_S = 1.0


@dataclass(frozen=True, slots=True)
class Moment:
    """One frame as the loop hands it on.

    sample: its colours; times start at the first kept frame, and before it at the source's first. kept:
    whether it belongs to the trace. dropped: frames lost so far since the first kept one, by the source or by
    the queue.
    """

    sample: Sample
    contact: Contact
    kept: bool
    dropped: int


@dataclass(frozen=True)
class SessionResult:
    """What a session kept.

    trace: the kept frames, times from the first of them; may be empty. dropped: frames lost among them.
    ended_because: in plain words. broken: whether it ended by a fault of the source or the disk.
    """

    trace: Trace
    dropped: int
    ended_because: str
    broken: bool


@dataclass(frozen=True, slots=True)
class End:
    """The last thing that a feed gives: why there are no more frames, and whether that is a fault."""

    reason: str
    broken: bool
    lost: int = 0  # frames that found the queue full right before the end


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


class _Settling:
    """Decides when frames begin to count: once the finger has lain well and the locks are set."""

    def __init__(self, source: FrameSource, settle_s: float, limit_s: float) -> None:
        self._source = source
        self._settle_s = settle_s
        self._limit_s = limit_s
        self._first_s: float | None = None
        self._good_since_s: float | None = None
        self._locked_s: float | None = None
        self._wait_s = _AFTER_LOCKS_S if source.about.live else 0.0
        self.over = settle_s <= 0

    def see(self, time_s: float, good: bool) -> None:
        """Take note of one frame that comes before the first kept one."""
        if self._first_s is None:
            self._first_s = time_s
        if self._locked_s is not None:
            self.over = time_s - self._locked_s >= self._wait_s
            return
        if not good:
            self._good_since_s = None
        elif self._good_since_s is None:
            self._good_since_s = time_s
        lain = self._good_since_s is not None and time_s - self._good_since_s >= self._settle_s
        if lain or time_s - self._first_s >= self._limit_s:
            self._source.settle()
            self._locked_s = time_s


def run_session(
    source: FrameSource,
    *,
    seconds: float | None,
    recorder: Recorder | None = None,
    on_sample: Callable[[Moment], None] | None = None,
    settle_s: float = 0.0,
    settle_limit_s: float = 30.0,
    stop: threading.Event | None = None,
) -> SessionResult:
    """Take frames until `seconds` of them are kept, the source ends or breaks, or `stop` is set.

    settle_s: keep frames only once the contact has been good for so long, then ask the source to lock its
        controls; 0 keeps from the first frame and locks nothing. settle_limit_s: begin anyway after so long.
    on_sample is called for every frame, in the calling thread. Neither recorder nor source is closed here.

    A source that breaks, a disk that fills up and an interrupt from the keyboard end the session with what
    was kept. Errors that on_sample raises are passed on.
    """
    gauge = ContactGauge()
    samples: list[Sample] = []
    dropped = 0
    start_s = 0.0
    settling = _Settling(source, settle_s, settle_limit_s)
    feed = Feed(source)
    end: End | None = None
    try:
        while end is None:
            if stop is not None and stop.is_set():
                end = End(STOPPED, False)
                break
            got = feed.take(0.1)
            if got is None:
                continue
            if isinstance(got, End):
                end = got
                dropped += got.lost if samples else 0
                break
            sample = gauge.measure(got)
            contact = gauge.contact
            assert contact is not None
            kept = settling.over
            if kept:
                if not samples:
                    start_s = got.time_s
                else:
                    dropped += got.dropped_before
                sample = replace(sample, time_s=sample.time_s - start_s)
                if recorder is not None:
                    try:
                        recorder.write(sample, got.image)
                    except DawnbeatError as error:
                        end = End(str(error), True)
                        break
                samples.append(sample)
                if seconds is not None and sample.time_s >= seconds:
                    end = End(TIME_UP, False)
            else:
                settling.see(got.time_s, contact.good)
            if on_sample is not None:
                on_sample(Moment(sample, contact, kept, dropped))
    except KeyboardInterrupt:
        end = End(STOPPED, False)
    finally:
        feed.stop()
    return SessionResult(trace_of_samples(samples), dropped, end.reason, end.broken)
