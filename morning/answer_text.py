"""The morning's answer in plain words: the only place that makes English of its codes and numbers.

Never a diagnosis; what can hurt someone is left to a doctor.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date

from dawnbeat.journal.today import Today, Trend
from dawnbeat.morning.answer import Answer, Fact, What
from dawnbeat.shared.wording import between, short_day, signed, span

HEADLINES: Mapping[What, str] = {
    "keep": "Keep the plan",
    "easy": "Easy instead of hard",
    "none": "No run today",
    "cannot_say": "Can't say",
}
SHORT: Mapping[What, str] = {"keep": "keep", "easy": "easy", "none": "no run", "cannot_say": "can't say"}
SEEK_HELP = "Chest pain, fainting, or a heart that races or stumbles needs medical help, whatever these numbers say."
ONE_MORNING = "One morning by itself says little; it is the run of mornings that counts."
# What makes RMSSD mean something else from the start; said at the first use.
NOT_FOR = (
    "RMSSD means something else, and the answers here don't hold, with a pacemaker, with a heart known to beat "
    "irregularly, with beta blockers and other medicines that change the pulse, and in pregnancy. Then go by how you "
    "feel and by what your doctor says."
)
FIRST_WORDS = (
    "A week's average needs three mornings, a usual range fourteen in the four weeks before that week: until then the "
    f"answer is that it can't be said, unless you are ill. {NOT_FOR}"
)


def headline(answer: Answer) -> str:
    """The answer in two to four words."""
    return HEADLINES[answer.what]


def lead(answer: Answer) -> str:
    """Why, in a sentence or two that follow the headline."""
    if answer.because:
        said = " ".join(fact_text(each) for each in answer.because)
        if answer.what == "cannot_say" and answer.because[0].code in ("too_few", "not_compared"):
            return f"{said} Until then, go by how you feel."
        return said
    return "Nothing in this morning or this week speaks against it."


def asks(answer: Answer) -> list[str]:
    """The questions to the runner."""
    return [_ASKS[code] for code in answer.asks if code in _ASKS]


def cautions(answer: Answer) -> list[str]:
    """What to heed, most pressing first; the usual caution closes them."""
    return [*(_CAUTIONS[code] for code in answer.cautions if code in _CAUTIONS), SEEK_HELP]


def would_change(answer: Answer) -> list[str]:
    """What would change the answer."""
    return [_CHANGES[code] for code in answer.would_change if code in _CHANGES]


def facts(answer: Answer) -> list[str]:
    """What else it rests on, one sentence each, a value with its usual."""
    return [fact_text(each) for each in answer.facts]


def why(answer: Answer) -> list[str]:
    """What unfolds under the answer: facts, what would change it, where the rule comes from."""
    said = [*facts(answer), *would_change(answer)]
    said += [_SOURCES[name] for name in _sources_of(answer)]
    return [*said, ONE_MORNING]


def lines(answer: Answer) -> list[str]:
    """The answer for a terminal, the headline first, one statement a line."""
    return [
        f"{headline(answer)}. {lead(answer)}",
        *asks(answer),
        *facts(answer),
        *would_change(answer),
        *cautions(answer),
    ]


def fact_text(fact: Fact) -> str:
    """One fact as a sentence; a code that is not known here, or lacks a number, is said as it is stored."""
    try:
        text = _ILL_YESTERDAY if fact.code == "ill_before" and fact.values["days_ago"] == 1 else _FACTS[fact.code]
        if "mornings" in fact.values and fact.values["mornings"] == 1:
            text = text.replace("{mornings:.0f} mornings", "1 morning")
        return text.format_map(_Filled(fact.values))
    except (KeyError, ValueError):
        values = ", ".join(f"{name} {value:g}" for name, value in fact.values.items())
        return fact.code.replace("_", " ").capitalize() + (f" ({values})." if values else ".")


class _Filled(dict[str, object]):
    """Values by name; `usual_rating` and `usual_hours` are words, since the usual may not be known yet."""

    def __missing__(self, name: str) -> object:
        if name == "against_rating":
            return f", against {self['usual_rating']:.0f} on most mornings" if "usual_rating" in self else ""
        if name == "against_hours":
            return f", against {self['usual_hours']:.1f} on most nights" if "usual_hours" in self else ""
        raise KeyError(name)


_ILL_YESTERDAY = "You noted an illness yesterday, and have not said that you are well again."
_BAND = "{low_ms:.0f} to {high_ms:.0f} ms"
_BPM = "{low_bpm:.0f} to {high_bpm:.0f} bpm"
_FACTS: Mapping[str, str] = {
    # Health
    "ill_today": "You noted that you feel ill, and that counts for more than any number here.",
    "ill_before": "You noted an illness {days_ago:.0f} days ago, and have not said that you are well again.",
    "pulse_high_days": "Your resting pulse has been far above usual on {mornings:.0f} mornings together: {bpm:.0f} bpm "
    f"this morning, where single mornings lie from {_BPM}.",
    "irregular": "Your pulse came irregularly this morning, so RMSSD says nothing about training today.",
    "irregular_often": "Your pulse came irregularly on {mornings:.0f} mornings of the last seven days, so RMSSD says "
    "nothing about training.",
    # A far-off morning
    "rmssd_off": f"RMSSD is low, {{ms:.0f}} ms where single mornings lie from {_BAND},",
    "pulse_off": f"and your resting pulse high with it, {{bpm:.0f}} bpm where they lie from {_BPM}.",
    "rmssd_far": f"RMSSD is far below every usual morning: {{ms:.0f}} ms, where single mornings lie from {_BAND}.",
    "pulse_far": "Your resting pulse is far above every usual morning: {bpm:.0f} bpm, where single mornings lie from "
    f"{_BPM}.",
    # The week
    "week_rmssd_below": f"Your week's RMSSD has fallen: {{ms:.0f}} ms over {{mornings:.0f}} mornings, against {_BAND}.",
    "week_rmssd_above": f"Your week's RMSSD lies above the usual range: {{ms:.0f}} ms over {{mornings:.0f}} mornings, "
    f"against {_BAND}. That is seen in good form and also in deep fatigue, so watch how your legs feel.",
    "week_pulse_above": "Your resting pulse is raised: {bpm:.0f} bpm over the week's {mornings:.0f} mornings, against "
    f"{_BPM}. Hard training, short sleep, alcohol, heat or a cold coming on do that.",
    "lately_rmssd_below": f"The last {{mornings:.0f}} mornings lie low: RMSSD {{ms:.0f}} ms together, against {_BAND}.",
    "lately_pulse_above": "The last {mornings:.0f} mornings lie high: resting pulse {bpm:.0f} bpm together, against "
    f"{_BPM}. Hard training, short sleep, alcohol, heat or a cold coming on do that.",
    # How the runner feels
    "felt_sleep": "You slept badly ({rating:.0f} of 7{against_rating}).",
    "felt_stress": "You noted stress ({rating:.0f} of 7{against_rating}).",
    "felt_fatigue": "You feel tired ({rating:.0f} of 7{against_rating}).",
    "felt_soreness": "Your muscles are sore ({rating:.0f} of 7{against_rating}).",
    "few_hours": "You slept {hours:.1f} hours{against_hours}.",
    "alcohol": "You noted alcohol the evening before.",
    # What lies behind
    "load_yesterday": "Yesterday was hard: {load:.0f}, where a day with a run is usually {usual_load:.0f}.",
    "load_week": "The last seven days were hard: {load:.0f}, where a week is usually {usual_load:.0f}.",
    # What else is known
    "week_rmssd": f"The week: RMSSD {{ms:.0f}} ms over {{mornings:.0f}} mornings, usual {_BAND}.",
    "week_too_few": "The week: {mornings:.0f} of the {needed:.0f} mornings that an average needs.",
    "rmssd": f"This morning: RMSSD {{ms:.0f}} ms; 95 of 100 mornings lie from {_BAND}.",
    "pulse": f"This morning: resting pulse {{bpm:.0f}} bpm; 95 of 100 mornings lie from {_BPM}.",
    "other_posture": "It was taken in another posture than usual, so it is no part of the week.",
    "other_hour": "It was taken {hours_off:+.0f} hours from your usual time, which alone can move the numbers.",
    # Why it can't be said
    "too_few": "Too few mornings to say: {mornings:.0f} of the {needed:.0f} before this week that a usual range needs.",
    "no_reading": "There is no reading for this day.",
    "not_usable": "This morning's reading can't be used.",
    "short": "This morning's reading is too short to compare: {s:.0f} s, where {needed_s:.0f} s are needed.",
    "not_comparable": "You marked this morning as not comparable with the others.",
    "not_compared": "This morning can't be compared with the others yet, and the week holds too few.",
}

_ASKS = {"well_again": 'Are you well again? Tick "well again" (in a terminal: `dawnbeat note today well=yes`).'}

_CHANGES = {
    "well_again": "Once you say that you are well again, the numbers are looked at.",
    "pulse_back": "A resting pulse back inside its usual band would change it.",
    "tomorrow": "A morning back inside its usual band would change it tomorrow.",
    "week_back": "Mornings back inside the usual range would change it.",
    "feel_better": "Feeling better than you noted would change it.",
    "ill": "Feeling ill would change it at once.",
    "feel_worse": "Two or three bad signs together in how you feel would change it.",
    "take_again": "A reading that can be used would change it.",
    "more_mornings": "More mornings will change it.",
}

_CAUTIONS = {
    "fever": "With fever, or with anything in the chest (pain, pressure, a cough from deep down, short breath): no "
    "running, and see a doctor.",
    "doctor": "If it lasts or gets worse, see a doctor; go by local guidance.",
    "doctor_pulse": "If the pulse stays up, show it to a doctor, and leave out running until then.",
    "doctor_rhythm": "A camera can't tell why a pulse is irregular, and single early beats are common. If it comes "
    "again, or with dizziness, fainting or chest pain, show it to a doctor before you train hard.",
}

_SOURCES = {
    "week": "The rule of the week follows Vesterinen et al. 2016 (Med Sci Sports Exerc 48:1347-1354): hard sessions "
    "only while the week's average lies inside the usual range. Here it must also lie further out than chance puts the "
    "average of so few mornings.",
    "above": "Above the range has two meanings: Plews et al. 2013 (Sports Med 43:773-781).",
    "far": "The rule for single mornings is common practice, without a source; its thresholds were set on simulated "
    "runners.",
    "felt": "How you feel tells load at least as well as a measurement: Saw et al. 2016 (Br J Sports Med 50:281-291).",
    "health": "That illness outweighs the numbers is common practice, without a source.",
}


def _sources_of(answer: Answer) -> list[str]:
    codes = {each.code for each in answer.because}
    names = []
    if answer.what == "none":
        names.append("health")
    if codes & {"rmssd_off", "pulse_off", "rmssd_far", "pulse_far"}:
        names.append("far")
    if answer.what == "keep" or any(code.startswith(("week_", "lately_")) for code in codes):
        names.append("week")
    if "week_rmssd_above" in codes:
        names.append("above")
    if any(code.startswith("felt_") for code in codes):
        names.append("felt")
    return names


def rests_on(today: Today) -> list[str]:
    """Lines that say which mornings week, range and trend rest on, and which were left out and why."""
    said = []
    for stand, name, unit in ((today.ln_rmssd, "lnRMSSD", ""), (today.resting_pulse, "Resting pulse", " bpm")):
        week, usual, trend = stand.week_average, stand.usual, stand.trend
        if week is not None:
            said.append(
                f"{name}, week: {week.mean:.2f}{unit} from {_span(week.dates)}, coefficient of variation "
                f"{week.cv_pct:.1f} %."
            )
        if usual is not None:
            said.append(
                f"{name}, usual range: {usual.low:.2f} to {usual.high:.2f}{unit} (mean {usual.mean:.2f}, standard "
                f"deviation {usual.sd:.2f}) from {_span(usual.dates)}."
            )
        if trend is not None:
            said.append(
                f"{name}, trend: {signed(trend.per_week, 2)}{unit} a week (95 % interval "
                f"{between(trend.low, trend.high, 2, sign=True, unit=unit.strip())}) from {_span(trend.dates)}."
            )
    trend_said = trend_text(today.ln_rmssd.trend)
    said += [trend_said] if trend_said else []
    if today.other_posture:
        said.append(f"Left out for another posture or origin: {_span(today.other_posture)}.")
    if today.not_usable:
        said.append(f"Left out as not usable: {_span(today.not_usable)}.")
    if today.set_apart:
        said.append(f"Left out as ill, short, not comparable or at another hour: {_span(today.set_apart)}.")
    return said


def trend_text(trend: Trend | None) -> str:
    """A trend that is clear, in a sentence; empty for any other."""
    if trend is None or not trend.clear:
        return ""
    way = "rising" if trend.per_week > 0 else "falling"
    return f"Over the last weeks RMSSD has been {way} by about {100 * abs(math.expm1(trend.per_week)):.0f} % a week."


def _span(dates: tuple[date, ...]) -> str:
    if len(dates) == 1:
        return f"1 morning, {short_day(dates[0])}"
    return f"{len(dates)} mornings, {span(dates[0], dates[-1])}"
