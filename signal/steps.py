"""Jumps in brightness that no pulse can make: a step of the exposure, a finger set down, a knock."""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.trace import BoolArray, FloatArray

# The steepest change of a usual second, times this, is more than any beat's edge.
_TIMES_USUAL = 5.0


def without_steps(time_s: FloatArray, value: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Take jumps out of the logarithm of brightness, where a change of exposure is a plain offset.

    time_s: (n,), value: (n, channels). Returns the values with each jump levelled, and (n,) True for the frames
    after a jump. Left in, one jump would ring through the band-pass for seconds and hide the beats around it.
    """
    change = np.diff(value, axis=0)
    step_s = np.diff(time_s)
    per_second = np.maximum(1, round(1.0 / float(np.median(step_s))))
    first = np.arange(0, change.shape[0], per_second)
    usual = np.median(np.maximum.reduceat(np.abs(change), first, axis=0), axis=0)
    stretch = np.maximum(step_s / np.median(step_s), 1.0)[:, None]
    jump = np.abs(change) > _TIMES_USUAL * np.maximum(usual, 1e-9) * stretch
    if not jump.any():
        return value, np.zeros(time_s.size, dtype=np.bool_)
    levelled = np.concatenate([value[:1], value[:1] + np.cumsum(np.where(jump, 0.0, change), axis=0)])
    return levelled, np.concatenate([[False], jump.any(axis=1)])
