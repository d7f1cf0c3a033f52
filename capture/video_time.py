"""When a video was taken, by its own word."""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO

# ISO/IEC 14496-12: times of the movie header count seconds from here, in UTC.
_EPOCH = datetime(1904, 1, 1, tzinfo=UTC)
# Cameras whose clock was never set write zero, or a day soon after their own epoch.
_EARLIEST = datetime(2005, 1, 1, tzinfo=UTC)
_AHEAD = timedelta(days=1)
_MOST_BOXES = 10_000


def taken_at(path: Path, now: datetime | None = None) -> datetime | None:
    """When the recording of an MP4, MOV or 3GP file began, in local time; None where the file doesn't say.

    Read from `creation_time` of the movie header (`moov/mvhd`, ISO/IEC 14496-12, section 8.2.2). A time that
    can't be, such as zero or one in the future, counts as none.
    """
    try:
        with path.open("rb") as file:
            seconds = _creation_time(file)
    except (OSError, struct.error, ValueError):
        return None
    if not seconds or seconds > 1e11:
        return None
    taken = _EPOCH + timedelta(seconds=seconds)
    if not _EARLIEST <= taken <= (now or datetime.now(UTC)) + _AHEAD:
        return None
    return taken.astimezone()


def _creation_time(file: IO[bytes]) -> int | None:
    for name, begin, end in _boxes(file, 0, os.fstat(file.fileno()).st_size):
        if name != b"moov":
            continue
        for inner, at, _end in _boxes(file, begin, end):
            if inner == b"mvhd":
                file.seek(at)
                wide = file.read(4)[0] == 1
                return int(struct.unpack(">Q" if wide else ">I", file.read(8 if wide else 4))[0])
    return None


def _boxes(file: IO[bytes], begin: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Name, begin and end of what is inside each box of a stretch of the file."""
    for _ in range(_MOST_BOXES):
        if begin + 8 > end:
            return
        file.seek(begin)
        size, name = struct.unpack(">I4s", file.read(8))
        inside = begin + 8
        if size == 1:
            size = struct.unpack(">Q", file.read(8))[0]
            inside += 8
        elif size == 0:  # the last box goes to the end
            size = end - begin
        if size < inside - begin or begin + size > end:
            return
        yield name, inside, begin + size
        begin += size
