"""The trace: the mean colour of each frame with its time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dawnbeat.shared.errors import DawnbeatError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

CHANNELS = ("red", "green", "blue")


@dataclass(frozen=True)
class Trace:
    """Mean colour of each frame with its time; a missing frame is a missing row.

    time_s: (n,) seconds on the recording's own clock, strictly increasing.
    colour: (n, 3) red, green and blue frame means, 0 to 255.
    covered: (n,) share of the frame under the finger, 0 to 1, or None where it was not measured.
    clipped: (n,) share of pixels at the top of the scale in the worst channel, 0 to 1, or None.

    Raises DawnbeatError when the shapes differ, a number is not finite, or time does not increase.
    """

    time_s: FloatArray
    colour: FloatArray
    covered: FloatArray | None = None
    clipped: FloatArray | None = None

    def __post_init__(self) -> None:
        time_s = np.ascontiguousarray(self.time_s, dtype=np.float64)
        colour = np.ascontiguousarray(self.colour, dtype=np.float64)
        object.__setattr__(self, "time_s", time_s)
        object.__setattr__(self, "colour", colour)
        if time_s.ndim != 1 or colour.shape != (time_s.size, 3):
            raise DawnbeatError(
                f"the trace has times of shape {time_s.shape} and colours of shape {colour.shape}: "
                "give n times and n rows of red, green and blue"
            )
        if not np.isfinite(time_s).all() or not np.isfinite(colour).all():
            raise DawnbeatError("the trace holds a number that is not finite: remove those rows")
        steps = np.diff(time_s)
        if steps.size and steps.min() <= 0:
            row = int(np.argmax(steps <= 0)) + 1
            raise DawnbeatError(
                f"time does not increase at row {row + 1} of the trace "
                f"({time_s[row - 1]:.6f} s, then {time_s[row]:.6f} s): sort the rows or remove repeated times"
            )
        for name in ("covered", "clipped"):
            values = getattr(self, name)
            if values is None:
                continue
            values = np.ascontiguousarray(values, dtype=np.float64)
            if values.shape != time_s.shape:
                raise DawnbeatError(f"{name} has shape {values.shape}, but the trace has {time_s.size} rows")
            object.__setattr__(self, name, values)

    def __len__(self) -> int:
        return int(self.time_s.size)

    @property
    def duration_s(self) -> float:
        """Seconds from the first to the last frame; 0 for fewer than two frames."""
        return float(self.time_s[-1] - self.time_s[0]) if len(self) > 1 else 0.0

    @property
    def frame_rate_hz(self) -> float | None:
        """Frames a second while frames come (one over the median step); None for fewer than two frames."""
        return float(1.0 / np.median(np.diff(self.time_s))) if len(self) > 1 else None

    def between(self, from_s: float | None, to_s: float | None) -> Trace:
        """The rows with from_s <= time_s < to_s; None leaves that end open. Times stay as they are."""
        first = 0 if from_s is None else int(np.searchsorted(self.time_s, from_s))
        last = len(self) if to_s is None else int(np.searchsorted(self.time_s, to_s))
        rows = slice(first, max(first, last))
        return Trace(
            self.time_s[rows],
            self.colour[rows],
            None if self.covered is None else self.covered[rows],
            None if self.clipped is None else self.clipped[rows],
        )
