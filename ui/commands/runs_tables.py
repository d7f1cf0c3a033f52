"""Runs, weeks and months as tables for the terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence

from dawnbeat.shared.wording import (
    PACE_UNIT,
    UNKNOWN,
    Units,
    bare_pace,
    between,
    clock,
    long_clock,
    number,
    pace_of,
    percent,
    rating,
    way,
)
from dawnbeat.training.periods import EASY_AIM, EASY_TIME_AIM, Fixed, JudgedRun, PeriodSummary, Span, Week
from dawnbeat.training.run import CAN_BE_OVERRULED, MARK_WORDS, Mark
from dawnbeat.training.run_figures import COEFFICIENTS, Coefficients
from dawnbeat.ui.terminal import Column, FittedTable, plain_table

_NOT_ALL = "* some runs of the week are not in this sum"


def runs_table(judged: Sequence[JudgedRun], units: Units = "km") -> FittedTable:
    """One line a run, which what was said of it may continue in the next."""
    table = FittedTable(
        f"Runs; pace in {PACE_UNIT[units]}, pulse in bpm",
        (
            *(Column("No."), Column("Began"), Column("Time"), Column(units), Column("Pace", goes=3)),
            *(
                Column("Pulse", goes=2),
                Column("Easy", goes=4),
                Column("Above easy", goes=1),
                Column("Felt, 0 to 10", words=True),
            ),
        ),
    )
    for each in judged:
        run, figures = each.run, each.run.figures
        what = ", race" if run.race else ""
        if not run.counts:
            what += f", {'not a run' if run.sport == 'running' else run.sport}: does not count"
        table.add_row(
            str(run.id),
            f"{run.began:%Y-%m-%d %H:%M}",
            long_clock(figures.duration_s),
            way(figures.distance_m, units),
            bare_pace(figures.distance_m, figures.duration_s, units),
            number(figures.mean_bpm),
            percent(None if each.judged is None else each.judged.easy_share),
            long_clock(None if each.judged is None else each.judged.above_s),
            rating(run.felt_effort) + what,
        )
    return table


def zones_table(each: JudgedRun) -> FittedTable:
    """Time in zones of one run."""
    table = plain_table("Measured time in zones", ("Zone", "Pulse, bpm", "Time", "Share"))
    if each.judged is None or each.zone_set is None:
        return table
    total = sum(each.judged.zone_s)
    for zone, seconds in zip(each.zone_set.zones.table(), each.judged.zone_s, strict=True):
        low = "up to" if zone.low_bpm is None else str(zone.low_bpm)
        high = "and above" if zone.high_bpm is None else f"{'' if zone.low_bpm is None else 'to '}{zone.high_bpm}"
        table.add_row(zone.name, f"{low} {high}", clock(seconds), percent(seconds / total if total else None))
    return table


def marks_table(marks: Sequence[Mark]) -> FittedTable:
    """What is marked in one run."""
    table = plain_table("Marked", ("Mark", "From", "To", "What", ""))
    for n, mark in enumerate(marks, start=1):
        state = "can be overruled" if mark.kind in CAN_BE_OVERRULED else ""
        if mark.overruled:
            state = "overruled: it counts"
        table.add_row(str(n), clock(mark.start_s), clock(mark.end_s), f"{mark.kind}: {MARK_WORDS[mark.kind]}", state)
    return table


WEEK_MEANINGS = (
    "Before: lowest and highest of the eight weeks before, where at least three of them know it.",
    "Impulse: training impulse, minutes weighted by how high the pulse lay between resting pulse and maximum, summed "
    "over the time at each pulse; with the factors for men and for women (Banister 1991). Arbitrary "
    "units.",
    "Rating load: how hard each run felt (0 to 10) times its minutes, added up (Foster 1998, Med Sci Sports Exerc "
    "30:1164-1168). Arbitrary units.",
    "Monotony: mean of the seven daily rating loads divided by their standard deviation; the higher, the more alike "
    "the days. Strain: the week's rating load times its monotony, in arbitrary units (both Foster 1998). Both wait "
    "for the end of the week and for a rating of every run.",
)


def weeks_table(weeks: Sequence[Week], units: Units = "km") -> FittedTable:
    """How much was run and how easy, one row a week."""
    table = FittedTable(
        f"Weeks; easy runs aim at {percent(EASY_AIM)}, easy time at {percent(EASY_TIME_AIM)}",
        (
            *(Column("Monday"), Column("Runs"), Column("Time"), Column(units)),
            *(Column("Easy runs"), Column("Before", goes=1, called="the easy runs before")),
            *(Column("Easy time"), Column("Before", goes=2, called="the easy time before")),
        ),
    )
    for week in weeks:
        easy = UNKNOWN if not week.judged_runs else f"{week.easy_runs} of {week.judged_runs}"
        table.add_row(
            week.first.isoformat(),
            str(week.runs),
            long_clock(week.duration_s),
            _partly(way(week.distance_m, units, 1), week.without_distance),
            easy,
            _share_span(week.easy_runs_range),
            percent(week.easy_share),
            _share_span(week.easy_range),
        )
    if any(week.without_distance for week in weeks):
        table.caption = _NOT_ALL
    return table


def periods_table(periods: Sequence[PeriodSummary], fixed: Fixed | None, units: Units, years: bool) -> FittedTable:
    """What was run and how fast at the same pulse, one row a month or year."""
    at = "" if fixed is None else f"; pace at {fixed.pulse_bpm:.0f} bpm, pulse at {pace_of(fixed.pace_s_per_km, units)}"
    table = FittedTable(
        f"{'Years' if years else 'Months'}{at}",
        (
            *(Column("Year" if years else "Month"), Column("Runs", goes=4), Column("Time"), Column(units)),
            *(Column("Easy runs"), Column("Easy time", goes=3), Column("Pace"), Column("Pulse")),
            *(Column("Rest", goes=2), Column("RMSSD", goes=1)),
        ),
    )
    for each in periods:
        table.add_row(
            f"{each.first:%Y}" if years else f"{each.first:%Y-%m}",
            str(each.runs),
            long_clock(each.duration_s),
            _partly(way(each.distance_m, units, 0), each.without_distance),
            UNKNOWN if not each.judged_runs else f"{each.easy_runs} of {each.judged_runs}",
            percent(each.easy_share),
            UNKNOWN if each.pace_s_per_km is None else bare_pace(1000.0, each.pace_s_per_km, units),
            number(each.pulse_bpm),
            number(each.resting_bpm),
            UNKNOWN if each.ln_rmssd is None else f"{math.exp(each.ln_rmssd):.0f}",
        )
    if any(each.without_distance for each in periods):
        table.caption = _NOT_ALL
    return table


PERIOD_MEANINGS = (
    "Pace and pulse: of steady minutes only, after the tenth, on the level, at the run's usual pace; a dash below 20 "
    "of them. Faster at the same pulse is commonly read as better endurance (common practice, no source); heat, hills "
    "and another sensor move it too.",
    "Rest, RMSSD: means of the usable mornings in your usual posture, in bpm and ms.",
)


def loads_table(weeks: Sequence[Week], coefficients: Coefficients | None = None) -> FittedTable:
    """The training load, one row a week, beside its eight weeks before; without coefficients both impulses, alone."""
    names = COEFFICIENTS if coefficients is None else (coefficients,)
    # Both impulses with their spans would be wider than a terminal.
    beside = () if coefficients is None else (Column("Before", goes=2, called="the impulse before"),)
    table = FittedTable(
        "Load",
        (
            Column("Monday"),
            *(column for name in names for column in (Column(f"Impulse, {name}"), *beside)),
            *(Column("Rating load"), Column("Before", goes=1, called="the rating load before")),
            *(Column("Monotony", goes=4), Column("Strain", goes=3)),
        ),
    )
    for week in weeks:
        impulses = [
            cell
            for name in names
            for cell in (
                _partly(number(week.trimp[name]), week.without_trimp),
                *(_load_span(week.trimp_range[name]) for _ in beside),
            )
        ]
        table.add_row(
            week.first.isoformat(),
            *impulses,
            _partly(number(week.session_load), week.unrated),
            _load_span(week.session_load_range),
            number(week.monotony, 1),
            number(week.strain),
        )
    if any(week.without_trimp or week.unrated for week in weeks):
        table.caption = _NOT_ALL
    return table


def _partly(sum_in_words: str, missing: int) -> str:
    return f"{sum_in_words} *" if missing and sum_in_words != UNKNOWN else sum_in_words


def _share_span(span: Span | None) -> str:
    return UNKNOWN if span is None else between(100 * span[0], 100 * span[1], unit="%")


def _load_span(span: Span | None) -> str:
    return UNKNOWN if span is None else between(*span)
