"""An invented runner's mornings, to try the journal without having one.

No figure here was measured on anybody.
"""

from __future__ import annotations

import math
from datetime import date, datetime, time, timedelta, timezone

import numpy as np

from dawnbeat.journal.store import Journal
from dawnbeat.shared.installed import software_version
from dawnbeat.shared.morning import Circumstances, Context, Posture
from dawnbeat.shared.reading import Analysis, Beats, Finding, Intervals, Metrics, PulseWave, Reason, Verdict
from dawnbeat.shared.settings import Settings
from dawnbeat.signal.figures import metrics_of

DAYS = 90
SEED = 20
CAMERA = "invented camera"
_ZONE = timezone(timedelta(hours=1))
_DURATION_S = 120.0
_FRAME_RATE_HZ = 30.0
_TIMING_ERROR_MS = 1.5
_RUNS = ("10 km easy", "rest", "6 x 800 m", "8 km easy", "rest", "45 min hilly", "20 km long and slow")
_ILL_DAYS = range(55, 62)  # counted from the first morning


def fill_with_invented_mornings(journal: Journal, today: date, days: int = DAYS, seed: int = SEED) -> int:
    """Save `days` mornings up to today, the same for the same seed; returns how many readings.

    Some mornings are left out, some are sitting, some not usable; one week looks like an illness.
    """
    rng = np.random.default_rng(seed)
    saved = 0
    for day in range(days):
        local = today - timedelta(days=days - 1 - day)
        ill = day in _ILL_DAYS
        # A slow wave of training and rest under the scatter from morning to morning.
        ln_rmssd = 3.9 + 0.1 * math.sin(day / 11) + rng.normal(0, 0.13) - (0.5 if ill else 0.0)
        pulse_bpm = 48.5 - 1.5 * math.sin(day / 11) + rng.normal(0, 1.2) + (9.0 if ill else 0.0)
        minutes = int(rng.normal(6 * 60 + 30, 12))
        if rng.random() < 0.06 and day != days - 1:
            continue
        sitting = day % 23 == 11
        if sitting:
            pulse_bpm, ln_rmssd = pulse_bpm + 6, ln_rmssd - 0.2
        moved = day % 19 == 7
        began = datetime.combine(local, time(minutes // 60, minutes % 60), _ZONE)
        posture: Posture = "sitting" if sitting else "lying"
        context = Context(
            sleep=_rating(rng, 5 if ill else 3),
            stress=_rating(rng, 3),
            fatigue=_rating(rng, 6 if ill else 3),
            soreness=_rating(rng, 3),
            hours_slept=round(float(rng.normal(7.4, 0.6)) * 4) / 4,
            ill=ill,
            alcohol=day % 13 == 5,
            yesterday_run="rest" if ill else _RUNS[day % len(_RUNS)],
            note="sore throat, invented" if ill and day == _ILL_DAYS.start else None,
        )
        taken = Circumstances(began, posture, CAMERA, context)
        journal.save(taken, invented_analysis(ln_rmssd, pulse_bpm, rng, moved))
        saved += 1
    return saved


def invented_analysis(ln_rmssd: float, pulse_bpm: float, rng: np.random.Generator, moved: bool = False) -> Analysis:
    """An analysis whose intervals have very nearly this pulse and exactly this lnRMSSD.

    moved: leave out most of the intervals as movement, so that the reading is not usable.
    """
    mean_ms = 60_000.0 / pulse_bpm
    count = int(_DURATION_S * 1000 / mean_ms) - 1
    # Breathing and a slow wave; scaled so that successive differences have the wanted root mean square.
    beat_s = np.arange(count) * mean_ms / 1000
    shape = np.sin(2 * np.pi * 0.22 * beat_s) + 0.6 * np.sin(2 * np.pi * 0.09 * beat_s) + rng.normal(0, 0.4, count)
    shape -= shape.mean()
    interval_ms = mean_ms + shape * math.exp(ln_rmssd) / math.sqrt(float(np.mean(np.diff(shape) ** 2)))
    start_s = 0.4 + np.concatenate(([0.0], np.cumsum(interval_ms)[:-1])) / 1000
    first_left_out = count // 3 if moved else count
    reasons: list[Reason | None] = [None] * first_left_out
    reasons += ["movement"] * (count - first_left_out)
    kept_ms = interval_ms[:first_left_out]
    intervals = Intervals(start_s, interval_ms, tuple(reasons))
    metrics = metrics_of(intervals)
    verdict = Verdict(
        True, True, False, (Finding("kept", {"kept_s": float(kept_ms.sum()) / 1000, "duration_s": _DURATION_S}),)
    )
    if moved:
        at_s = start_s[first_left_out]
        findings = (
            Finding("little_kept", {"kept_s": float(kept_ms.sum()) / 1000, "duration_s": _DURATION_S}),
            Finding("movement", {"from_s": float(at_s), "to_s": _DURATION_S}),
        )
        verdict = Verdict(False, True, False, findings)
    nothing = np.empty(0)
    beat_times = np.append(start_s, start_s[-1] + interval_ms[-1] / 1000)
    return Analysis(
        duration_s=_DURATION_S,
        frame_rate_hz=_FRAME_RATE_HZ,
        channel="red",
        beats=Beats(beat_times, np.full(count + 1, _TIMING_ERROR_MS), np.ones(count + 1)),
        intervals=intervals,
        metrics=metrics,
        intervals95=_intervals95(metrics),
        timing_error_ms=_TIMING_ERROR_MS,
        verdict=verdict,
        wave=PulseWave(nothing, nothing),
        settings=Settings(),
        version=software_version(),
    )


def _intervals95(metrics: Metrics) -> dict[str, tuple[float, float]]:
    bounds = {}
    for name, share in (("mean_hr_bpm", 0.02), ("sdnn_ms", 0.15), ("rmssd_ms", 0.12)):
        value = getattr(metrics, name)
        bounds[name] = (value * (1 - share), value * (1 + share))
    low, high = bounds["rmssd_ms"]
    return {**bounds, "ln_rmssd": (math.log(low), math.log(high))}


def _rating(rng: np.random.Generator, centre: int) -> int:
    return int(np.clip(round(rng.normal(centre, 0.9)), 1, 7))
