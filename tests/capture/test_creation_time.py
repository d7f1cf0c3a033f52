"""When a film was taken, read from its container; the bytes are laid out here by the published formats.

ISO/IEC 14496-12 (boxes, movie header), Apple's QuickTime File Format (creationdate), RFC 9559 (DateUTC).
"""

from __future__ import annotations

import struct
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.capture.creation_time import creation_time
from dawnbeat.morning.sources import taken_at

TAKEN = datetime(2026, 3, 1, 5, 40, 12, tzinfo=UTC)
SECONDS = int((TAKEN - datetime(1904, 1, 1, tzinfo=UTC)).total_seconds())


def box(kind: bytes, content: bytes, wide: bool = False) -> bytes:
    if wide:
        return struct.pack(">I4sQ", 1, kind, 16 + len(content)) + content
    return struct.pack(">I4s", 8 + len(content), kind) + content


def header(seconds: int, version: int = 0) -> bytes:
    form = ">IIIII" if version == 0 else ">IQQIQ"
    return box(b"mvhd", struct.pack(form, version << 24, seconds, seconds, 1000, 60_000) + bytes(80))


def film(tmp_path: Path, *movie: bytes, before: bytes = b"", name: str = "clip.mp4") -> Path:
    path = tmp_path / name
    path.write_bytes(box(b"ftyp", b"isom") + before + box(b"moov", b"".join(movie)))
    return path


@pytest.mark.parametrize("version", [0, 1])
@pytest.mark.parametrize("before", [b"", box(b"mdat", bytes(5000)), box(b"mdat", bytes(5000), wide=True)])
def test_the_movie_header_says_when_in_utc(tmp_path: Path, version: int, before: bytes) -> None:
    path = film(tmp_path, header(SECONDS, version), before=before)
    assert creation_time(path) == TAKEN
    found = taken_at(path)
    assert found == TAKEN
    assert found is not None
    assert found.utcoffset() == TAKEN.astimezone().utcoffset()


def test_the_places_own_time_goes_before_it(tmp_path: Path) -> None:
    local = b"\x00\x00\x00\x01\x00\x00\x00\x002026-03-01T07:40:12+0200"
    path = film(tmp_path, header(SECONDS), box(b"meta", box(b"ilst", box(b"data", local))), name="clip.mov")
    found = creation_time(path)
    assert found == TAKEN
    assert found is not None
    assert found.utcoffset() == timedelta(hours=2)
    assert taken_at(path) == datetime(2026, 3, 1, 7, 40, 12, tzinfo=timezone(timedelta(hours=2)))


@pytest.mark.parametrize("seconds", [0, 1, 2**32 - 1])
def test_a_clock_that_was_never_set_says_nothing(tmp_path: Path, seconds: int) -> None:
    assert creation_time(film(tmp_path, header(seconds))) is None


def test_matroska_counts_nanoseconds_from_2001(tmp_path: Path) -> None:
    nanoseconds = int((TAKEN - datetime(2001, 1, 1, tzinfo=UTC)).total_seconds()) * 10**9
    path = tmp_path / "clip.webm"
    path.write_bytes(b"\x1a\x45\xdf\xa3\x84webm" + b"\x44\x61\x88" + struct.pack(">q", nanoseconds))
    assert creation_time(path) == TAKEN


@pytest.mark.parametrize("content", [b"", b"no film", struct.pack(">I4s", 3, b"moov"), box(b"moov", b"\x00\x00")])
def test_what_is_no_film_says_nothing(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(content)
    assert creation_time(path) is None


@given(st.binary(max_size=200), st.sampled_from([b"", b"\x1a\x45\xdf\xa3", box(b"ftyp", b"isom")]))
def test_no_bytes_bring_it_down(tmp_path_factory: pytest.TempPathFactory, content: bytes, begins: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.mp4"
    path.write_bytes(begins + content)
    creation_time(path)


def test_a_film_of_a_real_encoder_is_understood(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"mp4v"), 30.0, (64, 48))
    for number in range(30):
        writer.write(np.full((48, 64, 3), 40 + number, dtype=np.uint8))
    writer.release()
    data = bytearray(path.read_bytes())
    at = data.index(b"mvhd") + 8
    data[at : at + 4] = struct.pack(">I", SECONDS)
    path.write_bytes(data)
    assert creation_time(path) == TAKEN
