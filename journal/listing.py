"""The mornings as a table of plain cells, and a line of small bars."""

from __future__ import annotations

import math
from collections.abc import Sequence

from dawnbeat.journal.context_line import line_of
from dawnbeat.shared.morning import StoredReading

HEADINGS = ("Day", "Time", "Posture", "Pulse, bpm", "RMSSD, ms", "lnRMSSD", "Verdict", "Context")
_BARS = "▁▂▃▄▅▆▇█"


def table(readings: Sequence[StoredReading]) -> list[tuple[str, ...]]:
    """One tuple of cells a reading, under HEADINGS; figures with their 95 % intervals where known."""
    return [
        (
            reading.local_date.isoformat(),
            f"{reading.began:%H:%M}",
            reading.posture,
            figure(reading, "mean_hr_bpm", 0),
            figure(reading, "rmssd_ms", 0),
            figure(reading, "ln_rmssd", 2),
            _verdict(reading),
            line_of(reading.context),
        )
        for reading in readings
    ]


def figure(reading: StoredReading, name: str, decimals: int) -> str:
    """A metric with its 95 % interval, such as "42 (38 to 47)"; a dash where it is unknown."""
    value = getattr(reading.metrics, name)
    if value is None:
        return "–"
    bounds = reading.intervals95.get(name)
    around = "" if bounds is None else f" ({bounds[0]:.{decimals}f} to {bounds[1]:.{decimals}f})"
    return f"{value:.{decimals}f}{around}"


def sparkline(values: Sequence[float | None]) -> str:
    """One bar a value between the lowest and the highest; a blank where there is none."""
    known = [value for value in values if value is not None and math.isfinite(value)]
    if not known:
        return " " * len(values)
    low, spread = min(known), max(known) - min(known)
    return "".join(
        " "
        if value is None or not math.isfinite(value)
        else _BARS[round((value - low) / spread * (len(_BARS) - 1)) if spread else len(_BARS) // 2]
        for value in values
    )


def _verdict(reading: StoredReading) -> str:
    if not reading.verdict.usable:
        return "not usable"
    return "usable" if reading.counts else "usable, another counts"
