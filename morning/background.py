"""A reading in a thread of its own, for whoever has a window to draw meanwhile, and what that live view costs.

The newest Snapshot can be asked for as often as one likes; what nobody comes to is replaced, and counted. Nothing here
waits for the window.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from dawnbeat.morning.keeping import Kept, check_can_keep, folders_in, keep_taken
from dawnbeat.morning.taking import Ended, Order, Snapshot, Taking
from dawnbeat.shared.errors import DawnbeatError, one_line

if TYPE_CHECKING:
    from dawnbeat.journal.ranges import RangeSettings

_log = logging.getLogger(__name__)
_REMEMBERED = 600

Stage = Literal["opening", "live", "working", "done"]


@dataclass(frozen=True)
class Delay:
    """Time from a frame's arrival in the program to the end of the painting that shows it, in ms."""

    median_ms: float
    p95_ms: float
    longest_ms: float


class LiveFigures:
    """Counts of the present or last live view. The capture thread and the window each write their own part.

    frames: taken from the source. dropped: lost by the source or by the full queue. painted: pictures shown.
    skipped: pictures replaced by a newer one before the window came to them, which loses nothing of the
    reading. rate_hz: frames a second on the source's own clock over the last frames.
    """

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self.reset()

    def reset(self) -> None:
        """Begin to count anew."""
        self.frames = 0
        self.dropped = 0
        self.painted = 0
        self.skipped = 0
        self._times_s: deque[float] = deque(maxlen=_REMEMBERED)
        self._delays_ms: deque[float] = deque(maxlen=_REMEMBERED)

    def frame_came(self, time_s: float, dropped_before: int) -> None:
        """A frame was taken from the queue; `time_s` is on the source's clock."""
        self.frames += 1
        self.dropped += dropped_before
        self._times_s.append(time_s)

    def was_painted(self, arrived_s: float) -> None:
        """The picture of the frame that arrived then (monotonic clock) has just been painted."""
        self.painted += 1
        self._delays_ms.append(1000.0 * (self._monotonic() - arrived_s))

    @property
    def rate_hz(self) -> float | None:
        """Frames a second; None before there are two."""
        times_s = list(self._times_s)
        span_s = times_s[-1] - times_s[0] if len(times_s) > 1 else 0.0
        return (len(times_s) - 1) / span_s if span_s > 0 else None

    @property
    def delay(self) -> Delay | None:
        """Delays of the last pictures; None before the first."""
        if not self._delays_ms:
            return None
        delays_ms = np.array(self._delays_ms)
        return Delay(float(np.median(delays_ms)), float(np.percentile(delays_ms, 95)), float(delays_ms.max()))

    def words(self) -> str:
        """One sentence for people."""
        if not self.frames:
            return "No live view has run yet."
        delay = self.delay
        seen = "none painted yet"
        if delay is not None:
            seen = (
                f"frame to paint {delay.median_ms:.0f} ms (95 % under {delay.p95_ms:.0f} ms, "
                f"longest {delay.longest_ms:.0f} ms)"
            )
        rate = "" if self.rate_hz is None else f" at {self.rate_hz:.1f} a second"
        return f"{self.frames} frames{rate}, {self.dropped} dropped; {seen}."


@dataclass(frozen=True)
class Outcome:
    """How it ended. kept: None where no frame counted, or where the program closes and the recording waits.

    recorded: whether a recording is on the disk.
    """

    ended: Ended
    kept: Kept | None = None
    recorded: bool = False


class BackgroundReading:
    """One reading, taken and kept. `begin_now`, `stop`, `cancel`, `leave` and `discard` may be called at any time.

    home: the journal to keep it in, None to only show it. after: an earlier one that may still hold the device.
    outcome: None while it goes on. stage: how far it is. clocks: feed, wall and monotonic of `Taking`, for tests.
    """

    def __init__(
        self,
        order: Order,
        home: Path | None,
        ranges: RangeSettings,
        figures: LiveFigures,
        after: BackgroundReading | None = None,
        **clocks: Any,
    ) -> None:
        self.order, self.home, self.ranges, self.figures = order, home, ranges, figures
        if home is not None and order.new_folder is None:
            self.order = replace(order, new_folder=folders_in(home))
        self.taking = Taking(self.order, self._see, figures, **clocks)
        self.begin_now, self.stop, self.cancel = self.taking.begin_now, self.taking.stop, self.taking.cancel
        self.leave, self.discard = self.taking.leave, self.taking.discard
        self.stage: Stage = "opening"
        self.outcome: Outcome | None = None
        self._after = after
        self._lock = threading.Lock()
        self._newest: Snapshot | None = None
        self._thread = threading.Thread(target=self._run, daemon=True, name="reading")

    def start(self) -> None:
        """Begin; returns at once."""
        self._thread.start()

    def join(self, timeout_s: float) -> bool:
        """Wait for the thread; False where it is still held up."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def take(self) -> Snapshot | None:
        """The newest snapshot, if there is one that was not taken yet."""
        with self._lock:
            newest, self._newest = self._newest, None
        return newest

    def _run(self) -> None:
        try:
            if self._after is not None:  # the device may still be in its hands
                self._after.join(10.0)
                self._after = None
            outcome = self._take_and_keep()
        except DawnbeatError as error:
            plain = getattr(error, "plain", str(error))  # a window has its own ways out
            outcome = Outcome(Ended(plain, True, self.taking.flow.kept_s))
        except Exception as error:  # a fault of ours must be told, not vanish in a thread
            _log.exception("the reading failed")
            words = f"something went wrong here: {type(error).__name__}: {one_line(error)}"
            outcome = Outcome(Ended(words, True, self.taking.flow.kept_s))
        self.stage = "done"
        self.outcome = outcome

    def _take_and_keep(self) -> Outcome:
        if self.home is not None:
            check_can_keep(self.home)
        taken = self.taking.run()
        recorded = taken.folder is not None
        if not len(taken.trace) or taken.left:
            return Outcome(taken.ended, recorded=recorded)
        self.stage = "working"
        return Outcome(taken.ended, keep_taken(taken, self.order, self.home, self.ranges), recorded)

    def _see(self, snapshot: Snapshot) -> None:
        self.stage = "live"
        with self._lock:
            if self._newest is not None:
                self.figures.skipped += 1
                if snapshot.picture is None and snapshot.phase in ("finger", "paused"):
                    snapshot = replace(snapshot, picture=self._newest.picture)
            self._newest = snapshot
