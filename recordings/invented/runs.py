"""An invented runner's runs, to go with the invented mornings. No figure here was measured on anybody."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, time, timedelta, timezone

import numpy as np
from scipy.signal import lfilter

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import DAYS
from dawnbeat.shared.trace import FloatArray
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.estimates import threshold_test
from dawnbeat.training.import_runs import prepared_of
from dawnbeat.training.maximum import Maximum
from dawnbeat.training.resting import add_hand_count
from dawnbeat.training.run import ParsedRun, Samples, Sport, Talk, blob_of, samples_of
from dawnbeat.training.zone_store import Threshold

WEEKS = 12
SEED = 21
INVENTED = "invented"
_ZONE = timezone(timedelta(hours=1))
_HOUR = {"long": 9, "hilly": 17}
_RESPONSE_S = 40.0
# Counted from the first invented morning: the days before those on which that runner lies ill.
_ILL_DAYS = range(54, 61)
_FIRST_MAXIMUM_BPM = 182
_TEST_WEEK, _RACE_WEEK = 5, 10
# Short races for critical speed, and a longer one beside the 10 km for the marathon.
_SHORT_RACE_WEEK, _MIDDLE_RACE_WEEK, _HALF_WEEK = 2, 4, 7
_MAXIMUM_WEEK = 8
_WALK_WEEKS = (3, 9)
# From here on talking says that the top of easy is too high.
_SHORT_OF_BREATH_WEEK = 3
_TEST_FROM_S = 600.0


@dataclass(frozen=True)
class _Plan:
    """A run before it is run. parts: seconds and the pulse and pace (m/s) that they settle at."""

    name: str
    felt: float
    parts: tuple[tuple[float, float, float], ...]


_EASY = _Plan("10 km easy", 3, ((3480, 134, 2.87),))
_SHORT = _Plan("8 km easy", 2.5, ((2780, 131, 2.88),))
_FAST = _Plan("6 x 800 m", 7, ((900, 135, 2.8), *((180, 177, 4.4), (150, 140, 2.1)) * 6, (600, 134, 2.6)))
_HILLY = _Plan("45 min hilly", 5, tuple((180.0, 162.0 if n % 2 else 139.0, 2.4 if n % 2 else 3.2) for n in range(15)))
_LONG = _Plan("20 km long and slow", 5, ((7100, 133, 2.82),))
_TEST = _Plan("30-minute test", 8, ((_TEST_FROM_S, 134, 2.7), (1800, 168, 3.85), (300, 132, 2.4)))
_RACE = _Plan("hilly 10 km, a race", 9, ((600, 166, 3.72), (1500, 171, 3.7), (587, 180, 3.9)))
_1500 = _Plan("1500 m on the track, a race", 9, ((338, 176, 4.44),))
_3000 = _Plan("3000 m on the track, a race", 9, ((725, 179, 4.14),))
_HALF = _Plan("half marathon, a race", 9, ((5950, 167, 3.546),))
_HILLS = _Plan(
    "hill repeats to the limit", 9, ((1200, 138, 2.8), *((150, 181, 3.6), (180, 145, 2.2)) * 3, (600, 132, 2.4))
)
_WALK = _Plan("a walk", 1, ((4500, 92, 1.4),))
_RACES = (_RACE, _1500, _3000, _HALF)
# In the order of the invented mornings' notes on the day before.
_TALKS: dict[str, Talk] = {
    _EASY.name: "whole sentences",
    _SHORT.name: "whole sentences",
    _FAST.name: "a few words",
    _LONG.name: "whole sentences",
}
_WEEK: tuple[_Plan | None, ...] = (_EASY, None, _FAST, _SHORT, None, _HILLY, _LONG)


def fill_with_invented_runs(journal: Journal, today: date, weeks: int = WEEKS, seed: int = SEED) -> int:
    """Save `weeks` of runs up to yesterday, the same for the same seed; returns how many runs.

    Fits `fill_with_invented_mornings` of the same day, whose notes tell of these runs. With
    them come counts of the pulse by hand, a maximum by age and one of hill repeats, a threshold pulse of a test and the
    zones that follow, races from 1500 m to a half marathon, two walks that don't count, how talking went on some runs,
    and faults of a sensor: drop-outs, spikes, a lock on the step rate and a gap. Two runs have no pulse, two no
    rating. All notes say "invented".
    """
    rng = np.random.default_rng(seed)
    first_morning = today - timedelta(days=DAYS - 1)
    begin = today - timedelta(days=7 * weeks - 1)
    zone_store.add_maximum(journal, Maximum(begin, "field test", _FIRST_MAXIMUM_BPM, note=INVENTED), begin)
    zone_store.set_setting(journal, "coefficients", "women")
    for back, beats in enumerate((25, 24, 25)):
        add_hand_count(journal, begin - timedelta(days=back), beats)
    saved = 0
    for back in range(7 * weeks - 1, 0, -1):
        day = today - timedelta(days=back)
        number = (day - first_morning).days
        week = (day - begin).days // 7
        plan = None if number in _ILL_DAYS else _WEEK[(number + 1) % 7]
        if plan is _HILLY:
            plan = {
                _TEST_WEEK: _TEST,
                _RACE_WEEK: _RACE,
                _SHORT_RACE_WEEK: _1500,
                _MIDDLE_RACE_WEEK: _3000,
                _MAXIMUM_WEEK: _HILLS,
            }.get(week, plan)
        if plan is _LONG and week == _HALF_WEEK:
            plan = _HALF
        if plan is None and week in _WALK_WEEKS and (number + 1) % 7 == 1 and number not in _ILL_DAYS:
            plan = _WALK
        if plan is None:
            continue
        hour = next((hour for word, hour in _HOUR.items() if word in plan.name), 7)
        began = datetime.combine(day, time(hour, int(rng.integers(0, 50))), _ZONE)
        if plan is _SHORT and week % 4 == 3:
            run_store.add_by_hand(journal, began, 2760.0, 8000.0, plan.felt, f"{plan.name}, {INVENTED}")
        else:
            _keep(journal, plan, began, week, rng)
        saved += 1
    return saved


def _keep(journal: Journal, plan: _Plan, began: datetime, week: int, rng: np.random.Generator) -> None:
    sport: Sport = "walking" if plan is _WALK else "running"
    parsed = ParsedRun(began, _faulty(_samples(plan, rng), plan, week, rng), INVENTED, sport)
    sha256 = hashlib.sha256(blob_of(parsed.samples)).hexdigest()
    prepared = prepared_of(parsed, f"{INVENTED} {began:%Y-%m-%d}.csv", sha256)
    kept = run_store.keep(journal, prepared)
    felt = None if plan is _EASY and week % 6 == 4 else float(np.clip(plan.felt + rng.integers(-1, 2) / 2, 0, 10))
    talk = _TALKS.get(plan.name) if week % 2 else None
    if talk == "whole sentences" and week >= _SHORT_OF_BREATH_WEEK:
        talk = "short sentences"
    run_store.edit(journal, kept.run_id, felt, f"{plan.name}, {INVENTED}", race=plan in _RACES, talk=talk)
    if plan is _HILLS and (peak := prepared.figures.peak_bpm) is not None:
        highest = Maximum(began.date(), "hill repeats", peak, 0, INVENTED, kept.run_id)
        zone_store.add_maximum(journal, highest, began.date())
    if plan is _TEST:
        test = threshold_test(samples_of(prepared.blob), prepared.marks, _TEST_FROM_S)
        entry = Threshold(began.date(), round(test.bpm), test.pace_s_per_km, INVENTED, kept.run_id)
        zone_store.add_threshold(journal, entry, began.date())


def _samples(plan: _Plan, rng: np.random.Generator) -> Samples:
    """A sample a second: pulse follows effort late, drifts up with the hours and never lies still."""
    lengths = [int(seconds) for seconds, _, _ in plan.parts]
    aim, speed = (np.repeat([part[place] for part in plan.parts], lengths).astype(np.float64) for place in (1, 2))
    count = aim.size
    minutes = np.arange(count) / 60
    aim += rng.normal(0, 1.5) + np.clip(minutes - 20, 0, 100) * 0.09
    pulse = _late(aim - 95, _RESPONSE_S) + 95 + 1.4 * _slow_noise(rng, count, 25) + rng.normal(0, 0.4, count)
    pace = np.maximum(_late(speed, 6.0) * (1 + 0.02 * _slow_noise(rng, count, 40)), 0.5)
    # Faster than any pulse here, or the cleaning would rightly doubt the whole run.
    steps = np.clip(174 + 18 * (pace - 2.8), 150, 196) + 1.2 * _slow_noise(rng, count, 15)
    hilly = plan in (_HILLY, _HILLS)
    climb = np.where(speed < np.median(speed), 0.08, -0.08) * pace if hilly else np.zeros(count)
    return Samples(
        np.arange(count, dtype=np.float64),
        np.round(pulse),
        np.concatenate(([0.0], np.cumsum(pace)[:-1])),
        np.round(steps),
        np.zeros(count, dtype=np.bool_),
        120.0 + np.cumsum(climb),
    )


def _faulty(samples: Samples, plan: _Plan, week: int, rng: np.random.Generator) -> Samples:
    """What a sensor does to some runs."""
    pulse, time_s = samples.pulse_bpm.copy(), samples.time_s
    if plan is _EASY and week % 5 == 2:  # locks on to the step rate
        pulse[700:1120] = samples.steps_per_min[700:1120]
    if plan is _LONG and week % 3 == 1:  # loses contact
        for start in rng.integers(600, 6000, 3).tolist():
            pulse[start : start + 75] = np.nan
    if plan is _FAST and week % 3 == 0:  # single impossible jumps
        for start in rng.integers(300, 2800, 3).tolist():
            pulse[start : start + 4] = 228
    samples = replace(samples, pulse_bpm=pulse)
    if plan is _HILLY and week % 4 == 2:  # forgets a minute and a half
        kept = (time_s < 1200) | (time_s >= 1290)
        return Samples(*(getattr(samples, each.name)[kept] for each in fields(samples)))
    return samples


def _late(values: FloatArray, response_s: float) -> FloatArray:
    """First-order response from 0, or from the first value where it is a speed."""
    share = 1 / response_s
    begin = [(1 - share) * (values[0] if values[0] < 20 else 0.0)]
    late, _ = lfilter([share], [1, share - 1], values, zi=begin)
    return np.asarray(late, dtype=np.float64)


def _slow_noise(rng: np.random.Generator, count: int, slowness_s: float) -> FloatArray:
    """Noise of standard deviation 1 that changes over about so many seconds."""
    keeps = 1 - 1 / slowness_s
    noise = lfilter([np.sqrt(1 - keeps**2)], [1, -keeps], rng.normal(0, 1, count))
    return np.asarray(noise, dtype=np.float64)
