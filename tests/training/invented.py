"""Invented runs, zone sets and mornings for the tests."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime

import numpy as np

from dawnbeat.shared.morning import Morning
from dawnbeat.training.run import BINS, Run, RunFigures, Samples
from dawnbeat.training.zone_store import ZoneSet
from dawnbeat.training.zones import Anchors, Zones, default_scheme, zones


def samples(
    pulse_bpm: Sequence[float],
    step_s: float = 1.0,
    speed_m_per_s: float = 3.0,
    steps_per_min: Sequence[float] | float = float("nan"),
) -> Samples:
    pulse = np.array(pulse_bpm, dtype=np.float64)
    time_s = step_s * np.arange(pulse.size)
    return Samples(
        time_s,
        pulse,
        speed_m_per_s * time_s,
        np.broadcast_to(np.asarray(steps_per_min, dtype=np.float64), pulse.shape).copy(),
        np.zeros(pulse.size, dtype=np.bool_),
    )


def swaying(seconds: int, level_bpm: float = 140.0) -> np.ndarray:
    at = np.arange(seconds)
    return level_bpm + 3 * np.sin(at / 41) + 1.5 * np.sin(at / 7)


def run(
    day: date,
    minutes: float = 60.0,
    pulse_bpm: int | None = 140,
    felt_effort: float | None = None,
    distance_m: float | None = 10_000.0,
    run_id: int = 1,
) -> Run:
    duration_s = 60 * minutes
    at_bpm = np.zeros(BINS, dtype=np.int64)
    if pulse_bpm is not None:
        at_bpm[pulse_bpm] = round(1000 * duration_s)
    measured = 0.0 if pulse_bpm is None else duration_s
    figures = RunFigures(
        elapsed_s=duration_s,
        duration_s=duration_s,
        measured_s=measured,
        missing_s={} if pulse_bpm is not None else {"drop-out": duration_s},
        distance_m=distance_m,
        mean_bpm=pulse_bpm,
        peak_bpm=pulse_bpm,
        drift_pct=None,
        ms_at_bpm=at_bpm,
    )
    began = datetime(day.year, day.month, day.day, 7, 0, tzinfo=UTC)
    return Run(run_id, began, figures, felt_effort, "", False, "invented.csv", "CSV")


def plain_zones(resting_bpm: float = 50.0, maximum_bpm: float = 190.0) -> Zones:
    return zones(Anchors(resting_bpm, maximum_bpm), default_scheme("heart-rate reserve"))


def zone_set(from_date: date, resting_bpm: float = 50.0, maximum_bpm: float = 190.0) -> ZoneSet:
    return ZoneSet(from_date, plain_zones(resting_bpm, maximum_bpm), "invented")


def morning(day: date, ln_rmssd: float = 4.0, pulse_bpm: float = 50.0) -> Morning:
    return Morning(day, ln_rmssd, pulse_bpm, "lying", 6.5, True)
