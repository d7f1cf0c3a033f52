"""A stored reading as a row of the tables, and back."""

from __future__ import annotations

import functools
import json
import math
import sqlite3
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

import numpy as np

from dawnbeat.shared.beats import REASONS, Intervals, Reason
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Context, StoredReading
from dawnbeat.shared.reading import Analysis, Metrics, Verdict, findings_from_data, verdict_as_data
from dawnbeat.shared.settings import Settings

METRICS = (
    "mean_hr_bpm",
    "mean_nn_ms",
    "sdnn_ms",
    "rmssd_ms",
    "ln_rmssd",
    "sdsd_ms",
    "nn50",
    "pnn50_pct",
    "cv_nn_pct",
    "min_nn_ms",
    "max_nn_ms",
    "sd1_ms",
    "sd2_ms",
    "kept_beats",
    "kept_share",
)
WHOLE_METRICS = ("nn50", "kept_beats")
WITH_INTERVAL = ("mean_hr_bpm", "sdnn_ms", "rmssd_ms", "ln_rmssd")
CONTEXT = (
    "sleep",
    "stress",
    "fatigue",
    "soreness",
    "hours_slept",
    "ill",
    "alcohol",
    "yesterday_run",
    "note",
)

_BOUNDS = tuple(f"{name}_{side}" for name in WITH_INTERVAL for side in ("low", "high"))
# What an analysis says; replaced as a whole when a recording is analysed again.
ANALYSED = (
    "duration_s",
    "frame_rate_hz",
    "channel",
    *METRICS,
    *_BOUNDS,
    "timing_error_ms",
    "usable",
    "reasons_json",
)
TAKEN = ("uid", "local_date", "began", "posture", "camera", "recording", "picked", "binned_at")

SELECT = (
    "SELECT r.id, r.uid, r.began, r.duration_s, r.posture, r.camera, r.frame_rate_hz, r.channel,"
    " r.timing_error_ms, r.usable, r.reasons_json, a.version, a.settings_json, r.recording, r.picked, "
    f"r.binned_at, {', '.join('r.' + name for name in METRICS)},"
    f" {', '.join('r.' + name for name in _BOUNDS)},"
    f" c.reading_id, {', '.join('c.' + name for name in CONTEXT)}"
    " FROM readings r JOIN analysed_with a ON a.id = r.analysed_with LEFT JOIN context c ON c.reading_id = "
    "r.id"
)
BEGAN_AT, USABLE_AT, PICKED_AT, BINNED_AT = 2, 9, 14, 15
_METRICS_AT = 16
_BOUNDS_AT = _METRICS_AT + len(METRICS)
_CONTEXT_AT = _BOUNDS_AT + len(_BOUNDS)
NO_CONTEXT = Context()


def reading_from(row: tuple[Any, ...], counts: bool) -> StoredReading:
    """The reading of one row of SELECT; whether it counts depends on the other readings of its day."""
    bounds = row[_BOUNDS_AT:_CONTEXT_AT]
    return StoredReading(
        id=row[0],
        uid=row[1],
        began=datetime.fromisoformat(row[2]),
        duration_s=row[3],
        posture=row[4],
        camera=row[5],
        frame_rate_hz=row[6],
        channel=row[7],
        metrics=Metrics(*row[_METRICS_AT:_BOUNDS_AT]),
        intervals95={
            name: (low, high)
            for name, low, high in zip(WITH_INTERVAL, bounds[::2], bounds[1::2], strict=True)
            if low is not None and high is not None
        },
        timing_error_ms=row[8],
        verdict=_verdict(row[9], row[10]),
        version=row[11],
        settings_json=row[12],
        recording=row[13],
        picked=bool(row[14]),
        counts=counts,
        binned_at=None if row[15] is None else datetime.fromisoformat(row[15]),
        context=NO_CONTEXT if row[_CONTEXT_AT] is None else context_from(row[_CONTEXT_AT + 1 :]),
    )


@functools.lru_cache(maxsize=4096)
def _verdict(usable: int, reasons_json: str) -> Verdict:
    said = json.loads(reasons_json)
    return Verdict(bool(usable), said["pulse_usable"], said["irregular"], findings_from_data(said["findings"]))


@functools.lru_cache(maxsize=4096)
def context_from(values: tuple[Any, ...]) -> Context:
    """The context of its columns, in the order of CONTEXT."""
    sleep, stress, fatigue, soreness, hours_slept, ill, alcohol, run, note = values
    return Context(sleep, stress, fatigue, soreness, hours_slept, _flag(ill), _flag(alcohol), run, note)


def _flag(value: int | None) -> bool | None:
    return None if value is None else bool(value)


def analysed_values(
    duration_s: float,
    frame_rate_hz: float | None,
    channel: str | None,
    metrics: Metrics,
    intervals95: Mapping[str, tuple[float, float]],
    timing_error_ms: float | None,
    verdict: Verdict,
) -> dict[str, Any]:
    """The columns ANALYSED; numbers become plain ones, and what is not finite becomes None."""
    values: dict[str, Any] = {
        "duration_s": float(duration_s),
        "frame_rate_hz": _number(frame_rate_hz),
        "channel": channel or None,
        "timing_error_ms": _number(timing_error_ms),
        "usable": int(verdict.usable),
        "reasons_json": json.dumps(verdict_as_data(verdict)),
    }
    for name, value in asdict(metrics).items():
        if name in WHOLE_METRICS:
            values[name] = None if value is None else int(value)
        else:
            values[name] = _number(value)
    for name in WITH_INTERVAL:
        low, high = intervals95.get(name, (None, None))
        values[f"{name}_low"], values[f"{name}_high"] = _number(low), _number(high)
    return values


def values_of_analysis(analysis: Analysis) -> dict[str, Any]:
    """The columns ANALYSED of a fresh analysis."""
    return analysed_values(
        analysis.duration_s,
        analysis.frame_rate_hz,
        analysis.channel,
        analysis.metrics,
        analysis.intervals95,
        analysis.timing_error_ms,
        analysis.verdict,
    )


def values_of_reading(reading: StoredReading) -> dict[str, Any]:
    """The columns ANALYSED and TAKEN of a reading that is stored already."""
    return {
        **analysed_values(
            reading.duration_s,
            reading.frame_rate_hz,
            reading.channel,
            reading.metrics,
            reading.intervals95,
            reading.timing_error_ms,
            reading.verdict,
        ),
        "uid": reading.uid,
        "local_date": reading.local_date.isoformat(),
        "began": reading.began.isoformat(),
        "posture": reading.posture,
        "camera": reading.camera,
        "recording": reading.recording,
        "picked": int(reading.picked),
        "binned_at": None if reading.binned_at is None else reading.binned_at.isoformat(),
    }


def settings_text(settings: Settings) -> str:
    """Settings as JSON with sorted names, so that equal settings give equal text."""
    return json.dumps(asdict(settings), sort_keys=True)


def write_context(connection: sqlite3.Connection, reading_id: int, context: Context) -> None:
    """Insert or replace the context of one reading."""
    values = [getattr(context, name) for name in CONTEXT]
    connection.execute(
        f"INSERT OR REPLACE INTO context (reading_id, {', '.join(CONTEXT)}) VALUES (?{', ?' * len(CONTEXT)})",
        (reading_id, *values),
    )


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
        np.array([row[0] for row in rows], dtype=np.float64),
        np.array([row[1] for row in rows], dtype=np.float64),
        tuple(_reason(row[2]) for row in rows),
    )


def analysed_with_id(connection: sqlite3.Connection, version: str, settings_json: str) -> int:
    """The number of this pair of version and settings, added where it is new."""
    connection.execute(
        "INSERT OR IGNORE INTO analysed_with (version, settings_json) VALUES (?, ?)", (version, settings_json)
    )
    found = connection.execute(
        "SELECT id FROM analysed_with WHERE version = ? AND settings_json = ?", (version, settings_json)
    ).fetchone()
    return int(found[0])


def insert_reading(connection: sqlite3.Connection, values: Mapping[str, Any], analysed_with: int, saved_at: str) -> int:
    """Insert a row of TAKEN and ANALYSED; returns its id."""
    names = (*TAKEN, *ANALYSED)
    cursor = connection.execute(
        f"INSERT INTO readings ({', '.join(names)}, analysed_with, saved_at) VALUES (?{', ?' * (len(names) + 1)})",
        (*(values[name] for name in names), analysed_with, saved_at),
    )
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def update_analysis(
    connection: sqlite3.Connection, reading_id: int, values: Mapping[str, Any], analysed_with: int
) -> None:
    """Replace what the analysis said in one row."""
    changes = ", ".join(f"{name} = ?" for name in ANALYSED)
    connection.execute(
        f"UPDATE readings SET {changes}, analysed_with = ? WHERE id = ?",
        (*(values[name] for name in ANALYSED), analysed_with, reading_id),
    )


def update_taken(connection: sqlite3.Connection, reading_id: int, values: Mapping[str, Any]) -> None:
    """Replace what is known about the taking of one reading, but not its uid or whether it is in the bin."""
    names = [name for name in TAKEN if name not in ("uid", "binned_at")]
    connection.execute(
        f"UPDATE readings SET {', '.join(f'{name} = ?' for name in names)} WHERE id = ?",
        (*(values[name] for name in names), reading_id),
    )


def _reason(text: str | None) -> Reason | None:
    if text is None:
        return None
    for reason in REASONS:
        if text == reason:
            return reason
    raise DawnbeatError(f"the journal gives {text!r} as the reason for leaving out an interval: analyse it again")


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)
