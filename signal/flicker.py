"""The flicker of a lamp on the mains, which a camera sees as a slow wave.

Light from the mains swings 100 or 120 times a second; sampled by a camera it folds down, 100 Hz at 30 frames a second
to 10 Hz, just where the edge of a beat is timed. It differs from a pulse by its one sharp line, taller than its
neighbours on both sides, where the harmonics of a pulse fall off steadily.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import filtfilt, iirnotch

from dawnbeat.shared.trace import FloatArray

# Below this the pulse's own harmonics are strong, and a line can't be told from them.
_LOWEST_HZ = 5.0
_HIGHEST_SHARE_OF_FRAME_RATE = 0.48
_WINDOW_S = 16.0
# Wide enough to hold the next harmonic of a fast pulse.
_LINE_HZ, _NEIGHBOURS_HZ = 0.35, 3.5
_TIMES_NEIGHBOURS = 4.0
_NOTCH_WIDTH_HZ = 0.8


def flicker_hz(value: FloatArray, rate_hz: float, frame_rate_hz: float) -> float | None:
    """Frequency of the one line that stands out above 5 Hz, or None.

    value: (n, channels) on an even grid of rate_hz; shorter than 16 s gives None. A line stands out where its power
    is four times the greatest within 3.5 Hz on either side.
    """
    width = int(_WINDOW_S * rate_hz)
    count = value.shape[0] // width
    if count == 0:
        return None
    windows = value[: count * width].reshape(count, width, -1)
    windows = (windows - windows.mean(axis=1, keepdims=True)) * np.hanning(width)[None, :, None]
    # Bright and dark colours flicker by the same share, so that the sum over the colours is a fair one.
    power = (np.abs(np.fft.rfft(windows, axis=1)) ** 2).mean(axis=0).sum(axis=1)
    step_hz = rate_hz / width
    first = int(_LOWEST_HZ / step_hz)
    last = min(int(_HIGHEST_SHARE_OF_FRAME_RATE * frame_rate_hz / step_hz), power.size - 1)
    if last <= first:
        return None
    peak = first + int(np.argmax(power[first : last + 1]))
    line, around = int(_LINE_HZ / step_hz), int(_NEIGHBOURS_HZ / step_hz)
    beside = np.concatenate([power[max(0, peak - around) : peak - line], power[peak + line + 1 : peak + around + 1]])
    if beside.size == 0 or power[peak] < _TIMES_NEIGHBOURS * max(float(beside.max()), 1e-12):
        return None
    return peak * step_hz


def without_flicker(value: FloatArray, rate_hz: float, frame_rate_hz: float) -> FloatArray:
    """The values without the line that `flicker_hz` finds, by a narrow filter without phase shift."""
    line_hz = flicker_hz(value, rate_hz, frame_rate_hz)
    if line_hz is None:
        return value
    numerator, denominator = iirnotch(line_hz, line_hz / _NOTCH_WIDTH_HZ, fs=rate_hz)
    return np.asarray(filtfilt(numerator, denominator, value, axis=0))
