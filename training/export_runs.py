"""Runs, weeks, months and years as CSV for other programs, each file whole or not there, for the user alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from pathlib import Path

from dawnbeat.shared.files import csv_text, guard, write_export
from dawnbeat.training.periods import Fixed, JudgedRun, PeriodSummary, Week

# Name, unit, meaning and value of each column.
RUN_COLUMNS: tuple[tuple[str, str, str, Callable[[JudgedRun], object]], ...] = (
    ("id", "", "number of the run in this journal", lambda e: e.run.id),
    ("date", "YYYY-MM-DD", "local day", lambda e: e.run.local_date),
    ("began", "ISO 8601 with offset", "local time when the run began", lambda e: e.run.began),
    ("duration_s", "s", "without pauses", lambda e: e.run.figures.duration_s),
    ("elapsed_s", "s", "with pauses", lambda e: e.run.figures.elapsed_s),
    ("measured_s", "s", "with a pulse that counts", lambda e: e.run.figures.measured_s),
    (
        "missing_s",
        "s",
        "within the duration without a pulse that counts",
        lambda e: round(e.run.figures.duration_s - e.run.figures.measured_s, 3),
    ),
    ("distance_m", "m", "distance, empty where unknown", lambda e: e.run.figures.distance_m),
    ("mean_bpm", "bpm", "mean of the measured pulse", lambda e: e.run.figures.mean_bpm),
    ("peak_bpm", "bpm", "highest pulse held for five seconds, spikes left out", lambda e: e.run.figures.peak_bpm),
    (
        "drift_pct",
        "%",
        "metres a beat lost from the first to the second half of the steady minutes",
        lambda e: e.run.figures.drift_pct,
    ),
    ("zones", "s", "seconds in each zone from zone 1, with blanks between", lambda e: e.judged and e.judged.zone_s),
    ("top_of_easy_bpm", "bpm", "by the zones of that day", lambda e: e.judged and e.judged.top_of_easy_bpm),
    (
        "easy_share",
        "0 to 1",
        "share of the measured time at or below the top of easy",
        lambda e: e.judged and e.judged.easy_share,
    ),
    ("above_easy_s", "s", "measured time above the top of easy", lambda e: e.judged and e.judged.above_s),
    ("felt_effort", "0 to 10", "session rating", lambda e: e.run.felt_effort),
    ("session_load", "", "rating times minutes (Foster 1998)", lambda e: e.session_load),
    ("trimp_men", "", "training impulse (Banister 1991), coefficients for men", lambda e: e.trimp["men"]),
    ("trimp_women", "", "training impulse (Banister 1991), coefficients for women", lambda e: e.trimp["women"]),
    ("race", "yes or no", "the runner calls it a race", lambda e: e.run.race),
    ("sport", "", "what it was", lambda e: e.run.sport),
    ("counts", "yes or no", "it counts as a run in weeks and findings", lambda e: e.run.counts),
    ("talk", "", "how talking went", lambda e: e.run.talk),
    ("note", "", "the runner's note", lambda e: guard(e.run.note)),
    ("source", "", "name of the file, empty for a run entered by hand", lambda e: guard(e.run.source)),
    ("format", "", "format of the file", lambda e: guard(e.run.format)),
)
WEEK_COLUMNS: tuple[tuple[str, str, str, Callable[[Week], object]], ...] = (
    ("monday", "YYYY-MM-DD", "first day of the week", lambda e: e.first),
    ("runs", "", "number of runs", lambda e: e.runs),
    ("duration_s", "s", "without pauses", lambda e: float(e.duration_s)),
    ("measured_s", "s", "with a pulse that counts", lambda e: float(e.measured_s)),
    ("distance_m", "m", "of the runs that know theirs", lambda e: e.distance_m),
    ("without_distance", "", "runs that do not", lambda e: e.without_distance),
    ("zones", "s", "seconds in each zone from zone 1, with blanks between", lambda e: e.zone_s),
    (
        "easy_runs",
        "",
        "runs with at least 85 % of their measured time at or below the top of easy, races never",
        lambda e: e.easy_runs,
    ),
    ("judged_runs", "", "runs that could be judged so", lambda e: e.judged_runs),
    ("easy_runs_share", "0 to 1", "share of the judged runs that were easy", lambda e: e.easy_runs_share),
    (
        "easy_runs_share_low",
        "0 to 1",
        "lowest of the eight weeks before",
        lambda e: e.easy_runs_range and e.easy_runs_range[0],
    ),
    (
        "easy_runs_share_high",
        "0 to 1",
        "highest of the eight weeks before",
        lambda e: e.easy_runs_range and e.easy_runs_range[1],
    ),
    ("easy_share", "0 to 1", "share of the measured time at or below the top of easy", lambda e: e.easy_share),
    ("easy_share_low", "0 to 1", "lowest of the eight weeks before", lambda e: e.easy_range and e.easy_range[0]),
    ("easy_share_high", "0 to 1", "highest of the eight weeks before", lambda e: e.easy_range and e.easy_range[1]),
    ("trimp_men", "", "training impulse (Banister 1991), coefficients for men", lambda e: e.trimp["men"]),
    ("trimp_women", "", "training impulse (Banister 1991), coefficients for women", lambda e: e.trimp["women"]),
    ("without_trimp", "", "runs that have none", lambda e: e.without_trimp),
    ("session_load", "", "rating times minutes (Foster 1998)", lambda e: e.session_load),
    ("unrated", "", "runs without a rating", lambda e: e.unrated),
    ("monotony", "", "mean of the daily loads / their standard deviation (Foster 1998)", lambda e: e.monotony),
    ("strain", "", "load times monotony (Foster 1998)", lambda e: e.strain),
)
# Name, unit and meaning; a summary has its values by these names.
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


def export_runs(judged: Sequence[JudgedRun], out: Path, overwrite: bool = False) -> int:
    """Write one row a run (RUN_COLUMNS; UTF-8, RFC 4180) and return how many.

    out: "-" is standard output. Raises DawnbeatError when a file of that name is there and overwrite is False, or it
    can't be written; what was there before stays until the new file is complete.
    """
    rows = ([value(each) for *_, value in RUN_COLUMNS] for each in judged)
    _write(out, overwrite, [column[0] for column in RUN_COLUMNS], rows)
    return len(judged)


def export_weeks(weeks: Sequence[Week], out: Path, overwrite: bool = False) -> int:
    """Write one row a week (WEEK_COLUMNS) and return how many; errors as in `export_runs`."""
    rows = ([value(each) for *_, value in WEEK_COLUMNS] for each in weeks)
    _write(out, overwrite, [column[0] for column in WEEK_COLUMNS], rows)
    return len(weeks)


def export_periods(periods: Sequence[PeriodSummary], fixed: Fixed | None, out: Path, overwrite: bool = False) -> int:
    """Write one row a month or year (PERIOD_COLUMNS) and return how many; errors as in `export_runs`."""
    compared = {
        "fixed_pulse_bpm": None if fixed is None else fixed.pulse_bpm,
        "fixed_pace_s_per_km": None if fixed is None else fixed.pace_s_per_km,
    }
    names = [column[0] for column in PERIOD_COLUMNS]
    rows = []
    for each in periods:
        values = {**vars(each), **compared, "easy_runs_share": each.easy_runs_share}
        values |= {f"trimp_{name}": each.trimp[name] for name in each.trimp}
        rows.append([values[name] for name in names])
    _write(out, overwrite, names, rows)
    return len(periods)


def _write(out: Path, overwrite: bool, header: Sequence[str], rows: Iterable[Iterable[object]]) -> None:
    text = csv_text(header, (map(_cell, row) for row in rows))
    write_export(out, text, "write the runs", overwrite)


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
