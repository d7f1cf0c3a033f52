"""One reading in a thread of its own: camera, gauge, recorder, live beats, and at the end the analysis.

The window asks for the newest Snapshot as often as it likes; what it does not come to is replaced, and
counted. Nothing here waits for the window.
"""

from __future__ import annotations

import logging
import math
import threading
import time
from array import array
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from dawnbeat.capture.frames import Frame, FrameSource, Image, Sample, SourceAbout
from dawnbeat.journal.store import Journal
from dawnbeat.morning import keeping as read_keep
from dawnbeat.morning.flow import SLEPT, Phase, Plan, ReadFlow
from dawnbeat.morning.keeping import Kept
from dawnbeat.morning.live_figures import LiveFigures
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.morning import Circumstances, Posture
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace

if TYPE_CHECKING:
    from dawnbeat.capture.contact import Contact
    from dawnbeat.capture.recorder import Recorder
    from dawnbeat.capture.session import Feed
    from dawnbeat.journal.ranges import RangeSettings
    from dawnbeat.signal.live import LiveView

_log = logging.getLogger(__name__)

SILENT = "the camera has sent nothing for five seconds: check that it is connected"
_SILENCE_ALLOWED_S = 5.0
_SLEPT_S = 5.0
_PICTURE_EVERY_S = 0.045
_PICTURE_WIDTH = 360

Stage = Literal["opening", "live", "working", "done"]


@dataclass(frozen=True)
class Order:
    """What to take. open_source: raises DawnbeatError where it can't. save: into the journal in `home`."""

    open_source: Callable[[], FrameSource]
    home: Path
    plan: Plan
    posture: Posture
    settings: Settings
    ranges: RangeSettings
    save: bool = True
    video: bool = False


@dataclass(frozen=True)
class Snapshot:
    """One moment for the window. picture: a small BGR copy while the finger is being placed, else None.

    arrived_s: when its frame came, on the monotonic clock. live: what the beats look like now, or None.
    kept_share: of the reading's own settled intervals. time_s: on the clock of `live`.
    """

    phase: Phase
    contact: Contact
    time_s: float
    arrived_s: float
    good_for_s: float
    settled_s: float
    kept_s: float
    remaining_s: float
    pause_left_s: float
    picture: Image | None
    live: LiveView | None
    kept_share: float | None


@dataclass(frozen=True)
class Outcome:
    """How it ended. ended: why, in plain words. broken: by a fault. kept: None where no frame counted, or
    where the program closes and the recording waits for the next start.
    """

    ended: str
    broken: bool
    kept_s: float = 0.0
    kept: Kept | None = None
    recorded: bool = False


@dataclass(frozen=True, slots=True)
class _Arrived(Frame):
    arrived_s: float = 0.0


class _Stamped:
    """A source whose frames also know when they came."""

    def __init__(self, source: FrameSource) -> None:
        self._source = source

    @property
    def about(self) -> SourceAbout:
        return self._source.about

    def frames(self) -> Iterator[Frame]:
        for frame in self._source.frames():
            yield _Arrived(frame.time_s, frame.dropped_before, frame.image, frame.sample, time.monotonic())

    def settle(self) -> None:
        self._source.settle()

    def close(self) -> None:
        self._source.close()


class ReadCapture:
    """One reading. `begin_now`, `stop`, `cancel` and `leave` may be called from the window at any time.

    outcome: None while it goes on. stage: how far it is. wall, monotonic: clocks, for tests.
    """

    def __init__(
        self,
        order: Order,
        figures: LiveFigures,
        after: ReadCapture | None = None,
        wall: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.order = order
        self.figures = figures
        self.flow = ReadFlow(order.plan)
        self.stage: Stage = "opening"
        self.outcome: Outcome | None = None
        self.camera = ""
        self._after = after
        self._wall, self._monotonic = wall, monotonic
        self._lock = threading.Lock()
        self._newest: Snapshot | None = None
        self._wish: Literal["", "stop", "cancel", "leave"] = ""
        self._thread = threading.Thread(target=self._run, daemon=True, name="reading")

    def start(self) -> None:
        """Begin; returns at once."""
        self._thread.start()

    def begin_now(self) -> None:
        """Start the reading without waiting for good contact."""
        self.flow.begin_now()

    def stop(self) -> None:
        """End, and keep what was captured as a reading."""
        self._wish = self._wish or "stop"

    def cancel(self) -> None:
        """End before any frame counted; later it does the same as `stop`."""
        self._wish = self._wish or "cancel"

    def leave(self) -> None:
        """End at once for closing: the recording is closed, and offered at the next start."""
        self._wish = "leave"

    def join(self, timeout_s: float) -> bool:
        """Wait for the thread; False where it is still held up."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    @property
    def running(self) -> bool:
        """Whether the thread lives."""
        return self._thread.is_alive()

    def take(self) -> Snapshot | None:
        """The newest snapshot, if there is one that was not taken yet."""
        with self._lock:
            newest, self._newest = self._newest, None
        return newest

    # In the thread

    def _run(self) -> None:
        try:
            if self._after is not None:  # the device may still be in its hands
                self._after.join(10.0)
                self._after = None
            outcome = self._capture()
        except DawnbeatError as error:
            outcome = Outcome(str(error), True, self.flow.kept_s)
        except Exception as error:  # a fault of ours must be told, not vanish in a thread
            _log.exception("the reading failed")
            words = f"something went wrong here: {type(error).__name__}: {one_line(error)}"
            outcome = Outcome(words, True, self.flow.kept_s)
        self.stage = "done"
        self.outcome = outcome

    def _capture(self) -> Outcome:
        if self.order.save:  # two minutes are too precious to find a locked journal at their end
            Journal.open(self.order.home).close()
        source = self.order.open_source()
        try:
            loop = _Loop(self, _Stamped(source))
            try:
                ended, broken = loop.run()
            finally:
                loop.close()
        finally:
            source.close()
        if not loop.rows:
            return Outcome(ended, broken)
        if self._wish == "leave":
            return Outcome(ended, broken, self.flow.kept_s, recorded=loop.folder is not None)
        return self._finish(loop, ended, broken)

    def _finish(self, loop: _Loop, ended: str, broken: bool) -> Outcome:
        self.stage = "working"
        order = self.order
        taken = Circumstances(loop.began, order.posture, self.camera)
        kept = read_keep.analysed(loop.trace(), taken, order.settings, loop.folder)
        if order.save:
            kept = read_keep.saved(kept, order.home, order.ranges)
        return Outcome(ended, broken, self.flow.kept_s, kept, recorded=loop.folder is not None)

    def _show(self, snapshot: Snapshot) -> None:
        with self._lock:
            if self._newest is not None:
                self.figures.skipped += 1
                if snapshot.picture is None and snapshot.phase == "finger":
                    snapshot = replace(snapshot, picture=self._newest.picture)
            self._newest = snapshot


class _Loop:
    """The frames of one reading, from the source to the disk and to the window."""

    def __init__(self, capture: ReadCapture, source: FrameSource) -> None:
        from dawnbeat.capture.contact import ContactGauge
        from dawnbeat.capture.session import Feed
        from dawnbeat.signal.live import LiveBeats

        self.capture = capture
        self.order = capture.order
        self.flow = capture.flow
        self.source = source
        self.rows = array("d")  # six numbers a frame; a list of samples would take six times the memory
        self.began = datetime.now().astimezone()
        self.folder: Path | None = None
        self.recorder: Recorder | None = None
        self.dropped = 0
        self._gauge = ContactGauge()
        self._wave = LiveBeats(self.order.settings)
        self._counted = LiveBeats(self.order.settings)  # the settling is no part of the share that is kept
        self._start_s = 0.0
        self._pictured_s = -math.inf
        self._skew_s: float | None = None
        self._asleep = False
        capture.camera = source.about.camera
        capture.stage = "live"
        self._feed: Feed = Feed(source)

    def run(self) -> tuple[str, bool]:
        """Returns why it ended and whether by a fault."""
        from dawnbeat.capture.session import STOPPED, End

        heard_s = self.capture._monotonic()
        while True:
            wish = self.capture._wish
            if wish:
                return STOPPED, False
            got = self._feed.take(0.1)
            if isinstance(got, End):
                self.dropped += got.lost
                return got.reason, got.broken
            if got is None:
                self._asleep = self._asleep or self._slept()
                if self.capture._monotonic() - heard_s > _SILENCE_ALLOWED_S:
                    return SILENT, True
                continue
            heard_s = self.capture._monotonic()
            try:
                self._see(got)
            except DawnbeatError as error:  # the disk
                return str(error), True
            if self.flow.ended is not None:
                return self.flow.ended, self.flow.ended == SLEPT

    def close(self) -> None:
        """Close the recording first: the rows matter more than the camera."""
        if self.recorder is not None:
            facts: Mapping[str, Any] = {"controls": dict(self.source.about.controls)}
            try:
                self.recorder.close(dropped=self.dropped, facts=facts)
            except DawnbeatError:
                _log.exception("the end of the recording")  # every row is on the disk already
        self._feed.stop()

    def trace(self) -> Trace:
        """The frames that counted; times from the first of them."""
        table = np.array(self.rows).reshape(-1, 6)
        return Trace(table[:, 0], table[:, 1:4], table[:, 4], table[:, 5])

    def _see(self, frame: Frame) -> None:
        sample = self._gauge.measure(frame)
        contact = self._gauge.contact
        assert contact is not None
        self.capture.figures.frame_came(frame.time_s, frame.dropped_before)
        before = self.flow.phase
        kept = self.flow.see(frame.time_s, contact, self._slept() or self._asleep)
        self._asleep = False
        if before == "finger" and self.flow.phase == "settling":
            self.source.settle()
        if self.flow.phase in ("settling", "reading"):
            self._wave.add(sample.time_s, sample.red, sample.green, sample.blue)
        if kept:
            self._keep(frame, sample)
        self._show(frame, contact)

    def _keep(self, frame: Frame, sample: Sample) -> None:
        if not self.rows:
            self._start_s = frame.time_s
            self.began = datetime.now().astimezone()
            if self.order.save:
                self._open_recorder()
        else:
            self.dropped += frame.dropped_before
        sample = replace(sample, time_s=frame.time_s - self._start_s)
        if self.recorder is not None:
            self.recorder.write(sample, frame.image)
        clipped = max(sample.clipped_red, sample.clipped_green, sample.clipped_blue)
        self.rows.extend((sample.time_s, sample.red, sample.green, sample.blue, sample.covered, clipped))
        self._counted.add(frame.time_s, sample.red, sample.green, sample.blue)

    def _open_recorder(self) -> None:
        from dawnbeat.capture.recorder import Recorder, about_recording

        with Journal.open(self.order.home) as journal:
            folder = journal.new_recording_folder(self.began)
        about = {**about_recording(self.source.about, began=self.began), "posture": self.order.posture}
        self.recorder = Recorder(folder, about, video=self.order.video)
        self.folder = folder

    def _slept(self) -> bool:
        """Whether the clock on the wall went ahead of the clock that stands still while the computer sleeps."""
        skew_s = self.capture._wall() - self.capture._monotonic()
        before_s, self._skew_s = self._skew_s, skew_s
        return before_s is not None and skew_s - before_s > _SLEPT_S

    def _show(self, frame: Frame, contact: Contact) -> None:
        flow = self.flow
        arrived_s = frame.arrived_s if isinstance(frame, _Arrived) else time.monotonic()
        picture = None
        if flow.phase == "finger" and frame.image is not None and arrived_s - self._pictured_s >= _PICTURE_EVERY_S:
            step = max(1, frame.image.shape[1] // _PICTURE_WIDTH)
            picture = frame.image[::step, ::step].copy()
            self._pictured_s = arrived_s
        counted = self._counted.view
        self.capture._show(
            Snapshot(
                flow.phase,
                contact,
                frame.time_s,
                arrived_s,
                flow.good_for_s,
                flow.settled_s,
                flow.kept_s,
                flow.remaining_s,
                max(0.0, flow.plan.pause_limit_s - flow.paused_s),
                picture,
                self._wave.view,
                None if counted is None else counted.kept_share,
            )
        )
