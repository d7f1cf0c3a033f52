"""Reads a FIT activity file with fitdecode: sessions, times, pulse, distance, altitude, step rate, stops of the timer.

Places are not read: nothing here needs to know where somebody runs.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import fitdecode
import fitdecode.exceptions

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.training.run import ParsedRun, RunNote, Sport, sport_from
from dawnbeat.training.run_rows import Rows, parsed

_LONGEST_OFFSET = timedelta(hours=14)


@dataclass
class _Found:
    """What a file tells, message by message. sessions: when each began and its sport."""

    rows: Rows = field(default_factory=Rows)
    pauses: list[tuple[datetime, datetime]] = field(default_factory=list)
    sessions: list[tuple[datetime, Sport]] = field(default_factory=list)
    sport: Sport = "not said"
    offset: timedelta | None = None
    stopped_at: datetime | None = None


def parse_fit(data: bytes) -> list[ParsedRun]:
    """The activities of a FIT file, one for each session; of a damaged file what came before the damage, with a note.

    Raises DawnbeatError when nothing in it is whole.
    """
    found = _Found()
    broken = ""
    try:
        for frame in _frames(data):
            _take(found, frame)
    except DawnbeatError:
        raise
    except fitdecode.exceptions.FitCRCError:
        found.rows.notes.append(RunNote("checksum"))
    # The library meets damage with any kind of error, AssertionError among them.
    except Exception as error:
        broken = one_line(error) or type(error).__name__
    if broken:
        if not found.rows.time_s:
            raise DawnbeatError(
                f"this FIT file is cut short or damaged ({broken}), and no sample in it is whole: copy it from the "
                "device again"
            )
        found.rows.notes.append(RunNote("cut short", found.rows.time_s[-1] - found.rows.time_s[0]))
    return _sessions(found)


def _frames(data: bytes) -> Iterator[Any]:
    with fitdecode.FitReader(
        io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE, error_handling=fitdecode.ErrorHandling.IGNORE
    ) as reader:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_DATA:
                yield frame


def _take(found: _Found, frame: Any) -> None:
    if frame.name == "record":
        _add(found.rows, frame)
    elif frame.name == "event" and _value(frame, "event") == "timer":
        moment = _moment(frame, "timestamp")
        kind = str(_value(frame, "event_type"))
        if kind.startswith("stop"):
            found.stopped_at = found.stopped_at or moment
        elif kind == "start" and found.stopped_at is not None and moment is not None:
            found.pauses.append((found.stopped_at, moment))
            found.stopped_at = None
    elif frame.name == "session":
        began = _moment(frame, "start_time")
        sport = sport_from(_text(_value(frame, "sport")))
        if began is not None:
            found.sessions.append((began, sport))
        found.sport = sport if found.sport == "not said" else found.sport
    elif frame.name == "sport" and found.sport == "not said":
        # Written at the start, so that a file cut before its sessions still tells.
        found.sport = sport_from(_text(_value(frame, "sport")))
    elif frame.name == "activity":
        found.offset = _offset(frame) or found.offset


def _sessions(found: _Found) -> list[ParsedRun]:
    sessions = sorted(dict(found.sessions).items())
    if len(sessions) < 2:
        return [parsed(found.rows, "FIT", found.sport, found.pauses, found.offset)]
    runs: list[ParsedRun] = []
    ends = [began for began, _ in sessions[1:]]
    for (began, sport), end in zip(sessions, [*ends, None], strict=True):
        # What was recorded before the first session belongs to it.
        first = began if runs or found.rows.start is None else min(began, found.rows.start)
        rows = found.rows.part(first, end)
        if len(rows.time_s) >= 2:
            runs.append(parsed(rows, "FIT", sport, found.pauses, found.offset))
    return runs or [parsed(found.rows, "FIT", found.sport, found.pauses, found.offset)]


def _add(rows: Rows, frame: Any) -> None:
    moment = _moment(frame, "timestamp")
    if moment is None:
        return
    cadence = _number(frame, "cadence")
    if cadence is not None:
        # The protocol counts strides, two steps each.
        cadence = 2 * (cadence + (_number(frame, "fractional_cadence") or 0.0))
    altitude = _number(frame, "enhanced_altitude")
    rows.add(
        moment,
        _number(frame, "heart_rate"),
        _number(frame, "distance"),
        cadence,
        _number(frame, "altitude") if altitude is None else altitude,
    )


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
