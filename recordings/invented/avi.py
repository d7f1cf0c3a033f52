"""MJPEG in an AVI file, small: for the fingertip video that is shipped.

OpenCV's own writer repeats the standard Huffman tables in each frame, about 420 bytes that are more than a
tiny picture of a finger takes. MJPEG in AVI may leave them out, and decoders put the standard tables of
ITU-T T.81 annex K in (FFmpeg and libjpeg do). OpenCV makes the pictures; here they are only packed.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from pathlib import Path

from dawnbeat.capture.frames import Image
from dawnbeat.capture.opencv import load_cv2
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import write_private

_LARGEST_BYTES = 1 << 30
_KEY_FRAME = 0x10
_HAS_INDEX = 0x10
_TABLES, _SCAN, _TOP_MARKER = 0xC4, 0xDA, 0xFF


def write_mjpeg_avi(path: Path, images: Iterable[Image], rate_hz: float, quality: int = 95) -> int:
    """Write the images, (height, width, 3) blue, green, red bytes all of one size, and return how many there
    were.

    rate_hz: frames a second as the container says. quality: of the JPEG pictures, 1 to 100. The file appears
    whole or not at all. Raises DawnbeatError when there is no image, a picture differs in size, the file
    can't be written or would exceed a gigabyte.
    """
    cv2 = load_cv2()
    chunks: list[bytes] = []
    size: tuple[int, int] | None = None
    total = 0
    for image in images:
        here = (int(image.shape[1]), int(image.shape[0]))
        size = size or here
        if here != size:
            raise DawnbeatError(f"a picture of {here} pixels follows one of {size}: a video has one size")
        made, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
        if not made:
            raise DawnbeatError(f"a picture of {here} pixels can't be packed as JPEG: choose another size")
        chunks.append(without_tables(data.tobytes()))
        total += len(chunks[-1]) + 24
        if total > _LARGEST_BYTES:
            raise DawnbeatError("the video would exceed a gigabyte: make it shorter or smaller")
    if size is None:
        raise DawnbeatError("a video needs at least one picture: give a longer duration")
    try:
        write_private(path, _packed(chunks, size, rate_hz))
    except OSError as error:
        raise DawnbeatError(f"can't write {path}: {one_line(error.strerror or error)}") from error
    return len(chunks)


def without_tables(jpeg: bytes) -> bytes:
    """A JPEG picture made with the standard Huffman tables, without them."""
    parts = [jpeg[:2]]
    at = 2
    while jpeg[at] == _TOP_MARKER and jpeg[at + 1] != _SCAN:
        length = 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
        if jpeg[at + 1] != _TABLES:
            parts.append(jpeg[at : at + length])
        at += length
    return b"".join([*parts, jpeg[at:]])


def _packed(chunks: list[bytes], size: tuple[int, int], rate_hz: float) -> bytes:
    """The AVI file: headers, the pictures, and the index of where they are."""
    width, height = size
    rate, scale = round(rate_hz * 1000), 1000
    longest = max(len(chunk) for chunk in chunks)
    main = struct.pack(
        "<14I",
        round(1e6 / rate_hz), round(longest * rate_hz), 0, _HAS_INDEX, len(chunks), 0, 1, longest,
        width, height, 0, 0, 0, 0,
    )  # fmt: skip
    stream = struct.pack(
        "<4s4sIHHIIIIIIII4H",
        b"vids", b"MJPG", 0, 0, 0, 0, scale, rate, 0, len(chunks), longest, 0xFFFFFFFF,
        0, 0, 0, width, height,
    )  # fmt: skip
    picture = struct.pack("<IiiHH4sIiiII", 40, width, height, 1, 24, b"MJPG", width * height * 3, 0, 0, 0, 0)
    header = _list(
        b"hdrl",
        _chunk(b"avih", main) + _list(b"strl", _chunk(b"strh", stream) + _chunk(b"strf", picture)),
    )
    index = []
    at = 4
    for chunk in chunks:
        index.append(struct.pack("<4sIII", b"00dc", _KEY_FRAME, at, len(chunk)))
        at += 8 + len(chunk) + len(chunk) % 2
    movie = _list(b"movi", b"".join(_chunk(b"00dc", chunk) for chunk in chunks))
    return _chunk(b"RIFF", b"AVI " + header + movie + _chunk(b"idx1", b"".join(index)))


def _chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)


def _list(name: bytes, data: bytes) -> bytes:
    return _chunk(b"LIST", name + data)
