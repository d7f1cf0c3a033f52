"""The usual range and the journal's files against sources outside the project.

Plews et al. 2014 (Int J Sports Physiol Perform 9:783-790) for the week's average of at least three mornings, Vesterinen
et al. 2016 (Med Sci Sports Exerc 48:1347-1354) for four weeks and the smallest worthwhile change of half a standard
deviation (both by their abstracts; the half is from memory and as the project's design states it); pandas for
rolling statistics and CSV; Python's csv module; scipy for the trend; the sqlite3 command for the database.
"""

from __future__ import annotations

import csv
import shutil
import subprocess
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from dawnbeat.journal import ranges
from dawnbeat.journal.csv_files import EXPORTED, export_intervals, export_mornings
from dawnbeat.journal.store import Journal
from dawnbeat.journal.today import trend
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings, invented_analysis
from dawnbeat.shared.morning import Circumstances, Context, Morning

TODAY = date(2025, 3, 31)


def morning(day: date, ln_rmssd: float, pulse_bpm: float = 50.0, usable: bool = True) -> Morning:
    return Morning(day, ln_rmssd, pulse_bpm, "lying", 6.5, usable)


def test_week_and_range_of_a_worked_example_by_hand() -> None:
    """By hand, week's mean, and mean +- 0.5 SD of the days before.

    The numbers are invented, the arithmetic is written out:

    Fourteen mornings before the week, lnRMSSD 4.0 and 4.2 in turn, seven of each:
        mean  = (7 * 4.0 + 7 * 4.2) / 14            = 57.4 / 14 = 4.1
        SD^2  = 14 * 0.1^2 / 13                     = 0.14 / 13 = 0.010769
        SD    = 0.103775
        half  = 0.5 * SD                            = 0.051888
        range = 4.048112 to 4.151888
    As a smallest worthwhile change of 0.5 times the coefficient of variation, the same width:
        CV    = 100 * 0.103775 / 4.1 = 2.531 %, and 0.5 * 2.531 % of 4.1 = 0.051888

    Four mornings in the week, lnRMSSD 4.10, 4.00, 3.95, 4.03:
        mean  = 16.08 / 4                           = 4.02, below the range
        SD^2  = (0.08^2 + 0.02^2 + 0.07^2 + 0.01^2) / 3 = 0.0118 / 3 = 0.003933
        CV    = 100 * 0.062716 / 4.02               = 1.5601 %
    This morning, 4.10, lies inside; the week lies below: the average says more than the morning.
    """
    before = [morning(TODAY - timedelta(days=7 + n), 4.0 if n % 2 else 4.2) for n in range(14)]
    week = [
        morning(TODAY - timedelta(days=back), value) for back, value in ((0, 4.10), (2, 4.00), (3, 3.95), (6, 4.03))
    ]
    mornings = before + week

    average = ranges.week_and_range(mornings, "ln_rmssd", TODAY)[0]
    usual = ranges.week_and_range(mornings, "ln_rmssd", TODAY)[1]
    assert average is not None
    assert usual is not None
    assert (average.n, usual.n) == (4, 14)
    assert average.mean == pytest.approx(4.02, abs=1e-9)
    assert average.cv_pct == pytest.approx(1.5601, abs=1e-4)
    assert usual.mean == pytest.approx(4.1, abs=1e-9)
    assert usual.sd == pytest.approx(0.103775, abs=1e-6)
    assert (usual.low, usual.high) == (pytest.approx(4.048112, abs=1e-6), pytest.approx(4.151888, abs=1e-6))
    assert (usual.high - usual.low) / 2 == pytest.approx(0.5 * 2.531 / 100 * 4.1, abs=1e-5)
    assert ranges.standing(4.10, usual.low, usual.high) == "inside your usual range"
    assert ranges.standing(average.mean, usual.low, usual.high) == "below your usual range"


def irregular_mornings(days: int = 400) -> list[Morning]:
    rng = np.random.default_rng(11)
    return [
        morning(
            TODAY - timedelta(days=back),
            float(rng.normal(4, 0.2)),
            float(rng.normal(50, 3)),
            bool(rng.random() > 0.15),
        )
        for back in reversed(range(days))
        if rng.random() > 0.2
    ]


@pytest.mark.parametrize("measure", ["ln_rmssd", "resting_pulse_bpm"])
def test_rolling_week_and_range_agree_with_pandas(measure: ranges.Measure) -> None:
    mornings = irregular_mornings()
    days = pd.date_range(mornings[0].date, TODAY)
    values = pd.Series(
        {pd.Timestamp(each.date): getattr(each, measure) for each in mornings if each.usable}, dtype=float
    ).reindex(days)
    week = values.rolling("7D", min_periods=3)
    history = values.shift(7).rolling("28D", min_periods=14)
    expected = pd.DataFrame(
        {
            "week": week.mean(),
            "cv": 100 * week.std(ddof=1) / week.mean(),
            "low": history.mean() - 0.5 * history.std(ddof=1),
            "high": history.mean() + 0.5 * history.std(ddof=1),
            "n": values.shift(7).rolling("28D", min_periods=0).count(),
        }
    )
    found = ranges.daily_ranges(mornings, measure, days[0].date(), TODAY)
    for name, column in (("week", "week"), ("week_cv_pct", "cv"), ("low", "low"), ("high", "high")):
        np.testing.assert_allclose(getattr(found, name), expected[column], rtol=0, atol=1e-6)
    assert np.isfinite(found.low).sum() > 300
    np.testing.assert_array_equal(found.n, expected["n"])


def test_the_slope_of_the_trend_agrees_with_scipys_regression_and_its_interval_is_wider() -> None:
    mornings = irregular_mornings(60)
    used = [each for each in mornings if each.usable and (TODAY - each.date).days < 28]
    weeks = [each.date.toordinal() / 7 for each in used]
    expected = stats.linregress(weeks, [each.ln_rmssd for each in used])
    half = stats.t.ppf(0.975, len(used) - 2) * expected.stderr
    found = trend(mornings, "ln_rmssd", TODAY)
    assert found is not None
    assert found.n == len(used)
    assert found.per_week == pytest.approx(expected.slope, abs=1e-9)
    assert found.per_week - found.low == pytest.approx(found.high - found.per_week)
    # Mornings that follow one another are alike: the interval of independent ones is too narrow.
    assert 1.0 < (found.high - found.per_week) / half < 2.0


NOTES = ("=1+1", "two\nlines", 'a "quoted", word', "Müller's träge Beine", "-", "'", "\ttab", None)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    with Journal.open(tmp_path / "home") as journal:
        for day, note in enumerate(NOTES, start=1):
            began = datetime(2025, 3, day, 6, 30, tzinfo=timezone(timedelta(hours=1)))
            taken = Circumstances(began, "lying", "invented camera", Context(sleep=day % 7 + 1, note=note))
            analysis = invented_analysis(4.0, 50.0, np.random.default_rng(day), moved=day == 3)
            journal.save(taken, analysis)
    return tmp_path / "home"


def test_the_mornings_csv_is_read_alike_by_pandas_and_the_csv_module(home: Path, tmp_path: Path) -> None:
    out = tmp_path / "mornings.csv"
    with Journal.open(home) as journal:
        export_mornings(journal, out, include_not_usable=True)
        readings = journal.readings()
    table = pd.read_csv(out, encoding="utf-8", float_precision="round_trip", parse_dates=["date", "began"])
    assert list(table.columns) == [column.name for column in EXPORTED]
    assert table["rmssd_ms"].tolist() == [each.metrics.rmssd_ms for each in readings]
    assert table["ln_rmssd_high"].tolist() == [each.intervals95["ln_rmssd"][1] for each in readings]
    assert [moment.to_pydatetime() for moment in table["began"]] == [each.began for each in readings]
    assert [moment.date() for moment in table["date"]] == [each.local_date for each in readings]
    assert table["sleep"].tolist() == [each.context.sleep for each in readings]
    assert table["usable"].tolist() == ["yes" if each.verdict.usable else "no" for each in readings]
    with out.open(encoding="utf-8", newline="") as file:
        plain = list(csv.DictReader(file))
    assert [row["note"] for row in plain] == table["note"].fillna("").tolist()
    assert [row["note"] for row in plain] == [
        *("'=1+1", "two\nlines", 'a "quoted", word', "Müller's träge Beine", "'-", "''", "'\ttab", "")
    ]


def test_the_interval_files_are_read_by_pandas_and_numpy(home: Path, tmp_path: Path) -> None:
    with Journal.open(home) as journal:
        table, plain = export_intervals(journal, tmp_path / "intervals", date(2025, 3, 3))
        intervals = journal.intervals(3)
    frame = pd.read_csv(table, float_precision="round_trip")
    # Files hold microseconds.
    np.testing.assert_allclose(frame["interval_ms"], intervals.interval_ms, rtol=0, atol=0.0006)
    kept = frame.loc[frame["kept"] == "yes", "interval_ms"]
    assert np.loadtxt(plain).tolist() == kept.tolist()
    np.testing.assert_allclose(kept, intervals.kept_ms, rtol=0, atol=0.0006)
    assert set(frame.loc[frame["kept"] == "no", "reason"]) == {"movement"}


@pytest.mark.skipif(shutil.which("sqlite3") is None, reason="the sqlite3 command is not installed")
def test_the_database_is_opened_by_the_sqlite3_command(tmp_path: Path) -> None:
    def ask(query: str) -> list[str]:
        done = subprocess.run(
            ["sqlite3", "-readonly", str(tmp_path / "home" / "journal.sqlite3"), query],
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
        )
        return done.stdout.splitlines()

    with Journal.open(tmp_path / "home") as journal:
        fill_with_invented_mornings(journal, TODAY, days=10)
        readings = journal.readings()
        lengths = [len(journal.intervals(each.id)) for each in readings]
    assert ask("PRAGMA integrity_check") == ["ok"]
    assert ask("PRAGMA foreign_key_check") == []
    assert ask("PRAGMA journal_mode") == ["wal"]
    assert ask("SELECT local_date FROM readings ORDER BY id") == [str(each.local_date) for each in readings]
    assert [float(line) for line in ask("SELECT printf('%!.17g', rmssd_ms) FROM readings ORDER BY id")] == [
        each.metrics.rmssd_ms for each in readings
    ]
    assert ask("SELECT count(*) FROM intervals GROUP BY reading_id") == [str(length) for length in lengths]
    moved = next(each for each in readings if not each.verdict.usable)
    reasons = ask(f"SELECT DISTINCT reason FROM intervals WHERE reading_id = {moved.id} AND NOT kept")
    assert reasons == ["movement"]
