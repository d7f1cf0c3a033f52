"""When a film was taken, by its own container: MP4 and QuickTime, which phones write, and Matroska and WebM.

After ISO/IEC 14496-12 (movie header box, seconds since 1904 in UTC), Apple's QuickTime File Format specification
(key com.apple.quicktime.creationdate, with the offset of the place) and RFC 9559 (DateUTC, nanoseconds since 2001).
"""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import BinaryIO

_1904 = datetime(1904, 1, 1, tzinfo=UTC)
_2001 = datetime(2001, 1, 1, tzinfo=UTC)
# A camera whose clock was never set says one of the epochs, or nearly so.
_EARLIEST = datetime(2005, 1, 1, tzinfo=UTC)
_MOST_HEADER = 1 << 20
_LOCAL = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:?\d\d")
_MATROSKA = b"\x1a\x45\xdf\xa3"
_DATE_UTC = b"\x44\x61\x88"


def creation_time(path: Path) -> datetime | None:
    """When the film says it was taken, with an offset; None where it doesn't say or what it says can't be.

    OSError passes through.
    """
    with path.open("rb") as file:
        start = file.read(4)
        file.seek(0)
        found = _of_matroska(file) if start == _MATROSKA else _of_boxes(file)
    plausible = found is not None and _EARLIEST <= found <= datetime.now(UTC) + timedelta(days=1)
    return found if plausible else None


def _of_boxes(file: BinaryIO) -> datetime | None:
    """The place's own time where there is one, else the movie header's, which knows no place."""
    movie = next((span for kind, span in _boxes(file, 0, os.fstat(file.fileno()).st_size) if kind == b"moov"), None)
    if movie is None:
        return None
    header: datetime | None = None
    for kind, (start, end) in _boxes(file, *movie):
        file.seek(start)
        if kind == b"mvhd":
            header = _of_movie_header(file.read(min(end - start, 32)))
        elif kind in (b"meta", b"udta"):
            local = _LOCAL.search(file.read(min(end - start, _MOST_HEADER)))
            if local is not None:
                try:
                    return datetime.fromisoformat(local[0].decode("ascii"))
                except ValueError:
                    continue
    return header


def _boxes(file: BinaryIO, start: int, end: int) -> Iterator[tuple[bytes, tuple[int, int]]]:
    """The boxes between two places: kind, and where its content lies. Ends at the first that can't be."""
    while start + 8 <= end:
        file.seek(start)
        size, kind = struct.unpack(">I4s", file.read(8))
        content = start + 8
        if size == 1:
            wide = file.read(8)
            size = struct.unpack(">Q", wide)[0] if len(wide) == 8 else 0
            content += 8
        elif size == 0:
            size = end - start
        if start + size > end or start + size < content:
            return
        yield kind, (content, start + size)
        start += size


def _of_movie_header(content: bytes) -> datetime | None:
    form, size = (">Q", 8) if content[:1] == b"\x01" else (">I", 4)
    if len(content) < 4 + size:
        return None
    seconds = struct.unpack(form, content[4 : 4 + size])[0]
    try:
        return _1904 + timedelta(seconds=seconds)
    except OverflowError:
        return None


def _of_matroska(file: BinaryIO) -> datetime | None:
    head = file.read(_MOST_HEADER)
    at = head.find(_DATE_UTC)
    if at < 0 or len(head) < at + 11:
        return None
    try:
        return _2001 + timedelta(microseconds=struct.unpack(">q", head[at + 3 : at + 11])[0] / 1000)
    except OverflowError:
        return None
