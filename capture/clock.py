"""When a frame was taken: the driver's own time where it can be believed, else the clock at the grab."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dawnbeat.signal.arrivals import HOLD_S, Numbering

MIN_STEP_S = 1e-4
_FEWEST_TICKS = 10
_SLOPE_TOLERANCE = 0.02
# A frame can be delivered late, when the reader was held up, but never before it was taken.
_LATE_S = 2.0
_EARLY_S = 0.1
_DRIFT = 0.002
_RECENT, _RECOUNTED_EVERY, _NOT_YET = 24, 60, 12
_FEWEST_RECENT = 10
_GAP_STEPS = 1.6
_STEADY_SHARE, _JITTERING_SHARE = 0.3, 0.15


@dataclass(frozen=True, slots=True)
class Tick:
    """One grab: the monotonic clock right after it, and the driver's time or None, in seconds."""

    monotonic_s: float
    driver_s: float | None


def doubt_of_driver(ticks: Sequence[Tick]) -> str | None:
    """Why the driver's times of these first frames can't be believed, in plain words; None if they can.

    Believed are finite, rising times that run as fast as the monotonic clock (slope of a straight line within
    2 %) and aren't all the same step apart: such times count frames instead of timing them, and hide a lost
    one.
    """
    driver = [tick.driver_s for tick in ticks]
    if len(ticks) < _FEWEST_TICKS:
        return "too few frames to judge the driver's times"
    known = [value for value in driver if value is not None and math.isfinite(value)]
    if len(known) < len(driver) or max(known) - min(known) <= 0:
        return "the driver gives no times"
    times_s = np.asarray(known, dtype=np.float64)
    steps_s = np.diff(times_s)
    if steps_s.min() <= 0:
        return "the driver's times stand still or go back"
    if np.ptp(steps_s) < 1e-6:
        return "the driver counts frames instead of timing them"
    clock_s = np.asarray([tick.monotonic_s for tick in ticks], dtype=np.float64)
    centred_s = clock_s - clock_s.mean()
    spread = float(centred_s @ centred_s)
    slope = float(centred_s @ (times_s - times_s.mean())) / spread if spread > 0 else 0.0
    if abs(slope - 1.0) > _SLOPE_TOLERANCE:
        return "the driver's times run at another speed than the clock"
    return None


class FrameClock:
    """Turns grabs into frame times that always rise by at least 0.1 ms.

    The choice of clock is made once, from the session's first frames. A driver whose times go wrong later is
    left for the monotonic clock without a jump, for the rest of the session.
    """

    def __init__(self, first_ticks: Sequence[Tick] = ()) -> None:
        self.doubt = doubt_of_driver(first_ticks)
        self._last_s: float | None = None
        self._last_tick: Tick | None = None
        self._offset_s = 0.0
        if self.doubt is None:
            # The frame that was delivered with the least delay shows how far the two clocks lie apart.
            self._offset_s = min(tick.monotonic_s - tick.driver_s for tick in first_ticks if tick.driver_s is not None)
            self._judged_s = first_ticks[-1].monotonic_s

    @property
    def words(self) -> str:
        """Which clock times the frames, in plain words."""
        return "the driver's own" if self.doubt is None else f"clock at the grab ({self.doubt})"

    def time_s(self, tick: Tick) -> float:
        """The frame's time in seconds on the monotonic scale, later than any before."""
        if self.doubt is None:
            fault = self._fault(tick)
            if fault is not None:
                self._fall_back(fault)
        if self.doubt is None and tick.driver_s is not None:
            now_s = tick.driver_s + self._offset_s
        else:
            now_s = tick.monotonic_s + self._offset_s
        if self._last_s is not None:
            now_s = max(now_s, self._last_s + MIN_STEP_S)
        self._last_s, self._last_tick = now_s, tick
        return now_s

    def _fault(self, tick: Tick) -> str | None:
        driver_s = tick.driver_s
        if driver_s is None or not math.isfinite(driver_s):
            return "the driver stopped giving times"
        last = self._last_tick
        if last is not None and last.driver_s is not None and driver_s <= last.driver_s:
            return "the driver's times stood still or went back"
        late_s = tick.monotonic_s - driver_s - self._offset_s
        allowed_s = _DRIFT * max(0.0, tick.monotonic_s - self._judged_s)
        if not -_EARLY_S - allowed_s <= late_s <= _LATE_S + allowed_s:
            return "the driver's times left the clock"
        return None

    def _fall_back(self, fault: str) -> None:
        self.doubt = fault
        self._offset_s = 0.0
        if self._last_s is not None and self._last_tick is not None:
            self._offset_s = self._last_s - self._last_tick.monotonic_s


class DropCounter:
    """Counts frames that were lost, from when the others came.

    A late frame is followed by one that is not, or by a burst; a lost one leaves all later frames a step later. Which
    it was shows only afterwards: a dozen frames later for a gap among steady frames, else after some seconds.
    """

    def __init__(self) -> None:
        self._numbering = Numbering()
        self._counted = 0
        self._waiting = 0

    def lost_before(self, time_s: float) -> int:
        """Frames that are known to be lost since this was last asked."""
        arrived_s = self._numbering.arrived_s
        arrived_s.append(time_s)
        self._waiting += 1
        if self._is_plain_gap(arrived_s[-_RECENT - _NOT_YET - 1 :]):
            lost = self._numbering.settle(len(arrived_s) - _NOT_YET)
        elif self._waiting >= _RECOUNTED_EVERY:
            self._waiting = 0
            held = len(arrived_s) - bisect_right(arrived_s, time_s - HOLD_S)
            lost = self._numbering.settle(len(arrived_s) - max(held, _NOT_YET))
            self._numbering.forget()
        else:
            return 0
        new, self._counted = lost - self._counted, lost
        return new

    def _is_plain_gap(self, around_s: list[float]) -> bool:
        """Whether there was a gap a dozen frames ago, with steady frames of one rate before and after it."""
        step_s = np.diff(around_s)
        before_s, gap_s, after_s = step_s[: -_NOT_YET - 1], step_s[-_NOT_YET - 1 : -_NOT_YET], step_s[-_NOT_YET:]
        if before_s.size < _FEWEST_RECENT:
            return False
        usual_s = float(np.median(before_s))
        uneven = [float(np.mean(np.abs(part - usual_s) > _STEADY_SHARE * usual_s)) for part in (before_s, after_s)]
        return bool(gap_s[0] > _GAP_STEPS * usual_s and max(uneven) <= _JITTERING_SHARE)
