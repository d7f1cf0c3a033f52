"""Runs, weeks, months and years as CSV for other programs, each file whole or not there, for the user alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from dawnbeat.shared.files import csv_text, guard, write_export
from dawnbeat.training.periods import Fixed, JudgedRun, PeriodSummary, Span, Week

# Name, unit and meaning of each column.
Columns = tuple[tuple[str, str, str], ...]
_DURATION = ("duration_s", "s", "without pauses")
_MEASURED = ("measured_s", "s", "with a pulse that counts")
_DISTANCE: Columns = (
    ("distance_m", "m", "of the runs that know theirs"),
    ("without_distance", "", "runs that do not"),
)
_ZONES = ("zones", "s", "seconds in each zone from zone 1, with blanks between")
_EASY_RUNS_SHARE = ("easy_runs_share", "0 to 1", "share of the judged runs that were easy")
_EASY_SHARE = ("easy_share", "0 to 1", "share of the measured time at or below the top of easy")
_SESSION_LOAD = ("session_load", "", "rating times minutes (Foster 1998)")
_TRIMP: Columns = (
    ("trimp_men", "", "training impulse (Banister 1991), coefficients for men"),
    ("trimp_women", "", "training impulse (Banister 1991), coefficients for women"),
)
RUN_COLUMNS: Columns = (
    ("id", "", "number of the run in this journal"),
    ("date", "YYYY-MM-DD", "local day"),
    ("began", "ISO 8601 with offset", "local time when the run began"),
    _DURATION,
    ("elapsed_s", "s", "with pauses"),
    _MEASURED,
    ("missing_s", "s", "within the duration without a pulse that counts"),
    ("distance_m", "m", "distance, empty where unknown"),
    ("mean_bpm", "bpm", "mean of the measured pulse"),
    ("peak_bpm", "bpm", "highest pulse held for five seconds, spikes left out"),
    ("drift_pct", "%", "metres a beat lost from the first to the second half of the steady minutes"),
    _ZONES,
    ("top_of_easy_bpm", "bpm", "by the zones of that day"),
    _EASY_SHARE,
    ("above_easy_s", "s", "measured time above the top of easy"),
    ("felt_effort", "0 to 10", "session rating"),
    _SESSION_LOAD,
    *_TRIMP,
    ("race", "yes or no", "the runner calls it a race"),
    ("sport", "", "what it was"),
    ("counts", "yes or no", "it counts as a run in weeks and findings"),
    ("talk", "", "how talking went"),
    ("note", "", "the runner's note"),
    ("source", "", "name of the file, empty for a run entered by hand"),
    ("format", "", "format of the file"),
)
WEEK_COLUMNS: Columns = (
    ("monday", "YYYY-MM-DD", "first day of the week"),
    ("runs", "", "number of runs"),
    _DURATION,
    _MEASURED,
    *_DISTANCE,
    _ZONES,
    ("easy_runs", "", "runs with at least 85 % of their measured time at or below the top of easy, races never"),
    ("judged_runs", "", "runs that could be judged so"),
    _EASY_RUNS_SHARE,
    ("easy_runs_share_low", "0 to 1", "lowest of the eight weeks before"),
    ("easy_runs_share_high", "0 to 1", "highest of the eight weeks before"),
    _EASY_SHARE,
    ("easy_share_low", "0 to 1", "lowest of the eight weeks before"),
    ("easy_share_high", "0 to 1", "highest of the eight weeks before"),
    *_TRIMP,
    ("without_trimp", "", "runs that have none"),
    _SESSION_LOAD,
    ("unrated", "", "runs without a rating"),
    ("monotony", "", "mean of the daily loads / their standard deviation (Foster 1998)"),
    ("strain", "", "load times monotony (Foster 1998)"),
)
PERIOD_COLUMNS: Columns = (
    ("first", "YYYY-MM-DD", "first day of the month or year"),
    ("runs", "", "number of runs"),
    _DURATION,
    *_DISTANCE,
    ("easy_runs", "", "runs that were easy as a whole"),
    ("judged_runs", "", "runs that could be judged so"),
    _EASY_RUNS_SHARE,
    _EASY_SHARE,
    _SESSION_LOAD,
    ("unrated", "", "runs without a rating"),
    *_TRIMP,
    ("fixed_pulse_bpm", "bpm", "the pulse that paces are compared at"),
    ("pace_s_per_km", "s/km", "pace at that pulse"),
    ("fixed_pace_s_per_km", "s/km", "the pace that pulses are compared at"),
    ("pulse_bpm", "bpm", "pulse at that pace"),
    ("steady_minutes", "min", "minutes that these rest on"),
    ("mornings", "", "usable mornings"),
    ("resting_bpm", "bpm", "their mean pulse"),
    ("ln_rmssd", "ln ms", "their mean lnRMSSD"),
)


def export_runs(judged: Sequence[JudgedRun], out: Path, overwrite: bool = False) -> int:
    """Write one row a run (RUN_COLUMNS; UTF-8, RFC 4180) and return how many.

    out: "-" is standard output. Raises DawnbeatError when a file of that name is there and overwrite is False, or it
    can't be written; what was there before stays until the new file is complete.
    """
    return _write(out, overwrite, RUN_COLUMNS, map(_of_run, judged))


def export_weeks(weeks: Sequence[Week], out: Path, overwrite: bool = False) -> int:
    """Write one row a week (WEEK_COLUMNS) and return how many; errors as in `export_runs`."""
    return _write(out, overwrite, WEEK_COLUMNS, map(_of_week, weeks))


def export_periods(periods: Sequence[PeriodSummary], fixed: Fixed | None, out: Path, overwrite: bool = False) -> int:
    """Write one row a month or year (PERIOD_COLUMNS) and return how many; errors as in `export_runs`."""
    compared = {} if fixed is None else {f"fixed_{name}": value for name, value in vars(fixed).items()}
    return _write(out, overwrite, PERIOD_COLUMNS, (_of_totals(each) | compared for each in periods))


def _of_run(each: JudgedRun) -> dict[str, Any]:
    run, figures, judged = each.run, each.run.figures, each.judged
    found = {**vars(figures), **vars(run), **_of_trimp(each.trimp), "session_load": each.session_load}
    found |= {name: guard(found[name]) for name in ("note", "source", "format")}
    found |= {"date": run.local_date, "missing_s": round(figures.duration_s - figures.measured_s, 3)}
    if judged is not None:
        found |= {**vars(judged), "zones": judged.zone_s, "above_easy_s": judged.above_s}
    return found


def _of_week(week: Week) -> dict[str, Any]:
    ends = _ends("easy_runs_share", week.easy_runs_range) | _ends("easy_share", week.easy_range)
    return {**_of_totals(week), **ends, "monday": week.first, "zones": week.zone_s}


def _of_totals(totals: Week | PeriodSummary) -> dict[str, Any]:
    return {**vars(totals), **_of_trimp(totals.trimp), "easy_runs_share": totals.easy_runs_share}


def _of_trimp(trimp: Mapping[Any, float | None]) -> dict[str, Any]:
    return {f"trimp_{name}": value for name, value in trimp.items()}


def _ends(name: str, span: Span | None) -> dict[str, Any]:
    return {} if span is None else {f"{name}_low": span[0], f"{name}_high": span[1]}


def _write(out: Path, overwrite: bool, columns: Columns, rows: Iterable[Mapping[str, Any]]) -> int:
    """Write what the rows hold by the names of the columns; nothing where a row lacks one. Returns how many rows."""
    names = [name for name, *_ in columns]
    cells = [[_cell(row.get(name)) for name in names] for row in rows]
    write_export(out, csv_text(names, cells), "write the runs", overwrite)
    return len(cells)


def _cell(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float():
            return repr(float(value))
        case date():
            return value.isoformat()
        case tuple():
            return " ".join(map(_cell, value))
    return str(value)
