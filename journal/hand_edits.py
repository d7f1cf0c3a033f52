"""Intervals that the runner left out or brought back by hand: kept as edits, and reversible to the digit.

The intervals of the reading carry the edits, so that every export and figure follows them; what the analysis
itself had said is kept with each edit.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from dawnbeat.journal import rows
from dawnbeat.journal.database import insert, journal_errors, update, utc_now
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.reading import Intervals, Metrics, Reason, Verdict

_OF_ITS_DAY = "WHERE r.local_date = (SELECT local_date FROM readings WHERE id = ?)"
_SAME_S = 0.06  # an interval of a fresh analysis is the same one if it begins this near


@dataclass(frozen=True)
class Change:
    """One interval. start_s: when it begins. before, after: None where it counts, else why it does not."""

    position: int
    start_s: float
    before: Reason | None
    after: Reason | None


@dataclass(frozen=True)
class HandEdit:
    """One edit. number: its id in the journal. made_at: in UTC."""

    number: int
    reading_id: int
    changes: tuple[Change, ...]
    made_at: datetime


@dataclass(frozen=True)
class Figures:
    """What edited intervals say, with 95 % intervals by the names of Metrics and a verdict."""

    metrics: Metrics
    intervals95: Mapping[str, tuple[float, float]]
    timing_error_ms: float | None
    verdict: Verdict


FiguresOf = Callable[[Intervals], Figures]


def edit_intervals(
    journal: Journal, reading_id: int, reasons: Mapping[int, Reason | None], figures_of: FiguresOf
) -> HandEdit:
    """Leave intervals out, or let them count again, by their positions; the figures of the reading follow.

    reasons: None to count, else why not. figures_of: judges all intervals of the reading anew.
    Raises DawnbeatError when nothing would change, a position is not there, or an interval spans a gap.
    """
    journal.reading(reading_id)
    with journal.transaction("save the edit") as connection:
        intervals = rows.read_intervals(connection, reading_id)
        changes = _changes(intervals, reasons)
        if not changes:
            raise DawnbeatError("nothing would change: these intervals are so already")
        return _apply(connection, reading_id, intervals, changes, figures_of)


def take_back(journal: Journal, number: int) -> None:
    """Undo the latest edit of a reading; its figures become again exactly what they were before.

    Raises DawnbeatError when a later edit still stands, or the reading was analysed again meanwhile.
    """
    with journal.transaction("take back the edit") as connection:
        row = connection.execute(
            "SELECT reading_id, changes_json, before_json, analysed_with, taken_back_at FROM hand_edits WHERE id = ?",
            (number,),
        ).fetchone()
        if row is None or row["taken_back_at"] is not None:
            raise DawnbeatError(f"edit {number} is not there any more: it was taken back before")
        reading_id, changes = row["reading_id"], _changes_from(row["changes_json"])
        later = connection.execute(
            "SELECT 1 FROM hand_edits WHERE reading_id = ? AND id > ? AND taken_back_at IS NULL", (reading_id, number)
        ).fetchone()
        if later is not None:
            raise DawnbeatError("a later edit of this reading stands: take that one back first")
        intervals = rows.read_intervals(connection, reading_id)
        if row["analysed_with"] != _analysed_with(connection, reading_id) or not _stand(intervals, changes):
            raise DawnbeatError("the reading was analysed again since, so there is nothing to take back")
        _write(connection, reading_id, {each.position: each.before for each in changes})
        rows.update_figures(connection, reading_id, json.loads(row["before_json"]), row["analysed_with"])
        update(connection, "hand_edits", number, {"taken_back_at": utc_now()})


def edits_of(journal: Journal, reading_id: int) -> list[HandEdit]:
    """The edits of a reading that were not taken back, oldest first."""
    with journal_errors("read the journal", journal.path):
        return _edits_of(journal.connection, reading_id)


def reapply(journal: Journal, reading_id: int, figures_of: FiguresOf) -> int:
    """Make the edits of a reading again after it was analysed again; returns how many intervals changed.

    An interval is found by the time at which it begins; one that is not there any more is passed over.
    """
    with journal.transaction("make the edits again") as connection:
        intervals = rows.read_intervals(connection, reading_id)
        wanted: dict[int, Reason | None] = {}
        for edit in _edits_of(connection, reading_id):
            for change in edit.changes:
                position = _position_at(intervals, change.start_s)
                if position is not None and intervals.left_out[position] != "gap":
                    wanted[position] = change.after
        changes = _changes(intervals, wanted)
        if changes:
            connection.execute(
                "UPDATE hand_edits SET taken_back_at = ? WHERE reading_id = ? AND taken_back_at IS NULL",
                (utc_now(), reading_id),
            )
            _apply(connection, reading_id, intervals, changes, figures_of)
        return len(changes)


def _changes(intervals: Intervals, reasons: Mapping[int, Reason | None]) -> tuple[Change, ...]:
    changes = []
    for position, after in sorted(reasons.items()):
        if not 0 <= position < len(intervals):
            raise DawnbeatError(f"the reading has no interval {position}: it has {len(intervals)}")
        before = intervals.left_out[position]
        if before == "gap":
            raise DawnbeatError("frames are missing in this interval, so its length isn't known: it stays left out")
        if before != after:
            changes.append(Change(position, float(intervals.start_s[position]), before, after))
    return tuple(changes)


def _apply(
    connection: sqlite3.Connection,
    reading_id: int,
    intervals: Intervals,
    changes: tuple[Change, ...],
    figures_of: FiguresOf,
) -> HandEdit:
    (reading,) = (each for each in rows.readings(connection, _OF_ITS_DAY, (reading_id,)) if each.id == reading_id)
    left_out = list(intervals.left_out)
    for change in changes:
        left_out[change.position] = change.after
    figures = figures_of(Intervals(intervals.start_s, intervals.interval_ms, tuple(left_out)))
    edited = replace(
        reading,
        metrics=figures.metrics,
        intervals95=figures.intervals95,
        timing_error_ms=figures.timing_error_ms,
        verdict=figures.verdict,
    )
    before = rows.stored_values(rows.ANALYSED, reading)
    values = rows.stored_values(rows.ANALYSED, edited)
    analysed_with, made_at = _analysed_with(connection, reading_id), utc_now()
    packed = json.dumps([[each.position, each.start_s, each.before, each.after] for each in changes])
    columns = {"reading_id": reading_id, "changes_json": packed, "before_json": json.dumps(before)}
    number = insert(connection, "hand_edits", {**columns, "analysed_with": analysed_with, "made_at": made_at})
    _write(connection, reading_id, {each.position: each.after for each in changes})
    rows.update_figures(connection, reading_id, values, analysed_with)
    return HandEdit(number, reading_id, changes, datetime.fromisoformat(made_at))


def _write(connection: sqlite3.Connection, reading_id: int, reasons: Mapping[int, Reason | None]) -> None:
    connection.executemany(
        "UPDATE intervals SET kept = ?, reason = ? WHERE reading_id = ? AND position = ?",
        [(int(reason is None), reason, reading_id, position) for position, reason in reasons.items()],
    )


def _edits_of(connection: sqlite3.Connection, reading_id: int) -> list[HandEdit]:
    found = connection.execute(
        "SELECT id, changes_json, made_at FROM hand_edits WHERE reading_id = ? AND taken_back_at IS NULL ORDER BY id",
        (reading_id,),
    )
    return [
        HandEdit(row["id"], reading_id, _changes_from(row["changes_json"]), datetime.fromisoformat(row["made_at"]))
        for row in found
    ]


def _changes_from(packed: str) -> tuple[Change, ...]:
    return tuple(Change(*each) for each in json.loads(packed))


def _stand(intervals: Intervals, changes: tuple[Change, ...]) -> bool:
    """Whether the intervals still are as these changes left them."""
    return all(
        change.position < len(intervals)
        and float(intervals.start_s[change.position]) == change.start_s
        and intervals.left_out[change.position] == change.after
        for change in changes
    )


def _position_at(intervals: Intervals, start_s: float) -> int | None:
    if not len(intervals):
        return None
    away = abs(intervals.start_s - start_s)
    nearest = int(away.argmin())
    return nearest if away[nearest] <= _SAME_S else None


def _analysed_with(connection: sqlite3.Connection, reading_id: int) -> int:
    return int(connection.execute("SELECT analysed_with FROM readings WHERE id = ?", (reading_id,)).fetchone()[0])
