"""Runs and weeks as CSV for other programs, each file whole or not there, for the user alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from dawnbeat.shared.files import csv_text, guard, write_export
from dawnbeat.training.periods import Fixed, JudgedRun, PeriodSummary, Week

# Name, unit and meaning of each column.
RUN_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("id", "", "number of the run in this journal"),
    ("date", "YYYY-MM-DD", "local day"),
    ("began", "ISO 8601 with offset", "local time when the run began"),
    ("duration_s", "s", "without pauses"),
    ("elapsed_s", "s", "with pauses"),
    ("measured_s", "s", "with a pulse that counts"),
    ("missing_s", "s", "within the duration without a pulse that counts"),
    ("distance_m", "m", "distance, empty where unknown"),
    ("mean_bpm", "bpm", "mean of the measured pulse"),
    ("peak_bpm", "bpm", "highest pulse held for five seconds, spikes left out"),
    ("drift_pct", "%", "metres a beat lost from the first to the second half of the steady minutes"),
    ("zones", "s", "seconds in each zone from zone 1, with blanks between"),
    ("top_of_easy_bpm", "bpm", "by the zones of that day"),
    ("easy_share", "0 to 1", "share of the measured time at or below the top of easy"),
    ("above_easy_s", "s", "measured time above the top of easy"),
    ("felt_effort", "0 to 10", "session rating"),
    ("session_load", "", "rating times minutes (Foster 1998)"),
    ("trimp_men", "", "training impulse (Banister 1991), coefficients for men"),
    ("trimp_women", "", "training impulse (Banister 1991), coefficients for women"),
    ("race", "yes or no", "the runner calls it a race"),
    ("sport", "", "what it was"),
    ("counts", "yes or no", "it counts as a run in weeks and findings"),
    ("talk", "", "how talking went"),
    ("note", "", "the runner's note"),
    ("source", "", "name of the file, empty for a run entered by hand"),
    ("format", "", "format of the file"),
)
WEEK_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("monday", "YYYY-MM-DD", "first day of the week"),
    ("runs", "", "number of runs"),
    ("duration_s", "s", "without pauses"),
    ("measured_s", "s", "with a pulse that counts"),
    ("distance_m", "m", "of the runs that know theirs"),
    ("without_distance", "", "runs that do not"),
    ("zones", "s", "seconds in each zone from zone 1, with blanks between"),
    ("easy_runs", "", "runs with at least 85 % of their measured time at or below the top of easy, races never"),
    ("judged_runs", "", "runs that could be judged so"),
    ("easy_runs_share", "0 to 1", "share of the judged runs that were easy"),
    ("easy_runs_share_low", "0 to 1", "lowest of the eight weeks before"),
    ("easy_runs_share_high", "0 to 1", "highest of the eight weeks before"),
    ("easy_share", "0 to 1", "share of the measured time at or below the top of easy"),
    ("easy_share_low", "0 to 1", "lowest of the eight weeks before"),
    ("easy_share_high", "0 to 1", "highest of the eight weeks before"),
    ("trimp_men", "", "training impulse (Banister 1991), coefficients for men"),
    ("trimp_women", "", "training impulse (Banister 1991), coefficients for women"),
    ("without_trimp", "", "runs that have none"),
    ("session_load", "", "rating times minutes (Foster 1998)"),
    ("unrated", "", "runs without a rating"),
    ("monotony", "", "mean of the daily loads / their standard deviation (Foster 1998)"),
    ("strain", "", "load times monotony (Foster 1998)"),
)


PERIOD_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("first", "YYYY-MM-DD", "first day of the month or year"),
    ("runs", "", "number of runs"),
    ("duration_s", "s", "without pauses"),
    ("distance_m", "m", "of the runs that know theirs"),
    ("without_distance", "", "runs that do not"),
    ("easy_runs", "", "runs that were easy as a whole"),
    ("judged_runs", "", "runs that could be judged so"),
    ("easy_runs_share", "0 to 1", "share of the judged runs that were easy"),
    ("easy_share", "0 to 1", "share of the measured time at or below the top of easy"),
    ("session_load", "", "rating times minutes (Foster 1998)"),
    ("unrated", "", "runs without a rating"),
    ("trimp_men", "", "training impulse (Banister 1991), coefficients for men"),
    ("trimp_women", "", "training impulse (Banister 1991), coefficients for women"),
    ("fixed_pulse_bpm", "bpm", "the pulse that paces are compared at"),
    ("pace_s_per_km", "s/km", "pace at that pulse"),
    ("fixed_pace_s_per_km", "s/km", "the pace that pulses are compared at"),
    ("pulse_bpm", "bpm", "pulse at that pace"),
    ("steady_minutes", "min", "minutes that these rest on"),
    ("mornings", "", "usable mornings"),
    ("resting_bpm", "bpm", "their mean pulse"),
    ("ln_rmssd", "ln ms", "their mean lnRMSSD"),
)


def export_periods(periods: Sequence[PeriodSummary], fixed: Fixed | None, out: Path, overwrite: bool = False) -> int:
    """Write one row a month or year (PERIOD_COLUMNS) and return how many; errors as in `export_runs`."""
    compared = {
        "fixed_pulse_bpm": None if fixed is None else fixed.pulse_bpm,
        "fixed_pace_s_per_km": None if fixed is None else fixed.pace_s_per_km,
    }
    rows = []
    for each in periods:
        values = {**vars(each), **compared, "easy_runs_share": each.easy_runs_share}
        values |= {f"trimp_{name}": each.trimp[name] for name in each.trimp}
        rows.append([_plain(values[name]) for name, _, _ in PERIOD_COLUMNS])
    _write(out, overwrite, PERIOD_COLUMNS, rows)
    return len(periods)


def _plain(value: object) -> str:
    if value is None:
        return ""
    return repr(value) if isinstance(value, float) else str(value)


def export_runs(judged: Sequence[JudgedRun], out: Path, overwrite: bool = False) -> int:
    """Write one row a run (RUN_COLUMNS; UTF-8, RFC 4180) and return how many.

    out: "-" is standard output. Raises DawnbeatError when a file of that name is there and overwrite is False, or it
    can't be written; what was there before stays until the new file is complete.
    """
    _write(out, overwrite, RUN_COLUMNS, (_run_cells(each) for each in judged))
    return len(judged)


def export_weeks(weeks: Sequence[Week], out: Path, overwrite: bool = False) -> int:
    """Write one row a week (WEEK_COLUMNS) and return how many; errors as in `export_runs`."""
    _write(out, overwrite, WEEK_COLUMNS, (_week_cells(each) for each in weeks))
    return len(weeks)


def _write(
    out: Path, overwrite: bool, columns: tuple[tuple[str, str, str], ...], rows: Iterable[Sequence[str]]
) -> None:
    write_export(out, csv_text((name for name, _, _ in columns), rows), "write the runs", overwrite)


def _run_cells(each: JudgedRun) -> list[str]:
    run, figures, judged = each.run, each.run.figures, each.judged
    return [
        str(run.id),
        run.local_date.isoformat(),
        run.began.isoformat(),
        _cell(figures.duration_s),
        _cell(figures.elapsed_s),
        _cell(figures.measured_s),
        _cell(round(figures.duration_s - figures.measured_s, 3)),
        _cell(figures.distance_m),
        _cell(figures.mean_bpm),
        _cell(figures.peak_bpm),
        _cell(figures.drift_pct),
        "" if judged is None else _zones(judged.zone_s),
        "" if judged is None else str(judged.top_of_easy_bpm),
        "" if judged is None else _cell(judged.easy_share),
        "" if judged is None else _cell(judged.above_s),
        _cell(run.felt_effort),
        _cell(each.session_load),
        _cell(each.trimp["men"]),
        _cell(each.trimp["women"]),
        "yes" if run.race else "no",
        run.sport,
        "yes" if run.counts else "no",
        run.talk or "",
        guard(run.note),
        guard(run.source),
        guard(run.format),
    ]


def _week_cells(week: Week) -> list[str]:
    low, high = week.easy_range or (None, None)
    low_runs, high_runs = week.easy_runs_range or (None, None)
    return [
        week.first.isoformat(),
        str(week.runs),
        _cell(week.duration_s),
        _cell(week.measured_s),
        _cell(week.distance_m),
        str(week.without_distance),
        _zones(week.zone_s),
        str(week.easy_runs),
        str(week.judged_runs),
        _cell(week.easy_runs_share),
        _cell(low_runs),
        _cell(high_runs),
        _cell(week.easy_share),
        _cell(low),
        _cell(high),
        _cell(week.trimp["men"]),
        _cell(week.trimp["women"]),
        str(week.without_trimp),
        _cell(week.session_load),
        str(week.unrated),
        _cell(week.monotony),
        _cell(week.strain),
    ]


def _zones(zone_s: Sequence[float]) -> str:
    return " ".join(_cell(seconds) for seconds in zone_s)


def _cell(value: float | None) -> str:
    return "" if value is None else repr(float(value))
