"""The phone's clock held against the arrivals: frames can come late, but none before it was taken."""

from __future__ import annotations

from dataclasses import dataclass

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
