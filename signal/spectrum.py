"""The rate of the pulse from its spectrum: an estimate that knows nothing of beats or edges."""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.trace import FloatArray

_WINDOW_S = 10.0
_HOP_S = 3.0
_HARMONICS = 3
_RESOLUTION_HZ = 0.015


def spectral_rates(
    wave: FloatArray, rate_hz: float, lowest_bpm: float, highest_bpm: float
) -> tuple[FloatArray, FloatArray]:
    """Pulse rate in windows of 10 s every 3 s, as the frequency whose first three harmonics hold most.

    wave: (n,) band-passed. Summing harmonics (Schroeder 1968, J Acoust Soc Am 43:829-834) keeps a second wave, which
    lifts the double frequency, from being taken for the beat. Returns (w,) middles of the windows in seconds and (w,)
    rates in bpm.
    """
    width = min(int(_WINDOW_S * rate_hz), wave.size)
    starts = np.arange(0, wave.size - width + 1, max(1, int(_HOP_S * rate_hz)))
    size = 1 << int(np.ceil(np.log2(max(width, rate_hz / _RESOLUTION_HZ))))
    windows = wave[starts[:, None] + np.arange(width)] * np.hanning(width)
    height = np.abs(np.fft.rfft(windows, size))
    step_hz = rate_hz / size
    first = max(1, int(np.ceil(lowest_bpm / 60.0 / step_hz)))
    last = min(int(highest_bpm / 60.0 / step_hz), (height.shape[1] - 1) // _HARMONICS)
    bins = np.arange(first, max(last, first) + 1)
    total = sum(height[:, np.minimum(bins * harmonic, height.shape[1] - 1)] for harmonic in range(1, _HARMONICS + 1))
    best = bins[np.argmax(np.asarray(total), axis=1)]
    centre_s = np.asarray((starts + width / 2.0) / rate_hz, dtype=np.float64)
    return centre_s, np.asarray(best * step_hz * 60.0, dtype=np.float64)
