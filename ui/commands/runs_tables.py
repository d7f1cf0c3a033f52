"""Runs and weeks as tables for the terminal, and as plain values for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich import box
from rich.table import Table

from dawnbeat.training.run import CAN_BE_OVERRULED, MARK_WORDS, Mark
from dawnbeat.training.weeks import EASY_AIM, JudgedRun, Week
from dawnbeat.training.wording import UNKNOWN, clock, long_clock, number, pace, percent, rating

_NOT_ALL = "* some runs of the week are not in this sum"


def runs_table(judged: Sequence[JudgedRun]) -> Table:
    """One row a run, within 80 columns."""
    headings = ("No.", "Began", "Time", "km", "Pace", "Pulse", "Easy", "Above", "Felt")
    table = plain_table("Runs; pace in min/km, pulse in bpm, time above easy, felt 0 to 10", headings)
    for each in judged:
        run, figures = each.run, each.run.figures
        what = ", race" if run.race else ""
        if not run.counts:
            what += f", {'not a run' if run.sport == 'running' else run.sport}: does not count"
        table.add_row(
            str(run.id),
            f"{run.began:%Y-%m-%d %H:%M}",
            long_clock(figures.duration_s),
            _km(figures.distance_m),
            pace(figures.distance_m, figures.duration_s).removesuffix(" /km"),
            number(figures.mean_bpm),
            percent(None if each.judged is None else each.judged.easy_share),
            long_clock(None if each.judged is None else each.judged.above_s),
            rating(run.felt_effort) + what,
        )
    return table


def zones_table(each: JudgedRun) -> Table:
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


def marks_table(marks: Sequence[Mark]) -> Table:
    """What is marked in one run."""
    table = plain_table("Marked", ("Mark", "From", "To", "What", ""))
    for n, mark in enumerate(marks, start=1):
        state = "can be overruled" if mark.kind in CAN_BE_OVERRULED else ""
        if mark.overruled:
            state = "overruled: it counts"
        table.add_row(str(n), clock(mark.start_s), clock(mark.end_s), f"{mark.kind}: {MARK_WORDS[mark.kind]}", state)
    return table


WEEK_MEANINGS = (
    "Weeks before: lowest and highest easy share of the eight weeks before.",
    "Impulse: training impulse, the minutes run, weighted by how high the mean pulse lay between resting pulse and "
    "maximum; with the factors for men and for women (Banister 1991). Arbitrary units, as published.",
    "Rating load: how hard each run felt (0 to 10) times its minutes, added up (Foster 1998, Med Sci Sports Exerc "
    "30:1164-1168). Arbitrary units, as published.",
    "Monotony: mean of the seven daily rating loads divided by their standard deviation; the higher, the more alike "
    "the days. Strain: the week's rating load times its monotony, in arbitrary units (both Foster 1998). Both wait "
    "for the end of the week and for a rating of every run.",
)


def weeks_table(weeks: Sequence[Week]) -> Table:
    """How much was run and how easy, one row a week."""
    table = plain_table(
        f"Weeks; easy aims at {percent(EASY_AIM)}", ("Monday", "Runs", "Time", "km", "Easy", "Weeks before")
    )
    for week in weeks:
        table.add_row(
            week.first.isoformat(),
            str(week.runs),
            long_clock(week.duration_s),
            _partly(_km(week.distance_m), week.without_distance),
            percent(week.easy_share),
            UNKNOWN if week.easy_range is None else "–".join(f"{100 * share:.0f}" for share in week.easy_range) + " %",
        )
    if any(week.without_distance for week in weeks):
        table.caption = _NOT_ALL
    return table


def loads_table(weeks: Sequence[Week]) -> Table:
    """The training load, one row a week."""
    table = plain_table("Load", ("Monday", "Impulse, men", "Impulse, women", "Rating load", "Monotony", "Strain"))
    for week in weeks:
        table.add_row(
            week.first.isoformat(),
            _partly(number(week.trimp["men"]), week.without_trimp),
            _partly(number(week.trimp["women"]), week.without_trimp),
            _partly(number(week.session_load), week.unrated),
            number(week.monotony, 1),
            number(week.strain),
        )
    if any(week.without_trimp or week.unrated for week in weeks):
        table.caption = _NOT_ALL
    return table


def run_json(each: JudgedRun) -> dict[str, Any]:
    """One run as plain values."""
    run, figures, judged = each.run, each.run.figures, each.judged
    return {
        "id": run.id,
        "began": run.began.isoformat(),
        "duration_s": figures.duration_s,
        "elapsed_s": figures.elapsed_s,
        "measured_s": figures.measured_s,
        "missing_s": figures.missing_s,
        "distance_m": figures.distance_m,
        "mean_bpm": figures.mean_bpm,
        "peak_bpm": figures.peak_bpm,
        "drift_pct": figures.drift_pct,
        "zone_s": None if judged is None else list(judged.zone_s),
        "top_of_easy_bpm": None if judged is None else judged.top_of_easy_bpm,
        "easy_share": None if judged is None else judged.easy_share,
        "above_easy_s": None if judged is None else judged.above_s,
        "trimp": each.trimp,
        "felt_effort": run.felt_effort,
        "session_load": each.session_load,
        "race": run.race,
        "sport": run.sport,
        "counts": run.counts,
        "talk": run.talk,
        "notes": [{"code": note.code, "value": note.value, "words": note.words} for note in run.notes],
        "note": run.note,
        "source": run.source,
        "format": run.format,
    }


def week_json(week: Week) -> dict[str, Any]:
    """One week as plain values."""
    return {
        "monday": week.first.isoformat(),
        "runs": week.runs,
        "duration_s": week.duration_s,
        "measured_s": week.measured_s,
        "distance_m": week.distance_m,
        "without_distance": week.without_distance,
        "zone_s": list(week.zone_s),
        "easy_share": week.easy_share,
        "easy_range": None if week.easy_range is None else list(week.easy_range),
        "trimp": week.trimp,
        "without_trimp": week.without_trimp,
        "session_load": week.session_load,
        "unrated": week.unrated,
        "monotony": week.monotony,
        "strain": week.strain,
    }


def _partly(sum_in_words: str, missing: int) -> str:
    return f"{sum_in_words} *" if missing and sum_in_words != UNKNOWN else sum_in_words


def _km(distance_m: float | None) -> str:
    return UNKNOWN if distance_m is None else f"{distance_m / 1000:.2f}"


def plain_table(title: str, headings: Sequence[str]) -> Table:
    """An empty table with these headings."""
    table = Table(
        title=title,
        title_justify="left",
        caption_justify="left",
        box=box.SIMPLE,
        show_edge=False,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )
    for heading in headings:
        # Where room is short a figure goes on in the next line; cut off it would be a wrong one.
        table.add_column(heading, overflow="fold")
    return table
