"""Estimates from a test, a race or two pulses, each with its formula, its source and its error.

Daniels & Gilbert 1979 (Oxygen Power, self-published): running at v m/min costs -4.60 + 0.182258 v + 0.000104 v^2
ml/min/kg, and a race of t minutes is run at 0.8 + 0.1894393 exp(-0.012778 t) + 0.2989558 exp(-0.1932605 t) of
the greatest uptake. Uth et al. 2004 (Eur J Appl Physiol 91:111-115): uptake = 15.3 * maximum / resting pulse.

Vickers & Vertosick 2016 (BMC Sports Sci Med Rehabil 8:26 and its additional file): a marathon from one race by
v = 0.16018617 + 0.83076202 v_R + 0.06423826 m / 10 with v_R the speed in m/s that Riegel's formula with the exponent
1.07 gives and m the miles a week; from two by an exponent of 1.4510756 - 0.23797948 k - 0.01410023 m / 10 on the longer
one, with k = ln(t2 / t1) / ln(d2 / d1). Mean squared errors of 228 and 208 min^2; Riegel's own 381.

Critical speed: the slope of distance against time over two or three efforts of some minutes (Galbraith et al. 2014, Int
J Sports Physiol Perform 9:931-935: 1200, 2400 and 3600 m, typical error 0.14 m/s; two efforts do as well, Kordi et al.
2019, ibid. 14:685-688).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dawnbeat.journal.ranges import NORMAL_95
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import FloatArray
from dawnbeat.shared.wording import count_of
from dawnbeat.training.run import FASTEST_RUN_M_PER_S, Mark, Samples
from dawnbeat.training.run_figures import Coefficients, codes_of, hold_s
from dawnbeat.training.zones import Anchors

RACE_LOW_M, RACE_HIGH_M = 1_500.0, 42_200.0
RACE_LOW_S, RACE_HIGH_S = 210.0, 4 * 3600.0
THRESHOLD_RACE_S = 3600.0
_UPTAKE_LOW, _UPTAKE_HIGH = 15.0, 95.0
_DISTANCES: dict[str, float] = {
    "1500 m": 1_500.0,
    "3 km": 3_000.0,
    "5 km": 5_000.0,
    "10 km": 10_000.0,
    "half marathon": 21_097.5,
}


@dataclass(frozen=True)
class Estimate:
    """One figure with where it comes from. low, high: value plus and minus the error where one is published."""

    name: str
    value: float
    unit: str
    formula: str
    source: str
    error: str
    low: float | None = None
    high: float | None = None


def uptake_from_pulses(
    resting_bpm: float, maximum_bpm: float, maximum_is_measured: bool, coefficients: Coefficients
) -> Estimate:
    """Greatest oxygen uptake from maximum and resting pulse, in ml/min/kg; raises DawnbeatError for odd pulses.

    low, high: 95 % interval, 1.96 published standard errors to either side.
    """
    Anchors(resting_bpm, maximum_bpm)
    women = coefficients == "women"
    factor = 14.5 if women else 15.3
    value = factor * maximum_bpm / resting_bpm
    error = 2.7 if maximum_is_measured else 4.7
    said = f"standard error {error} ml/min/kg ({'4.5' if maximum_is_measured else '7.8'} %) in 36 well-trained men"
    source = "Uth et al. 2004, Eur J Appl Physiol 91:111-115"
    if women:
        # 6.8 % is published with the factor for women; an estimated maximum adds what it added for men.
        share = 0.068 if maximum_is_measured else math.hypot(0.068, math.sqrt(0.078**2 - 0.045**2))
        error = share * value
        said = f"standard error about {100 * share:.0f} % in trained women"
        source = "Uth 2005, Int J Sports Med 26:763-767"
    return Estimate(
        "oxygen uptake from pulses",
        value,
        "ml/min/kg",
        f"{factor} * maximum / resting pulse",
        source,
        f"{said}, and the range is the 95 % interval of these; in 634 men around 50 the factor was about 12, so that "
        "of well-trained men is a quarter too high for them (Kuopio study, World J Mens Health 2021)",
        value - NORMAL_95 * error,
        value + NORMAL_95 * error,
    )


@dataclass(frozen=True)
class Disagreement:
    """Two estimates of one uptake, in ml/min/kg, that lie further apart than the error of the pulses."""

    by_race: float
    by_pulses: float

    @property
    def words(self) -> str:
        """What to make of it."""
        both = f"The race says {self.by_race:.0f} ml/min/kg and the pulses say {self.by_pulses:.0f} ml/min/kg: "
        if self.by_pulses > self.by_race:
            return (
                f"{both}trust the race if you gave everything on a flat, cool course, as it measures running itself. "
                "The factor by pulses was found in well-trained runners and is too high for many others, and a resting "
                "pulse of a few beats less moves it by a tenth."
            )
        return (
            f"{both}trust the race, as nobody runs faster than the own uptake allows; the resting pulse may be too "
            "high or the maximum too low."
        )


def disagreement(by_race: Estimate, by_pulses: Estimate) -> Disagreement | None:
    """What a race and the pulses disagree in; None where the race lies within the interval of the pulses."""
    assert by_pulses.low is not None
    assert by_pulses.high is not None
    if by_pulses.low <= by_race.value <= by_pulses.high:
        return None
    return Disagreement(by_race.value, by_pulses.value)


def uptake_from_race(distance_m: float, duration_s: float) -> Estimate:
    """Greatest oxygen uptake from a race, in ml/min/kg; raises DawnbeatError for a race outside the formula."""
    value = _uptake(distance_m, duration_s)
    return Estimate(
        "oxygen uptake from a race",
        value,
        "ml/min/kg",
        "cost of the speed / share of the uptake that is held for the time",
        "Daniels & Gilbert 1979, Oxygen Power",
        "none was published; it supposes a flat course, an even pace and everything given",
    )


@dataclass(frozen=True)
class Equivalent:
    """The time over a distance that costs the same uptake. of_race: its distance as a share of the race's."""

    name: str
    distance_m: float
    duration_s: float
    of_race: float


EQUIVALENTS_ERROR = (
    "No error was published for the times below the marathon. Over distances far from the race's, endurance decides, "
    "so a time may be several per cent off (common practice, no source)."
)
MARATHON_M = 42_195.0
# 5 km to half marathon, measured a little short or long.
MARATHON_FROM_M = 4_900.0, 21_500.0


def race_equivalents(distance_m: float, duration_s: float) -> list[Equivalent]:
    """Times over the usual distances below the marathon by the same formula; raises DawnbeatError as
    `uptake_from_race`.

    A marathon is not among them: formulas of this kind are at least ten minutes too fast for half of runners.
    """
    uptake = _uptake(distance_m, duration_s)
    found = []
    for name, other_m in _DISTANCES.items():
        time_s = race_time_s(other_m, uptake)
        if RACE_LOW_S <= time_s <= RACE_HIGH_S:
            found.append(Equivalent(name, other_m, time_s, other_m / distance_m))
    return found


@dataclass(frozen=True)
class Race:
    """A race as run: metres and seconds."""

    distance_m: float
    duration_s: float


@dataclass(frozen=True)
class Marathon:
    """The time of a marathon in seconds. error_s: root of the published mean squared error. races: how many used."""

    duration_s: float
    error_s: float
    races: int
    weekly_km: float

    @property
    def words(self) -> str:
        """The time with its range and source."""
        minutes = self.error_s / 60
        return (
            f"from {count_of(self.races, 'race')} and {self.weekly_km:.0f} km a week; two runners "
            f"in three come within {minutes:.0f} minutes of it, one in twenty is more than {2 * minutes:.0f} minutes "
            "off (Vickers & Vertosick 2016, BMC Sports Sci Med Rehabil 8:26)"
        )


def marathon_time(races: Sequence[Race], weekly_km: float) -> Marathon:
    """A marathon from one race, or from two of different distances, of 5 km to a half marathon, and km run a week.

    Raises DawnbeatError for races that the model wasn't made for.
    """
    if not 0 < weekly_km <= 300:
        raise DawnbeatError(f"{weekly_km:g} km a week can't be right: give the usual distance of a week")
    for each in races:
        _uptake(each.distance_m, each.duration_s)
        if not MARATHON_FROM_M[0] <= each.distance_m <= MARATHON_FROM_M[1]:
            raise DawnbeatError(
                f"a race of {each.distance_m / 1000:g} km: the model was made for 5 km to half marathon"
            )
    tens_of_miles = weekly_km / 1.609344 / 10
    apart = sorted(races, key=lambda each: each.distance_m)
    # Nearly equal distances say nothing of how a runner slows with them.
    if len(apart) > 1 and apart[-1].distance_m >= 1.5 * apart[0].distance_m:
        short, long = apart[0], apart[-1]
        slows = math.log(long.duration_s / short.duration_s) / math.log(long.distance_m / short.distance_m)
        exponent = 1.4510756 - 0.23797948 * slows - 0.01410023 * tens_of_miles
        time_s = long.duration_s * (MARATHON_M / long.distance_m) ** exponent
        return Marathon(time_s, 60 * math.sqrt(208), 2, weekly_km)
    if not apart:
        raise DawnbeatError("a marathon needs a race of 5 km to a half marathon: add one first")
    best = apart[-1]
    riegel = MARATHON_M / (best.duration_s * (MARATHON_M / best.distance_m) ** 1.07)
    speed = 0.16018617 + 0.83076202 * riegel + 0.06423826 * tens_of_miles
    return Marathon(MARATHON_M / speed, 60 * math.sqrt(228), 1, weekly_km)


EFFORT_LOW_S, EFFORT_HIGH_S = 120.0, 1_200.0
CRITICAL_SPEED_SOURCE = (
    "slope of distance against time (Galbraith et al. 2014, Int J Sports Physiol Perform 9:931-935; typical error "
    "0.14 m/s, some 10 s a km)"
)


@dataclass(frozen=True)
class CriticalSpeed:
    """speed_m_per_s: the speed that can be held long; reserve_m: metres above it. efforts: how many it rests on."""

    speed_m_per_s: float
    reserve_m: float
    efforts: int

    @property
    def pace_s_per_km(self) -> float:
        """The same as a pace."""
        return 1000 / self.speed_m_per_s


def critical_speed(efforts: Sequence[Race]) -> CriticalSpeed:
    """The line of distance against time through efforts of 2 to 20 minutes, by least squares.

    Raises DawnbeatError for fewer than two, or for efforts that no line fits.
    """
    for each in efforts:
        if not EFFORT_LOW_S <= each.duration_s <= EFFORT_HIGH_S:
            raise DawnbeatError(
                f"an effort of {each.duration_s / 60:.1f} minutes: critical speed needs 2 to 20 of them"
            )
    if len(efforts) < 2 or max(e.duration_s for e in efforts) < 1.5 * min(e.duration_s for e in efforts):
        raise DawnbeatError("critical speed needs two or three efforts, the longest half as long again as the shortest")
    speed, reserve = statistics.linear_regression(
        [each.duration_s for each in efforts], [each.distance_m for each in efforts]
    )
    if not 1.0 <= speed <= FASTEST_RUN_M_PER_S or reserve < 0:
        raise DawnbeatError("these efforts don't fit each other: each must be all that you could give for its time")
    return CriticalSpeed(speed, reserve, len(efforts))


def race_time_s(distance_m: float, uptake: float) -> float:
    """The time in which a distance asks for this uptake (ml/min/kg), in seconds."""
    from scipy.optimize import brentq  # slow to import

    return float(brentq(lambda time_s: _asks(distance_m / (time_s / 60), time_s) - uptake, distance_m / 12, distance_m))


def threshold_pace(distance_m: float, duration_s: float) -> Estimate:
    """The pace of a race of one hour with the same uptake, in s/km, from a race."""
    from scipy.optimize import brentq  # slow to import

    uptake = _uptake(distance_m, duration_s)
    speed = float(brentq(lambda each: _asks(each, THRESHOLD_RACE_S) - uptake, 50.0, 500.0))
    return Estimate(
        "threshold pace from a race",
        60_000 / speed,
        "s/km",
        "pace that the formula gives for a race of one hour",
        "Daniels & Gilbert 1979 for the formula; that threshold pace is about that of an "
        "hour's race is common practice, "
        "no source",
        "none was published",
    )


def _uptake(distance_m: float, duration_s: float) -> float:
    if not RACE_LOW_M <= distance_m <= RACE_HIGH_M:
        raise DawnbeatError(f"a race of {distance_m / 1000:g} km: the formula is used from 1.5 km to a marathon")
    if not RACE_LOW_S <= duration_s <= RACE_HIGH_S:
        raise DawnbeatError(f"a race of {duration_s / 60:.1f} minutes: the formula is used from 3.5 minutes to 4 hours")
    value = _asks(distance_m / (duration_s / 60), duration_s)
    if not _UPTAKE_LOW <= value <= _UPTAKE_HIGH:
        raise DawnbeatError(f"{distance_m:g} m in {duration_s:g} s would ask for {value:.0f} ml/min/kg: check both")
    return value


def _asks(speed_m_per_min: float, duration_s: float) -> float:
    minutes = duration_s / 60
    cost = -4.60 + 0.182258 * speed_m_per_min + 0.000104 * speed_m_per_min**2
    held = 0.8 + 0.1894393 * math.exp(-0.012778 * minutes) + 0.2989558 * math.exp(-0.1932605 * minutes)
    return cost / held


# A test of the threshold: 30 minutes, of which the last 20 are averaged.
TEST_S, LAST_S = 1800.0, 1200.0
TEST_MEASURED = 0.9
THRESHOLD_ERROR = (
    "The error is unknown: pacing, heat and hills move it by several beats; a second test on another day tells more "
    "than one (common practice, no source)."
)


@dataclass(frozen=True)
class ThresholdTest:
    """What 30 minutes run alone say, evenly as hard as can be held (common practice, no source). from_s: its begin
    within the run. spread_bpm: standard deviation over its last 20 minutes.

    pace_s_per_km: of the 30 minutes, None without distance.
    """

    from_s: float
    bpm: float
    spread_bpm: float
    pace_s_per_km: float | None


def threshold_test(samples: Samples, marks: Sequence[Mark], from_s: float | None = None) -> ThresholdTest:
    """The test that begins at `from_s`, else the fastest half hour without a pause.

    Raises DawnbeatError when there is no half hour, or less than 90 % of its last 20 minutes were measured.
    """
    if samples.elapsed_s < TEST_S:
        raise DawnbeatError(f"the run lasts {samples.elapsed_s / 60:.0f} minutes: a test needs 30 of them")
    begin = _fastest(samples) if from_s is None else from_s
    if not 0 <= begin <= samples.elapsed_s - TEST_S:
        raise DawnbeatError(f"no half hour follows on {begin / 60:.0f} minutes in this run: begin earlier")
    steps_s, codes = np.diff(samples.time_s), codes_of(samples, marks)
    start = samples.time_s[:-1]
    last = (start >= begin + TEST_S - LAST_S) & (start < begin + TEST_S)
    counts = last & (codes == 0)
    measured = float(steps_s[counts].sum())
    if measured < TEST_MEASURED * LAST_S:
        raise DawnbeatError(
            f"of the last 20 minutes of that half hour {measured / 60:.0f} were measured: too few for a threshold pulse"
        )
    pulse, weight = samples.pulse_bpm[:-1][counts], steps_s[counts]
    mean = float(pulse @ weight / measured)
    spread = float(np.sqrt((pulse - mean) ** 2 @ weight / measured))
    way_m = _ways(samples, np.array([begin]))
    pace = None if way_m is None or way_m[0] < 1000 else float(TEST_S / (way_m[0] / 1000))
    return ThresholdTest(begin, mean, spread, pace)


def _fastest(samples: Samples) -> float:
    """Where the half hour with the longest way begins, among those without a hole or stop."""
    begins = samples.time_s[samples.time_s <= samples.elapsed_s - TEST_S]
    way = _ways(samples, begins)
    if way is None:
        raise DawnbeatError("the run has no distance to find the fastest half hour by: say where the test begins")
    holes = (np.diff(samples.time_s) > hold_s(samples.time_s)) | samples.stopped[:-1]
    before = np.concatenate(([0], np.cumsum(holes)))
    first, last = (np.searchsorted(samples.time_s, edge) for edge in (begins, begins + TEST_S))
    way[before[np.minimum(last, before.size - 1)] > before[first]] = -1.0
    if way.max() <= 0:
        raise DawnbeatError("the run has no half hour without a pause or gap: say where the test begins")
    return float(begins[int(np.argmax(way))])


def _ways(samples: Samples, begins: FloatArray) -> FloatArray | None:
    """Metres covered in the half hour from each of these times on; None without distance."""
    known = np.isfinite(samples.distance_m)
    if np.count_nonzero(known) < 2:
        return None
    at = np.interp([begins + TEST_S, begins], samples.time_s[known], samples.distance_m[known])
    return np.asarray(at[0] - at[1])
