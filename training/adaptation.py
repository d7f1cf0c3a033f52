"""Months and years: what was run, how fast at the same pulse, and resting pulse and variability beside it.

Pace at a fixed pulse and pulse at a fixed pace come from steady minutes only (run_figures.steady): minutes whose pulse
lies within 5 bpm of the fixed one, or whose pace within 5 % of the fixed one, each carried to the fixed value by its
own metres a beat. A rise of pace at the same pulse is commonly read as better endurance (common practice, no source);
heat, hills and a new sensor move it as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np

from dawnbeat.journal.ranges import usual_posture, with_posture
from dawnbeat.journal.store import Journal
from dawnbeat.shared.morning import Morning
from dawnbeat.shared.trace import FloatArray
from dawnbeat.training.load import COEFFICIENTS, Coefficients
from dawnbeat.training.run_figures import steady
from dawnbeat.training.weeks import JudgedRun, counting

PULSE_WINDOW_BPM, PACE_WINDOW_SHARE = 5.0, 0.05
FEWEST_MINUTES = 20
RECENT_DAYS = 365
Period = Literal["month", "year"]


@dataclass(frozen=True)
class Fixed:
    """What periods are compared at: a pulse in bpm and a pace in s/km."""

    pulse_bpm: float
    pace_s_per_km: float


@dataclass(frozen=True)
class PeriodSummary:
    """A month or a year. first: its first day. Sums and shares as in weeks.Week, over the runs that count.

    pace_s_per_km: at the fixed pulse; pulse_bpm: at the fixed pace; None below 20 minutes of it. resting_bpm, ln_rmssd:
    means of its usable mornings, None without any.
    """

    first: date
    runs: int
    duration_s: float
    distance_m: float | None
    without_distance: int
    easy_runs: int
    judged_runs: int
    easy_share: float | None
    session_load: float | None
    unrated: int
    trimp: dict[Coefficients, float | None]
    pace_s_per_km: float | None
    pulse_bpm: float | None
    steady_minutes: int
    mornings: int
    resting_bpm: float | None
    ln_rmssd: float | None

    @property
    def easy_runs_share(self) -> float | None:
        """Share of the judged runs that were easy, 0 to 1; None where none was judged."""
        return self.easy_runs / self.judged_runs if self.judged_runs else None

    def to_json(self) -> dict[str, Any]:
        """The same as plain values."""
        return {**vars(self), "first": self.first.isoformat(), "easy_runs_share": self.easy_runs_share}


def usual_mornings(journal: Journal, today: date) -> list[Morning]:
    """The mornings of the journal in the posture that most share, to take means of."""
    mornings = journal.mornings(None, today)
    posture = usual_posture(mornings, today)
    return [] if posture is None else list(with_posture(mornings, posture))


def steady_minutes(judged: Sequence[JudgedRun]) -> FloatArray:
    """(n, 2) pulse in bpm and speed in m/s of every steady minute of these runs."""
    parts = [each.run.figures.minutes[steady(each.run.figures.minutes)][:, :2] for each in judged]
    return np.concatenate(parts) if parts else np.empty((0, 2))


def fixed_of(judged: Sequence[JudgedRun], today: date) -> Fixed | None:
    """The pulse, to 5 bpm, and the pace, to 5 s/km, of the middle steady minute of the year's easy runs, or None."""
    recent = [each for each in counting(judged) if each.easy and (today - each.run.local_date).days <= RECENT_DAYS]
    minutes = steady_minutes(recent)
    if len(minutes) < FEWEST_MINUTES:
        return None
    pulse, speed = np.median(minutes, axis=0)
    return Fixed(5.0 * round(float(pulse) / 5), 5.0 * round(1000 / float(speed) / 5))


def pace_at(minutes: FloatArray, pulse_bpm: float) -> float | None:
    """Seconds a km at a pulse, from (n, 2) minutes near it; None below 20."""
    near = minutes[np.abs(minutes[:, 0] - pulse_bpm) <= PULSE_WINDOW_BPM]
    if len(near) < FEWEST_MINUTES:
        return None
    return float(1000 / np.mean(near[:, 1] / near[:, 0] * pulse_bpm))


def pulse_at(minutes: FloatArray, pace_s_per_km: float) -> float | None:
    """Pulse at a pace, from (n, 2) minutes near it; None below 20."""
    speed = 1000 / pace_s_per_km
    near = minutes[np.abs(minutes[:, 1] / speed - 1) <= PACE_WINDOW_SHARE]
    if len(near) < FEWEST_MINUTES:
        return None
    return float(np.mean(near[:, 0] / near[:, 1] * speed))


def periods_of(
    judged: Sequence[JudgedRun],
    mornings: Sequence[Morning],
    fixed: Fixed | None,
    first: date,
    last: date,
    period: Period = "month",
) -> list[PeriodSummary]:
    """Every month, or year, from that of `first` to that of `last`, those without a run included.

    mornings: the ones to take means of, of one posture.
    """
    found = []
    begin = _begin(first, period)
    runs = counting(judged)
    while begin <= last:
        end = _begin(begin + timedelta(days=31 if period == "month" else 366), period)
        within = [each for each in runs if begin <= each.run.local_date < end]
        usable = [each for each in mornings if each.usable and begin <= each.date < end]
        found.append(_summary(begin, within, usable, fixed))
        begin = end
    return found


def _summary(begin: date, runs: Sequence[JudgedRun], mornings: Sequence[Morning], fixed: Fixed | None) -> PeriodSummary:
    minutes = steady_minutes(runs)
    ways = [each.run.figures.distance_m for each in runs if each.run.figures.distance_m is not None]
    loads = [each.session_load for each in runs if each.session_load is not None]
    judged = [each.judged for each in runs if each.judged is not None]
    measured = sum(sum(each.zone_s) for each in judged)
    resting = [each.resting_pulse_bpm for each in mornings if each.resting_pulse_bpm is not None]
    variability = [each.ln_rmssd for each in mornings if each.ln_rmssd is not None]
    return PeriodSummary(
        first=begin,
        runs=len(runs),
        duration_s=sum(each.run.figures.duration_s for each in runs),
        distance_m=sum(ways) if ways else None,
        without_distance=len(runs) - len(ways),
        easy_runs=sum(each.easy is True for each in runs),
        judged_runs=sum(each.easy is not None for each in runs),
        easy_share=1 - sum(each.above_s for each in judged) / measured if measured else None,
        session_load=sum(loads) if loads else None,
        unrated=len(runs) - len(loads),
        trimp={name: _sum([each.trimp[name] for each in runs]) for name in COEFFICIENTS},
        pace_s_per_km=None if fixed is None else pace_at(minutes, fixed.pulse_bpm),
        pulse_bpm=None if fixed is None else pulse_at(minutes, fixed.pace_s_per_km),
        steady_minutes=len(minutes),
        mornings=len(mornings),
        resting_bpm=sum(resting) / len(resting) if resting else None,
        ln_rmssd=sum(variability) / len(variability) if variability else None,
    )


def _sum(values: Sequence[float | None]) -> float | None:
    known = [each for each in values if each is not None]
    return sum(known) if known else None


def _begin(day: date, period: Period) -> date:
    return day.replace(day=1) if period == "month" else day.replace(month=1, day=1)
