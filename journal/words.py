"""Today in plain words: what it rests on, what runners commonly do, when to see a doctor.

Never a diagnosis, and no advice from too few mornings.
"""

from __future__ import annotations

import math
from datetime import date

from dawnbeat.journal.ranges import ABOVE, BELOW, INSIDE, TOO_FEW, Trend, UsualRange
from dawnbeat.journal.today import PULSE_DAYS, Today

SEEK_HELP = "Chest pain, fainting, or a heart that races or stumbles needs medical help, whatever these numbers say."
# strftime would follow the locale, and the sentence around it doesn't.
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
ONE_MORNING = "One morning by itself says little."


def paragraph(today: Today) -> str:
    """Today's paragraph: whole sentences, no line breaks."""
    parts = [
        _week(today),
        _morning(today),
        _differences(today),
        _pulse(today),
        _irregular(today),
        _trend(today.ln_rmssd.trend),
        _commonly(today),
        _doctor(today),
    ]
    return " ".join(part for part in parts if part)


def rests_on(today: Today) -> list[str]:
    """Lines that say which mornings the statements rest on, and which were left out and why."""
    lines = []
    for stand, name, unit in ((today.ln_rmssd, "lnRMSSD", ""), (today.resting_pulse, "Resting pulse", " bpm")):
        if stand.week_average is not None:
            week = stand.week_average
            lines.append(
                f"{name}, week: {week.mean:.2f}{unit} from {_span(week.dates)}, coefficient of variation "
                f"{week.cv_pct:.1f} %."
            )
        if stand.usual is not None:
            usual = stand.usual
            lines.append(
                f"{name}, usual range: {usual.low:.2f} to {usual.high:.2f}{unit} (mean {usual.mean:.2f}, standard "
                f"deviation {usual.sd:.2f}) from {_span(usual.dates)}."
            )
        if stand.trend is not None:
            trend = stand.trend
            lines.append(
                f"{name}, trend: {_signed(trend.per_week)}{unit} a week (95 % interval {_signed(trend.low)} to "
                f"{_signed(trend.high)}) from {_span(trend.dates)}."
            )
    if today.other_posture:
        lines.append(f"Left out for another posture than {today.usual_posture}: {_span(today.other_posture)}.")
    if today.not_usable:
        lines.append(f"Left out as not usable: {_span(today.not_usable)}.")
    return lines


def _signed(value: float) -> str:
    """With its sign, and none for what rounds to nothing."""
    shown = f"{value:+.2f}"
    return "0.00" if shown in ("+0.00", "-0.00") else shown


def _week(today: Today) -> str:
    stand = today.ln_rmssd
    if stand.week_average is None or stand.usual is None:
        return _missing(today)
    week, usual = stand.week_average, stand.usual
    return (
        f"Your week's average sits {stand.week}: RMSSD about {_ms(week.mean)} from {_count(week.n)}, against "
        f"{_ms(usual.low)} to {_ms(usual.high)} from {_count(usual.n)} between {_day(usual.dates[0])} and "
        f"{_day(usual.dates[-1])}."
    )


def _missing(today: Today) -> str:
    stand, settings = today.ln_rmssd, today.settings
    gaps = []
    if stand.usual is None:
        gaps.append(
            f"a usual range needs {_count(settings.history_minimum, 'usable ')} in the "
            f"{settings.history_days} days before this week, and there {_are(stand.in_history)}"
        )
    if stand.week_average is None:
        gaps.append(
            f"a week's average needs {_count(settings.week_minimum, 'usable ')} in {settings.week_days} "
            f"days, and there {_are(stand.in_week)}"
        )
    return f"There are {TOO_FEW} where your week stands: {'; '.join(gaps)}."


def _morning(today: Today) -> str:
    stand, morning = today.ln_rmssd, today.morning
    if morning is None:
        said = "There is no reading for this day."
    elif not morning.usable:
        said = "This morning's reading is not usable, so it counts for nothing here."
    elif stand.this_morning is None:
        said = "This morning's reading has no RMSSD."
    elif stand.morning == TOO_FEW:
        said = f"This morning: RMSSD {_ms(stand.this_morning)}; {TOO_FEW} how that compares."
    else:
        said = f"This morning, at RMSSD {_ms(stand.this_morning)}, is {stand.morning}."
        if stand.morning != INSIDE:
            said += f" {ONE_MORNING}"
    return said


def _differences(today: Today) -> str:
    morning, parts = today.morning, []
    if morning is None:
        return ""
    if today.usual_posture is not None and morning.usable and morning.posture != today.usual_posture:
        parts.append(
            f"You were {morning.posture} this time and are usually {today.usual_posture}, so this morning is "
            f"compared only with mornings {morning.posture} and does not enter your week."
        )
    if today.hours_off is not None:
        way = "later" if today.hours_off > 0 else "earlier"
        parts.append(
            f"It was taken about {abs(today.hours_off):.0f} hours {way} than usual, which alone can move the numbers."
        )
    return " ".join(parts)


def _pulse(today: Today) -> str:
    stand = today.resting_pulse
    parts = []
    if stand.week == ABOVE and stand.week_average is not None and stand.usual is not None:
        parts.append(
            f"Your resting pulse is raised: {stand.week_average.mean:.0f} bpm over the week, against "
            f"{_bpm(stand.usual)}. Hard training, short sleep, alcohol, heat or a cold coming on commonly do "
            "that."
        )
    elif stand.morning == ABOVE and stand.morning_usual is not None and stand.this_morning is not None:
        parts.append(
            f"Your resting pulse is raised this morning: {stand.this_morning:.0f} bpm, against "
            f"{_bpm(stand.morning_usual)}."
        )
    elif TOO_FEW not in (stand.week, today.ln_rmssd.week):
        parts.append(f"Your resting pulse over the week is {stand.week}.")
    return " ".join(parts)


def _irregular(today: Today) -> str:
    if today.irregular_share is None:
        return ""
    return (
        f"{100 * today.irregular_share:.0f} % of this morning's intervals came from irregular beats. A "
        "camera can't tell why, and single ones are common; if it happens again, show it to a doctor."
    )


def _trend(trend: Trend | None) -> str:
    if trend is None or not trend.clear:
        return ""
    way = "rising" if trend.per_week > 0 else "falling"
    return f"Over the last weeks RMSSD has been {way} by about {_percent(trend.per_week)} a week."


def _commonly(today: Today) -> str:
    """What runners commonly do; silent where there are too few mornings to say."""
    week = today.ln_rmssd.week
    if week == TOO_FEW:
        return "" if today.ln_rmssd.this_morning is None else "Until then, go by how you feel."
    if today.day in today.ill:
        return "You noted that you feel ill: that counts for more than any number here, and runners commonly rest then."
    if today.ill and len(today.pulse_far_above) >= PULSE_DAYS:
        return ""
    if week == BELOW:
        return (
            "Runners commonly swap a hard session for an easy one until the average is back inside, as in "
            "trials of training guided by variability (Kiviniemi 2007, Eur J Appl Physiol 101:743-751)."
        )
    if today.resting_pulse.week == ABOVE:
        return "With a raised pulse, runners commonly keep the next session easy and look again tomorrow."
    if week == ABOVE:
        return (
            "RMSSD above the range is not automatically good: it is seen in good form and also in deep fatigue "
            "(Plews et al. 2013, Sports Med 43:773-781). Runners commonly keep to the plan and watch how their legs "
            "feel."
        )
    return (
        "Runners commonly keep to their plan then, as in trials of training guided by variability (Kiviniemi "
        "2007, Eur J Appl Physiol 101:743-751)."
    )


def _doctor(today: Today) -> str:
    days = len(today.pulse_far_above)
    if days >= PULSE_DAYS and today.ill:
        return (
            f"Your resting pulse has been far above usual for {days} mornings together and you have felt "
            f"ill: leave out running and see a doctor. {SEEK_HELP}"
        )
    if days >= PULSE_DAYS:
        return (
            f"Your resting pulse has been far above usual for {days} mornings together: if you feel ill as "
            f"well, or it stays so, see a doctor. {SEEK_HELP}"
        )
    return SEEK_HELP


def _ms(ln_rmssd: float) -> str:
    return f"{math.exp(ln_rmssd):.0f} ms"


def _percent(ln_step: float) -> str:
    return f"{100 * abs(math.expm1(ln_step)):.0f} %"


def _bpm(usual: UsualRange) -> str:
    return f"a usual {usual.low:.0f} to {usual.high:.0f}"


def _count(n: int, kind: str = "") -> str:
    return f"{n} {kind}morning" + ("" if n == 1 else "s")


def _are(n: int) -> str:
    return "is 1" if n == 1 else f"are {n or 'none'}"


def _day(day: date) -> str:
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def _span(dates: tuple[date, ...]) -> str:
    if len(dates) == 1:
        return f"1 morning, {dates[0].isoformat()}"
    return f"{len(dates)} mornings, {dates[0].isoformat()} to {dates[-1].isoformat()}"
