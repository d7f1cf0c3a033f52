"""From frames to an even, level, filtered wave.

Resampled: real cameras jitter, drop frames and change rate, so nothing here assumes a constant rate. A short hole is
bridged by the spline that resamples; a longer gap splits the trace, since nothing is known of what happened in it.

Levelled: a step of the exposure, a finger set down or a knock makes a jump in brightness that no pulse can make.

Without flicker: light from the mains swings 100 or 120 times a second; sampled by a camera it folds down, 100 Hz at
30 frames a second to 10 Hz, just where the edge of a beat is timed. It differs from a pulse by its one sharp line,
taller than its neighbours on both sides, where the harmonics of a pulse fall off steadily.

Filtered without phase shift: forward and backward filtering squares the response, so that a Butterworth filter designed
at the cut-off would be 6 dB down there. The design frequencies are corrected so that the stated cut-offs are the -3 dB
points of the whole (Winter, Biomechanics and Motor Control of Human Movement, 4th ed. 2009, section 3.4.4.2).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import median_filter
from scipy.signal import butter, filtfilt, iirnotch, sosfiltfilt

from dawnbeat.shared.trace import BoolArray, FloatArray

# One grid for all rates that cameras have, so that filters and templates need no case of their own: above twice the
# rate of a common camera, a cubic spline loses nothing of a pulse wave below 8 Hz.
_GRID_HZ = 60.0
# No pulse needs more, and frames a microsecond apart must not make a grid of gigabytes.
_FINEST_GRID_HZ = 240.0


@dataclass(frozen=True)
class Piece:
    """An unbroken stretch of a trace on an even grid.

    start_s: time of the first grid point on the trace's clock. rate_hz: grid points a second.
    value: (n, channels) values on the grid. frame_rate_hz: median rate of the frames it came from.
    """

    start_s: float
    rate_hz: float
    value: FloatArray
    frame_rate_hz: float

    @property
    def time_s(self) -> FloatArray:
        """(n,) times of the grid points."""
        return self.start_s + np.arange(self.value.shape[0]) / self.rate_hz


def split_at_gaps(time_s: FloatArray, max_gap_s: float) -> list[slice]:
    """Rows of each stretch without a step longer than max_gap_s; no rows give no stretch."""
    if time_s.size == 0:
        return []
    # A step of exactly the limit belongs to the stretch; six decimals in files must not push it over.
    breaks = np.flatnonzero(np.diff(time_s) > max_gap_s + 1e-4) + 1
    edges = [0, *breaks.tolist(), time_s.size]
    return [slice(first, last) for first, last in pairwise(edges)]


def even_grid(time_s: FloatArray, value: FloatArray) -> Piece:
    """Resample one stretch to an even grid by a cubic spline through every frame.

    time_s: (n,) strictly increasing, n >= 4. value: (n, channels). The grid has at least the frames' own rate.
    """
    frame_rate_hz = 1.0 / float(np.median(np.diff(time_s)))
    rate_hz = min(max(_GRID_HZ, frame_rate_hz), _FINEST_GRID_HZ)
    count = int(np.floor((time_s[-1] - time_s[0]) * rate_hz + 1e-6)) + 1
    grid_s = time_s[0] + np.arange(count) / rate_hz
    return Piece(float(time_s[0]), rate_hz, CubicSpline(time_s, value)(grid_s), frame_rate_hz)


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


# Below this the pulse's own harmonics are strong, and a line can't be told from them.
_LOWEST_HZ = 5.0
_HIGHEST_LINE_SHARE = 0.48
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
    last = min(int(_HIGHEST_LINE_SHARE * frame_rate_hz / step_hz), power.size - 1)
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


_ORDER = 2
# Frames of a camera at 15 a second carry nothing above 7.5 Hz; stay clear of that edge.
_HIGHEST_SHARE_OF_FRAME_RATE = 0.42


def lowpass_for(frame_rate_hz: float, lowpass_hz: float) -> float:
    """The upper cut-off that frames at this rate can carry, in Hz."""
    return min(lowpass_hz, _HIGHEST_SHARE_OF_FRAME_RATE * frame_rate_hz)


@lru_cache(maxsize=32)
def sections(rate_hz: float, highpass_hz: float | None, lowpass_hz: float | None) -> FloatArray:
    """Second-order sections whose forward and backward pass is 3 dB down at the given cut-offs.

    Shape (sections, 6). Either cut-off may be None. The bilinear transform warps frequency, so the correction is
    made on the warped axis and holds at any rate.
    """
    correction = (np.sqrt(2.0) - 1.0) ** (1.0 / (2 * _ORDER))
    parts = []
    if highpass_hz is not None:
        parts.append(butter(_ORDER, _shifted(highpass_hz, rate_hz, correction), "highpass", fs=rate_hz, output="sos"))
    if lowpass_hz is not None:
        parts.append(
            butter(_ORDER, _shifted(lowpass_hz, rate_hz, 1.0 / correction), "lowpass", fs=rate_hz, output="sos")
        )
    return np.concatenate(parts)


def _shifted(cutoff_hz: float, rate_hz: float, factor: float) -> float:
    return rate_hz / np.pi * float(np.arctan(np.tan(np.pi * cutoff_hz / rate_hz) * factor))


def zero_phase(value: FloatArray, rate_hz: float, highpass_hz: float | None, lowpass_hz: float | None) -> FloatArray:
    """Filter along the first axis forward and backward; (n, ...) in, the same shape out."""
    chosen = sections(rate_hz, highpass_hz, lowpass_hz)
    # Half a period of the slowest wave of the filter at each end keeps the transient out of the first beats.
    wanted = int(rate_hz / (highpass_hz or lowpass_hz or 1.0))
    return np.asarray(sosfiltfilt(chosen, value, axis=0, padlen=min(wanted, value.shape[0] - 1)))


def running_median(value: FloatArray, width: int, mirrored: bool = True) -> FloatArray:
    """Median of the width values around each of (n,); width is odd.

    Beyond its ends the series is mirrored, or goes on with its last value. Fewer values than half the width can't be
    mirrored.
    """
    mode = "mirror" if mirrored and value.size > width // 2 else "nearest"
    return np.asarray(median_filter(value, width, mode=mode))
