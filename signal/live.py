"""The same detection while the frames still come: for the live view, not for the reading.

Beats of the last twenty seconds are found anew every half second and settle once they are three seconds old, so the
work for a frame does not grow with the reading.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.reading import PulseWave, Reason
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.analysis import pieces_of
from dawnbeat.signal.judging import judge

_WINDOW_S = 20.0
_EVERY_S = 0.5
# With the half second between looks, a beat is settled at most three seconds after it came.
SETTLED_AFTER_S = 2.5
_SHORTEST_S = 4.0
# A median beat of fewer seconds shifts as more beats come.
_SETTLES_FROM_S = 12.0
_INTERVALS_FOR_PULSE = 6


@dataclass(frozen=True)
class LiveView:
    """What is known at one moment.

    time_s: of the newest frame. beats_s: (k,) beats in the window, the newest still unsettled.
    pulse_bpm: over the last kept intervals, or None. last_left_out: reason of the latest interval, None if kept.
    kept_share: of all settled intervals so far, None before the first. wave: the window's filtered pulse.
    """

    time_s: float
    beats_s: FloatArray
    pulse_bpm: float | None
    last_left_out: Reason | None
    kept_share: float | None
    wave: PulseWave


class LiveBeats:
    """Takes frames one by one; `settled_s` grows, and `view` is what to show now."""

    def __init__(self, settings: Settings | None = None) -> None:
        self._settings = settings or Settings()
        self._rows: deque[tuple[float, float, float, float]] = deque()
        self._looked_s = -np.inf
        self._settled: list[float] = []
        self._kept = 0
        self._judged = 0
        self._judged_until_s = -np.inf
        self.view: LiveView | None = None

    @property
    def settled_s(self) -> FloatArray:
        """(k,) all beats at least two and a half seconds old, on the trace's clock."""
        return np.array(self._settled)

    def add(self, time_s: float, red: float, green: float, blue: float) -> bool:
        """Take one frame; True where `view` is new. A frame that is not later than the last one is passed over."""
        if self._rows and time_s <= self._rows[-1][0]:
            return False
        self._rows.append((time_s, red, green, blue))
        while self._rows[0][0] < time_s - _WINDOW_S:
            self._rows.popleft()
        if time_s - self._looked_s < _EVERY_S or time_s - self._rows[0][0] < _SHORTEST_S:
            return False
        self._looked_s = time_s
        self._look(time_s)
        return True

    def _look(self, now_s: float) -> None:
        rows = np.array(self._rows)
        pieces = pieces_of(Trace(rows[:, 0], rows[:, 1:]), self._settings)
        intervals = judge(pieces, self._settings)
        beats_s = np.concatenate([piece.time_s for piece in pieces]) if pieces else np.zeros(0)
        # One beat may move by a few milliseconds between two looks; that must not make two of it.
        newest_s = self._settled[-1] + 0.15 if self._settled else -np.inf
        end_s, kept = intervals.end_s, intervals.kept
        if now_s - self._rows[0][0] >= _SETTLES_FROM_S:
            self._settled += [float(beat) for beat in beats_s if newest_s < beat <= now_s - SETTLED_AFTER_S]
        new = (end_s > self._judged_until_s + 0.15) & (end_s <= now_s - SETTLED_AFTER_S)
        if new.any():
            self._judged += int(new.sum())
            self._kept += int(kept[new].sum())
            self._judged_until_s = float(end_s[new][-1])
        recent_ms = intervals.interval_ms[kept & (end_s > now_s - 2.0 * _INTERVALS_FOR_PULSE)][-_INTERVALS_FOR_PULSE:]
        self.view = LiveView(
            time_s=now_s,
            beats_s=beats_s,
            pulse_bpm=60000.0 / float(recent_ms.mean()) if recent_ms.size >= 3 else None,
            last_left_out=intervals.left_out[-1] if len(intervals) else None,
            kept_share=self._kept / self._judged if self._judged else None,
            wave=PulseWave(
                np.concatenate([piece.wave_s for piece in pieces]) if pieces else np.zeros(0),
                np.concatenate([piece.wave for piece in pieces]) if pieces else np.zeros(0),
            ),
        )
