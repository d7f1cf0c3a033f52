"""Runs judged by the zones of their day, and weeks, months and years made of them.

Foster 1998 (Med Sci Sports Exerc 30:1164-1168): monotony = mean of the seven daily loads / their standard deviation;
strain = the week's load * monotony. The paper does not say which standard deviation; here it is that of a sample.

Periods are compared by the pace at a fixed pulse and the pulse at a fixed pace (run_figures.pace_at). A rise of pace at
the same pulse is commonly read as better endurance (common practice, no source); heat, hills and a new sensor move it.
"""

from __future__ import annotations

import bisect
import itertools
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np

from dawnbeat.journal.ranges import in_usual_posture
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Morning
from dawnbeat.shared.trace import FloatArray
from dawnbeat.shared.wording import Units, clock, count_of, percent, way
from dawnbeat.training import run_store
from dawnbeat.training.run import Run
from dawnbeat.training.run_figures import (
    COEFFICIENTS,
    FEWEST_MINUTES,
    Coefficients,
    Judged,
    judge,
    pace_at,
    pulse_at,
    session_load,
    steady,
    trimp_of,
)
from dawnbeat.training.zone_store import ZoneSet, present_sets

WEEK_DAYS = 7
# By runs, and by measured time: the same training reads higher by time, as a hard session is easy for most of it.
EASY_AIM, EASY_TIME_AIM = 0.80, 0.90
# A run counts as easy with so much of its measured time at or below the top of easy (our own line, no source).
EASY_RUN_SHARE = 0.85
EASY_AIM_SOURCE = (
    "About 80 % of the sessions of endurance athletes were found to be easy (Seiler 2010, Int J Sports Physiol "
    "Perform 5:276-291); by time the same training is nearer 90 % (Seiler & Kjerland 2006, Scand J Med Sci Sports "
    "16:49-56; from memory). By runs: a run is easy with at least 85 % of its measured time at or below the top of "
    "easy (our own line), and a race never is. By time: all measured seconds."
)
RANGE_WEEKS, RANGE_MINIMUM = 8, 3
Span = tuple[float, float]


@dataclass(frozen=True)
class JudgedRun:
    """A run with what its zones make of it. judged: None without zones or without a measured pulse.

    before_sets: the run is older than all zone sets, and is judged by the first.
    """

    run: Run
    zone_set: ZoneSet | None
    judged: Judged | None
    before_sets: bool
    trimp: dict[Coefficients, float | None]
    session_load: float | None

    @property
    def easy(self) -> bool | None:
        """Whether it was an easy run as a whole; None where nothing was measured or there are no zones."""
        if self.judged is None or self.judged.easy_share is None:
            return None
        return not self.run.race and self.judged.easy_share >= EASY_RUN_SHARE


def judge_runs(runs: Sequence[Run], sets: Sequence[ZoneSet]) -> list[JudgedRun]:
    """Each run by the set in force on its day. sets: by the day they begin."""
    begins = [each.from_date for each in sets]
    found = []
    for run in runs:
        place = bisect.bisect_right(begins, run.local_date) - 1
        zone_set = sets[max(place, 0)] if sets else None
        zones = None if zone_set is None else zone_set.zones
        found.append(
            JudgedRun(
                run=run,
                zone_set=zone_set,
                judged=judge(run.figures.ms_at_bpm, zones) if zones is not None and run.has_pulse else None,
                before_sets=bool(sets) and place < 0,
                trimp={
                    name: None if zones is None else trimp_of(run.figures, zones.anchors, name) for name in COEFFICIENTS
                },
                session_load=session_load(run.felt_effort, run.figures.duration_s),
            )
        )
    return found


def judged_runs(journal: Journal, today: date, first: date | None = None, last: date | None = None) -> list[JudgedRun]:
    """The runs of the journal from `first` to `last`, by start, each judged by the zones of its day.

    Where no zone set is kept, those that the journal would make today are used.
    """
    return judge_runs(run_store.runs(journal, first, last), present_sets(journal, today))


def counting(judged: Sequence[JudgedRun]) -> list[JudgedRun]:
    """Those that count as runs: weeks, loads and findings rest on them alone."""
    return [each for each in judged if each.run.counts]


@dataclass(frozen=True)
class WeekLoad:
    """A week by Foster. monotony and strain: None where all days are equal, which has no defined value."""

    load: float
    monotony: float | None
    strain: float | None


def week_load(daily: Sequence[float]) -> WeekLoad:
    """Load, monotony and strain of seven days, days of rest included as 0."""
    if len(daily) != WEEK_DAYS:
        raise DawnbeatError(f"{len(daily)} days: a week has {WEEK_DAYS}")
    load, spread = float(sum(daily)), statistics.stdev(daily)
    if spread <= 1e-9 * max(load, 1.0):
        return WeekLoad(load, None, None)
    monotony = load / WEEK_DAYS / spread
    return WeekLoad(load, monotony, load * monotony)


@dataclass(frozen=True, kw_only=True)
class Totals:
    """What the runs that count in a week, month or year sum up to. first: its first day.

    distance_m: of the runs that know theirs. easy_runs, judged_runs: runs that were easy, of those judged. easy_share:
    of the measured time, 0 to 1, or None. trimp, session_load: sums over the runs that have one; None where none has.
    without_distance, unrated: runs that are missing in these sums.
    """

    first: date
    runs: int
    duration_s: float
    distance_m: float | None
    without_distance: int
    easy_runs: int
    judged_runs: int
    easy_share: float | None
    trimp: dict[Coefficients, float | None]
    session_load: float | None
    unrated: int

    @property
    def easy_runs_share(self) -> float | None:
        """Share of the judged runs that were easy, 0 to 1; None where none was judged."""
        return self.easy_runs / self.judged_runs if self.judged_runs else None


@dataclass(frozen=True, kw_only=True)
class Week(Totals):
    """Monday to Sunday. zone_s: seconds in each zone. without_trimp: runs without an impulse. monotony and strain: of
    the session rating, None where a run is unrated or the week is not over.

    easy_range, easy_runs_range, trimp_range, session_load_range: lowest and highest easy share by time, by runs,
    impulse and rating load of the eight weeks before with any, at least three of them, or None.
    """

    measured_s: float
    zone_s: tuple[float, ...]
    without_trimp: int
    monotony: float | None
    strain: float | None
    easy_range: Span | None = None
    easy_runs_range: Span | None = None
    trimp_range: dict[Coefficients, Span | None] = field(default_factory=lambda: {"men": None, "women": None})
    session_load_range: Span | None = None

    @property
    def last(self) -> date:
        """The Sunday."""
        return self.first + timedelta(days=WEEK_DAYS - 1)


def monday_of(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def weeks_of(judged: Sequence[JudgedRun], first: date, last: date) -> list[Week]:
    """Every week from that of `first` to that of `last`, those without a run included.

    judged: should reach eight weeks further back, for the range of easy shares. A week that `last` cuts short
    has no monotony and strain yet.
    """
    by_week: dict[date, list[JudgedRun]] = {}
    for each in counting(judged):
        by_week.setdefault(monday_of(each.run.local_date), []).append(each)
    start, end = monday_of(first), monday_of(last)
    earliest = start - timedelta(days=WEEK_DAYS * RANGE_WEEKS)
    sums = {monday: _week(monday, found, last) for monday, found in by_week.items() if earliest <= monday <= end}
    weeks = []
    while start <= end:
        before = [sums.get(start - timedelta(days=WEEK_DAYS * back)) for back in range(1, RANGE_WEEKS + 1)]
        known = [each for each in before if each is not None]
        weeks.append(
            replace(
                sums.get(start) or _week(start, [], last),
                easy_range=_span([each.easy_share for each in known]),
                easy_runs_range=_span([each.easy_runs_share for each in known]),
                # Of weeks in which every run has an impulse.
                trimp_range={
                    name: _span([None if each.without_trimp else each.trimp[name] for each in known])
                    for name in COEFFICIENTS
                },
                session_load_range=_span([None if each.unrated else each.session_load for each in known]),
            )
        )
        start += timedelta(days=WEEK_DAYS)
    return weeks


def _span(values: Sequence[float | None]) -> Span | None:
    known = _known(values)
    return (min(known), max(known)) if len(known) >= RANGE_MINIMUM else None


def _week(monday: date, found: Sequence[JudgedRun], last: date) -> Week:
    zone_s = itertools.zip_longest(*(each.judged.zone_s for each in found if each.judged is not None), fillvalue=0.0)
    rated = [(each.run.local_date, each.session_load) for each in found if each.session_load is not None]
    daily = [sum(load for day, load in rated if (day - monday).days == n) for n in range(WEEK_DAYS)]
    foster = week_load(daily)
    whole = monday + timedelta(days=WEEK_DAYS - 1) <= last and bool(rated) and len(rated) == len(found)
    return Week(
        measured_s=sum((each.run.figures.measured_s for each in found), 0.0),
        zone_s=tuple(map(sum, zone_s)),
        without_trimp=sum(each.trimp["men"] is None for each in found),
        monotony=foster.monotony if whole else None,
        strain=foster.strain if whole else None,
        **_totals(monday, found),
    )


def _totals(first: date, found: Sequence[JudgedRun]) -> dict[str, Any]:
    """The fields of Totals."""
    distances = [each.run.figures.distance_m for each in found]
    loads = [each.session_load for each in found]
    return {
        "first": first,
        "runs": len(found),
        "duration_s": sum((each.run.figures.duration_s for each in found), 0.0),
        "distance_m": _sum(distances),
        "without_distance": distances.count(None),
        "easy_runs": sum(each.easy is True for each in found),
        "judged_runs": sum(each.easy is not None for each in found),
        "easy_share": _easy_share(found),
        "trimp": {name: _sum([each.trimp[name] for each in found]) for name in COEFFICIENTS},
        "session_load": _sum(loads),
        "unrated": loads.count(None),
    }


def _easy_share(found: Sequence[JudgedRun]) -> float | None:
    judged = [each.judged for each in found if each.judged is not None]
    measured = sum(sum(each.zone_s) for each in judged)
    above = sum(each.above_s for each in judged)
    return (measured - above) / measured if measured else None


RECENT_DAYS = 365
Period = Literal["month", "year"]


@dataclass(frozen=True)
class Fixed:
    """What periods are compared at: a pulse in bpm and a pace in s/km."""

    pulse_bpm: float
    pace_s_per_km: float


@dataclass(frozen=True, kw_only=True)
class PeriodSummary(Totals):
    """A month or a year.

    pace_s_per_km: at the fixed pulse; pulse_bpm: at the fixed pace; None below 20 minutes of it. resting_bpm, ln_rmssd:
    means of its usable mornings, None without any.
    """

    pace_s_per_km: float | None
    pulse_bpm: float | None
    steady_minutes: int
    mornings: int
    resting_bpm: float | None
    ln_rmssd: float | None

    def to_json(self) -> dict[str, Any]:
        """The same as plain values."""
        return {**vars(self), "first": self.first.isoformat(), "easy_runs_share": self.easy_runs_share}


def usual_mornings(journal: Journal, today: date) -> list[Morning]:
    """The mornings of the journal in the posture that most share, to take means of."""
    return in_usual_posture(journal.mornings(None, today), today)


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
    resting = _known([each.resting_pulse_bpm for each in mornings])
    variability = _known([each.ln_rmssd for each in mornings])
    return PeriodSummary(
        pace_s_per_km=None if fixed is None else pace_at(minutes, fixed.pulse_bpm),
        pulse_bpm=None if fixed is None else pulse_at(minutes, fixed.pace_s_per_km),
        steady_minutes=len(minutes),
        mornings=len(mornings),
        resting_bpm=statistics.fmean(resting) if resting else None,
        ln_rmssd=statistics.fmean(variability) if variability else None,
        **_totals(begin, runs),
    )


def _sum(values: Sequence[float | None]) -> float | None:
    known = _known(values)
    return sum(known) if known else None


def _known(values: Sequence[float | None]) -> list[float]:
    return [each for each in values if each is not None]


def _begin(day: date, period: Period) -> date:
    return day.replace(day=1) if period == "month" else day.replace(month=1, day=1)


def week_words(week: Week, units: Units = "km") -> str:
    """A week in one line."""
    if not week.runs:
        return "no run"
    parts = [count_of(week.runs, "run"), clock(week.duration_s)]
    if week.distance_m is not None:
        parts.append(f"{way(week.distance_m, units, 1)} {units}{_without(week.without_distance)}")
    if week.judged_runs:
        parts.append(f"{week.easy_runs} of {week.judged_runs} easy{_around(week)}")
    if week.easy_share is not None:
        parts.append(f"{percent(week.easy_share)} of the time (aim {percent(EASY_TIME_AIM)})")
        missing_s = week.duration_s - week.measured_s
        if missing_s >= 60:
            parts.append(f"{clock(missing_s)} not measured")
    return " · ".join(parts)


def load_words(week: Week, coefficients: str) -> str:
    """The loads of a week in one line."""
    parts = []
    impulse = week.trimp["women" if coefficients == "women" else "men"]
    if impulse is not None:
        parts.append(f"training impulse {impulse:.0f}{_without(week.without_trimp)}")
    if week.session_load is not None:
        parts.append(f"rating load {week.session_load:.0f}{_without(week.unrated)}")
    if week.monotony is not None and week.strain is not None:
        parts.append(f"monotony {week.monotony:.1f}, strain {week.strain:.0f}")
    return " · ".join(parts)


def _around(week: Week) -> str:
    aim = f" (aim {percent(EASY_AIM)}"
    if week.easy_runs_range is not None:
        low, high = week.easy_runs_range
        aim += f"; eight weeks before {100 * low:.0f} to {percent(high)}"
    return f"{aim})"


def _without(count: int) -> str:
    return "" if not count else f" ({count_of(count, 'run')} not in it)"
