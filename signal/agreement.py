"""Whether estimates of the rate that know nothing of one another agree."""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.reading import Intervals
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray
from dawnbeat.signal.beats import PieceBeats

_WINDOW_S = 10.0
_HOP_S = 3.0
_HARMONICS = 3
# Each harmonic counts less than the one before, or half the rate would hold as much (Hermes 1988, J Acoust Soc Am
# 83:257-264).
_SHARE_OF_NEXT = 0.84
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
    total = sum(
        _SHARE_OF_NEXT ** (harmonic - 1) * height[:, np.minimum(bins * harmonic, height.shape[1] - 1)]
        for harmonic in range(1, _HARMONICS + 1)
    )
    best = bins[np.argmax(np.asarray(total), axis=1)]
    centre_s = np.asarray((starts + width / 2.0) / rate_hz, dtype=np.float64)
    return centre_s, np.asarray(best * step_hz * 60.0, dtype=np.float64)


# Windows in which the rate moves by more than this between estimates disagree. Strong breathing smears the lines of a
# spectrum over a fifth of the rate; what it must not do is name half or twice the rate.
_TOLERANCE_REPETITION, _TOLERANCE_SPECTRUM = 0.12, 0.2
_HALF_SPECTRUM_S = 5.0


def agreeing_share(pieces: list[PieceBeats], intervals: Intervals, settings: Settings) -> tuple[float, float]:
    """Shares of windows in which autocorrelation, and in which spectrum, give the rate of the kept intervals.

    Windows that hold no kept interval don't count; without any window a share is 0.
    """
    end_s, kept_ms = intervals.end_s[intervals.kept], intervals.kept_ms
    by_repetition: list[bool] = []
    by_spectrum: list[bool] = []
    for piece in pieces:
        start_s = float(piece.wave_s[0])
        repeats = piece.detection.repetition
        half_s = settings.period_window_s / 2.0
        by_repetition += _agree(
            start_s + repeats.centre_s, 60.0 / repeats.own_period_s, half_s, end_s, kept_ms, _TOLERANCE_REPETITION
        )
        rate_hz = (piece.wave_s.size - 1) / float(piece.wave_s[-1] - piece.wave_s[0])
        centre_s, rate_bpm = spectral_rates(piece.wave, rate_hz, settings.lowest_bpm, settings.highest_bpm)
        by_spectrum += _agree(start_s + centre_s, rate_bpm, _HALF_SPECTRUM_S, end_s, kept_ms, _TOLERANCE_SPECTRUM)
    return _share(by_repetition), _share(by_spectrum)


def _agree(
    centre_s: FloatArray, rate_bpm: FloatArray, half_s: float, end_s: FloatArray, kept_ms: FloatArray, tolerance: float
) -> list[bool]:
    first = np.searchsorted(end_s, centre_s - half_s)
    last = np.searchsorted(end_s, centre_s + half_s)
    enough = last - first >= 3
    first, last = first[enough], last[enough]
    until_ms = np.concatenate([[0.0], np.cumsum(kept_ms)])
    beats_bpm = 60000.0 * (last - first) / (until_ms[last] - until_ms[first])
    return list(np.abs(rate_bpm[enough] / beats_bpm - 1.0) <= tolerance)


def _share(agree: list[bool]) -> float:
    return float(np.mean(agree)) if agree else 0.0
