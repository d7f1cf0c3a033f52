"""Reads a FIT activity file with fitdecode: times, pulse, distance, step rate and stops of the timer.

Places are not read: nothing here needs to know where somebody runs.
"""

from __future__ import annotations

import io
import struct
from datetime import UTC, datetime, timedelta
from typing import Any

import fitdecode
import fitdecode.exceptions

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.training.run import ParsedRun
from dawnbeat.training.run_rows import Rows, parsed

_LONGEST_OFFSET = timedelta(hours=14)
_BROKEN = (
    fitdecode.exceptions.FitError,
    struct.error,
    ArithmeticError,
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
)


def read_fit(data: bytes) -> ParsedRun:
    """The run of a FIT file; raises DawnbeatError when it is truncated, damaged or holds no samples."""
    rows = Rows()
    pauses: list[tuple[datetime, datetime]] = []
    stopped_at: datetime | None = None
    sport: str | None = None
    offset: timedelta | None = None
    try:
        with fitdecode.FitReader(
            io.BytesIO(data),
            check_crc=fitdecode.CrcCheck.RAISE,
            error_handling=fitdecode.ErrorHandling.IGNORE,
        ) as reader:
            for frame in reader:
                if frame.frame_type != fitdecode.FIT_FRAME_DATA:
                    continue
                if frame.name == "record":
                    _add(rows, frame)
                elif frame.name == "event" and _value(frame, "event") == "timer":
                    moment = _moment(frame, "timestamp")
                    kind = str(_value(frame, "event_type"))
                    if kind.startswith("stop"):
                        stopped_at = stopped_at or moment
                    elif kind == "start" and stopped_at is not None and moment is not None:
                        pauses.append((stopped_at, moment))
                        stopped_at = None
                elif frame.name == "session" and sport is None:
                    sport = _text(_value(frame, "sport"))
                elif frame.name == "activity":
                    offset = _offset(frame) or offset
    except _BROKEN as error:
        raise DawnbeatError(
            f"this FIT file is cut short or damaged ({one_line(error)}): copy it from the device again"
        ) from error
    return parsed(rows, "FIT", sport, pauses, offset)


def _add(rows: Rows, frame: Any) -> None:
    moment = _moment(frame, "timestamp")
    if moment is None:
        return
    cadence = _number(frame, "cadence")
    if cadence is not None:
        # The protocol counts strides, two steps each.
        cadence = 2 * (cadence + (_number(frame, "fractional_cadence") or 0.0))
    rows.add(moment, _number(frame, "heart_rate"), _number(frame, "distance"), cadence)


def _value(frame: Any, name: str) -> Any:
    return frame.get_value(name, fallback=None)


def _number(frame: Any, name: str) -> float | None:
    value = _value(frame, name)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _text(value: Any) -> str | None:
    return None if value is None else str(value)


def _moment(frame: Any, name: str) -> datetime | None:
    value = _value(frame, name)
    if not isinstance(value, datetime):
        return None
    return value if value.tzinfo is not None else value.replace(tzinfo=UTC)


def _offset(frame: Any) -> timedelta | None:
    """Local time minus UTC, to the quarter of an hour, from the two clocks of one message."""
    moment, local = _moment(frame, "timestamp"), _moment(frame, "local_timestamp")
    if moment is None or local is None:
        return None
    quarters = round((local.replace(tzinfo=UTC) - moment) / timedelta(minutes=15))
    offset = quarters * timedelta(minutes=15)
    return offset if abs(offset) <= _LONGEST_OFFSET else None
