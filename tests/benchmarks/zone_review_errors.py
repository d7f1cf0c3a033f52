"""How often the review of zones speaks without cause, and how often it stays silent with one, on simulated runners.

python tests/benchmarks/zone_review_errors.py [--runners 400]

A runner has 16 weeks of four easy runs and one hard one. Day to day the pulse at the easy pace varies by 3 bpm
(standard deviation), drift by 2.5 % about 2 %, felt effort by 0.8 about 3, and talking fails on one easy run in ten.
These spreads are assumptions of our own. The runner with a cause has one of: drift of 8 %, pulse moved by 8 bpm, easy
runs that feel like 5.5, talking that fails on nine easy runs in ten.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dawnbeat.training.maximum import Maximum
from dawnbeat.training.periods import fixed_of, judge_runs
from dawnbeat.training.run import BINS, Run, RunFigures
from dawnbeat.training.zone_review import review
from dawnbeat.training.zone_store import Standing, ZoneSet
from dawnbeat.training.zones import Anchors, default_scheme, zones

Cause = Literal["none", "drift", "pulse at pace", "felt easy", "talk easy"]
CAUSES: tuple[Cause, ...] = ("none", "drift", "pulse at pace", "felt easy", "talk easy")
TODAY = date(2025, 6, 1)
_WEEKS, _MINUTES, _SPEED = 16, 55, 2.9


def findings(rng: np.random.Generator, cause: Cause) -> set[str]:
    """What the review says of one simulated runner."""
    drift, felt, silent = 2.0, 3.0, 0.1
    if cause == "drift":
        drift = 8.0
    if cause == "felt easy":
        felt = 5.5
    if cause == "talk easy":
        silent = 0.9
    runs = []
    for back in range(7 * _WEEKS - 1, -1, -1):
        day = TODAY - timedelta(days=back)
        if day.weekday() in (0, 4):
            continue
        hard = day.weekday() == 2
        moved = 8.0 if cause == "pulse at pace" and back < 28 else 0.0
        level = (168.0 if hard else 136.0) + moved + rng.normal(0, 3)
        own_drift = rng.normal(drift, 2.5)
        rating = float(np.clip(round(2 * rng.normal(7.0 if hard else felt, 0.8)) / 2, 0, 10))
        talk = "a few words" if hard or rng.random() < silent else "whole sentences"
        runs.append(_run(len(runs) + 1, day, level, own_drift, rating, talk, rng))
    found = zones(Anchors(50, 190), default_scheme("heart-rate reserve"))
    in_force = ZoneSet(TODAY - timedelta(days=200), found, "invented")
    known = Standing(None, Maximum(TODAY - timedelta(days=100), "race", 190.0), None)
    judged = judge_runs(runs, [in_force])
    return {each.code for each in review(judged, known, in_force, fixed_of(judged, TODAY), TODAY)}


def _run(run_id: int, day: date, level: float, drift: float, felt: float, talk: str, rng: np.random.Generator) -> Run:
    minute = np.arange(_MINUTES)
    pulse = level * (1 + drift / 100 * (minute - _MINUTES / 2) / (_MINUTES / 2)) + rng.normal(0, 1, _MINUTES)
    speed = np.full(_MINUTES, _SPEED * (1.25 if level > 150 else 1.0)) * (1 + rng.normal(0, 0.02, _MINUTES))
    at_bpm = np.bincount(np.round(pulse).astype(int), minlength=BINS)[:BINS] * 60_000
    even = slice(10, None)
    half = (_MINUTES - 10) // 2
    early, late = (speed[even][part].sum() / pulse[even][part].sum() for part in (slice(half), slice(half, None)))
    duration = 60.0 * _MINUTES
    figures = RunFigures(
        *(duration, duration, duration),
        {},
        *(float(speed.sum() * 60), float(pulse.mean()), float(pulse.max()), float(100 * (early - late) / early)),
        at_bpm,
        np.column_stack((pulse, speed, np.zeros(_MINUTES))),
    )
    began = datetime(day.year, day.month, day.day, 7, tzinfo=UTC)
    base = Run(run_id, began, figures, felt, "", False, "invented", "CSV")
    return replace(base, talk=talk)  # type: ignore[arg-type]


def rates(runners: int, seed: int = 0) -> dict[Cause, Counter[str]]:
    """How many of the runners with each cause, or none, hear each finding."""
    rng = np.random.default_rng(seed)
    return {cause: Counter(code for _ in range(runners) for code in findings(rng, cause)) for cause in CAUSES}


def main() -> None:
    """Print the rates."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runners", type=int, default=400)
    runners = parser.parse_args().runners
    for cause, heard in rates(runners).items():
        said = ", ".join(f"{code} {100 * count / runners:.1f} %" for code, count in sorted(heard.items()))
        print(f"cause {cause}: {said or 'nothing'}")


if __name__ == "__main__":
    main()
