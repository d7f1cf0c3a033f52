"""What the tests of the command line share: what it answered, and hearts seen by a camera."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from dawnbeat.recordings.invented.faults import Faults
from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, render_trace
from dawnbeat.recordings.invented.heart import Rhythm, beat_times
from dawnbeat.shared.trace import FloatArray, Trace

HEADER = "time_s,red,green,blue\n"


@dataclass(frozen=True)
class Said:
    """What one command line answered."""

    code: int
    out: str
    err: str

    def refused(self) -> str:
        """The one line of a refusal, once it is one: exit code 2, one line on stderr, no traceback."""
        lines = self.err.splitlines()
        assert self.code == 2, (self.code, self.out, self.err)
        assert len(lines) == 1, self.err
        assert lines[0].startswith("dawnbeat: ")
        assert "Traceback" not in self.out + self.err
        assert len(lines[0]) < 700
        return lines[0]

    def fine(self) -> str:
        """What was printed, once all went well and nobody complained."""
        assert self.code == 0, (self.code, self.out, self.err)
        assert self.err == ""
        return self.out

    def objects(self) -> list[dict[str, Any]]:
        """One object a line of output; a number that is not finite is an error."""

        def refuse(word: str) -> None:
            raise AssertionError(f"{word} is not JSON")

        return [json.loads(line, parse_constant=refuse) for line in self.out.splitlines()]


CommandLine = Callable[..., Said]


def a_while_ago() -> datetime:
    """Ten minutes ago, and never before midnight: it is of today even in the first minutes of a day."""
    now = datetime.now().astimezone().replace(microsecond=0)
    return max(now - timedelta(minutes=10), now.replace(hour=0, minute=0, second=0))


def rendered(seed: int, duration_s: float, starts_s: float = 0.0, camera: int = 1) -> tuple[Trace, FloatArray]:
    """One heart by its seed as a camera sees it that starts `starts_s` into its life; trace and true beats."""
    beats_s = beat_times(Rhythm(mean_hr_bpm=56.0, rmssd_ms=45.0, seed=seed), 260.0) - starts_s
    faults = Faults(drift=0.004, jitter_ms=1.0)
    trace = render_trace(beats_s, LAMP_FINGER, faults, duration_s, 30.0, camera)
    return trace, beats_s[(beats_s >= 0) & (beats_s <= duration_s)]


def trace_text(time_s: FloatArray, colour: FloatArray) -> str:
    """A bare CSV of these times and colours."""
    text = io.StringIO()
    rows = np.column_stack([time_s, np.broadcast_to(colour, (time_s.size, 3))])
    np.savetxt(text, rows, fmt=["%.6f", "%.5f", "%.5f", "%.5f"], delimiter=",")
    return HEADER + text.getvalue()
