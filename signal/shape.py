"""The recording's own median beat, and how like it each beat is."""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.trace import FloatArray


def windows_at(wave: FloatArray, rate_hz: float, time_s: FloatArray, offset_s: FloatArray) -> FloatArray:
    """(k, m) the wave at each of k times plus m offsets, linear between samples, held at the ends."""
    at = np.clip((time_s[:, None] + offset_s) * rate_hz, 0.0, wave.size - 1.000001)
    floor = at.astype(np.int64)
    part = at - floor
    return np.asarray(wave[floor] * (1.0 - part) + wave[floor + 1] * part)


def unit_rows(rows: FloatArray) -> FloatArray:
    """Each row less its mean, divided by its length; a flat row becomes zeros."""
    centred = rows - rows.mean(axis=1, keepdims=True)
    return np.asarray(centred / np.maximum(np.linalg.norm(centred, axis=1, keepdims=True), 1e-12))


def median_beat(rows: FloatArray) -> FloatArray:
    """(m,) the median of unit rows, made again from the half that is most like it, as a unit row.

    A median alone is pulled by jolts and second waves that slipped in; the better half seldom holds any.
    """
    median: FloatArray = unit_rows(np.median(rows, axis=0)[None, :])[0]
    if rows.shape[0] >= 8:
        like = rows @ median
        median = unit_rows(np.median(rows[like >= np.median(like)], axis=0)[None, :])[0]
    return median
