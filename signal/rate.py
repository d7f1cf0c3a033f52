"""The rate of the pulse from how the wave repeats itself, without looking for beats.

Autocorrelation in short windows finds the period even where a strong dicrotic wave makes two crests a beat: the
whole beat repeats better than its half does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import next_fast_len

from dawnbeat.shared.trace import FloatArray

_HOP_S = 2.0
# Of two lags that repeat about equally well the shorter is the beat: a wave that repeats every second also repeats
# every two.
_SHORTER_LAG_SHARE = 0.8
_NEIGHBOURS = 7


@dataclass(frozen=True)
class Repetition:
    """How the wave repeats, window by window.

    centre_s: (w,) middle of each window, from the start of the piece.
    period_s: (w,) beat period around each window. own_period_s: (w,) from that window alone.
    strength: (w,) autocorrelation at that window's own period, about -1 to 1.
    """

    centre_s: FloatArray
    period_s: FloatArray
    own_period_s: FloatArray
    strength: FloatArray


def repetition(wave: FloatArray, rate_hz: float, window_s: float, lowest_bpm: float, highest_bpm: float) -> Repetition:
    """Beat period over time by autocorrelation in windows.

    wave: (n,) band-passed. Windows of window_s seconds every two seconds; a shorter piece is one window.
    """
    width = min(int(window_s * rate_hz), wave.size)
    first_lag = int(60.0 / highest_bpm * rate_hz)
    last_lag = min(int(60.0 / lowest_bpm * rate_hz) + 2, width - 1)
    starts = np.arange(0, wave.size - width + 1, max(1, int(_HOP_S * rate_hz)))
    centre_s: FloatArray = np.asarray((starts + width / 2.0) / rate_hz, dtype=np.float64)
    own = _autocorrelation(_tamed(wave), starts, width, last_lag)
    if last_lag - first_lag < 3:
        nothing = np.zeros(starts.size)
        return Repetition(centre_s, nothing + 60.0 / highest_bpm, nothing + 60.0 / highest_bpm, nothing)
    overall_s = _best_lag(own.mean(axis=0)[None, :], first_lag, None, rate_hz)[0]
    around = _running_mean(own, _NEIGHBOURS)
    period_s = _best_lag(around, first_lag, np.full(starts.size, overall_s), rate_hz)
    own_period_s = _best_lag(own, first_lag, period_s, rate_hz)
    rows = np.arange(starts.size)
    strength = own[rows, np.clip(np.rint(own_period_s * rate_hz).astype(int), 0, own.shape[1] - 1)]
    return Repetition(centre_s, period_s, own_period_s, strength)


def _tamed(wave: FloatArray) -> FloatArray:
    """Cut what towers over the wave, so that one jolt does not decide for its whole window."""
    limit = 4.0 * float(np.median(np.abs(wave)))
    return np.clip(wave, -limit, limit) if limit > 0 else wave


def _autocorrelation(wave: FloatArray, starts: np.ndarray, width: int, last_lag: int) -> FloatArray:
    windows = wave[starts[:, None] + np.arange(width)]
    windows = windows - windows.mean(axis=1, keepdims=True)
    size = next_fast_len(width + last_lag, real=True)
    power = np.abs(np.fft.rfft(windows, size)) ** 2
    lagged = np.fft.irfft(power, size)[:, : last_lag + 1]
    # The overlap shrinks with the lag; undo that, or short lags would always win.
    lagged *= width / (width - np.arange(last_lag + 1))
    return np.asarray(lagged / np.maximum(lagged[:, :1], 1e-12))


def _running_mean(rows: FloatArray, neighbours: int) -> FloatArray:
    sums = np.concatenate([np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0)])
    count = rows.shape[0]
    low = np.maximum(np.arange(count) - neighbours, 0)
    high = np.minimum(np.arange(count) + neighbours + 1, count)
    return np.asarray((sums[high] - sums[low]) / (high - low)[:, None])


def _best_lag(rows: FloatArray, first_lag: int, near_s: FloatArray | None, rate_hz: float) -> FloatArray:
    """Period in seconds of each row of autocorrelations: the shortest of the best peaks, or the best near near_s."""
    lags = np.arange(rows.shape[1])
    inner = rows[:, 1:-1]
    peak = (inner > rows[:, :-2]) & (inner >= rows[:, 2:]) & (lags[1:-1] >= first_lag)
    height = np.where(peak, inner, -np.inf)
    if near_s is None:
        tall = height >= np.maximum(_SHORTER_LAG_SHARE * height.max(axis=1, keepdims=True), 1e-9)
        chosen = np.where(tall.any(axis=1), tall.argmax(axis=1), 0) + 1
        fallback_s = np.full(rows.shape[0], 1.0)
    else:
        away = np.log(np.maximum(lags[1:-1], 1)[None, :] / (near_s[:, None] * rate_hz))
        chosen = (height - 1.5 * away**2).argmax(axis=1) + 1
        fallback_s = near_s
    return np.where(peak.any(axis=1), chosen / rate_hz, fallback_s)
