"""The band-pass of the pulse, without phase shift.

Forward and backward filtering squares the response, so that a Butterworth filter designed at the cut-off would be
6 dB down there. The design frequencies are corrected so that the stated cut-offs are the -3 dB points of the whole
(Winter, Biomechanics and Motor Control of Human Movement, 4th ed. 2009, section 3.4.4.2).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.signal import butter, sosfiltfilt

from dawnbeat.shared.trace import FloatArray

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
