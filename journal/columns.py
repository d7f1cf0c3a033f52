"""The columns of the mornings CSV: what each means, and how a reading becomes cells and back."""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dawnbeat.journal.csv_safe import guard, unguard
from dawnbeat.journal.recordings_kept import is_safe_path
from dawnbeat.journal.rows import CONTEXT, METRICS, WITH_INTERVAL
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import (
    POSTURES,
    Context,
    StoredReading,
    posture_from,
    with_fixed_offset,
)
from dawnbeat.shared.reading import Finding, Metrics, Verdict, findings_as_data, findings_from_data


@dataclass(frozen=True)
class Column:
    """One column. kind: how its cells are written. needed: an import must have it and each cell filled.

    derived: written for the reader's comfort, checked or ignored on import.
    """

    name: str
    kind: str
    unit: str
    meaning: str
    needed: bool = False
    derived: bool = False


_METRIC_WORDS = {
    "mean_hr_bpm": ("bpm", "mean heart rate"),
    "mean_nn_ms": ("ms", "mean of the kept intervals"),
    "sdnn_ms": ("ms", "SDNN, standard deviation of the kept intervals"),
    "rmssd_ms": ("ms", "RMSSD, root mean square of successive differences"),
    "ln_rmssd": ("ln ms", "natural logarithm of RMSSD"),
    "sdsd_ms": ("ms", "standard deviation of successive differences"),
    "nn50": ("count", "successive differences over 50 ms"),
    "pnn50_pct": ("%", "share of successive differences over 50 ms"),
    "cv_nn_pct": ("%", "coefficient of variation of the kept intervals"),
    "min_nn_ms": ("ms", "shortest kept interval"),
    "max_nn_ms": ("ms", "longest kept interval"),
    "sd1_ms": ("ms", "Poincaré plot, width across the identity line"),
    "sd2_ms": ("ms", "Poincaré plot, length along the identity line"),
    "kept_beats": ("count", "beats that count"),
    "kept_share": ("0 to 1", "share of the reading that was kept"),
}


def _metric_columns() -> list[Column]:
    columns = []
    for name in METRICS:
        unit, meaning = _METRIC_WORDS[name]
        whole = unit == "count"
        kind = "whole" if whole else "any number" if name == "ln_rmssd" else "number"
        columns.append(Column(name, kind, unit, meaning))
        if name in WITH_INTERVAL:
            columns.append(Column(f"{name}_low", kind, unit, f"lower end of the 95 % interval of {name}"))
            columns.append(Column(f"{name}_high", kind, unit, f"upper end of the 95 % interval of {name}"))
    return columns


COLUMNS: tuple[Column, ...] = (
    Column("uid", "text", "", "name of the reading, the same in every journal"),
    Column("date", "date", "YYYY-MM-DD", "local day of the reading", derived=True),
    Column("began", "time", "ISO 8601 with offset", "local time when the reading began", needed=True),
    Column("posture", "posture", "", " or ".join(POSTURES), needed=True),
    Column("camera", "text", "", "name of the camera"),
    Column("duration_s", "number", "s", "length of the recording", needed=True),
    Column("frame_rate_hz", "number", "1/s", "frames a second"),
    Column("channel", "text", "", "colour that carried the pulse"),
    *_metric_columns(),
    Column("timing_error_ms", "number", "ms", "standard deviation of the error of one beat time"),
    Column("usable", "flag", "yes or no", "whether the reading may be trusted", needed=True),
    Column("pulse_usable", "flag", "yes or no", "whether the mean pulse may be used"),
    Column("irregular", "flag", "yes or no", "whether the pulse kept coming irregularly"),
    Column("findings", "findings", "JSON list", "why, as codes with the numbers they rest on"),
    Column("version", "text", "", "software version that analysed it"),
    Column("settings", "json", "JSON", "settings of the analysis"),
    Column("recording", "text", "", "path of its recording within the journal's folder"),
    Column("picked", "flag", "yes or no", "the runner chose it for its day"),
    Column("counts", "flag", "yes or no", "it is the reading that counts on its day", derived=True),
    Column("sleep", "rating", "1 to 7", "Hooper rating of sleep, 1 very, very good to 7 very, very bad"),
    Column("stress", "rating", "1 to 7", "Hooper rating of stress, 1 very, very low to 7 very, very high"),
    Column("fatigue", "rating", "1 to 7", "Hooper rating of fatigue, 1 very, very low to 7 very, very high"),
    Column(
        "soreness",
        "rating",
        "1 to 7",
        "Hooper rating of muscle soreness, 1 very, very low to 7 very, very high",
    ),
    Column("hours_slept", "number", "h", "hours slept"),
    Column("ill", "flag", "yes or no", "feeling ill"),
    Column("alcohol", "flag", "yes or no", "alcohol the evening before"),
    Column("yesterday_run", "text", "", "yesterday's run in plain words"),
    Column("note", "text", "", "anything else"),
)
BY_NAME: Mapping[str, Column] = {column.name: column for column in COLUMNS}


def cells_of(reading: StoredReading) -> list[str]:
    """One cell a column; numbers so that reading them back gives the very same ones."""
    given: dict[str, Any] = {
        **vars(reading.metrics),
        **vars(reading.context),
        **vars(reading),
        "date": reading.local_date,
        "usable": reading.verdict.usable,
        "pulse_usable": reading.verdict.pulse_usable,
        "irregular": reading.verdict.irregular,
        "findings": findings_as_data(reading.verdict.findings),
        "version": reading.version,
        "settings": reading.settings_json,
    }
    for name, (low, high) in reading.intervals95.items():
        given[f"{name}_low"], given[f"{name}_high"] = low, high
    return [_WRITERS[column.kind](given.get(column.name)) for column in COLUMNS]


def reading_of(cells: Mapping[str, str]) -> StoredReading:
    """The reading that cells by column name describe, with id 0; a missing column counts as an empty cell.

    Raises DawnbeatError that names the column and what it may hold.
    """
    given: dict[str, Any] = {}
    for column in COLUMNS:
        cell = cells.get(column.name, "")
        if not cell and column.needed:
            raise DawnbeatError(f"{column.name} is empty: give {column.meaning} ({column.unit or 'text'})")
        try:
            given[column.name] = _READERS[column.kind](cell) if cell else None
        except DawnbeatError as error:
            raise DawnbeatError(f"{column.name}: {error}") from error
        except (ValueError, OverflowError, RecursionError) as error:
            raise DawnbeatError(
                f"{column.name} is {cell[:40]!r}: give {column.meaning} ({column.unit or 'text'})"
            ) from error
    began = given["began"]
    if given["date"] not in (None, began.date()):
        raise DawnbeatError(f"date is {given['date']}, but the reading began on {began.date()}: make them agree")
    recording = given["recording"]
    if recording is not None and not is_safe_path(recording):
        raise DawnbeatError(f"recording is {recording[:40]!r}: give a path such as recordings/2025-01-31/06-30-00")
    metrics = {name: given[name] for name in METRICS}
    metrics["kept_beats"] = metrics["kept_beats"] or 0
    return StoredReading(
        id=0,
        uid=given["uid"] or uuid.uuid4().hex,
        began=began,
        duration_s=given["duration_s"],
        posture=given["posture"],
        camera=given["camera"] or "",
        frame_rate_hz=given["frame_rate_hz"],
        channel=given["channel"],
        metrics=Metrics(**metrics),
        intervals95=_intervals95(given),
        timing_error_ms=given["timing_error_ms"],
        verdict=_verdict(given),
        version=given["version"] or "",
        settings_json=given["settings"] or "{}",
        recording=recording,
        picked=bool(given["picked"]),
        context=Context(**{name: given[name] for name in CONTEXT}),
    )


def _verdict(given: Mapping[str, Any]) -> Verdict:
    """Raises DawnbeatError where the three flags contradict each other; a missing one follows from the others."""
    usable, pulse_usable, irregular = given["usable"], given["pulse_usable"], bool(given["irregular"])
    try:
        return Verdict(usable, usable if pulse_usable is None else pulse_usable, irregular, given["findings"] or ())
    except ValueError as error:
        raise DawnbeatError("usable: it goes with pulse_usable yes and irregular no") from error


def _intervals95(given: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    found = {}
    for name in WITH_INTERVAL:
        low, high = given[f"{name}_low"], given[f"{name}_high"]
        if (low is None) != (high is None):
            raise DawnbeatError(f"{name}_low and {name}_high: give both or neither")
        if low is not None:
            found[name] = (low, high)
    return found


def _any_number(cell: str) -> float:
    number = float(cell)
    if not math.isfinite(number):
        raise ValueError(cell)
    return number


def _number(cell: str) -> float:
    number = _any_number(cell)
    if number < 0:
        raise ValueError(cell)
    return number


def _whole(cell: str) -> int:
    number = int(cell)
    # SQLite's own limit for a whole number.
    if not 0 <= number < 2**63:
        raise ValueError(cell)
    return number


def _flag(cell: str) -> bool:
    word = cell.strip().lower()
    if word not in ("yes", "no"):
        raise ValueError(cell)
    return word == "yes"


def _findings(cell: str) -> tuple[Finding, ...]:
    return findings_from_data(json.loads(unguard(cell)))


def _settings(cell: str) -> str:
    text = unguard(cell)
    if not isinstance(json.loads(text), dict):
        raise ValueError(cell)
    return text


def _blank_or(write: Callable[[Any], str]) -> Callable[[Any], str]:
    return lambda value: "" if value is None else write(value)


_WRITERS: Mapping[str, Callable[[Any], str]] = {
    "text": _blank_or(guard),
    "posture": _blank_or(guard),
    "date": _blank_or(lambda value: str(value.isoformat())),
    "time": _blank_or(lambda value: str(value.isoformat())),
    "number": _blank_or(lambda value: repr(float(value))),
    "any number": _blank_or(lambda value: repr(float(value))),
    "whole": _blank_or(lambda value: str(int(value))),
    "rating": _blank_or(lambda value: str(int(value))),
    "flag": _blank_or(lambda value: "yes" if value else "no"),
    "findings": _blank_or(lambda value: guard(json.dumps(value))),
    "json": _blank_or(guard),
}
_READERS: Mapping[str, Callable[[str], Any]] = {
    "text": unguard,
    "posture": lambda cell: posture_from(cell.strip().lower()),
    "date": lambda cell: datetime.strptime(cell, "%Y-%m-%d").date(),
    "time": lambda cell: with_fixed_offset(datetime.fromisoformat(cell)),
    "number": _number,
    "any number": _any_number,
    "whole": _whole,
    "rating": int,
    "flag": _flag,
    "findings": _findings,
    "json": _settings,
}
