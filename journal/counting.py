"""Which reading counts on a day: the one picked if it is usable, else the first usable one saved.

Where two are picked, as after an import, the one saved first counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from dawnbeat.journal import rows
from dawnbeat.shared.morning import Morning, StoredReading

_NORMAL_95 = 1.959964


def between(first: date | None, last: date | None) -> tuple[str, tuple[str, ...]]:
    """A condition on the local date, to follow another one, and its values; None leaves that end open."""
    where, bounds = "", list[str]()
    if first is not None:
        where, bounds = where + " AND r.local_date >= ?", [*bounds, first.isoformat()]
    if last is not None:
        where, bounds = where + " AND r.local_date <= ?", [*bounds, last.isoformat()]
    return where, tuple(bounds)


def readings_with_counts(found: Sequence[tuple[Any, ...]]) -> list[StoredReading]:
    """The readings of rows of rows.SELECT, by day and order of saving, each told whether it counts."""
    counting: dict[str, tuple[Any, ...]] = {}
    for row in found:
        if not row[rows.USABLE_AT] or row[rows.BINNED_AT] is not None:
            continue
        day = row[rows.BEGAN_AT][:10]
        before = counting.get(day)
        if before is None or (row[rows.PICKED_AT] and not before[rows.PICKED_AT]):
            counting[day] = row
    ids = {row[0] for row in counting.values()}
    return [rows.reading_from(row, counts=row[0] in ids) for row in found]


def one_a_day(found: Sequence[StoredReading]) -> list[StoredReading]:
    """Of readings by day and order of saving, the one that stands for its day: it counts, else it is the last."""
    chosen: dict[date, StoredReading] = {}
    for reading in found:
        before = chosen.get(reading.local_date)
        if before is None or not before.counts:
            chosen[reading.local_date] = reading
    return list(chosen.values())


def morning_of(reading: StoredReading, irregular_share: float | None = None) -> Morning:
    """What the usual range and the answer need to know of a reading."""
    context = reading.context
    return Morning(
        date=reading.local_date,
        ln_rmssd=reading.metrics.ln_rmssd,
        resting_pulse_bpm=reading.metrics.mean_hr_bpm,
        posture=reading.posture,
        hour=reading.hour,
        usable=reading.verdict.usable,
        ill=context.ill,
        irregular_share=irregular_share,
        duration_s=reading.duration_s,
        ln_rmssd_error=_standard_error(reading, "ln_rmssd"),
        pulse_error_bpm=_standard_error(reading, "mean_hr_bpm"),
        origin=reading.origin,
        well_again=context.well_again,
        comparable=not context.not_comparable,
        context=context,
    )


def _standard_error(reading: StoredReading, name: str) -> float | None:
    """A quarter of the 95 % interval, as of a normal distribution; None where there is no interval."""
    bounds = reading.intervals95.get(name)
    return None if bounds is None else (bounds[1] - bounds[0]) / (2 * _NORMAL_95)
