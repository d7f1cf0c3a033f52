"""A reading that does what a test says, in place of the one that runs in a thread of its own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from dawnbeat.capture.contact import Contact, contact_of
from dawnbeat.capture.frames import Image
from dawnbeat.journal.ranges import RangeSettings
from dawnbeat.morning.background import Outcome, Stage
from dawnbeat.morning.flow import TIME_UP, Phase
from dawnbeat.morning.keeping import Kept, saved
from dawnbeat.morning.taking import Ended, Order, Snapshot
from dawnbeat.shared.morning import Circumstances
from dawnbeat.shared.reading import Analysis, PulseWave
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.live import LiveView
from tests.morning.scripted import finger

COLOUR, CLIPPED = np.array([120.0, 40.0, 30.0]), np.zeros(3)
GOOD = contact_of(1.0, COLOUR, CLIPPED)
AWAY = contact_of(0.05, COLOUR, CLIPPED)


def moment(phase: Phase, contact: Contact = GOOD, kept_s: float = 0.0, picture: Image | None = None) -> Snapshot:
    """One frame of a reading of a minute."""
    wave_s = np.linspace(kept_s, kept_s + 20.0, 600)
    live = LiveView(
        time_s=kept_s + 20.0,
        beats_s=np.arange(kept_s, kept_s + 20.0, 1.1),
        pulse_bpm=54.5,
        last_left_out=None,
        kept_share=0.97,
        wave=PulseWave(wave_s, np.sin(2 * np.pi * wave_s / 1.1)),
    )
    settled = phase in ("reading", "paused")
    return Snapshot(
        phase=phase,
        contact=contact,
        time_s=kept_s + 20.0,
        arrived_s=1000.0 + kept_s,
        good_for_s=1.0 if contact.good else 0.0,
        settled_s=15.0 if settled else 3.0,
        kept_s=kept_s,
        remaining_s=60.0 - kept_s,
        pause_left_s=28.0,
        dropped=0,
        picture=picture,
        live=live if phase in ("settling", "reading") else None,
        kept_share=0.97 if settled else None,
    )


class FakeReading:
    """Stands in for BackgroundReading. wishes: what was asked of it, in order."""

    last: FakeReading

    def __init__(
        self, order: Order, home: Path | None, ranges: RangeSettings, figures: Any, after: object = None
    ) -> None:
        self.order, self.home, self.ranges, self.figures, self.after = order, home, ranges, figures, after
        self.stage: Stage = "opening"
        self.outcome: Outcome | None = None
        self.wishes: list[str] = []
        self._newest: Snapshot | None = None
        FakeReading.last = self

    def start(self) -> None:
        self.wishes.append("start")

    def begin_now(self) -> None:
        self.wishes.append("begin now")

    def stop(self) -> None:
        self.wishes.append("stop")

    def cancel(self) -> None:
        self.wishes.append("cancel")

    def leave(self) -> None:
        self.wishes.append("leave")

    def discard(self) -> None:
        self.wishes.append("discard")

    def join(self, timeout_s: float) -> bool:
        self.wishes.append("join")
        return True

    def take(self) -> Snapshot | None:
        newest, self._newest = self._newest, None
        return newest

    # What a test says

    def show(self, snapshot: Snapshot) -> None:
        self.stage, self._newest = "live", snapshot

    def end(self, why: str = TIME_UP, broken: bool = False, kept: Kept | None = None, kept_s: float = 60.0) -> None:
        self.stage = "done"
        self.outcome = Outcome(Ended(why, broken, kept_s), kept, recorded=kept is not None)

    def keep(
        self, analysis: Analysis | None = None, why: str = TIME_UP, broken: bool = False, kept_s: float = 60.0
    ) -> Kept:
        """End, with the reading kept as it would be."""
        taken = Circumstances(datetime.now().astimezone(), self.order.posture, "scripted finger")
        kept = Kept(calm() if analysis is None else analysis, taken)
        if self.home is not None:
            kept = saved(kept, self.home, self.ranges)
        self.end(why, broken, kept, kept_s)
        return kept


@cache
def calm() -> Analysis:
    """A minute of a calm finger."""
    return analyse(cut(0.0, 60.0), Settings())


@cache
def short() -> Analysis:
    """Too little to be usable."""
    return analyse(cut(0.0, 12.0), Settings())


@cache
def with_gaps() -> Analysis:
    """A minute with a finger that left again and again."""
    return analyse(cut(0.0, 60.0, ((start_s, start_s + 3.0) for start_s in range(8, 56, 8))), Settings())


def later(analysis: Analysis, rmssd_ms: float) -> Analysis:
    """The same with another RMSSD."""
    metrics = replace(analysis.metrics, rmssd_ms=rmssd_ms, ln_rmssd=float(np.log(rmssd_ms)))
    return replace(analysis, metrics=metrics)


def cut(from_s: float, to_s: float, gone: Iterable[tuple[float, float]] = ()) -> Trace:
    trace = finger(200.0)
    rows = (trace.time_s >= from_s) & (trace.time_s <= to_s)
    for start_s, end_s in gone:
        rows &= (trace.time_s < start_s) | (trace.time_s > end_s)
    return Trace(trace.time_s[rows] - from_s, trace.colour[rows])
