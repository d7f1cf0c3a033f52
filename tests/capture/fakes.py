"""A scripted capture and a scripted clock in place of a camera."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from dawnbeat.capture.frames import Frame, Image, SourceAbout
from dawnbeat.shared.errors import DawnbeatError

POS_MSEC, WIDTH, HEIGHT, FPS, FOURCC = 0, 3, 4, 5, 6
GAIN, EXPOSURE, AUTO_EXPOSURE, WB_TEMPERATURE = 14, 15, 21, 45
FOCUS, AUTOFOCUS, AUTO_WB = 28, 39, 44
MJPG, YUYV = (float(int.from_bytes(code, "little")) for code in (b"MJPG", b"YUYV"))


class FakeClock:
    """A monotonic clock that moves only when somebody waits."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


@dataclass
class FakeCapture:
    """A camera by script.

    rate_hz: of its frames; max_rate_hz: the fastest rate it grants when asked. jitter_ms: (deterministic)
    swing of the steps. delay_s: by frame number, how late it is delivered. driver: "true" gives frame times
    on a clock of its own, "none" gives zero, "counted" gives frame number over rate. ends_after: frames, then
    grab fails.
    plain_rate_hz: the fastest it grants for uncompressed frames. real_rate_hz: the fastest that really comes.
    lost: frame numbers that never arrive. fixed: properties that ignore being set. missing: those that aren't
    there.
    """

    clock: FakeClock
    rate_hz: float = 30.0
    max_rate_hz: float = 30.0
    jitter_ms: float = 1.5
    driver: str = "true"
    ends_after: int | None = None
    lost: frozenset[int] = frozenset()
    delay_s: Callable[[int], float] = field(default=lambda number: 0.002)
    driver_fault: Callable[[int, float], float] = field(default=lambda number, value: value)
    fixed: frozenset[int] = frozenset()
    missing: frozenset[int] = frozenset()
    level: Callable[[FakeCapture], float] = field(default=lambda capture: 50.0)
    opened: bool = True
    plain_rate_hz: float | None = None
    real_rate_hz: float | None = None

    def __post_init__(self) -> None:
        self.number = -1
        self.begun_s = self.clock.now_s
        self.released = False
        self.asked: list[tuple[int, float]] = []
        self.values: dict[int, float] = {
            FOURCC: YUYV,
            FPS: self.max_rate_hz,
            EXPOSURE: 156.0,
            AUTO_EXPOSURE: 3.0,
            GAIN: 20.0,
            AUTO_WB: 1.0,
            WB_TEMPERATURE: 4600.0,
            AUTOFOCUS: 1.0,
            FOCUS: 30.0,
        }
        self.width, self.height = 64, 48

    def true_time_s(self, number: int) -> float:
        return number / self.rate_hz + 0.001 * self.jitter_ms * np.sin(2.4 * number)

    def isOpened(self) -> bool:  # noqa: N802
        return self.opened

    def grab(self) -> bool:
        if self.ends_after is not None and self.number + 1 >= self.ends_after:
            self.clock.now_s += 0.001
            return False
        self.number += 1
        while self.number in self.lost:
            self.number += 1
        arrives_s = self.begun_s + self.true_time_s(self.number) + self.delay_s(self.number)
        self.clock.now_s = max(self.clock.now_s + 1e-5, arrives_s)
        return True

    def retrieve(self) -> tuple[bool, Image | None]:
        return True, np.full((self.height, self.width, 3), round(self.level(self)), dtype=np.uint8)

    def get(self, prop: int) -> float:
        if prop in self.missing:
            return -1.0
        if prop == POS_MSEC:
            return 1000.0 * self._driver_s()
        return self.values.get(prop, 0.0)

    def _driver_s(self) -> float:
        if self.driver == "none":
            return 0.0
        if self.driver == "counted":
            return (self.number + 1) / self.rate_hz
        return self.driver_fault(self.number, 77.0 + self.true_time_s(self.number))

    def set(self, prop: int, value: float) -> bool:
        self.asked.append((prop, value))
        if prop in self.missing:
            return False
        if prop == FPS:
            plain = self.plain_rate_hz if self.values[FOURCC] != MJPG else None
            value = min(value, plain or self.max_rate_hz)
            self.rate_hz = min(value, self.real_rate_hz or value)
            self.begun_s, self.number = self.clock.now_s, -1
        if prop not in self.fixed:
            self.values[prop] = value
        return True

    def release(self) -> None:
        self.released = True


class FakeSource:
    """Frames from a list, with an optional fault at the end."""

    def __init__(
        self,
        frames: Iterator[Frame] | list[Frame],
        fault: Exception | None = None,
        live: bool = False,
        width: int = 0,
        height: int = 0,
    ) -> None:
        self._frames = frames
        self._fault = fault
        self.about = SourceAbout("invented source", width, height, 30.0, live=live)
        self.settled = 0
        self.closed = 0

    def frames(self) -> Iterator[Frame]:
        yield from self._frames
        if self._fault is not None:
            raise self._fault

    def settle(self) -> None:
        self.settled += 1

    def close(self) -> None:
        self.closed += 1


VANISHED = DawnbeatError("camera 0 stopped sending frames: check that it is connected")
