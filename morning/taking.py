"""Taking a reading: one loop over the frames, whoever watches it.

Settles, measures, pauses while the finger is off, gives up on a source that falls silent, ends or breaks off, and
tells of every frame in a `Snapshot` of plain values. The command line runs it as it stands and draws a bar; the window
runs it in a thread (`morning/background.py`) and draws a page. What is decided is decided here.
"""

from __future__ import annotations

import contextlib
import logging
import math
import shutil
import time
from array import array
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from dawnbeat.capture.frames import (
    End,
    Feed,
    Frame,
    Frames,
    FrameSource,
    Image,
    Sample,
    WithScreen,
)
from dawnbeat.morning.flow import SLEPT, Phase, Plan, ReadFlow
from dawnbeat.morning.reading_text import ended_sentence, gentle
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Circumstances, Context, Posture
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace

if TYPE_CHECKING:
    from dawnbeat.capture.contact import Contact
    from dawnbeat.capture.recorder import FolderLock, Recorder
    from dawnbeat.morning.background import LiveFigures
    from dawnbeat.signal.live import LiveView

_log = logging.getLogger(__name__)

STOPPED = "it was stopped"
SILENT = "the camera has sent nothing for {:g} seconds: check that it is connected"
_SLEPT_S = 5.0
# What is shorter holds no beat, and is no reading: as of a camera that breaks off at its first frames.
_SHORTEST_S = 0.5
_PICTURE_EVERY_S = 0.045
_PICTURE_WIDTH = 360

Wish = Literal["", "stop", "cancel", "leave", "discard"]


@dataclass(frozen=True)
class Order:
    """What to take.

    open_source: raises DawnbeatError where it can't. new_folder: makes the folder of the recording once the first frame
    counts, by when it began; None keeps no recording. keep_invented: whether there is one of invented light too, which
    must not slip among the runner's own. began: when the light was taken, None for now. watched: whether
    somebody wants pictures and the pulse while it goes on.
    """

    open_source: Callable[[], FrameSource]
    plan: Plan
    settings: Settings = field(default_factory=Settings)
    posture: Posture = "lying"
    context: Context = field(default_factory=Context)
    new_folder: Callable[[datetime], Path] | None = None
    keep_invented: bool = False
    video: bool = False
    began: datetime | None = None
    watched: bool = True


@dataclass(frozen=True)
class Snapshot:
    """One frame as it was understood.

    time_s: on the source's clock, which `live` shares. arrived_s: when the frame came, on the monotonic clock.
    pause_left_s: how much longer a pause may last. picture: a small BGR copy now and then while the finger is not where
    it should be, else None. live: what the beats look like now, or None. kept_share: of the reading's own settled
    intervals. dropped: frames lost so far since the first that counts.
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
    dropped: int
    picture: Image | None
    live: LiveView | None
    kept_share: float | None


@dataclass(frozen=True)
class Ended:
    """How a reading ended. why: in plain words. broken: by a fault. kept_s: how much had been kept by then."""

    why: str
    broken: bool
    kept_s: float = 0.0


@dataclass(frozen=True)
class Taken:
    """What a reading took. trace: the frames that count, times from the first of them; may be empty.

    folder: its recording, None where none was made. invented: whether it is a light that never shone through a finger.
    left: whether the program closes, and the recording waits for the next start. lock: keeps the recording from being
    taken elsewhere until `let_go`.
    """

    trace: Trace
    circumstances: Circumstances
    ended: Ended
    dropped: int = 0
    folder: Path | None = None
    invented: bool = False
    left: bool = False
    lock: FolderLock | None = None

    def let_go(self) -> None:
        """Let others at the recording; harmless where nothing is held."""
        if self.lock is not None:
            self.lock.release()


class Taking:
    """One reading. `run` takes it; the wishes may come from another thread at any time.

    report: called with every frame's Snapshot, in the thread that runs it. figures: counts what the live view costs.
    feed: where frames are taken from, wall and monotonic: the clocks; for tests.
    """

    def __init__(
        self,
        order: Order,
        report: Callable[[Snapshot], None] | None = None,
        figures: LiveFigures | None = None,
        *,
        feed: Callable[[FrameSource], Frames] = Feed,
        wall: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.order = order
        self.flow = ReadFlow(order.plan)
        self._report, self._figures = report, figures
        self._make_feed, self._wall, self._monotonic = feed, wall, monotonic
        self._wish: Wish = ""

    def begin_now(self) -> None:
        """Start without waiting for good contact."""
        self.flow.begin_now()

    def stop(self) -> None:
        """End, and keep what was captured."""
        self._wish = self._wish or "stop"

    def cancel(self) -> None:
        """End before any frame counted; later it does the same as `stop`."""
        self._wish = self._wish or "cancel"

    def leave(self) -> None:
        """End at once for closing: the recording is closed, and found at the next start."""
        self._wish = "leave"

    def discard(self) -> None:
        """End, and delete what was captured."""
        self._wish = "discard"

    def run(self) -> Taken:
        """Take it. Raises DawnbeatError when the source can't be opened or the recording can't be begun.

        A source that breaks and a disk that fills up end the reading with what was kept.
        """
        source = self.order.open_source()
        try:
            loop = _Loop(self, source)
            try:
                ended = loop.run()
            except BaseException:
                loop.close(discard=not loop.rows)
                raise
            loop.close(discard=self._wish == "discard" or loop.length_s < _SHORTEST_S)
            loop.tell_end(ended)
        finally:
            source.close()
        return loop.taken(ended, left=self._wish == "leave")


class _Loop:
    """The frames of one reading, from the source to the disk and to whoever watches."""

    def __init__(self, taking: Taking, source: FrameSource) -> None:
        from dawnbeat.capture.contact import ContactGauge
        from dawnbeat.signal.live import LiveBeats

        self.taking, self.order = taking, taking.order
        self.source = source
        self.rows = array("d")  # six numbers a frame; a list of samples would take six times the memory
        self.began = self._now()
        self.folder: Path | None = None
        self.recorder: Recorder | None = None
        self.lock: FolderLock | None = None
        self.dropped = 0
        self.flow = taking.flow
        self.flow.live = source.about.live
        self._gauge = ContactGauge()
        self._tell = source.tell if isinstance(source, WithScreen) else None
        watched = self.order.watched or self._tell is not None
        self._wave = LiveBeats(self.order.settings) if watched else None
        self._counted = LiveBeats(self.order.settings) if watched else None  # settling is no part of the share kept
        self._start_s = 0.0
        self._pictured_s = -math.inf
        self._skew_s: float | None = None
        self._asleep = False
        self._feed = taking._make_feed(source)

    def run(self) -> Ended:
        taking, heard_s = self.taking, self.taking._monotonic()
        while True:
            if taking._wish:
                return self._ended(STOPPED)
            got = self._feed.take(0.1)
            if isinstance(got, End):
                self.dropped += got.lost if self.rows else 0
                return self._ended(got.reason, got.broken)
            if got is None:
                self._asleep = self._asleep or self._slept()
                patience_s = self.source.about.patience_s
                if taking._monotonic() - heard_s > patience_s:
                    return self._ended(SILENT.format(patience_s), True)
                continue
            heard_s = taking._monotonic()
            try:
                self._see(got)
            except DawnbeatError as error:  # the disk
                if not self.rows:
                    raise
                return self._ended(str(error), True)
            if self.flow.ended is not None:
                return self._ended(self.flow.ended, self.flow.ended == SLEPT)

    def close(self, discard: bool) -> None:
        """Close the recording first: the rows matter more than the camera."""
        if self.recorder is not None:
            try:
                self.recorder.close(dropped=self.dropped, facts={"controls": dict(self.source.about.controls)})
            except DawnbeatError:
                _log.exception("the end of the recording")  # every row is on the disk already
        if discard:
            self._delete()
        self._feed.stop()

    @property
    def length_s(self) -> float:
        """Seconds from the first frame that counts to the last; 0 before there are two."""
        return self.rows[-6] if self.rows else 0.0

    def tell_end(self, ended: Ended) -> None:
        """Put how it ended on the source's own screen, where it has one."""
        if self._tell is not None:
            self._tell("over", 0.0, None, ended_sentence(ended, self.folder is not None))

    def taken(self, ended: Ended, left: bool) -> Taken:
        table = np.array(self.rows).reshape(-1, 6)
        about, order = self.source.about, self.order
        taken = Taken(
            Trace(table[:, 0], table[:, 1:4], table[:, 4], table[:, 5]),
            Circumstances(self.began, order.posture, about.camera, order.context),
            ended,
            self.dropped,
            self.folder,
            about.invented,
            left,
            self.lock,
        )
        if left:
            taken.let_go()
        return taken

    def _ended(self, why: str, broken: bool = False) -> Ended:
        return Ended(why, broken, self.flow.kept_s)

    def _now(self) -> datetime:
        """When light that comes now was taken."""
        return self.order.began or self.source.about.taken or datetime.now().astimezone()

    def _see(self, frame: Frame) -> None:
        sample = self._gauge.measure(frame)
        contact = self._gauge.contact
        assert contact is not None
        if self.taking._figures is not None:
            self.taking._figures.frame_came(frame.time_s, frame.dropped_before)
        before = self.flow.phase
        counts = self.flow.see(frame.time_s, contact, self._slept() or self._asleep)
        self._asleep = False
        if before == "finger" and self.flow.phase in ("settling", "reading"):
            self.source.settle()
        if self._wave is not None and self.flow.phase in ("settling", "reading"):
            self._wave.add(sample.time_s, sample.red, sample.green, sample.blue)
        if counts:
            self._keep(frame, sample)
        if self.taking._report is not None or self._tell is not None:
            snapshot = self._snapshot(frame, contact)
            if self.taking._report is not None:
                self.taking._report(snapshot)
            if self._tell is not None:
                pulse_bpm = None if snapshot.live is None else snapshot.live.pulse_bpm
                self._tell(snapshot.phase, self.flow.left_s, pulse_bpm, gentle(snapshot))

    def _keep(self, frame: Frame, sample: Sample) -> None:
        if not self.rows:
            self._start_s = frame.time_s
            self.began = self._now()
            allowed = self.order.keep_invented or not self.source.about.invented
            if self.order.new_folder is not None and allowed:
                self._open_recorder(self.order.new_folder)
        else:
            self.dropped += frame.dropped_before
        sample = replace(sample, time_s=frame.time_s - self._start_s)
        if self.recorder is not None:
            self.recorder.write(sample, frame.image)
        self.rows.extend((sample.time_s, sample.red, sample.green, sample.blue, sample.covered, sample.clipped))
        if self._counted is not None:
            self._counted.add(frame.time_s, sample.red, sample.green, sample.blue)

    def _open_recorder(self, new_folder: Callable[[datetime], Path]) -> None:
        """Begin the recording; what is known of the morning is on the disk before the first row."""
        from dawnbeat.capture.recorder import FolderLock, Recorder, about_recording

        order = self.order
        said = {name: value for name, value in asdict(order.context).items() if value is not None}
        about = {**about_recording(self.source.about, self.began), "posture": order.posture, "context": said}
        self.folder = new_folder(self.began)
        self.recorder = Recorder(self.folder, about, video=order.video)
        self.lock = FolderLock(self.folder)

    def _delete(self) -> None:
        self.rows = array("d")
        if self.lock is not None:
            self.lock.release()
        if self.folder is not None:
            with contextlib.suppress(OSError):
                shutil.rmtree(self.folder)
        self.folder = self.lock = None

    def _slept(self) -> bool:
        """Whether the clock on the wall went ahead of the clock that stands still while the computer sleeps."""
        skew_s = self.taking._wall() - self.taking._monotonic()
        before_s, self._skew_s = self._skew_s, skew_s
        return before_s is not None and skew_s - before_s > _SLEPT_S

    def _snapshot(self, frame: Frame, contact: Contact) -> Snapshot:
        flow = self.flow
        arrived_s = self.taking._monotonic() if frame.arrived_s is None else frame.arrived_s
        picture = None
        placing = self.order.watched and flow.phase in ("finger", "paused")
        if placing and frame.image is not None and arrived_s - self._pictured_s >= _PICTURE_EVERY_S:
            step = max(1, frame.image.shape[1] // _PICTURE_WIDTH)
            picture = frame.image[::step, ::step].copy()
            self._pictured_s = arrived_s
        counted = None if self._counted is None else self._counted.view
        return Snapshot(
            flow.phase,
            contact,
            frame.time_s,
            arrived_s,
            flow.good_for_s,
            flow.settled_s,
            flow.kept_s,
            flow.remaining_s,
            max(0.0, flow.plan.pause_limit_s - flow.paused_s),
            self.dropped,
            picture,
            None if self._wave is None else self._wave.view,
            None if counted is None else counted.kept_share,
        )
