"""Are the zones still right? What runs, mornings and dates say for or against them, each with its evidence.

Nothing here changes a zone. All limits are common practice or our own, no source; how often they speak without cause,
and how often they stay silent with one, is measured by tests/benchmarks/zone_review_errors.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from dawnbeat.training.maximum import Maximum
from dawnbeat.training.periods import Fixed, JudgedRun, counting, steady_minutes
from dawnbeat.training.zone_store import Standing, Threshold, ZoneSet

LOOK_BACK = timedelta(days=84)
# Drift: six easy runs, their middle one and two thirds of them above 5 %.
DRIFT_PCT, DRIFT_RUNS, MOSTLY = 5.0, 6, 2 / 3
# Pulse at the easy pace: the last four weeks against the twelve before, by the spread of single runs.
RECENT, EARLIER = timedelta(days=28), timedelta(days=112)
MOVED_BPM, MOVED_ERRORS, RECENT_RUNS, EARLIER_RUNS = 5.0, 3.0, 4, 6
MINUTES_OF_A_RUN = 10
PACE_SHARE = 0.08
# Felt effort: 5 of 10 is "hard" on the scale, 3 "moderate" (Foster et al. 2001, J Strength Cond Res 15:109-115).
FELT_HARD, FELT_MODERATE, RATED_RUNS = 5.0, 3.0, 5
TALKED_RUNS = 4
MAXIMUM_OLD, THRESHOLD_OLD = timedelta(days=3 * 365), timedelta(days=365)
RESTING_BPM = 3.0

Says = Literal[
    "drift", "pulse at pace", "felt easy", "felt hard", "talk easy", "talk hard", "maximum", "threshold", "resting"
]


@dataclass(frozen=True)
class ReviewFinding:
    """One thing that speaks against the zones in force, as data: a code and the numbers it rests on."""

    code: Says
    values: Mapping[str, float]

    @property
    def words(self) -> str:
        """The finding with its evidence and what it would mean."""
        values = self.values
        runs = f"{values.get('runs', 0):.0f}"
        match self.code:
            case "drift":
                return (
                    f"On {runs} easy runs the pulse drifted by {values['median_pct']:.0f} % against the pace in the "
                    f"middle run, over {DRIFT_PCT:.0f} % on {values['over']:.0f} of them: the top of easy may be too "
                    "high for long runs, or it was hot. Try the next ones five beats lower."
                )
            case "pulse at pace":
                way = "lower" if values["moved_bpm"] < 0 else "higher"
                means = (
                    "you may be fitter: a new threshold or maximum test would say by how much"
                    if values["moved_bpm"] < 0
                    else "heat, tiredness, an illness that is coming or a new sensor do that; so does less training"
                )
                return (
                    f"At the same easy pace your pulse was {abs(values['moved_bpm']):.0f} beats {way} in the last "
                    f"four weeks ({runs} runs) than in the twelve before ({values['earlier']:.0f} runs): {means}."
                )
            case "felt easy":
                return (
                    f"{values['over']:.0f} of {runs} easy runs felt hard ({FELT_HARD:.0f} or more of 10): the top of "
                    "easy may be too high."
                )
            case "felt hard":
                return (
                    f"{values['over']:.0f} of {runs} runs above easy felt moderate at most ({FELT_MODERATE:.0f} of "
                    "10): the zones may be too low."
                )
            case "talk easy":
                return (
                    f"On {values['over']:.0f} of {runs} easy runs you could not talk in whole sentences: the top of "
                    "easy may be too high. The talk test comes before the numbers."
                )
            case "talk hard":
                return (
                    f"On {values['over']:.0f} of {runs} runs above easy you could talk in whole sentences: the zones "
                    "may be too low."
                )
            case "maximum" if values["measured"]:
                years = values["days"] / 365
                return f"The maximum is {years:.1f} years old, and it falls with the years: test again."
            case "maximum":
                return "The maximum comes from age, off by some 10 beats in one runner of three: a test says more."
            case "threshold":
                return (
                    f"The threshold pulse is {values['days'] / 30.4:.0f} months old, and training moves it: test again."
                )
            case "resting":
                return (
                    f"Your resting pulse is {values['now_bpm']:.0f} bpm now and was {values['then_bpm']:.0f} when "
                    "these zones were made: zones by reserve move with it."
                )


def review(
    judged: Sequence[JudgedRun], known: Standing, in_force: ZoneSet | None, fixed: Fixed | None, today: date
) -> list[ReviewFinding]:
    """Everything that speaks against the zones in force today; empty where nothing does or too little is known."""
    recent = [each for each in counting(judged) if today - LOOK_BACK < each.run.local_date <= today]
    easy = [each for each in recent if each.easy is True]
    hard = [each for each in recent if each.easy is False and not each.run.race]
    found = [
        _drift(easy),
        None if fixed is None else pulse_moved(counting(judged), fixed, today),
        _mostly("felt easy", [felt >= FELT_HARD for felt in _felt(easy)], RATED_RUNS),
        _mostly("felt hard", [felt <= FELT_MODERATE for felt in _felt(hard)], RATED_RUNS),
        _mostly("talk easy", [not whole for whole in _talked(easy)], TALKED_RUNS),
        _mostly("talk hard", _talked(hard), TALKED_RUNS),
        _maximum_age(known.maximum, today),
        _threshold_age(known.threshold, in_force, today),
        _resting(known, in_force),
    ]
    return [each for each in found if each is not None]


def pulse_moved(judged: Sequence[JudgedRun], fixed: Fixed, today: date) -> ReviewFinding | None:
    """Whether the pulse at the easy pace differs between the last four weeks and the twelve before."""
    speed = 1000 / fixed.pace_s_per_km
    sides: tuple[list[float], list[float]] = ([], [])
    for each in judged:
        back = today - each.run.local_date
        if not each.easy or not timedelta(0) <= back < EARLIER:
            continue
        minutes = steady_minutes([each])
        near = minutes[np.abs(minutes[:, 1] / speed - 1) <= PACE_SHARE]
        if len(near) >= MINUTES_OF_A_RUN:
            sides[back >= RECENT].append(float(np.mean(near[:, 0] / near[:, 1] * speed)))
    now, before = sides
    if len(now) < RECENT_RUNS or len(before) < EARLIER_RUNS:
        return None
    moved = float(np.mean(now) - np.mean(before))
    error = math.sqrt(np.var(now, ddof=1) / len(now) + np.var(before, ddof=1) / len(before))
    if abs(moved) < MOVED_BPM or abs(moved) < MOVED_ERRORS * error:
        return None
    return ReviewFinding("pulse at pace", {"moved_bpm": moved, "runs": len(now), "earlier": len(before)})


def _drift(easy: Sequence[JudgedRun]) -> ReviewFinding | None:
    drifts = [each.run.figures.drift_pct for each in easy if each.run.figures.drift_pct is not None]
    over = sum(each > DRIFT_PCT for each in drifts)
    if len(drifts) < DRIFT_RUNS or float(np.median(drifts)) <= DRIFT_PCT or over < MOSTLY * len(drifts):
        return None
    return ReviewFinding("drift", {"median_pct": float(np.median(drifts)), "over": over, "runs": len(drifts)})


def _felt(runs: Sequence[JudgedRun]) -> list[float]:
    return [each.run.felt_effort for each in runs if each.run.felt_effort is not None]


def _talked(runs: Sequence[JudgedRun]) -> list[bool]:
    """Whether the runner could talk in whole sentences, of each run that says."""
    return [each.run.talk == "whole sentences" for each in runs if each.run.talk is not None]


def _mostly(code: Says, speaking: Sequence[bool], fewest: int) -> ReviewFinding | None:
    if len(speaking) < fewest or sum(speaking) < MOSTLY * len(speaking):
        return None
    return ReviewFinding(code, {"over": sum(speaking), "runs": len(speaking)})


def _maximum_age(maximum: Maximum | None, today: date) -> ReviewFinding | None:
    if maximum is None or (maximum.measured and today - maximum.date <= MAXIMUM_OLD):
        return None
    return ReviewFinding("maximum", {"days": (today - maximum.date).days, "measured": float(maximum.measured)})


def _threshold_age(threshold: Threshold | None, in_force: ZoneSet | None, today: date) -> ReviewFinding | None:
    by_threshold = in_force is not None and in_force.zones.scheme.method == "threshold pulse"
    if threshold is None or not by_threshold or today - threshold.date <= THRESHOLD_OLD:
        return None
    return ReviewFinding("threshold", {"days": (today - threshold.date).days})


def _resting(known: Standing, in_force: ZoneSet | None) -> ReviewFinding | None:
    if known.resting is None or in_force is None or in_force.zones.scheme.method != "heart-rate reserve":
        return None
    then = in_force.zones.anchors.resting_bpm
    if then is None or abs(known.resting.bpm - then) < RESTING_BPM:
        return None
    return ReviewFinding("resting", {"now_bpm": known.resting.bpm, "then_bpm": then})
