"""Reads TCX and GPX files. Document type declarations, and with them entities, are refused before anything else.

Elements go by their own names, whatever namespace a program wrote them under. Places become distance and are
then forgotten.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime
from typing import Any
from xml.etree.ElementTree import ParseError
from xml.sax import SAXException
from xml.sax.handler import ContentHandler

import defusedxml.ElementTree
import defusedxml.sax
import gpxpy
import gpxpy.gpx
import numpy as np
from defusedxml.common import DefusedXmlException

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.training.run import ParsedRun
from dawnbeat.training.run_rows import MOST_SAMPLES, Rows, parsed

EARTH_RADIUS_M = 6_371_008.8
_DEEPEST = 64


def read_tcx(data: bytes) -> ParsedRun:
    """The run of a TCX file; raises DawnbeatError when it is damaged, unsafe, or holds no or several runs."""
    rows = Rows()
    sport: str | None = None
    activities = 0
    text = checked_text(data)
    for event, element in defusedxml.ElementTree.iterparse(io.StringIO(text), events=("start", "end"), forbid_dtd=True):
        name = _local_name(element.tag)
        if event == "start" and name == "Activity":
            activities += 1
            sport = element.get("Sport")
            if activities > 1:
                raise DawnbeatError("it holds several activities: export them one by one")
        elif event == "end" and name == "Trackpoint":
            _add_trackpoint(rows, element)
            element.clear()
    return parsed(rows, "TCX", sport)


def read_gpx(data: bytes) -> ParsedRun:
    """The run of a GPX file; raises DawnbeatError when it is damaged, unsafe, or has no times."""
    text = checked_text(data)
    try:
        found = gpxpy.parse(text)
    except (gpxpy.gpx.GPXException, ValueError, TypeError, LookupError) as error:
        raise DawnbeatError(f"this GPX file can't be read ({one_line(error)}): export it again") from error
    rows = Rows()
    way_m = 0.0
    for track in found.tracks:
        for segment in track.segments:
            # Way between two segments was not recorded, and is not made up.
            steps_m = _way_m([(point.latitude, point.longitude) for point in segment.points])
            for point, step_m in zip(segment.points, steps_m, strict=True):
                way_m += step_m
                if point.time is None:
                    continue
                pulse = cadence = None
                for extension in point.extensions:
                    for element in extension.iter():
                        name = _local_name(str(element.tag)).lower()
                        if name in ("hr", "heartrate"):
                            pulse = _number(element.text, name)
                        elif name in ("cad", "cadence"):
                            cadence = _number(element.text, name)
                rows.add(_in_utc(point.time), pulse, way_m, cadence)
    sports = [track.type for track in found.tracks if track.type]
    return parsed(rows, "GPX", sports[0] if sports else None)


def checked_text(data: bytes) -> str:
    """The text of an XML file that is well formed, holds no document type declaration and few enough samples.

    Raises DawnbeatError for any other.
    """
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise DawnbeatError("this XML file is not UTF-8: export it again") from error
    try:
        parser = defusedxml.sax.make_parser()
        parser.forbid_dtd = True
        parser.setContentHandler(_Counter())
        # Fed as text, as the readers are, so that all go by the same characters.
        parser.feed(text)
        parser.close()
    except DefusedXmlException as error:
        raise DawnbeatError(
            "this XML file declares a document type or entities, which no run needs and which can "
            "do harm: it was not read"
        ) from error
    except (SAXException, ParseError, ValueError) as error:
        raise DawnbeatError(f"this XML file is cut short or damaged ({one_line(error)}): export it again") from error
    return text


class _Counter(ContentHandler):
    def __init__(self) -> None:
        super().__init__()
        self.points = self.depth = 0

    def startElement(self, name: str, attrs: Any) -> None:  # noqa: N802 - the name that SAX calls
        self.depth += 1
        self.points += name.rsplit(":", 1)[-1] in ("trkpt", "Trackpoint")
        if self.points > MOST_SAMPLES:
            raise DawnbeatError(f"it holds over {MOST_SAMPLES} samples: split it into single runs")
        if self.depth > _DEEPEST:
            raise DawnbeatError("its elements are nested too deep for a run: it was not read")

    def endElement(self, name: str) -> None:  # noqa: N802 - the name that SAX calls
        self.depth -= 1


def _add_trackpoint(rows: Rows, point: Any) -> None:
    moment: datetime | None = None
    pulse = distance = steps = None
    for element in point.iter():
        name = _local_name(element.tag)
        if name == "Time":
            moment = _time(element.text)
        elif name == "HeartRateBpm":
            value = next((each.text for each in element.iter() if _local_name(each.tag) == "Value"), None)
            pulse = _number(value, name)
        elif name == "DistanceMeters":
            distance = _number(element.text, name)
        elif name == "RunCadence" or (name == "Cadence" and steps is None):
            steps = _number(element.text, name)
    if moment is not None:
        rows.add(moment, pulse, distance, steps)


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


def _number(text: str | None, name: str) -> float | None:
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
