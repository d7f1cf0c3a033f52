"""Analyses by hand, for what is drawn and printed of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dawnbeat.shared.reading import Analysis, Beats, Finding, Intervals, Metrics, PulseWave, Reason, Verdict
from dawnbeat.shared.settings import Settings


def eight_beats(usable: bool = True) -> Analysis:
    """Eight beats a second apart with one interval left out as movement."""
    time_s = np.arange(0.0, 9.0, 1 / 30)
    beats_s = np.arange(8) + 0.5
    left_out: tuple[Reason | None, ...] = (None, None, None, "movement", None, None, None)
    return Analysis(
        duration_s=float(time_s[-1]),
        frame_rate_hz=30.0,
        channel="red",
        beats=Beats(beats_s, np.full(8, 1.0), np.ones(8)),
        intervals=Intervals(beats_s[:-1], np.diff(beats_s) * 1000, left_out),
        metrics=Metrics(
            mean_hr_bpm=60.04,
            mean_nn_ms=1000.0,
            rmssd_ms=42.26,
            ln_rmssd=3.744,
            sdnn_ms=40.0,
            nn50=2,
            pnn50_pct=33.3,
            min_nn_ms=951.0,
            max_nn_ms=1049.0,
            kept_beats=8,
            kept_share=6 / 7,
        ),
        intervals95={"mean_hr_bpm": (59.5, 60.5), "rmssd_ms": (30.0, 55.0)},
        timing_error_ms=1.25,
        verdict=Verdict(
            usable,
            True,
            False,
            (Finding("rates_agree") if usable else Finding("movement", {"from_s": 3.0, "to_s": 5.0}),),
        ),
        wave=PulseWave(time_s, np.sin(2 * np.pi * time_s)),
        settings=Settings(),
        version="test",
    )


def no_beats() -> Analysis:
    """What is left where nothing was found: no wave, no beat, no figure."""
    nothing = np.empty(0)
    return replace(
        eight_beats(False),
        duration_s=0.0,
        frame_rate_hz=None,
        channel=None,
        beats=Beats(nothing, nothing, nothing),
        intervals=Intervals(nothing, nothing, ()),
        metrics=Metrics(),
        intervals95={},
        timing_error_ms=None,
        wave=PulseWave(nothing, nothing),
    )
