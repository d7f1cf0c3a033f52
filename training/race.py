"""What a runner's own races and runs say about a race: estimates together, and a pulse and a pace to run it by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import estimates
from dawnbeat.training.estimates import CriticalSpeed, Disagreement, Equivalent, Estimate, Marathon, Race
from dawnbeat.training.load import Coefficients
from dawnbeat.training.run import Run
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
    races = [each for each in runs if each.race and each.counts and each.figures.distance_m is not None]
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
    if efforts:
        critical = estimates.critical_speed(efforts)
    else:
        try:
            critical = estimates.critical_speed(_efforts_among(races, today))
        except DawnbeatError as error:
            missing.append(f"no critical speed: {error}")
    return RunnersEstimates(made, found, equals, marathon, critical, missing)


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
        and 4_900 <= (each.figures.distance_m or 0) <= 21_500
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
