"""A stored reading as a row of the tables, and back; and which reading of a day counts."""

from __future__ import annotations

import functools
import json
import sqlite3
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any

import numpy as np

from dawnbeat.journal.columns import Column, part, reading_from
from dawnbeat.journal.database import insert, update
from dawnbeat.journal.ranges import NORMAL_95
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.morning import SHORTEST_COMPARABLE_S, Circumstances, Context, Morning, StoredReading
from dawnbeat.shared.reading import REASONS, Analysis, Intervals, Reason, Verdict
from dawnbeat.shared.settings import Settings

TAKEN = part("taken")
ANALYSED = part("analysed")
CONTEXT = part("context")

_SELECTED = ("id", "version", "settings", *(each.name for each in (*TAKEN, *ANALYSED, *CONTEXT)))
_SELECT = (
    "SELECT r.id, a.version, a.settings_json, "
    + ", ".join(f"r.{each.sql_name}" for each in (*TAKEN, *ANALYSED))
    + "".join(f", c.{each.sql_name}" for each in CONTEXT)
    + " FROM readings r JOIN analysed_with a ON a.id = r.analysed_with LEFT JOIN context c ON c.reading_id = r.id"
)
_CONVERTED = tuple((each.name, each.kind.from_stored) for each in (*TAKEN, *ANALYSED) if each.kind.from_stored)
_NOTED = tuple(each.name for each in CONTEXT)


def readings(connection: sqlite3.Connection, where: str, values: Sequence[Any] = ()) -> list[StoredReading]:
    """The readings that `where` chooses (r: readings, c: context), by day and order of saving, told which count.

    Whether one counts depends on the others of its day, so `where` must choose whole days.
    """
    found = []
    for row in connection.execute(f"{_SELECT} {where} ORDER BY r.local_date, r.id", tuple(values)):
        told = dict(zip(_SELECTED, row, strict=True))
        try:
            for name, from_stored in _CONVERTED:
                if told[name] is not None:
                    told[name] = from_stored(told[name])
            told["context"] = _context(tuple([told[name] for name in _NOTED]))
            told["verdict"] = Verdict(told["usable"], told["pulse_usable"], told["irregular"], told["findings"])
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError, DawnbeatError) as error:
            raise _not_understood(told["id"], error) from error
        found.append(told)
    counting = _counting(found)
    return [reading_from(told, told["id"], told["id"] in counting) for told in found]


def _not_understood(reading_id: object, error: Exception) -> DawnbeatError:
    return DawnbeatError(
        f"reading {reading_id} of the journal can't be understood ({one_line(error)}), as if something else had "
        "written it: restore a backup with `dawnbeat restore`"
    )


@functools.lru_cache(maxsize=4096)
def _context(stored: tuple[Any, ...]) -> Context:
    return Context(
        *(
            value if value is None or each.kind.from_stored is None else each.kind.from_stored(value)
            for each, value in zip(CONTEXT, stored, strict=True)
        )
    )


def reading_of_analysis(taken: Circumstances, analysis: Analysis, recording: str | None) -> StoredReading:
    """The reading that a fresh analysis makes; its id is 0, and its uid is new."""
    return StoredReading(
        id=0,
        uid=uuid.uuid4().hex,
        began=taken.began,
        duration_s=analysis.duration_s,
        posture=taken.posture,
        camera=taken.camera,
        frame_rate_hz=analysis.frame_rate_hz,
        channel=analysis.channel or None,
        metrics=analysis.metrics,
        intervals95=analysis.intervals95,
        timing_error_ms=analysis.timing_error_ms,
        verdict=analysis.verdict,
        version=analysis.version,
        settings_json=settings_text(analysis.settings),
        recording=recording,
        context=taken.context,
        origin=taken.origin,
    )


def stored_values(columns: Sequence[Column], reading: Any) -> dict[str, Any]:
    """What a StoredReading or an Analysis puts into these columns, by their names in the database."""
    found = {}
    for each in columns:
        value = each.value(reading)
        found[each.sql_name] = None if value is None else each.kind.stored(value)
    return found


# Which reading counts


def _counting(found: Sequence[Mapping[str, Any]]) -> set[int]:
    """The ids of those that count, of the columns of readings of whole days by day and order of saving.

    One whose variability is usable goes before one that has only a pulse, then one that was picked, then one that is
    long enough to be compared; among those alike the one saved first. A reading without a usable pulse, or in the bin,
    never counts.
    """
    best: dict[date, tuple[tuple[bool, bool, bool], int]] = {}
    for told in found:
        if told["binned_at"] is not None or not told["pulse_usable"]:
            continue
        claim = told["usable"], told["picked"], told["duration_s"] >= SHORTEST_COMPARABLE_S
        before = best.get(told["date"])
        if before is None or claim > before[0]:
            best[told["date"]] = claim, told["id"]
    return {reading_id for _, reading_id in best.values()}


def one_a_day(found: Sequence[StoredReading]) -> list[StoredReading]:
    """Of readings by day and order of saving, the one that stands for its day: it counts, else it is the last."""
    chosen: dict[date, StoredReading] = {}
    for reading in found:
        before = chosen.get(reading.local_date)
        if before is None or not before.counts:
            chosen[reading.local_date] = reading
    return list(chosen.values())


def morning_of(reading: StoredReading) -> Morning:
    """What the usual range and the answer need to know of a reading."""
    context = reading.context
    return Morning(
        date=reading.local_date,
        ln_rmssd=reading.metrics.ln_rmssd,
        resting_pulse_bpm=reading.metrics.mean_hr_bpm,
        posture=reading.posture,
        hour=reading.hour,
        usable=reading.verdict.usable,
        pulse_usable=reading.verdict.pulse_usable,
        irregular=reading.verdict.irregular,
        ill=context.ill,
        duration_s=reading.duration_s,
        ln_rmssd_error=_standard_error(reading, "ln_rmssd"),
        pulse_error_bpm=_standard_error(reading, "mean_hr_bpm"),
        origin=reading.origin,
        well_again=context.well_again,
        comparable=not context.not_comparable,
        context=context,
    )


def _standard_error(reading: StoredReading, name: str) -> float | None:
    """From the upper half of the 95 % interval, as of a normal distribution; None where there is no interval.

    The lower half of RMSSD's also holds what the way from heart to finger adds, which is much the same every morning.
    """
    bounds, value = reading.intervals95.get(name), getattr(reading.metrics, name)
    return None if bounds is None or value is None else (bounds[1] - value) / NORMAL_95


# Writing


def settings_text(settings: Settings) -> str:
    """Settings as JSON with sorted names, so that equal settings give equal text."""
    return json.dumps(asdict(settings), sort_keys=True)


def analysed_with_id(connection: sqlite3.Connection, version: str, settings_json: str) -> int:
    """The number of this pair of version and settings, added where it is new."""
    connection.execute(
        "INSERT OR IGNORE INTO analysed_with (version, settings_json) VALUES (?, ?)", (version, settings_json)
    )
    found = connection.execute(
        "SELECT id FROM analysed_with WHERE version = ? AND settings_json = ?", (version, settings_json)
    ).fetchone()
    return int(found[0])


def insert_reading(connection: sqlite3.Connection, reading: StoredReading, saved_at: str) -> int:
    """Insert a reading with its context; returns its id."""
    values = {
        **stored_values((*TAKEN, *ANALYSED), reading),
        "analysed_with": analysed_with_id(connection, reading.version, reading.settings_json),
        "saved_at": saved_at,
    }
    reading_id = insert(connection, "readings", values)
    if not reading.context.is_empty:
        write_context(connection, reading_id, reading.context)
    return reading_id


def update_reading(connection: sqlite3.Connection, reading_id: int, reading: StoredReading) -> None:
    """Replace all that is told of one reading, but not its uid or whether it is in the bin."""
    kept = [each for each in TAKEN if each.name not in ("uid", "binned_at")]
    analysed_with = analysed_with_id(connection, reading.version, reading.settings_json)
    values = {**stored_values((*kept, *ANALYSED), reading), "analysed_with": analysed_with}
    update(connection, "readings", reading_id, values)
    write_context(connection, reading_id, reading.context)


def update_analysis(connection: sqlite3.Connection, reading_id: int, analysis: Analysis) -> None:
    """Replace what the analysis of one reading says, its intervals included."""
    analysed_with = analysed_with_id(connection, analysis.version, settings_text(analysis.settings))
    values = {**stored_values(ANALYSED, analysis), "analysed_with": analysed_with}
    update(connection, "readings", reading_id, values)
    write_intervals(connection, reading_id, analysis.intervals)


def update_figures(
    connection: sqlite3.Connection, reading_id: int, values: Mapping[str, Any], analysed_with: int
) -> None:
    """Replace the columns ANALYSED of one row by what they held before; a figure that wasn't known then is None."""
    known = {each.sql_name: values.get(each.sql_name) for each in ANALYSED if each.sql_name in values or not each.rule}
    update(connection, "readings", reading_id, {**known, "analysed_with": analysed_with})


def write_context(connection: sqlite3.Connection, reading_id: int, context: Context) -> None:
    """Insert or replace the context of one reading."""
    insert(connection, "context", {"reading_id": reading_id, **vars(context)}, or_replace=True)


def write_intervals(connection: sqlite3.Connection, reading_id: int, intervals: Intervals) -> None:
    """Replace the intervals of one reading."""
    connection.execute("DELETE FROM intervals WHERE reading_id = ?", (reading_id,))
    starts, lengths = intervals.start_s.tolist(), intervals.interval_ms.tolist()
    connection.executemany(
        "INSERT INTO intervals (reading_id, position, start_s, interval_ms, kept, reason) VALUES (?, ?, ?, ?, ?, ?)",
        (
            (reading_id, position, start_s, interval_ms, int(reason is None), reason)
            for position, (start_s, interval_ms, reason) in enumerate(
                zip(starts, lengths, intervals.left_out, strict=True)
            )
        ),
    )


def read_intervals(connection: sqlite3.Connection, reading_id: int) -> Intervals:
    """The intervals of one reading, in order; empty where none are stored."""
    rows = connection.execute(
        "SELECT start_s, interval_ms, reason FROM intervals WHERE reading_id = ? ORDER BY position",
        (reading_id,),
    ).fetchall()
    return Intervals(
        np.array([row["start_s"] for row in rows], dtype=np.float64),
        np.array([row["interval_ms"] for row in rows], dtype=np.float64),
        tuple(_reason(row["reason"]) for row in rows),
    )


def _reason(text: str | None) -> Reason | None:
    if text is None or text in REASONS:
        return text
    raise DawnbeatError(f"the journal gives {text!r} as the reason for leaving out an interval: analyse it again")
