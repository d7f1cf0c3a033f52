"""The filters' -3 dB points against scipy's frequency response of the whole, forward and backward.

Forward and backward filtering multiplies the amplitude by |H| twice, so that the whole is 3 dB (a factor of the
square root of a half) down where |H|^2 is. Source: Winter, Biomechanics and Motor Control of Human Movement, 4th ed.
2009, section 3.4.4.2 (from memory); the response is scipy.signal.sosfreqz's.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import sosfreqz

from dawnbeat.signal.conditioning import lowpass_for, sections, zero_phase

MINUS_3_DB = 20.0 * np.log10(np.sqrt(0.5))


def whole_db(sos, at_hz, rate_hz: float) -> np.ndarray:
    _, response = sosfreqz(sos, worN=np.atleast_1d(at_hz), fs=rate_hz)
    return 20.0 * np.log10(np.abs(response) ** 2)


@pytest.mark.parametrize("rate_hz", [30.0, 60.0, 240.0, 1000.0])
@pytest.mark.parametrize("cutoff_hz", [0.1, 0.5, 2.0, 8.0, 12.0])
@pytest.mark.parametrize("kind", ["highpass", "lowpass"])
def test_a_single_cut_off_is_3_db_down_to_a_hundredth(rate_hz, cutoff_hz, kind):
    sos = sections(rate_hz, cutoff_hz, None) if kind == "highpass" else sections(rate_hz, None, cutoff_hz)
    assert whole_db(sos, cutoff_hz, rate_hz)[0] == pytest.approx(MINUS_3_DB, abs=0.01)


@pytest.mark.parametrize(("highpass_hz", "lowpass_hz"), [(0.5, 8.0), (0.5, 12.0), (0.1, 20.0)])
def test_a_band_is_3_db_down_at_both_ends_flat_between_and_closed_beyond(highpass_hz, lowpass_hz):
    sos = sections(60.0, highpass_hz, lowpass_hz)
    assert whole_db(sos, [highpass_hz, lowpass_hz], 60.0) == pytest.approx([MINUS_3_DB] * 2, abs=0.1)
    middle_hz = np.geomspace(2.5 * highpass_hz, lowpass_hz / 2.5, 20)
    assert np.abs(whole_db(sos, middle_hz, 60.0)).max() < 0.3
    # Second order, twice: 24 dB an octave far out.
    assert whole_db(sos, highpass_hz / 4.0, 60.0)[0] < -40.0
    assert whole_db(sos, highpass_hz / 1000.0, 60.0)[0] < -200.0


@pytest.mark.parametrize("tone_hz", [0.5, 1.0, 3.0, 8.0])
def test_a_tone_that_really_passes_keeps_its_phase_and_loses_what_the_response_says(tone_hz):
    rate_hz = 60.0
    time_s = np.arange(int(60 * rate_hz)) / rate_hz
    passed = zero_phase(np.sin(2 * np.pi * tone_hz * time_s), rate_hz, 0.5, 8.0)
    inner = slice(int(20 * rate_hz), int(40 * rate_hz))
    wave = np.exp(-2j * np.pi * tone_hz * time_s[inner])
    gain = 2.0 * np.mean(passed[inner] * wave) / (2.0 * np.mean(np.sin(2 * np.pi * tone_hz * time_s[inner]) * wave))
    expected_db = whole_db(sections(rate_hz, 0.5, 8.0), tone_hz, rate_hz)[0]
    assert 20.0 * np.log10(np.abs(gain)) == pytest.approx(expected_db, abs=0.05)
    assert np.angle(gain) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("frame_rate_hz", [10.0, 15.0, 24.0, 30.0, 60.0])
def test_no_cut_off_is_asked_for_beyond_what_the_frames_carry(frame_rate_hz):
    # Nyquist 1928 and Shannon 1949: frames carry nothing above half their rate.
    for wanted_hz in (3.0, 8.0, 12.0, 20.0):
        allowed_hz = lowpass_for(frame_rate_hz, wanted_hz)
        assert 0.0 < allowed_hz < frame_rate_hz / 2.0
        assert allowed_hz <= wanted_hz


@pytest.mark.parametrize("count", [2, 5, 30, 119])
def test_pieces_shorter_than_the_filter_stay_finite(count):
    value = np.linspace(0.0, 1.0, count)
    assert np.isfinite(zero_phase(value, 30.0, 0.5, 8.0)).all()
