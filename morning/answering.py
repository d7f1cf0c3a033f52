"""The answer of a day of the journal: drawn from what is read once, asked again as notes change, and stored."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from dawnbeat.journal import rows
from dawnbeat.journal.ranges import DEFAULT, RangeSettings, daily_ranges
from dawnbeat.journal.store import Journal
from dawnbeat.journal.today import Today, mornings_for, stand_of
from dawnbeat.morning.answer import WHATS, Answer, Fact, LoadBehind, answer_from, answer_of
from dawnbeat.shared.morning import Context, Morning, StoredReading
from dawnbeat.shared.reading import Analysis
from dawnbeat.training.mornings_after import daily_load
from dawnbeat.training.periods import WEEK_DAYS, judged_runs
from dawnbeat.training.zone_store import chosen_coefficients

# Weeks that yesterday and the last seven days are held against.
_WEEKS_BEFORE = 4


@dataclass(frozen=True)
class Grounds:
    """What the answer of a day is drawn from."""

    day: date
    mornings: tuple[Morning, ...]
    load: LoadBehind | None
    settings: RangeSettings

    @functools.cached_property
    def today(self) -> Today:
        """Where the day stands, by what is noted in the journal."""
        return stand_of(self.mornings, self.day, self.settings)

    def answer(self, notes: Context | None = None) -> Answer:
        """The answer; notes: in place of those in the journal, while the runner is still choosing."""
        if notes is None:
            return answer_from(self.today, self.mornings, None, self.load)
        return answer_of(self.mornings, self.day, self.settings, notes, self.load)


def grounds(journal: Journal, day: date, settings: RangeSettings = DEFAULT) -> Grounds:
    """Read what a day's answer is drawn from; later readings are not looked at."""
    return Grounds(day, tuple(mornings_for(journal, day, settings)), load_behind(journal, day), settings)


def keep_answer(journal: Journal, reading: StoredReading, drawn_from: Grounds) -> StoredReading:
    """Store with a reading what is said on its day now; one that does not stand for its day keeps what it has."""
    stands = next((each for each in drawn_from.mornings if each.date == reading.local_date), None)
    if stands is None or not (reading.counts or stands == rows.morning_of(reading)):
        return reading
    return journal.keep_answer(reading.id, as_json(drawn_from.answer()))


def other_answers(
    journal: Journal, settings: RangeSettings, fresh: Mapping[int, Analysis]
) -> list[tuple[StoredReading, Answer, Answer]]:
    """The readings on which something else would be said now: what was said, and what would be.

    fresh: new analyses by the number of the reading, in place of the stored ones. Nothing is changed.
    """
    readings = [_analysed_anew(each, fresh.get(each.id)) for each in journal.readings()]
    mornings = [rows.morning_of(each) for each in rows.one_a_day(readings)]
    found = []
    for each in readings:
        said = None if each.answer is None else from_json(each.answer)
        if said is None:
            continue
        first = each.local_date - timedelta(days=settings.reach_days)
        near = [other for other in mornings if first <= other.date <= each.local_date]
        with_load = any(fact.code.startswith("load_") for fact in said.because)
        load = load_behind(journal, each.local_date) if with_load else None
        now = answer_from(stand_of(near, each.local_date, settings), near, None, load)
        if now.what != said.what:
            found.append((each, said, now))
    return found


def _analysed_anew(reading: StoredReading, fresh: Analysis | None) -> StoredReading:
    if fresh is None:
        return reading
    return replace(
        reading,
        duration_s=fresh.duration_s,
        metrics=fresh.metrics,
        intervals95=fresh.intervals95,
        verdict=fresh.verdict,
    )


def load_behind(journal: Journal, day: date) -> LoadBehind | None:
    """Yesterday's load and that of the last seven days beside the four weeks before; None without runs in them."""
    week_first = day - timedelta(days=WEEK_DAYS)
    first = week_first - timedelta(days=_WEEKS_BEFORE * WEEK_DAYS)
    judged = judged_runs(journal, day, first, day - timedelta(days=1))
    if not judged:
        return None
    found = daily_load(judged, chosen_coefficients(journal) or "men")
    before = [load for run_day, load in found.by_day.items() if first <= run_day < week_first]
    return LoadBehind(
        measure=found.name,
        yesterday=found.by_day.get(day - timedelta(days=1), 0.0),
        week=sum(load for run_day, load in found.by_day.items() if week_first <= run_day < day),
        usual_day=sum(before) / len(before) if before else None,
        usual_week=sum(before) / _WEEKS_BEFORE if before else None,
    )


def as_json(answer: Answer) -> dict[str, Any]:
    """Plain values, to store or print."""

    def facts(found: Iterable[Fact]) -> list[dict[str, Any]]:
        return [
            {"code": each.code, "values": {name: round(value, 4) for name, value in each.values.items()}}
            for each in found
        ]

    return {
        "day": answer.day.isoformat(),
        "what": answer.what,
        "because": facts(answer.because),
        "facts": facts(answer.facts),
        "asks": list(answer.asks),
        "would_change": list(answer.would_change),
        "cautions": list(answer.cautions),
    }


def from_json(stored: Mapping[str, Any]) -> Answer | None:
    """An answer that was stored; None where it can't be understood."""

    def facts(found: Iterable[Mapping[str, Any]]) -> tuple[Fact, ...]:
        return tuple(
            Fact(str(each["code"]), {str(name): float(value) for name, value in each["values"].items()})
            for each in found
        )

    try:
        what = next(each for each in WHATS if each == stored["what"])
        words = (tuple(map(str, stored[name])) for name in ("asks", "would_change", "cautions"))
        day = date.fromisoformat(stored["day"])
        return Answer(day, what, facts(stored["because"]), facts(stored["facts"]), *words)
    except (KeyError, TypeError, ValueError, AttributeError, StopIteration):
        return None


@dataclass(frozen=True)
class AnsweredWeek:
    """One week of lnRMSSD, Monday to Sunday, with the week's average and the usual range as of its last morning.

    compared: of each morning, whether it is in the average and not ill. said: by day, the answer, and whether it was
    stored that morning; else it is what would be said now.
    """

    monday: date
    mornings: tuple[Morning, ...]
    compared: tuple[bool, ...]
    average: float
    low: float
    high: float
    said: Mapping[date, tuple[Answer, bool]]


def answered_weeks(
    readings: Sequence[StoredReading], last: date, weeks: int, settings: RangeSettings
) -> tuple[AnsweredWeek, ...]:
    """The last so many weeks, the newest first; those without a morning are left out."""
    chosen = rows.one_a_day(readings)
    mornings = [rows.morning_of(each) for each in chosen]
    stored = {each.local_date: from_json(each.answer) for each in chosen if each.answer is not None}
    monday = last - timedelta(days=last.weekday())
    first = monday - timedelta(weeks=weeks - 1)
    daily = daily_ranges(mornings, "ln_rmssd", first, monday + timedelta(days=6), settings)

    def said_on(day: date) -> tuple[Answer, bool]:
        if (kept := stored.get(day)) is not None:
            return kept, True
        near = [each for each in mornings if 0 <= (day - each.date).days <= settings.reach_days]
        return answer_of(near, day, settings), False

    found = []
    for back in range(weeks):
        start = monday - timedelta(weeks=back)
        inside = tuple(each for each in mornings if 0 <= (each.date - start).days < 7 and each.ln_rmssd is not None)
        if not inside:
            continue
        newest = inside[-1].date
        at = (newest - first).days
        found.append(
            AnsweredWeek(
                monday=start,
                mornings=inside,
                compared=tuple(
                    bool(daily.in_week[at][-1 - (newest - each.date).days]) and not each.ill for each in inside
                ),
                average=float(daily.week[at]),
                low=float(daily.low[at]),
                high=float(daily.high[at]),
                said={each.date: said_on(each.date) for each in inside},
            )
        )
    return tuple(found)
