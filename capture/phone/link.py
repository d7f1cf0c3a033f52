"""What one phone and this computer have said to each other: no sockets, no threads of its own."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from dawnbeat.capture.phone.messages import (
    LEAST_STEP_S,
    MOST_RATE_HZ,
    TROUBLES,
    Facts,
    File,
    Frames,
    Hello,
    Message,
    PhoneFrame,
    RefusedError,
    State,
    Upload,
    Word,
)

QUEUE_FRAMES = 20_000
_UNHEARD_S = 3.0
Stage = Literal["waiting", "opened", "camera", "clip", "over"]
OUTPACED_S = 5.0
_JUMP_S = 0.25
_STUCK_S = 1.0
_STUCK_FOR_S = 5.0
_DRIFT = 0.002
_SLEPT_S = 1.0
_SPAN_S = 5.0
_LEAST_RUN_S = 30.0
_SPEED_TOLERANCE = 0.01
_MOST_SAID = 20


@dataclass(frozen=True)
class News:
    """Where things stand, for the computer's screen.

    stage: nobody came, the page is open, its camera sends, a clip is coming, or it is over. unheard_s: how
    long the phone has been silent, 0 while it is heard. hidden: its page is in the background. trouble: what
    went wrong, one line or empty. share: of the clip, 0 to 1. strangers: how often another device, or one
    with a wrong address, was turned away. lamp: of the camera that sends, in the page's words.
    clock: what is to be said of the phone's clock, or empty.
    """

    stage: Stage
    unheard_s: float = 0.0
    hidden: bool = False
    trouble: str = ""
    share: float = 0.0
    strangers: int = 0
    lamp: str = ""
    clock: str = ""


class Link:
    """One phone's stream of numbered frames, or its clip, and what the computer tells it.

    Frames are taken in their order, each once: what was sent again after a break is left out, and a number
    that doesn't follow is asked for again. All methods may be called from any thread.

    clips: the folder that takes in a clip.

    facts: of the phone's camera once it sends. clock: its clock held against the arrivals. ended: why no more
    frames will come, None while they do; broken: whether by a fault.
    """

    def __init__(
        self,
        clips: Path,
        monotonic: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self.upload = Upload(clips)
        self.facts: Facts | None = None
        self.clock = ClockCheck()
        self.ended: str | None = None
        self.broken = False
        self.strangers = 0
        self._monotonic, self._wall = monotonic, wall
        self._change = threading.Condition()
        self._frames: deque[PhoneFrame] = deque()
        self._recent_s: deque[float] = deque()
        self._page: int | None = None
        self._next = 0
        self._last: PhoneFrame | None = None
        self._heard_s: float | None = None
        self._state = State(False, "")
        self._trouble = ""
        self._status: dict[str, Any] = {"phase": "waiting"}
        self._lock_wanted = False
        self._over: dict[str, Any] | None = None

    # The phone's side

    def hear(self, message: Message) -> list[dict[str, Any]]:
        """Take in one message; returns what to answer. Raises RefusedError where it can't be; all is over then."""
        with self._change:
            self._heard_s = self._monotonic()
            try:
                return self._hear(message)
            except RefusedError as error:
                self._end(str(error), True)
                raise
            finally:
                self._change.notify_all()

    def hear_piece(self, offset: int, data: bytes) -> list[dict[str, Any]]:
        """Take in a piece of the clip; raises RefusedError where it can't be."""
        with self._change:
            self._heard_s = self._monotonic()
            try:
                return [{"kind": "stored", "to": self.upload.write(offset, data)}]
            except RefusedError as error:
                self._trouble = str(error)
                return [{"kind": "refused", "words": str(error)}]
            finally:
                self._change.notify_all()

    @property
    def room(self) -> bool:
        """Whether the queue takes another message of frames; while it doesn't, the phone keeps them."""
        return len(self._frames) < QUEUE_FRAMES

    def say(self) -> dict[str, Any]:
        """What the phone should know now: how the reading goes, or that it is over."""
        with self._change:
            if self._over is not None:
                return self._over
            return {"kind": "status", "lock": self._lock_wanted, **self._status}

    # The computer's side

    def take(self, timeout_s: float) -> PhoneFrame | None:
        """The next frame, or None where none comes in time or none will come."""
        with self._change:
            if not self._frames and self.ended is None:
                self._change.wait(timeout_s)
            return self._frames.popleft() if self._frames else None

    def wait_for_light(self, timeout_s: float) -> bool:
        """Wait until the camera sends, a clip is there, or it is over; whether one of them is so."""
        with self._change:
            if not self._ready():
                self._change.wait(timeout_s)
            return self._ready()

    def tell(self, status: dict[str, Any]) -> None:
        """Put on the phone's screen how the reading goes."""
        with self._change:
            self._status = status

    def lock(self) -> None:
        """Ask the phone to hold exposure, white balance and focus."""
        with self._change:
            self._lock_wanted = True

    def over(self, words: str, fault: bool = False) -> None:
        """The reading is over: the last thing that the phone shows. What was said first stays."""
        with self._change:
            if self._over is None:
                self._over = {"kind": "over", "words": words, "fault": fault}
            self._end(words, fault)
            self._change.notify_all()

    @property
    def is_over(self) -> bool:
        """Whether the phone is to be told that it may stop."""
        return self._over is not None

    @property
    def unheard_s(self) -> float:
        """How long the phone has not been heard; 0 before it came."""
        return 0.0 if self._heard_s is None else self._monotonic() - self._heard_s

    @property
    def news(self) -> News:
        """Where things stand."""
        with self._change:
            stage: Stage = "waiting"
            if self._over is not None or self.ended is not None:
                stage = "over"
            elif self.upload.file is not None:
                stage = "clip"
            elif self.facts is not None:
                stage = "camera"
            elif self._page is not None:
                stage = "opened"
            file = self.upload.file
            silent_s = self.unheard_s
            return News(
                stage,
                silent_s if silent_s > _UNHEARD_S else 0.0,
                self._state.hidden,
                TROUBLES[self._state.trouble] or self._trouble,
                0.0 if file is None else self.upload.stored / file.size,
                self.strangers,
                "" if self.facts is None else self.facts.known.get("lamp", ""),
                self.clock.words,
            )

    def _ready(self) -> bool:
        return self.facts is not None or self.upload.done or self.ended is not None

    def _end(self, words: str, broken: bool) -> None:
        if self.ended is None:
            self.ended, self.broken = words, broken

    def _hear(self, message: Message) -> list[dict[str, Any]]:
        if isinstance(message, Hello):
            return self._hello(message)
        if self._page is None:
            raise RefusedError("the phone's page did not say who it is: load it again")
        if isinstance(message, Frames):
            return self._take_in(message)
        if isinstance(message, Facts):
            self.facts = message
        elif isinstance(message, State):
            self._state = message
        elif isinstance(message, File):
            return self._file(message)
        elif isinstance(message, Word) and message.word == "stop":
            self._end("it was stopped on the phone", False)
        return []

    def _hello(self, hello: Hello) -> list[dict[str, Any]]:
        if self._page is not None and hello.page != self._page:
            # Another load of the page has another clock: its frames can't join those that are here.
            if self._next:
                raise RefusedError("the page on the phone was loaded again: begin a new reading on the computer")
            self.facts = None
        self._page = hello.page
        self._state = State(False, "")
        return [{"kind": "got", "next": self._next}]

    def _file(self, file: File) -> list[dict[str, Any]]:
        if self.facts is not None:
            return [{"kind": "refused", "words": "the camera sends already: stop, and begin anew on the computer"}]
        try:
            begin = self.upload.begin(file)
        except RefusedError as error:
            self._trouble = str(error)
            return [{"kind": "refused", "words": str(error)}]
        self._trouble = ""
        return [{"kind": "send", "from": begin}]

    def _take_in(self, batch: Frames) -> list[dict[str, Any]]:
        if self.facts is None:
            raise RefusedError("frames came before the phone's camera was named")
        if batch.first > self._next:  # what lies between is asked for; nothing is made up
            return [{"kind": "got", "next": self._next}]
        new = batch.frames[self._next - batch.first :]
        for frame in new:
            self._check(frame)
            self._frames.append(frame)
            self._last = frame
        self._next += len(new)
        if new:
            self._hold_against_arrival(new[-1], batch.waiting)
        return [{"kind": "got", "next": self._next}]

    def _check(self, frame: PhoneFrame) -> None:
        last = self._last
        if last is not None:
            if frame.time_s < last.time_s + LEAST_STEP_S:
                raise RefusedError("the phone's times went back: begin a new reading")
            if frame.presented <= last.presented:
                raise RefusedError("the phone counted its frames backwards: begin a new reading")
        self._recent_s.append(frame.time_s)
        while frame.time_s - self._recent_s[0] > 1.0:
            self._recent_s.popleft()
        if len(self._recent_s) > MOST_RATE_HZ + 2:
            raise RefusedError(f"the phone sends more than {MOST_RATE_HZ} frames a second: choose another camera there")

    def _hold_against_arrival(self, newest: PhoneFrame, waiting: int) -> None:
        now_s = self._monotonic()
        self.clock.see(newest.time_s, now_s, self._wall(), waiting)
        ahead_s = sum(max(0.0, jump.by_s) for jump in self.clock.jumps)
        if ahead_s > OUTPACED_S and len(self.clock.jumps) > 4:
            raise RefusedError("the phone's times run ahead of the clock: begin a new reading")


@dataclass(frozen=True, slots=True)
class Jump:
    """at_s: on the phone's clock, from its first frame. by_s: forward where positive."""

    at_s: float
    by_s: float


class ClockCheck:
    """Takes the newest frame of each batch with the two clocks of this computer, all in seconds.

    A batch that came straight away shows how far the clocks lie apart; later ones can only be later. What is
    earlier by more than a quarter of a second says that the phone's clock went forward; one second late for
    five seconds, though nothing waits on the phone, that it went back or stood still. The thresholds are well
    above what a network at home delays, no source.

    jumps: what was found. slept: whether this computer's monotonic clock stood still while the wall clock
    went on, which is no fault of the phone.
    """

    def __init__(self) -> None:
        self.jumps: list[Jump] = []
        self.slept = False
        self._first_s: float | None = None
        self._fresh_s = 0.0
        self._fresh_at_s = 0.0
        self._skew_s = 0.0
        self._late_since_s: float | None = None
        self._late_by_s = 0.0
        self._spans: list[tuple[float, float]] = []  # captured, freshest lead of each span of five seconds

    def see(self, captured_s: float, arrived_s: float, wall_s: float, waiting: int) -> None:
        """Take note of one batch. waiting: frames that the phone still has to send."""
        lead_s = captured_s - arrived_s
        skew_s = wall_s - arrived_s
        if self._first_s is None:
            self._first_s = captured_s
            self._rebase(lead_s, captured_s, skew_s)
            return
        if abs(skew_s - self._skew_s) > _SLEPT_S:
            self.slept = True
            self._rebase(lead_s, captured_s, skew_s)
            self._spans.clear()
            return
        ahead_s = lead_s - self._fresh_s
        allowed_s = _JUMP_S + _DRIFT * max(0.0, captured_s - self._fresh_at_s)
        if ahead_s > allowed_s:
            self._say(captured_s, ahead_s)
            self._rebase(lead_s, captured_s, skew_s)
        elif ahead_s > 0:
            self._rebase(lead_s, captured_s, skew_s)
        elif ahead_s < -_STUCK_S and waiting == 0:
            self._late(captured_s, arrived_s, lead_s, skew_s)
        else:
            self._late_since_s = None
        self._span(captured_s, lead_s)

    @property
    def speed(self) -> float | None:
        """How fast the phone's clock runs, 1 where it runs as this computer's; None before half a minute."""
        if len(self._spans) < 2 or self._spans[-1][0] - self._spans[0][0] < _LEAST_RUN_S or self.jumps:
            return None
        run_s = self._spans[-1][0] - self._spans[0][0]
        return 1.0 / (1.0 - (self._spans[-1][1] - self._spans[0][1]) / run_s)

    @property
    def words(self) -> str:
        """What is to be said of the clock; empty where it is good."""
        if self.jumps:
            first = self.jumps[0]
            more = f" and {len(self.jumps) - 1} times more" if len(self.jumps) > 1 else ""
            return f"the phone's clock jumped by {first.by_s:+.2f} s at {first.at_s:.0f} s{more}"
        speed = self.speed
        if speed is not None and abs(speed - 1.0) > _SPEED_TOLERANCE:
            return f"the phone's clock runs at {speed:.3f} of this computer's speed"
        return ""

    def _late(self, captured_s: float, arrived_s: float, lead_s: float, skew_s: float) -> None:
        if self._late_since_s is None:
            self._late_since_s, self._late_by_s = arrived_s, lead_s - self._fresh_s
        self._late_by_s = max(self._late_by_s, lead_s - self._fresh_s)
        if arrived_s - self._late_since_s >= _STUCK_FOR_S:
            self._say(captured_s, self._late_by_s)
            self._rebase(lead_s, captured_s, skew_s)

    def _say(self, captured_s: float, by_s: float) -> None:
        assert self._first_s is not None
        if len(self.jumps) < _MOST_SAID:
            self.jumps.append(Jump(captured_s - self._first_s, by_s))

    def _rebase(self, lead_s: float, captured_s: float, skew_s: float) -> None:
        self._fresh_s, self._fresh_at_s, self._skew_s = lead_s, captured_s, skew_s
        self._late_since_s = None

    def _span(self, captured_s: float, lead_s: float) -> None:
        """Keep the freshest of every five seconds, the first and the newest sixty of them."""
        if not self._spans or captured_s - self._spans[-1][0] >= _SPAN_S:
            self._spans.append((captured_s, lead_s))
        elif lead_s > self._spans[-1][1]:
            self._spans[-1] = (self._spans[-1][0], lead_s)
        if len(self._spans) > 120:
            del self._spans[1]
