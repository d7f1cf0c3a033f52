"""FIT, TCX and GPX files, as devices and their programs write them.

Of a FIT file sessions, times, pulse, distance, altitude, step rate and stops of the timer are read, and no places; in
TCX and GPX places become distance and are then forgotten. XML elements go by their own names, whatever namespace a
program wrote them under, and document type declarations, with them entities, are refused before anything else. Of a
file that is cut short or damaged, what came before is kept.

The libraries take a while to import, so each is imported where its files are met.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from xml.sax import SAXParseException
from xml.sax.handler import ContentHandler

import defusedxml.ElementTree
import defusedxml.sax
import numpy as np
from defusedxml.common import DefusedXmlException

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.training.run import ParsedRun, RunNote, Sport, sport_from
from dawnbeat.training.run_rows import MOST_SAMPLES, Rows, parsed

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
    import fitdecode

    found = _Found()
    reader = fitdecode.FitReader(
        io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE, error_handling=fitdecode.ErrorHandling.IGNORE
    )
    try:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_DATA:
                _take(found, frame)
    except DawnbeatError:
        raise
    except fitdecode.FitCRCError:
        found.rows.notes.append(RunNote("checksum"))
    # The library meets damage with any kind of error, AssertionError among them.
    except Exception as error:
        if not len(found.rows):
            raise DawnbeatError(
                f"this FIT file is cut short or damaged ({one_line(error) or type(error).__name__}), and no sample in "
                "it is whole: copy it from the device again"
            ) from error
        found.rows.notes.append(RunNote("cut short", found.rows.elapsed_s))
    return _sessions(found)


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
        sport = _sport(frame)
        if began is not None:
            found.sessions.append((began, sport))
        found.sport = sport if found.sport == "not said" else found.sport
    elif frame.name == "sport" and found.sport == "not said":
        # Written at the start, so that a file cut before its sessions still tells.
        found.sport = _sport(frame)
    elif frame.name == "activity":
        found.offset = _offset(frame) or found.offset


def _sessions(found: _Found) -> list[ParsedRun]:
    sessions = sorted(dict(found.sessions).items())
    several: list[tuple[Sport, Rows]] = []
    if len(sessions) > 1 and found.rows.start is not None:
        ends = [began for began, _ in sessions[1:]]
        for (began, sport), end in zip(sessions, [*ends, None], strict=True):
            # What was recorded before the first session belongs to it.
            rows = found.rows.part(began if several else min(began, found.rows.start), end)
            if len(rows) >= 2:
                several.append((sport, rows))
    return [
        parsed(rows, "FIT", sport, found.pauses, found.offset) for sport, rows in several or [(found.sport, found.rows)]
    ]


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


def _sport(frame: Any) -> Sport:
    return sport_from(str(_value(frame, "sport") or ""))


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


EARTH_RADIUS_M = 6_371_008.8
# Tracks of one file that begin so long after the one before are runs of their own.
OWN_RUN_AFTER = timedelta(hours=1)
_DEEPEST = 64
_POINTS = ("trkpt", "Trackpoint")


def parse_tcx(data: bytes) -> list[ParsedRun]:
    """The activities of a TCX file, each its own; raises DawnbeatError when it is unsafe or holds no samples."""
    text, cut = checked_text(data)
    found: list[tuple[Sport, Rows]] = []
    reader = defusedxml.ElementTree.iterparse(io.StringIO(text), events=("start", "end"), forbid_dtd=True)
    for event, element in reader:
        name = _local_name(element.tag)
        if event == "start" and name == "Activity":
            found.append((sport_from(element.get("Sport")), Rows()))
        elif event == "end" and name == "Trackpoint":
            if not found:
                found.append(("not said", Rows()))
            _add_trackpoint(found[-1][1], element)
            element.clear()
    return _runs(found, "TCX", cut)


def parse_gpx(data: bytes) -> list[ParsedRun]:
    """The runs of a GPX file; raises DawnbeatError when it is unsafe or has no times.

    Tracks of one sport that follow each other within an hour are one run.
    """
    import gpxpy.gpx

    text, cut = checked_text(data)
    try:
        document = gpxpy.parse(text)
    except (gpxpy.gpx.GPXException, ValueError, TypeError, LookupError) as error:
        raise DawnbeatError(f"this GPX file can't be read ({one_line(error)}): export it again") from error
    found: list[tuple[Sport, Rows]] = []
    way_m = 0.0
    for track in document.tracks:
        sport = sport_from(track.type)
        times = [point.time for segment in track.segments for point in segment.points if point.time is not None]
        if not found or sport != found[-1][0] or (times and _apart(found[-1][1], _in_utc(times[0]))):
            found.append((sport, Rows()))
        for segment in track.segments:
            # Way between two segments was not recorded, and is not made up.
            steps_m = _way_m([(point.latitude, point.longitude) for point in segment.points])
            for point, step_m in zip(segment.points, steps_m, strict=True):
                way_m += step_m
                if point.time is not None:
                    _add_point(found[-1][1], point, way_m)
    return _runs(found, "GPX", cut)


def checked_text(data: bytes) -> tuple[str, bool]:
    """An XML file's text, safe to parse: no document type declaration, few enough samples, not too deep; and whether it
    is cut.

    A damaged file ends after its last whole sample. Raises DawnbeatError for one that is unsafe or has none.
    """
    torn = False
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError as error:
        text = data[: error.start].decode("utf-8-sig", "replace")
        torn = True
    seen = _Seen()
    parser = defusedxml.sax.make_parser()
    parser.forbid_dtd = True
    parser.setContentHandler(seen)
    try:
        # Fed as text, as the readers are, so that all go by the same characters.
        parser.feed(text)
        parser.close()
        if torn:
            raise DawnbeatError("this XML file is not UTF-8: export it again")
    except DefusedXmlException as error:
        raise DawnbeatError(
            "this XML file declares a document type or entities, which no run needs and which can "
            "do harm: it was not read"
        ) from error
    except (SAXParseException, ValueError) as error:
        whole = seen.whole_part(text, error)
        if whole is None:
            raise DawnbeatError(
                f"this XML file is cut short or damaged ({one_line(error)}), and no sample in it is whole: export it "
                "again"
            ) from error
        return seen.with_prefixes(whole), True
    return seen.with_prefixes(text), False


class _Seen(ContentHandler):
    """What the first, safe pass over a file meets. at_point: the elements open after the last whole sample."""

    def __init__(self) -> None:
        super().__init__()
        self.points = 0
        self.open: list[str] = []
        self.at_point: list[str] = []
        self.point_name = ""
        self.used: set[str] = set()
        self.declared: set[str] = {"xml", "xmlns"}

    def startElement(self, name: str, attrs: Any) -> None:  # noqa: N802 - the name that SAX calls
        self.open.append(name)
        self.points += name.rsplit(":", 1)[-1] in _POINTS
        self.declared.update(each[6:] for each in attrs.getNames() if each.startswith("xmlns:"))
        self.used.update(each.split(":", 1)[0] for each in (name, *attrs.getNames()) if ":" in each)
        if self.points > MOST_SAMPLES:
            raise DawnbeatError(f"it holds over {MOST_SAMPLES} samples: split it into single runs")
        if len(self.open) > _DEEPEST:
            raise DawnbeatError("its elements are nested too deep for a run: it was not read")

    def endElement(self, name: str) -> None:  # noqa: N802 - the name that SAX calls
        self.open.pop()
        if name.rsplit(":", 1)[-1] in _POINTS:
            self.at_point, self.point_name = list(self.open), name

    def whole_part(self, text: str, error: Exception) -> str | None:
        """The text up to its last whole sample before an error, closed; None without a whole sample."""
        if not self.point_name:
            return None
        end = len(text)
        if isinstance(error, SAXParseException) and (line := error.getLineNumber()) is not None:
            lines = text.split("\n")
            end = sum(len(each) + 1 for each in lines[: line - 1]) + (error.getColumnNumber() or 0)
        closing = f"</{self.point_name}>"
        last = text.rfind(closing, 0, end)
        if last < 0:
            return None
        return text[: last + len(closing)] + "".join(f"</{name}>" for name in reversed(self.at_point))

    def with_prefixes(self, text: str) -> str:
        """The text with prefixes that it uses and never declares declared in its root, as some programs forget to."""
        missing = sorted(self.used - self.declared)
        if not missing:
            return text
        names = "".join(f' xmlns:{each}="urn:undeclared:{each}"' for each in missing)
        return re.sub(r"(<[A-Za-z_][^\s/>]*)", lambda root: root[1] + names, text, count=1)


def _runs(found: list[tuple[Sport, Rows]], format_name: str, cut: bool) -> list[ParsedRun]:
    # Without any time, a run of no rows says so.
    with_times = [(sport, rows) for sport, rows in found if len(rows)] or [("not said", Rows())]
    last = with_times[-1][1]
    if cut and len(last):
        last.notes.append(RunNote("cut short", last.elapsed_s))
    # A lone sample beside others is no run.
    several = [(sport, rows) for sport, rows in with_times if len(rows) >= 2] or with_times[:1]
    return [parsed(rows, format_name, sport) for sport, rows in several]


def _apart(rows: Rows, moment: datetime) -> bool:
    if rows.start is None:
        return False
    return moment - (rows.start + timedelta(seconds=rows.values[-1][0])) > OWN_RUN_AFTER


def _add_point(rows: Rows, point: Any, way_m: float) -> None:
    assert point.time is not None
    pulse = cadence = None
    for extension in point.extensions:
        for element in extension.iter():
            name = _local_name(str(element.tag)).lower()
            if name in ("hr", "heartrate"):
                pulse = _number_in(element.text, name)
            elif name in ("cad", "cadence"):
                cadence = _number_in(element.text, name)
    rows.add(_in_utc(point.time), pulse, way_m, cadence, point.elevation)


def _add_trackpoint(rows: Rows, point: Any) -> None:
    moment: datetime | None = None
    pulse = distance = steps = altitude = None
    for element in point.iter():
        name = _local_name(element.tag)
        if name == "Time":
            moment = _time(element.text)
        elif name == "HeartRateBpm":
            value = next((each.text for each in element.iter() if _local_name(each.tag) == "Value"), None)
            pulse = _number_in(value, name)
        elif name == "DistanceMeters":
            distance = _number_in(element.text, name)
        elif name == "AltitudeMeters":
            altitude = _number_in(element.text, name)
        elif name == "RunCadence" or (name == "Cadence" and steps is None):
            steps = _number_in(element.text, name)
    if moment is not None:
        rows.add(moment, pulse, distance, steps, altitude)


def _time(text: str | None) -> datetime:
    try:
        return _in_utc(datetime.fromisoformat((text or "").strip()))
    except (ValueError, OverflowError) as error:
        raise DawnbeatError(f"{one_line(text)!r} is not a time: export the file again") from error


def _in_utc(moment: datetime) -> datetime:
    try:
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    except OverflowError as error:
        raise DawnbeatError(f"the time {moment.isoformat()} can't be right: export the file again") from error


def _number_in(text: str | None, name: str) -> float | None:
    if text is None or not text.strip():
        return None
    try:
        value = float(text)
    except ValueError as error:
        raise DawnbeatError(f"{name} is {one_line(text)[:40]!r}, not a number: export the file again") from error
    return value if np.isfinite(value) else None


def _way_m(places: list[tuple[float, float]]) -> list[float]:
    """Metres from each place to the one before it on the globe (haversine); 0 for the first."""
    if not places:
        return []
    latitude, longitude = np.radians(np.array(places, dtype=np.float64)).T
    half = (
        np.sin(np.diff(latitude) / 2) ** 2
        + np.cos(latitude[:-1]) * np.cos(latitude[1:]) * np.sin(np.diff(longitude) / 2) ** 2
    )
    return [0.0, *(2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(half.clip(0, 1)))).tolist()]


def _local_name(tag: str) -> str:
    return tag.rsplit("}", 1)[-1]
