"""The rate from beats against a spectrum of the light that scipy computes (Welch 1967, IEEE Trans Audio 15:70-73)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import welch

from dawnbeat.capture.recording import read_recording
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse
from tests.drawn_mornings import draw_scenario

RECORDINGS = Path(__file__).parents[2] / "recordings"


def usable_samples() -> list[str]:
    folders = sorted(path.parent for path in RECORDINGS.glob("*/about.json"))
    return [f.name for f in folders if json.loads((f / "about.json").read_text())["verdict"] == "usable"]


def spectral_bpm(trace: Trace) -> float:
    """Centre of the lowest strong peak of the power between 30 and 200 beats a minute, in the steadiest colour.

    A second wave can lift the double frequency above the single one, so the lowest peak of a fifth of the highest
    counts as the pulse.
    """
    even_s = np.arange(trace.time_s[0], trace.time_s[-1], 1.0 / 30.0)
    best = (0.0, 0.0)
    for channel in range(3):
        light = np.interp(even_s, trace.time_s, np.log(np.maximum(trace.colour[:, channel], 0.5)))
        # The median over the windows, so that a few seconds of movement don't decide.
        frequency_hz, power = welch(
            light, fs=30.0, nperseg=600, noverlap=500, nfft=4096, detrend="linear", average="median"
        )
        band = (frequency_hz > 0.6) & (frequency_hz < 3.4)
        hz, height = frequency_hz[band], power[band]
        # Over a third of a hertz, so that breathing's side bands make one peak with their carrier.
        smooth = np.convolve(height, np.hanning(47), mode="same")
        tops = np.flatnonzero((smooth[1:-1] > smooth[:-2]) & (smooth[1:-1] >= smooth[2:])) + 1
        tall = tops[smooth[tops] > 0.2 * smooth[tops].max()]
        near = np.abs(hz - hz[tall[0]]) < 0.15
        clearness = float(smooth[tall[0]] / np.median(smooth))
        best = max(best, (clearness, 60.0 * float(np.sum(hz[near] * height[near]) / np.sum(height[near]))))
    return best[1]


@pytest.mark.parametrize("name", usable_samples())
def test_beats_and_spectrum_agree_on_the_shipped_recordings(name):
    trace = read_recording(RECORDINGS / name).trace
    assert analyse(trace).metrics.mean_hr_bpm == pytest.approx(spectral_bpm(trace), abs=2.5)


@pytest.mark.parametrize("seed", [800, 801, 802, 803, 804, 805])
def test_beats_and_spectrum_agree_on_drawn_mornings(seed):
    trace = draw_scenario(seed, clean=True).trace(gauge=False)
    analysis = analyse(trace)
    assert analysis.metrics.mean_hr_bpm == pytest.approx(spectral_bpm(trace), abs=3.0)
