"""The morning's answer: keep the plan, easy instead of hard, no run, or that it can't be said; and what it rests on.

Weighed in this order, and the first that speaks decides; no later one makes it milder:
1. health, which outweighs every number;
2. a far-off morning: pulse and RMSSD of today both strayed the same way, or one of them very far;
3. the week against the four weeks before it, on either side, as in Vesterinen et al. 2016 (Med Sci Sports Exerc
   48:1347-1354), but only beyond what chance does to the average of so few mornings;
4. how the runner feels against the own usual (felt measures follow load at least as well: Saw et al. 2016, Br J Sports
   Med 50:281-291; joined with variability in Nuuttila et al. 2022, Med Sci Sports Exerc 54:1690-1701);
5. the load behind, which never speaks alone.
The thresholds were set on simulated runners; tests/benchmarks/answers.py prints how often the answer is wrong.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal, get_args

from dawnbeat.journal.ranges import DEFAULT, LATELY, RangeSettings
from dawnbeat.journal.today import Stand, Today, stand_of
from dawnbeat.shared.morning import RATINGS, SHORTEST_COMPARABLE_S, Context, Morning

What = Literal["keep", "easy", "none", "cannot_say"]
WHATS: tuple[What, ...] = get_args(What)

# Illness counts for so many days, today included, unless the runner says to be well again. Common practice, no source.
ILL_DAYS = 4
# Mornings together with the pulse this many standard deviations above its mean: rest. Common practice, no source.
PULSE_DAYS, PULSE_DAYS_SD = 3, 2.0
# A pulse that came irregularly on so many mornings of the week is to be shown to a doctor. Common practice, no source.
IRREGULAR_MORNINGS = 2

# In standard deviations of single mornings, set on simulated runners: both strayed the same way and together far
# (their sum over the root of 2), each of them at least so much; or one alone very far.
FAR_TOGETHER = 2.3
FAR_RMSSD_AT_LEAST, FAR_PULSE_AT_LEAST = 0.5, 0.9
FAR_ALONE = 3.3
# In standard errors of the week's average, set on simulated runners. Upwards RMSSD is seen in good form too (Plews et
# al. 2013, Sports Med 43:773-781), so it takes more to speak.
WEEK_WORSE, WEEK_RMSSD_ABOVE = 2.3, 3.0
# The same for the last five mornings alone, which see a change days before the week does.
LATELY_WORSE = 1.95

# A felt sign: so many steps of the seven worse than one's usual and at least so bad; without a usual, this bad. Hours
# slept: so many fewer than usual, or, without a usual, fewer than so many. So many signs together say easy, or two of
# which one is a step worse still. Common practice, no source; the counts were set on simulated runners.
FELT_WORSE, FELT_BAD, FELT_BAD_ALONE = 2, 5, 6
FELT_TOGETHER, FELT_TOGETHER_IF_STRONG = 3, 2
HOURS_FEWER_H, HOURS_FEW_H = 1.5, 5.0
FELT_FEWEST = 7
# Yesterday, and the last seven days, against the usual ones of the four weeks before. Common practice, no source.
LOAD_YESTERDAY_TIMES, LOAD_WEEK_TIMES = 2.0, 1.5


@dataclass(frozen=True)
class Fact:
    """One thing an answer rests on, as data. code: a short word. values: by name with unit, each with its usual."""

    code: str
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class LoadBehind:
    """What was run: yesterday's load and that of the last seven days, beside the days and weeks before.

    measure: what the load is counted in. usual_day: mean of the days with a run. None where nothing is known.
    """

    measure: str
    yesterday: float
    week: float
    usual_day: float | None = None
    usual_week: float | None = None


@dataclass(frozen=True)
class Answer:
    """What a morning says about today's run.

    because: what decided, in order; empty for "keep". facts: what else it rests on, each value with its usual. asks:
    questions to the runner, by code. would_change: what would change it, by code. cautions: by code.
    """

    day: date
    what: What
    because: tuple[Fact, ...] = ()
    facts: tuple[Fact, ...] = ()
    asks: tuple[str, ...] = ()
    would_change: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def rests_on(self) -> tuple[Fact, ...]:
        """Everything it rests on, what decided first."""
        return (*self.because, *self.facts)


def answer_of(
    mornings: Sequence[Morning],
    day: date,
    settings: RangeSettings = DEFAULT,
    notes: Context | None = None,
    load: LoadBehind | None = None,
) -> Answer:
    """The answer of a day from the mornings up to it, one a day.

    notes: in place of what is noted with the day's reading, as while the runner is still typing.
    """
    recent = [each for each in mornings if each.date <= day]
    if notes is not None:
        recent = [_with_notes(each, notes) if each.date == day else each for each in recent]
    return answer_from(stand_of(recent, day, settings), recent, notes, load)


def _with_notes(morning: Morning, notes: Context) -> Morning:
    """The same morning with other notes."""
    return replace(
        morning,
        ill=notes.ill,
        well_again=notes.well_again,
        comparable=not notes.not_comparable,
        context=notes,
    )


def answer_from(
    today: Today, mornings: Sequence[Morning], notes: Context | None = None, load: LoadBehind | None = None
) -> Answer:
    """The answer of a day whose standing is known already; `mornings` as in `answer_of`."""
    morning = today.morning
    if notes is None:
        notes = Context() if morning is None else morning.context
    health = _health(today, mornings)
    far, week = _far_off(today), _week(today)
    felt = felt_signs(notes, mornings, today.day)
    behind = _load_signs(load)
    needed = FELT_TOGETHER_IF_STRONG if any(map(_is_strong, felt)) else FELT_TOGETHER
    signs = (*felt, *behind) if felt and len(felt) + len(behind) >= needed else ()
    beside = _beside(today)
    if health.because and health.what == "none":
        return replace(health, facts=beside)
    irregular = morning is not None and morning.irregular
    because = (*health.because, *far, *week, *signs)
    if far or week or signs:
        changes = ("tomorrow",) if far and not week else ("week_back",) if week else ("feel_better",)
        return Answer(today.day, "easy", because, _others(beside, because), (), changes, health.cautions)
    if irregular:
        return Answer(today.day, "cannot_say", because, beside, (), ("take_again",), health.cautions)
    unsure = _cannot_say(today)
    if unsure:
        change = "take_again" if unsure[0].code in ("not_usable", "no_reading", "short") else "more_mornings"
        return Answer(today.day, "cannot_say", unsure, (*felt, *beside), (), (change,), health.cautions)
    facts = (*beside, *(felt if len(felt) == 1 else ()))
    return Answer(today.day, "keep", (), facts, (), ("ill", "feel_worse"), health.cautions)


# 1. Health


def _health(today: Today, mornings: Sequence[Morning]) -> Answer:
    """What health says by itself; "keep" where it says nothing."""
    day, morning = today.day, today.morning
    nothing = Answer(day, "keep")
    if morning is not None and morning.ill:
        return Answer(day, "none", (Fact("ill_today"),), (), (), ("well_again",), ("fever", "doctor"))
    before = [each.date for each in mornings if each.ill and timedelta(0) < day - each.date < timedelta(days=ILL_DAYS)]
    if before and not _well_again(mornings, max(before), day):
        ago = float((day - max(before)).days)
        ill = Fact("ill_before", {"days_ago": ago})
        return Answer(day, "none", (ill,), (), ("well_again",), ("well_again",), ("fever", "doctor"))
    high = _pulse_high(today, mornings)
    if high is not None:
        return Answer(day, "none", (high,), (), (), ("pulse_back",), ("doctor_pulse",))
    if morning is not None and morning.irregular:
        days = today.settings.week_days
        times = sum(each.irregular for each in mornings if timedelta(0) <= day - each.date < timedelta(days=days))
        often = times >= IRREGULAR_MORNINGS
        fact = Fact("irregular_often" if often else "irregular", {"mornings": float(times)})
        return replace(nothing, because=(fact,), cautions=("doctor_rhythm",))
    return nothing


def _well_again(mornings: Sequence[Morning], last_ill: date, day: date) -> bool:
    return any(each.well_again for each in mornings if last_ill < each.date <= day)


def _pulse_high(today: Today, mornings: Sequence[Morning]) -> Fact | None:
    """The latest mornings in a row, this one included, with the pulse far above usual; None for too few."""
    stand, usual = today.resting_pulse, today.resting_pulse.usual
    if usual is None or stand.this_morning is None or usual.spread <= 0:
        return None
    first = today.day - timedelta(days=today.settings.week_days - 1)
    pulses: list[float] = []
    for each in sorted(mornings, key=lambda each: each.date, reverse=True):
        pulse, trusted = each.resting_pulse_bpm, each.usable if each.pulse_usable is None else each.pulse_usable
        if each.date < first or each.posture != today.usual_posture or not trusted or pulse is None:
            continue
        if usual.away(pulse) < PULSE_DAYS_SD:
            break
        pulses.append(pulse)
    if len(pulses) < PULSE_DAYS:
        return None
    values = {"mornings": float(len(pulses)), "bpm": stand.this_morning}
    return Fact("pulse_high_days", {**values, "low_bpm": usual.band_low, "high_bpm": usual.band_high})


# 2. A far-off morning


def _far_off(today: Today) -> tuple[Fact, ...]:
    rmssd, pulse = today.ln_rmssd, today.resting_pulse
    down = None if rmssd.morning_away is None else -rmssd.morning_away
    up = pulse.morning_away
    found = []
    if down is not None and down > FAR_ALONE:
        found.append(_single(rmssd, "rmssd_far"))
    if up is not None and up > FAR_ALONE:
        found.append(_single(pulse, "pulse_far"))
    if not found and down is not None and up is not None:
        both = (down + up) / math.sqrt(2) > FAR_TOGETHER
        if both and down > FAR_RMSSD_AT_LEAST and up > FAR_PULSE_AT_LEAST:
            return (_single(rmssd, "rmssd_off"), _single(pulse, "pulse_off"))
    return tuple(found)


def _single(stand: Stand, code: str) -> Fact:
    """This morning with the band of single mornings."""
    usual = stand.morning_usual
    assert usual is not None
    assert stand.this_morning is not None
    return Fact(code, _in_units(stand, stand.this_morning, usual.band_low, usual.band_high))


def _in_units(stand: Stand, value: float, low: float, high: float) -> dict[str, float]:
    if stand.measure == "ln_rmssd":
        return {"ms": math.exp(value), "low_ms": math.exp(low), "high_ms": math.exp(high)}
    return {"bpm": value, "low_bpm": low, "high_bpm": high}


# 3. The week


def _week(today: Today) -> tuple[Fact, ...]:
    rmssd, pulse = today.ln_rmssd, today.resting_pulse
    found = []
    if _outside(rmssd, "below", WEEK_WORSE):
        found.append(_weekly(rmssd, "week_rmssd_below"))
    elif rmssd.lately_away is not None and rmssd.lately_away < -LATELY_WORSE:
        found.append(_weekly(rmssd, "lately_rmssd_below", lately=True))
    elif _outside(rmssd, "above", WEEK_RMSSD_ABOVE):
        found.append(_weekly(rmssd, "week_rmssd_above"))
    if _outside(pulse, "above", WEEK_WORSE):
        found.append(_weekly(pulse, "week_pulse_above"))
    elif pulse.lately_away is not None and pulse.lately_away > LATELY_WORSE:
        found.append(_weekly(pulse, "lately_pulse_above", lately=True))
    return tuple(found)


def _outside(stand: Stand, side: Literal["below", "above"], errors: float) -> bool:
    """Beyond the usual range, and beyond so many of the week's own standard errors."""
    away = stand.week_away
    if away is None or not stand.week.startswith(side):
        return False
    return away < -errors if side == "below" else away > errors


def _weekly(stand: Stand, code: str, lately: bool = False) -> Fact:
    """The mean of the week, or of its last five mornings alone, with the usual range."""
    week, usual = stand.week_average, stand.usual
    assert week is not None
    assert usual is not None
    mean, mornings = (week.lately, LATELY) if lately else (week.mean, week.n)
    values = _in_units(stand, mean, usual.low, usual.high)
    return Fact(code, {**values, "mornings": float(mornings), "reference_mornings": float(usual.n)})


# 4. How the runner feels


def felt_signs(notes: Context, mornings: Iterable[Morning], day: date) -> tuple[Fact, ...]:
    """What of the notes is worse than the runner's own usual of the five weeks before."""
    before = [each.context for each in mornings if timedelta(0) < day - each.date <= timedelta(days=35)]
    found = []
    for name in RATINGS:
        rating = getattr(notes, name)
        if rating is None:
            continue
        usual = _usual([getattr(each, name) for each in before])
        least = FELT_BAD_ALONE if usual is None else max(usual + FELT_WORSE, FELT_BAD)
        if rating >= least:
            found.append(Fact(f"felt_{name}", {"rating": float(rating), **_with("usual_rating", usual)}))
    if notes.hours_slept is not None:
        usual = _usual([each.hours_slept for each in before])
        if notes.hours_slept <= (HOURS_FEW_H if usual is None else usual - HOURS_FEWER_H):
            found.append(Fact("few_hours", {"hours": notes.hours_slept, **_with("usual_hours", usual)}))
    if notes.alcohol:
        found.append(Fact("alcohol"))
    return tuple(found)


def _is_strong(sign: Fact) -> bool:
    rating, usual = sign.values.get("rating"), sign.values.get("usual_rating", FELT_BAD_ALONE - FELT_WORSE)
    return rating is not None and rating > usual + FELT_WORSE


def _usual(values: Iterable[float | None]) -> float | None:
    known = [float(each) for each in values if each is not None]
    return statistics.median(known) if len(known) >= FELT_FEWEST else None


def _with(name: str, value: float | None) -> dict[str, float]:
    return {} if value is None else {name: value}


# 5. What lies behind


def _load_signs(load: LoadBehind | None) -> tuple[Fact, ...]:
    if load is None:
        return ()
    found = []
    if load.usual_day and load.yesterday >= LOAD_YESTERDAY_TIMES * load.usual_day:
        found.append(Fact("load_yesterday", {"load": load.yesterday, "usual_load": load.usual_day}))
    if load.usual_week and load.week >= LOAD_WEEK_TIMES * load.usual_week:
        found.append(Fact("load_week", {"load": load.week, "usual_load": load.usual_week}))
    return tuple(found)


# What else is known


def _beside(today: Today) -> tuple[Fact, ...]:
    """The week and this morning with their usual, whatever they say."""
    rmssd, pulse = today.ln_rmssd, today.resting_pulse
    found = []
    if rmssd.week_average is not None and rmssd.usual is not None:
        found.append(_weekly(rmssd, "week_rmssd"))
    elif rmssd.usual is not None:
        needed = float(today.settings.week_minimum)
        found.append(Fact("week_too_few", {"mornings": float(rmssd.in_week), "needed": needed}))
    for stand, code in ((rmssd, "rmssd"), (pulse, "pulse")):
        if stand.this_morning is not None and stand.morning_usual is not None:
            found.append(_single(stand, code))
    if today.morning is not None and today.usual_posture not in (None, today.morning.posture):
        found.append(Fact("other_posture"))
    if today.hours_off is not None:
        found.append(Fact("other_hour", {"hours_off": today.hours_off}))
    return tuple(found)


_SAME = {"rmssd_off": "rmssd", "rmssd_far": "rmssd", "pulse_off": "pulse", "pulse_far": "pulse"}
_SAME |= {"week_rmssd_below": "week_rmssd", "week_rmssd_above": "week_rmssd"}


def _others(beside: Iterable[Fact], because: Iterable[Fact]) -> tuple[Fact, ...]:
    """The facts that are not said already by what decided."""
    said = {_SAME.get(each.code) for each in because}
    return tuple(each for each in beside if each.code not in said)


def _cannot_say(today: Today) -> tuple[Fact, ...]:
    """Why no "keep" can rest on this day; empty where it can."""
    rmssd, pulse, morning = today.ln_rmssd, today.resting_pulse, today.morning
    if morning is None:
        return (Fact("no_reading"),)
    if not morning.comparable:
        return (Fact("not_comparable"),)
    if rmssd.this_morning is None and pulse.this_morning is None:
        short = morning.usable and morning.duration_s is not None and morning.duration_s < SHORTEST_COMPARABLE_S
        seconds = {"s": float(morning.duration_s or 0.0), "needed_s": SHORTEST_COMPARABLE_S}
        return (Fact("short", seconds) if short else Fact("not_usable"),)
    if rmssd.usual is None:
        return (
            Fact("too_few", {"mornings": float(rmssd.in_history), "needed": float(today.settings.history_minimum)}),
        )
    if rmssd.morning_away is None and rmssd.week_average is None:
        return (Fact("not_compared"),)
    return ()
