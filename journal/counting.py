"""Which reading counts on a day: the one picked if it is usable, else the first usable one saved.

Where two are picked, as after an import, the one saved first counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from dawnbeat.journal import rows
from dawnbeat.shared.morning import Morning, StoredReading

MORNINGS = (
    "SELECT r.local_date, r.ln_rmssd, r.mean_hr_bpm, r.posture, r.began, r.usable, r.picked, c.ill, r.id"
    " FROM readings r LEFT JOIN context c ON c.reading_id = r.id"
)


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


def one_a_day(found: Iterable[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Of rows of MORNINGS, by day and order of saving: the one that counts, else the day's last."""
    chosen: dict[str, tuple[Any, ...]] = {}
    for row in found:
        day, usable, picked = row[0], row[5], row[6]
        before = chosen.get(day)
        if before is None or not before[5] or (usable and picked and not before[6]):
            chosen[day] = row
    return list(chosen.values())


def morning_from(row: tuple[Any, ...], irregular_share: float | None) -> Morning:
    """The Morning of one row of MORNINGS."""
    began = datetime.fromisoformat(row[4])
    return Morning(
        date=date.fromisoformat(row[0]),
        ln_rmssd=row[1],
        resting_pulse_bpm=row[2],
        posture=row[3],
        hour=began.hour + began.minute / 60,
        usable=bool(row[5]),
        ill=None if row[7] is None else bool(row[7]),
        irregular_share=irregular_share,
    )
