"""What a runner's own races and runs say about a race: estimates together, and a pulse and a pace to run it by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import Units, between, clock, pace_of, short_day, signed
from dawnbeat.training import estimates
from dawnbeat.training.estimates import CriticalSpeed, Disagreement, Equivalent, Estimate, Marathon, Race
from dawnbeat.training.run import FASTEST_RUN_M_PER_S, Run
from dawnbeat.training.run_figures import Coefficients, steady
from dawnbeat.training.zone_store import Standing

RECENT_DAYS = 180
WEEKLY_WEEKS = 8


@dataclass(frozen=True)
class RunnersEstimates:
    """Everything that can be estimated, and in words what is missing for the rest."""

    estimates: list[Estimate] = field(default_factory=list)
    disagreement: Disagreement | None = None
    equals: list[Equivalent] = field(default_factory=list)
    marathon: Marathon | None = None
    critical: CriticalSpeed | None = None
    missing: list[str] = field(default_factory=list)

    def to_json(self) -> dict[str, Any]:
        """The same as plain values."""
        marathon, critical = self.marathon, self.critical
        return {
            "estimates": [vars(each) for each in self.estimates],
            "disagreement": None if self.disagreement is None else self.disagreement.words,
            "equal_races": [vars(each) for each in self.equals],
            "marathon": None if marathon is None else {**vars(marathon), "words": marathon.words},
            "critical_speed": None if critical is None else {**vars(critical), "pace_s_per_km": critical.pace_s_per_km},
            "missing": self.missing,
        }


def estimates_of(
    runs: Sequence[Run],
    known: Standing,
    coefficients: Coefficients | None,
    today: date,
    race: Run | None = None,
    weekly_km: float | None = None,
    efforts: Sequence[Race] = (),
) -> RunnersEstimates:
    """What these runs and pulses allow. race: the one to rest on, else the newest with a distance.

    weekly_km: of a usual week, else that of the last eight weeks. efforts: for critical speed, else races of 2 to 20
    minutes of the last half year. Raises DawnbeatError for efforts given that can't be.
    """
    missing: list[str] = []
    made: list[Estimate] = []
    by_pulses = None
    if known.resting is None or known.maximum is None:
        missing.append("an estimate from pulses needs a resting pulse and a maximum: add them first")
    elif coefficients is None:
        missing.append(
            "the factor from pulses differs for women and men: say which with `dawnbeat runs settings --coefficients "
            "women` (or men)"
        )
    else:
        by_pulses = estimates.uptake_from_pulses(
            known.resting.bpm, known.maximum.counts_as_bpm, known.maximum.measured, coefficients
        )
        made.append(by_pulses)
    races = _races(runs)
    chosen = race if race is not None else races[-1] if races else None
    equals: list[Equivalent] = []
    found = None
    if chosen is None:
        missing.append("estimates from a race need a run with a distance that is marked as one")
    else:
        one = race_of(chosen)
        try:
            by_race = estimates.uptake_from_race(one.distance_m, one.duration_s)
            made += [by_race, estimates.threshold_pace(one.distance_m, one.duration_s)]
            equals = estimates.race_equivalents(one.distance_m, one.duration_s)
            found = None if by_pulses is None else estimates.disagreement(by_race, by_pulses)
        except DawnbeatError as error:
            missing.append(str(error))
    marathon = None
    if chosen is not None:
        try:
            weekly = weekly_distance_km(runs, today) if weekly_km is None else weekly_km
            marathon = estimates.marathon_time(_for_marathon(races, chosen), weekly)
        except DawnbeatError as error:
            missing.append(f"no marathon time: {error}")
    critical = None
    try:
        critical = estimates.critical_speed(efforts or _efforts_among(races, today))
    except DawnbeatError as error:
        if efforts:
            raise
        missing.append(f"no critical speed: {error}")
    return RunnersEstimates(made, found, equals, marathon, critical, missing)


def _races(runs: Sequence[Run]) -> list[Run]:
    return [each for each in runs if each.race and each.counts and each.figures.distance_m is not None]


def race_of(run: Run) -> Race:
    """The race that a run was, pauses included."""
    assert run.figures.distance_m is not None
    return Race(run.figures.distance_m, run.figures.elapsed_s)


def weekly_distance_km(runs: Sequence[Run], today: date) -> float:
    """Kilometres a week over the last eight weeks, those without a run included; raises DawnbeatError for none."""
    since = today - timedelta(weeks=WEEKLY_WEEKS)
    ways = [each.figures.distance_m or 0.0 for each in runs if each.counts and since < each.local_date <= today]
    if not sum(ways):
        raise DawnbeatError("no distance was run in the last eight weeks: give the distance of a usual week")
    return sum(ways) / 1000 / WEEKLY_WEEKS


def _for_marathon(races: Sequence[Run], chosen: Run) -> list[Race]:
    """The chosen race, and the newest other of a different distance within half a year of it."""
    near = [
        race_of(each)
        for each in reversed(races)
        if each.id != chosen.id
        and abs((each.local_date - chosen.local_date).days) <= RECENT_DAYS
        and estimates.MARATHON_FROM_M[0] <= (each.figures.distance_m or 0) <= estimates.MARATHON_FROM_M[1]
    ]
    one = race_of(chosen)
    other = next(
        (each for each in near if max(each.distance_m, one.distance_m) >= 1.5 * min(each.distance_m, one.distance_m)),
        None,
    )
    return [one] if other is None else [one, other]


def _efforts_among(races: Sequence[Run], today: date) -> list[Race]:
    return [
        race_of(each)
        for each in races[-12:]
        if (today - each.local_date).days <= RECENT_DAYS
        and estimates.EFFORT_LOW_S <= each.figures.elapsed_s <= estimates.EFFORT_HIGH_S
    ]


# Through a race

PLAN_DAYS, LONG_RUN_S, LONGEST_RUNS = 84, 4500.0, 5
FEWEST_MINUTES, FEWEST_RUNS = 60, 4
# Beyond the paces that were run, the line from pace to pulse is a guess.
FASTER_THAN_RUN = 1.12
SLOWER_START = 0.02
HOUR_S = 3600.0
RACE_CAUTION = (
    "These are figures from your own runs, not a plan of training and no promise. Start slower in heat, wind or "
    "hills; stop for chest pain, dizziness, faintness or a pulse that stumbles. A race is a maximal effort: who must "
    "ask a doctor first is said with the tests."
)


@dataclass(frozen=True)
class Held:
    """How a long run held: its first third against its last, of the minutes after the tenth on the level."""

    run_id: int
    day: date
    duration_s: float
    first_pace_s_per_km: float
    last_pace_s_per_km: float
    first_bpm: float
    last_bpm: float
    drift_pct_per_hour: float


@dataclass(frozen=True)
class RacePlan:
    """Pulses and paces for a race. goal_s: aimed at. start_pace_s_per_km: (slowest, fastest), of the first tenth.

    start_bpm, end_bpm: (low, high), of the pulse once settled and at the end; None where runs say too little. cap_bpm:
    to stay under until the last third. drift_pct_per_hour: of the longest runs, with its span. held: those runs.
    notes: codes.
    """

    distance_m: float
    goal_s: float
    goal_from: str
    start_pace_s_per_km: tuple[float, float]
    start_bpm: tuple[float, float] | None
    end_bpm: tuple[float, float] | None
    cap_bpm: float | None
    drift_pct_per_hour: float | None
    drift_span_pct_per_hour: tuple[float, float] | None
    held: tuple[Held, ...]
    notes: tuple[str, ...]

    @property
    def pace_s_per_km(self) -> float:
        """The pace of the goal."""
        return self.goal_s / (self.distance_m / 1000)

    def lines(self, units: Units = "km") -> list[str]:
        """The plan in words, a statement each."""
        slow, fast = self.start_pace_s_per_km
        said = [
            f"Goal {clock(self.goal_s)} ({self.goal_from}), an even {pace_of(self.pace_s_per_km, units)}.",
            f"Start at {pace_of(slow, units)}, no faster than {pace_of(fast, units)} for the first tenth.",
        ]
        if self.start_bpm is not None:
            said.append(
                f"At that pace your own runs say {self.start_bpm[0]:.0f} to {self.start_bpm[1]:.0f} bpm once the "
                "pulse has settled, after some ten minutes."
            )
        if self.drift_pct_per_hour is not None and self.drift_span_pct_per_hour is not None:
            least, most = self.drift_span_pct_per_hour
            span = between(least, most, 1, sign=True, unit="%")
            drifted = f"{signed(self.drift_pct_per_hour, 1)} % an hour ({span})"
            said.append(f"Your longest runs drifted by {drifted}.")
        if self.end_bpm is not None:
            said.append(f"With that drift it would be {self.end_bpm[0]:.0f} to {self.end_bpm[1]:.0f} bpm at the end.")
        if self.cap_bpm is not None:
            said.append(f"Stay under {self.cap_bpm:.0f} bpm until the last third.")
        said += [_NOTES[note] for note in self.notes]
        return said


_NOTES = {
    "goal above threshold": (
        "By your own runs this goal asks for more than your threshold pulse before the last third: it is likely too "
        "fast."
    ),
    "faster than run": "The goal's pace is well above any that you ran evenly of late, so no pulse is given for it.",
    "few minutes": "Too few steady minutes with pulse and distance in the last twelve weeks to give a pulse.",
    "no long run": "No run of 75 minutes or more in the last twelve weeks was steady: how you hold is not known.",
    "longer than run": "The race is over half as long again as your longest run of these weeks: take the slower end.",
    "no threshold": "Without a threshold pulse the limit is the upper end of what your runs say for the end.",
}


def held_of(run: Run) -> Held | None:
    """First third against last of a run of 75 minutes or more; None below thirty steady minutes."""
    minutes = run.figures.minutes
    even = steady(minutes)
    if run.figures.duration_s < LONG_RUN_S or np.count_nonzero(even) < 30:
        return None
    at = np.flatnonzero(even)
    third = len(at) // 3
    (first_bpm, first_speed), (last_bpm, last_speed) = (
        minutes[part, :2].mean(axis=0) for part in (at[:third], at[-third:])
    )
    hours = (at[-third:].mean() - at[:third].mean()) / 60
    drift = 100 * (last_bpm / last_speed / (first_bpm / first_speed) - 1) / hours
    return Held(
        run.id,
        run.local_date,
        run.figures.duration_s,
        float(1000 / first_speed),
        float(1000 / last_speed),
        float(first_bpm),
        float(last_bpm),
        float(drift),
    )


def race_plan(
    distance_m: float, runs: Sequence[Run], known: Standing, today: date, goal_s: float | None = None
) -> RacePlan:
    """A pulse and a pace for a race, from these runs and pulses. goal_s: else an own race says what is equal to it.

    Raises DawnbeatError where the goal can't be, or there is neither a goal nor a race.
    """
    if not 1_500 <= distance_m <= 100_000:
        raise DawnbeatError(f"a race of {distance_m / 1000:g} km: give one of 1.5 to 100 km")
    goal_from = "your goal"
    if goal_s is None:
        goal_s, goal_from = _goal_of(distance_m, runs, today)
    speed = distance_m / goal_s
    if not 1.0 <= speed <= FASTEST_RUN_M_PER_S:
        raise DawnbeatError(f"{distance_m / 1000:g} km in {clock(goal_s)} can't be right: check both")
    recent = [each for each in runs if each.counts and 0 <= (today - each.local_date).days < PLAN_DAYS]
    notes: list[str] = []
    line = _pulse_line(recent)
    start_bpm: tuple[float, float] | None = None
    if line is None:
        notes.append("few minutes")
    elif speed > FASTER_THAN_RUN * line.fastest_m_per_s:
        notes.append("faster than run")
    else:
        middle, around = line.at(speed), 2 * line.run_sd_bpm
        start_bpm = (middle - around, middle + around)
    held = sorted(
        (found for found in map(held_of, recent) if found is not None),
        key=lambda each: (-each.duration_s, -each.day.toordinal()),
    )[:LONGEST_RUNS]
    drifts = [each.drift_pct_per_hour for each in held]
    drift, span = (float(np.median(drifts)), (min(drifts), max(drifts))) if held else (None, None)
    if not held:
        notes.append("no long run")
    elif goal_s > 1.5 * held[0].duration_s:
        notes.append("longer than run")
    end_bpm = None
    hours = max(goal_s - 600, 0) / HOUR_S
    if start_bpm is not None and drift is not None and span is not None:
        # A run that grew easier is no promise for a race.
        low, high = (bpm * (1 + max(each, 0) * hours / 100) for bpm, each in zip(start_bpm, span, strict=True))
        end_bpm = low, high
    threshold = known.anchors.threshold_bpm
    cap = threshold if goal_s >= HOUR_S else None
    if cap is None and end_bpm is not None and threshold is None:
        cap = end_bpm[1]
        notes.append("no threshold")
    if cap is not None and known.maximum is not None:
        cap = min(cap, known.maximum.counts_as_bpm)
    if start_bpm is not None and threshold is not None and goal_s >= HOUR_S:
        middle = sum(start_bpm) / 2 * (1 + max(drift or 0.0, 0) * hours * 2 / 3 / 100)
        if middle > threshold:
            notes.append("goal above threshold")
    pace_s = goal_s / (distance_m / 1000)
    return RacePlan(
        distance_m,
        goal_s,
        goal_from,
        (pace_s * (1 + SLOWER_START), pace_s),
        start_bpm,
        end_bpm,
        cap,
        drift,
        span,
        tuple(held),
        tuple(notes),
    )


@dataclass(frozen=True)
class _PulseLine:
    """Pulse against speed over steady minutes. run_sd_bpm: spread of whole runs about it, from day to day."""

    slope: float
    intercept: float
    run_sd_bpm: float
    fastest_m_per_s: float

    def at(self, speed_m_per_s: float) -> float:
        return self.intercept + self.slope * speed_m_per_s


def _pulse_line(runs: Sequence[Run]) -> _PulseLine | None:
    parts = [each.figures.minutes[steady(each.figures.minutes)][:, :2] for each in runs]
    parts = [part for part in parts if len(part) >= 5]
    if len(parts) < FEWEST_RUNS or sum(map(len, parts)) < FEWEST_MINUTES:
        return None
    # A run each, so that one long run does not outweigh all others.
    pulse, speed = np.array([part.mean(axis=0) for part in parts]).T
    if speed.max() < 1.05 * speed.min():
        # All at one pace: the usual proportion of pulse to speed must do.
        slope, intercept = float(np.mean(pulse / speed)), 0.0
    else:
        slope, intercept = (float(each) for each in np.polyfit(speed, pulse, 1))
    spread = float(np.std(pulse - (intercept + slope * speed), ddof=2)) if len(parts) > 2 else 0.0
    return _PulseLine(slope, intercept, max(spread, 1.0), float(speed.max()))


def _goal_of(distance_m: float, runs: Sequence[Run], today: date) -> tuple[float, str]:
    races = _races(runs)
    recent = [each for each in races if 0 <= (today - each.local_date).days <= 2 * RECENT_DAYS]
    if not recent:
        raise DawnbeatError("give a goal, as 45:00, or mark a run of the last year as a race")
    newest = recent[-1]
    one = race_of(newest)
    if abs(distance_m / estimates.MARATHON_M - 1) < 0.02:
        found = estimates.marathon_time(_for_marathon(races, newest), weekly_distance_km(runs, today))
        return found.duration_s, found.words
    uptake = estimates.uptake_from_race(one.distance_m, one.duration_s).value
    return estimates.race_time_s(distance_m, uptake), f"equal to the race of {short_day(newest.local_date)}"
