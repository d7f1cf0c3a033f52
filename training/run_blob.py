"""Samples packed for the database, and back.

Version 1: the byte 1, then zlib of four little-endian columns one after another: time in milliseconds
(uint32), pulse in tenths (uint16, 65535 for none), distance in decimetres (uint32, 2**32 - 1 for none), steps
a minute in tenths (uint16, 65535 for none) with the timer's stops as a last column of bytes. The numbers of
time and distance are stored as differences, which pack better.
"""

from __future__ import annotations

import zlib

import numpy as np

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import FloatArray
from dawnbeat.training.run import Samples

_VERSION = b"\x01"
_NONE16, _NONE32 = 2**16 - 1, 2**32 - 1
_ROW_BYTES = 4 + 2 + 4 + 2 + 1


def blob_of(samples: Samples) -> bytes:
    """The samples as bytes; pulse and step rate are kept to a tenth, distance to a decimetre."""
    time_ms = np.round(1000 * samples.time_s).astype(np.uint32)
    distance = _packed(samples.distance_m, _NONE32).astype(np.uint32)
    parts = (
        np.diff(time_ms, prepend=np.uint32(0)).astype("<u4"),
        _packed(samples.pulse_bpm, _NONE16).astype("<u2"),
        # Differences modulo 2**32 come back exactly, the mark for "none" included.
        np.diff(distance, prepend=np.uint32(0)).astype("<u4"),
        _packed(samples.steps_per_min, _NONE16).astype("<u2"),
        samples.stopped.astype("u1"),
    )
    return _VERSION + zlib.compress(b"".join(part.tobytes() for part in parts), 6)


def samples_of(blob: bytes) -> Samples:
    """The samples of `blob_of`; raises DawnbeatError when they are damaged or of a newer version."""
    try:
        if blob[:1] != _VERSION:
            raise ValueError("unknown version")
        data = zlib.decompress(blob[1:])
        n, rest = divmod(len(data), _ROW_BYTES)
        if rest:
            raise ValueError("odd length")
    except (ValueError, zlib.error) as error:
        raise DawnbeatError(
            "the samples of this run can't be read: import its file again or restore a backup"
        ) from error
    time_ms = np.cumsum(np.frombuffer(data, "<u4", n, 0), dtype=np.uint32)
    pulse = np.frombuffer(data, "<u2", n, 4 * n)
    distance = np.cumsum(np.frombuffer(data, "<u4", n, 6 * n), dtype=np.uint32)
    steps = np.frombuffer(data, "<u2", n, 10 * n)
    stopped = np.frombuffer(data, "u1", n, 12 * n)
    return Samples(
        time_ms.astype(np.float64) / 1000,
        np.where(pulse == _NONE16, np.nan, pulse / 10),
        np.where(distance == _NONE32, np.nan, distance / 10),
        np.where(steps == _NONE16, np.nan, steps / 10),
        stopped.astype(np.bool_),
    )


def _packed(values: FloatArray, none: int) -> FloatArray:
    """Tenths, halves up, cut off below the mark for none."""
    tenths = np.floor(10 * np.nan_to_num(values, nan=0.0) + 0.5).clip(0, none - 1)
    packed: FloatArray = np.where(np.isfinite(values), tenths, none)
    return packed
