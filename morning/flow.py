"""The course of a reading, frame by frame: no window, no camera, no clock of its own."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from dawnbeat.capture.contact import Contact

Phase = Literal["finger", "settling", "reading", "paused", "over"]

TIME_UP = "the time was up"
LOST = "the finger was away too long"
SLEPT = "the computer slept or its clock was moved"
NOBODY = "no finger came"

# Frames further apart than this come from before and after something that is no part of a reading.
JUMP_S = 3.0


@dataclass(frozen=True)
class Plan:
    """How a reading goes; all in seconds of the source's clock.

    duration_s: time that is kept. good_s: good contact after which it starts by itself. settle_s: lying still
    before frames count. lost_s: contact lost so long pauses, and back so long goes on; infinite never pauses.
    pause_limit_s: all pauses together; longer ends the reading with what was kept. begin_anyway_s: start after so long
    with whatever covers the lens. give_up_s: no longer than this for a finger to come.
    """

    duration_s: float = 120.0
    good_s: float = 5.0
    settle_s: float = 15.0
    lost_s: float = 1.0
    pause_limit_s: float = 30.0
    begin_anyway_s: float = math.inf
    give_up_s: float = 600.0

    @property
    def at_once(self) -> bool:
        """Whether the first frame counts, and nothing is locked."""
        return self.good_s <= 0 and self.settle_s <= 0


# A terminal has no button to start with a finger that never lies quite well.
_BEGIN_ANYWAY_S = 30.0
# After its controls are locked, a camera's picture settles anew for a moment.
_LEAST_SETTLE_S = 1.0


def plan_without_buttons(duration_s: float, settle_s: float = Plan.settle_s) -> Plan:
    """The plan of a reading that nobody can start by hand; settle_s: 0 counts the first frame and locks nothing."""
    if settle_s <= 0:
        return Plan(duration_s, good_s=0.0, settle_s=0.0)
    return Plan(duration_s, settle_s=max(settle_s, _LEAST_SETTLE_S), begin_anyway_s=_BEGIN_ANYWAY_S)


class ReadFlow:
    """Takes the contact of each frame and says what phase the reading is in and which frames count.

    live: whether the frames come now; then a jump of their time is a computer that slept, else it is only a gap of a
    recording. good_for_s, settled_s, kept_s, paused_s: how long each has lasted. ended: why it is over, else None.
    """

    def __init__(self, plan: Plan, live: bool = True) -> None:
        self.plan = plan
        self.phase: Phase = "reading" if plan.at_once else "finger"
        self.ended: str | None = None
        self.good_for_s = 0.0
        self.settled_s = 0.0
        self.kept_s = 0.0
        self.paused_s = 0.0
        self.live = live
        self._wanted = False
        self._forced = plan.at_once
        self._waited_s = 0.0
        self._away_s = 0.0
        self._back_s = 0.0
        self._last_s: float | None = None

    @property
    def remaining_s(self) -> float:
        """Seconds still to keep."""
        return max(0.0, self.plan.duration_s - self.kept_s)

    @property
    def left_s(self) -> float:
        """Seconds still to settle while it settles, else still to keep."""
        return self.plan.settle_s - self.settled_s if self.phase == "settling" else self.remaining_s

    @property
    def _reads(self) -> bool:
        return self.phase == "reading"

    def begin_now(self) -> None:
        """Start with the next frame, whatever the contact; then a partly covered lens goes on too."""
        self._wanted = True

    def see(self, time_s: float, contact: Contact, slept: bool = False) -> bool:
        """Take note of the next frame; True where it belongs to the reading.

        slept: the computer's clock jumped since the frame before, even if the source's did not.
        """
        step_s = 0.0 if self._last_s is None else time_s - self._last_s
        self._last_s = time_s
        if slept or step_s > JUMP_S:
            step_s = 0.0
            if self.live:
                self._jumped()
        if self.phase == "finger":
            self._finger(step_s, contact)
        elif self.phase == "settling":
            self._settle(step_s, contact)
        elif self.phase == "reading":
            return self._read(step_s, contact)
        elif self.phase == "paused":
            self._pause(step_s, contact)
        # The frame that ends the settling or a pause is the first that counts.
        return self._reads

    def _jumped(self) -> None:
        if self.phase in ("reading", "paused"):
            self._end(SLEPT)
        elif self.phase != "over":
            self._back_to_finger()

    def _finger(self, step_s: float, contact: Contact) -> None:
        self.good_for_s = self.good_for_s + step_s if contact.good else 0.0
        self._waited_s += step_s
        some = contact.state in ("covered", "partly covered")
        self._wanted = self._wanted or (some and self._waited_s >= self.plan.begin_anyway_s)
        if self._waited_s >= self.plan.give_up_s and not self._wanted:
            self._end(NOBODY)
        elif self._wanted or self.good_for_s >= self.plan.good_s:
            self._forced = self._wanted
            self._wanted = False
            self.phase = "settling"
            self.settled_s = self._away_s = 0.0

    def _settle(self, step_s: float, contact: Contact) -> None:
        self._away_s = self._away_s + step_s if self._away(contact) else 0.0
        self.settled_s += step_s
        if self._away_s >= self.plan.lost_s:
            self._back_to_finger()
        elif self.settled_s >= self.plan.settle_s:
            self.phase = "reading"

    def _read(self, step_s: float, contact: Contact) -> bool:
        self._away_s = self._away_s + step_s if self._away(contact) else 0.0
        if self._away_s >= self.plan.lost_s:
            self.phase = "paused"
            self._back_s = 0.0
            return False
        self.kept_s += step_s
        if self.kept_s >= self.plan.duration_s:
            self._end(TIME_UP)
        return True

    def _pause(self, step_s: float, contact: Contact) -> None:
        self.paused_s += step_s
        self._back_s = 0.0 if self._away(contact) else self._back_s + step_s
        if self.paused_s >= self.plan.pause_limit_s:
            self._end(LOST)
        elif self._back_s >= self.plan.lost_s:
            self.phase = "reading"
            self._away_s = 0.0

    def _back_to_finger(self) -> None:
        self.phase = "finger"
        self.good_for_s = self._waited_s = 0.0
        self._wanted = self._forced = False

    def _end(self, why: str) -> None:
        self.phase = "over"
        self.ended = why

    def _away(self, contact: Contact) -> bool:
        """Whether the finger is off the lens. Started by key, a half-covered lens is what the runner wants."""
        return contact.state in ("uncovered", "dark") if self._forced else contact.state != "covered"
