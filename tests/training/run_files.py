"""Writes small FIT, TCX, GPX and CSV files of invented runs, byte by byte, for tests and benchmarks."""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

FIT_EPOCH = datetime(1989, 12, 31, tzinfo=UTC)
START = datetime(2025, 3, 3, 6, 30, tzinfo=UTC)

# FIT base types: format letter of struct, and the value that stands for "not known".
_ENUM, _UINT8, _UINT16, _UINT32 = 0x00, 0x02, 0x84, 0x86
_LETTER = {_ENUM: "B", _UINT8: "B", _UINT16: "H", _UINT32: "I"}
_UNKNOWN = {_ENUM: 0xFF, _UINT8: 0xFF, _UINT16: 0xFFFF, _UINT32: 0xFFFFFFFF}
_CRC = (
    *(0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401),
    *(0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400),
)


class Sample:
    """One moment of an invented run; None stands for what was not recorded."""

    def __init__(
        self,
        time_s: float,
        pulse_bpm: int | None = None,
        distance_m: float | None = None,
        steps_per_min: float | None = None,
    ) -> None:
        self.time_s = time_s
        self.pulse_bpm = pulse_bpm
        self.distance_m = distance_m
        self.steps_per_min = steps_per_min


def steady(seconds: int = 3600, pulse_bpm: int = 140, speed_m_per_s: float = 3.0) -> list[Sample]:
    """A run at 1 Hz whose pulse sways by a few beats around a level."""
    return [
        Sample(
            t,
            round(pulse_bpm + 3 * math.sin(t / 41) + 1.5 * math.sin(t / 7)),
            speed_m_per_s * t,
            172 + 2 * math.sin(t / 30),
        )
        for t in range(seconds)
    ]


def fit_crc(data: bytes) -> int:
    """The 16-bit checksum of the FIT protocol."""
    crc = 0
    for byte in data:
        for half in (byte & 0xF, byte >> 4):
            crc = (crc >> 4) & 0x0FFF ^ _CRC[crc & 0xF] ^ _CRC[half]
    return crc


def _definition(local: int, message: int, fields: Sequence[tuple[int, int]]) -> bytes:
    body = b"".join(struct.pack("<BBB", number, struct.calcsize(_LETTER[kind]), kind) for number, kind in fields)
    return struct.pack("<BBBHB", 0x40 | local, 0, 0, message, len(fields)) + body


def _data(local: int, fields: Sequence[tuple[int, int]], values: Sequence[int | None]) -> bytes:
    letters = "".join(_LETTER[kind] for _, kind in fields)
    known = [_UNKNOWN[kind] if value is None else value for (_, kind), value in zip(fields, values, strict=True)]
    return struct.pack("<B" + letters, local, *known)


def fit_bytes(
    samples: Sequence[Sample],
    start: datetime = START,
    sport: int = 1,
    pauses: Sequence[tuple[float, float]] = (),
    offset_s: int | None = None,
    sessions: Sequence[tuple[float, int]] = (),
) -> bytes:
    """A whole FIT activity file; sport 1 is running and 2 cycling in the protocol's profile.

    sessions: begin in seconds and sport of each; without any there is one of `sport`.

    pauses: begin and end of each stop of the timer, in seconds. offset_s: local time minus UTC.
    """

    def stamp(time_s: float) -> int:
        return int((start + timedelta(seconds=time_s) - FIT_EPOCH).total_seconds())

    file_id = [(0, _ENUM), (1, _UINT16), (4, _UINT32)]
    record = [(253, _UINT32), (3, _UINT8), (5, _UINT32), (4, _UINT8)]
    event = [(253, _UINT32), (0, _ENUM), (1, _ENUM)]
    session = [(253, _UINT32), (2, _UINT32), (5, _ENUM)]
    activity = [(253, _UINT32), (5, _UINT32)]
    parts = [
        _definition(0, 0, file_id),
        _data(0, file_id, (4, 255, stamp(0))),
        _definition(1, 20, record),
        _definition(2, 21, event),
        _data(2, event, (stamp(0), 0, 0)),
    ]
    stops = list(pauses)
    for sample in samples:
        while stops and stops[0][1] <= sample.time_s:
            begin, end = stops.pop(0)
            parts += [_data(2, event, (stamp(begin), 0, 4)), _data(2, event, (stamp(end), 0, 0))]
        parts.append(
            _data(
                1,
                record,
                (
                    stamp(sample.time_s),
                    sample.pulse_bpm,
                    None if sample.distance_m is None else round(100 * sample.distance_m),
                    None if sample.steps_per_min is None else round(sample.steps_per_min / 2),
                ),
            )
        )
    last = samples[-1].time_s if samples else 0
    parts.append(_definition(3, 18, session))
    parts += [_data(3, session, (stamp(last), stamp(begin), kind)) for begin, kind in sessions or [(0, sport)]]
    if offset_s is not None:
        parts += [_definition(4, 34, activity), _data(4, activity, (stamp(last), stamp(last) + offset_s))]
    body = b"".join(parts)
    header = struct.pack("<BBHI4s", 14, 0x20, 2132, len(body), b".FIT")
    header += struct.pack("<H", fit_crc(header))
    return header + body + struct.pack("<H", fit_crc(header + body))


def tcx_text(samples: Sequence[Sample], start: datetime = START, sport: str = "Running") -> str:
    """A whole TCX file, under a namespace of our own: readers go by the names of the elements."""
    rows = []
    for sample in samples:
        cells = [f"<Time>{_iso(start, sample.time_s)}</Time>"]
        if sample.distance_m is not None:
            cells.append(f"<DistanceMeters>{sample.distance_m:.2f}</DistanceMeters>")
        if sample.pulse_bpm is not None:
            cells.append(f"<HeartRateBpm><Value>{sample.pulse_bpm}</Value></HeartRateBpm>")
        if sample.steps_per_min is not None:
            cadence = round(sample.steps_per_min / 2)
            cells.append(f"<Extensions><x:TPX><x:RunCadence>{cadence}</x:RunCadence></x:TPX></Extensions>")
        rows.append(f"<Trackpoint>{''.join(cells)}</Trackpoint>")
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<TrainingCenterDatabase xmlns="urn:invented:activity" xmlns:x="urn:invented:extension">\n'
        f'<Activities><Activity Sport="{sport}"><Id>{_iso(start, 0)}</Id>'
        f'<Lap StartTime="{_iso(start, 0)}"><Track>\n' + "\n".join(rows) + "\n</Track></Lap></Activity>"
        "</Activities></TrainingCenterDatabase>\n"
    )


def gpx_text(samples: Sequence[Sample], start: datetime = START, kind: str = "running") -> str:
    """A whole GPX 1.1 file along a meridian of the open sea, with the common heart-rate extension."""
    rows = []
    for sample in samples:
        latitude = -40 + (sample.distance_m or 0) / 111_194.93
        inside = "" if sample.pulse_bpm is None else f"<x:hr>{sample.pulse_bpm}</x:hr>"
        if sample.steps_per_min is not None:
            inside += f"<x:cad>{round(sample.steps_per_min / 2)}</x:cad>"
        extension = (
            f"<extensions><x:TrackPointExtension>{inside}</x:TrackPointExtension></extensions>" if inside else ""
        )
        rows.append(
            f'<trkpt lat="{latitude:.7f}" lon="-120.0"><time>{_iso(start, sample.time_s)}</time>{extension}</trkpt>'
        )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1" '
        'xmlns:x="urn:invented:extension">\n'
        f"<trk><type>{kind}</type><trkseg>\n" + "\n".join(rows) + "\n</trkseg></trk></gpx>\n"
    )


def csv_text(samples: Sequence[Sample], start: datetime | None = START) -> str:
    """A CSV of time, heart rate and distance; without a start the time is in seconds."""
    rows = ["time,heart_rate,distance_m"]
    for sample in samples:
        time = f"{sample.time_s:g}" if start is None else _iso(start, sample.time_s)
        pulse = "" if sample.pulse_bpm is None else str(sample.pulse_bpm)
        distance = "" if sample.distance_m is None else f"{sample.distance_m:.1f}"
        rows.append(f"{time},{pulse},{distance}")
    return "\n".join(rows) + "\n"


def billion_laughs() -> str:
    """An XML file whose entities would unfold to gigabytes."""
    entities = ['<!ENTITY l0 "lol">']
    entities += [f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10)]
    return f'<?xml version="1.0"?>\n<!DOCTYPE gpx [\n{"".join(entities)}\n]>\n<gpx>&l9;</gpx>\n'


def write(path: Path, data: bytes | str) -> Path:
    """Write a file and return its path."""
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return path


def _iso(start: datetime, time_s: float) -> str:
    moment = start + timedelta(seconds=time_s)
    milliseconds = f".{moment.microsecond // 1000:03d}" if moment.microsecond else ""
    return f"{moment:%Y-%m-%dT%H:%M:%S}{milliseconds}Z"
