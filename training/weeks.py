"""Runs judged by the zones of their day, and weeks made of them."""

from __future__ import annotations

import bisect
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from dawnbeat.journal.store import Journal
from dawnbeat.training import run_store
from dawnbeat.training.load import WEEK_DAYS, Coefficients, session_load, trimp_of, week_load
from dawnbeat.training.run import Run
from dawnbeat.training.run_figures import Judged, judge
from dawnbeat.training.zone_store import ZoneSet, present_sets

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
                    "men": None if zones is None else trimp_of(run.figures, zones.anchors, "men"),
                    "women": None if zones is None else trimp_of(run.figures, zones.anchors, "women"),
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
class Week:
    """Monday to Sunday. zone_s: seconds in each zone. easy_runs, judged_runs: runs that were easy, of those judged.
    easy_share: of the measured time, 0 to 1, or None.

    easy_range, easy_runs_range, trimp_range, session_load_range: lowest and highest easy share by time, by runs,
    impulse and rating load of the eight weeks before with any, at least three of them, or None.
    distance_m: of the runs that know theirs. trimp, session_load: sums over the runs that have one; None
    where none has. unrated, without_trimp, without_distance: runs that are missing in these sums. monotony
    and strain: of the session rating, None where a run is unrated or the week is not over.
    """

    first: date
    runs: int
    duration_s: float
    measured_s: float
    distance_m: float | None
    without_distance: int
    zone_s: tuple[float, ...]
    easy_runs: int
    judged_runs: int
    easy_share: float | None
    trimp: dict[Coefficients, float | None]
    without_trimp: int
    session_load: float | None
    unrated: int
    monotony: float | None
    strain: float | None
    easy_range: Span | None = None
    easy_runs_range: Span | None = None
    trimp_range: dict[Coefficients, Span | None] = field(default_factory=lambda: {"men": None, "women": None})
    session_load_range: Span | None = None

    @property
    def easy_runs_share(self) -> float | None:
        """Share of the judged runs that were easy, 0 to 1; None where none was judged."""
        return self.easy_runs / self.judged_runs if self.judged_runs else None

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
                trimp_range={"men": _whole_trimp(known, "men"), "women": _whole_trimp(known, "women")},
                session_load_range=_span([None if each.unrated else each.session_load for each in known]),
            )
        )
        start += timedelta(days=WEEK_DAYS)
    return weeks


def _whole_trimp(weeks: Sequence[Week], coefficients: Coefficients) -> Span | None:
    """Span of the impulses of weeks in which every run has one."""
    return _span([None if each.without_trimp else each.trimp[coefficients] for each in weeks])


def _span(values: Sequence[float | None]) -> Span | None:
    known = [each for each in values if each is not None]
    return (min(known), max(known)) if len(known) >= RANGE_MINIMUM else None


def _week(monday: date, found: Sequence[JudgedRun], last: date) -> Week:
    zone_s = [0.0] * max((len(each.judged.zone_s) for each in found if each.judged is not None), default=0)
    for each in found:
        if each.judged is not None:
            for n, seconds in enumerate(each.judged.zone_s):
                zone_s[n] += seconds
    distances = [each.run.figures.distance_m for each in found if each.run.figures.distance_m is not None]
    men = [each.trimp["men"] for each in found if each.trimp["men"] is not None]
    women = [each.trimp["women"] for each in found if each.trimp["women"] is not None]
    rated = [(each.run.local_date, each.session_load) for each in found if each.session_load is not None]
    unrated = len(found) - len(rated)
    daily = [sum(load for day, load in rated if (day - monday).days == n) for n in range(WEEK_DAYS)]
    foster = week_load(daily)
    whole = monday + timedelta(days=WEEK_DAYS - 1) <= last and bool(rated) and not unrated
    return Week(
        first=monday,
        runs=len(found),
        duration_s=sum(each.run.figures.duration_s for each in found),
        measured_s=sum(each.run.figures.measured_s for each in found),
        distance_m=sum(distances) if distances else None,
        without_distance=len(found) - len(distances),
        zone_s=tuple(zone_s),
        easy_runs=sum(each.easy is True for each in found),
        judged_runs=sum(each.easy is not None for each in found),
        easy_share=_easy_share(found),
        trimp={"men": sum(men) if men else None, "women": sum(women) if women else None},
        without_trimp=len(found) - len(men),
        session_load=foster.load if rated else None,
        unrated=unrated,
        monotony=foster.monotony if whole else None,
        strain=foster.strain if whole else None,
    )


def _easy_share(found: Sequence[JudgedRun]) -> float | None:
    judged = [each.judged for each in found if each.judged is not None]
    measured = sum(sum(each.zone_s) for each in judged)
    above = sum(each.above_s for each in judged)
    return (measured - above) / measured if measured else None
