from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.files import unguard
from dawnbeat.training.export_runs import RUN_COLUMNS, WEEK_COLUMNS, export_runs, export_weeks
from dawnbeat.training.periods import judge_runs, weeks_of
from tests.training.invented import run, zone_set

MONDAY = date(2025, 3, 3)


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_runs_come_out_with_every_column_and_no_formula(tmp_path: Path) -> None:
    note = '=HYPERLINK("x")\nsecond line'
    runs = [replace(run(MONDAY, 60, 140, felt_effort=3), note=note, source="@run.csv"), run(MONDAY, 30, None)]
    out = tmp_path / "runs.csv"
    assert export_runs(judge_runs(runs, [zone_set(MONDAY)]), out) == 2
    first, second = read(out)
    assert list(first) == [name for name, *_ in RUN_COLUMNS]
    assert (first["date"], first["zones"], first["easy_share"], first["session_load"]) == (
        "2025-03-03",
        "0.0 3600.0 0.0 0.0 0.0",
        "1.0",
        "180.0",
    )
    assert first["note"].startswith("'=")
    assert unguard(first["note"]) == note
    assert first["source"] == "'@run.csv"
    assert (second["mean_bpm"], second["easy_share"], second["missing_s"]) == ("", "", "1800.0")
    assert out.stat().st_mode & 0o777 == 0o600


def test_weeks_come_out_with_every_column(tmp_path: Path) -> None:
    judged = judge_runs([run(MONDAY, 60, 140, felt_effort=3)], [zone_set(MONDAY)])
    out = tmp_path / "weeks.csv"
    assert export_weeks(weeks_of(judged, MONDAY, MONDAY + timedelta(days=13)), out) == 2
    first, second = read(out)
    assert list(first) == [name for name, *_ in WEEK_COLUMNS]
    assert (first["monday"], first["runs"], first["strain"] != "") == ("2025-03-03", "1", True)
    assert (second["runs"], second["easy_share"]) == ("0", "")


def test_a_file_that_cant_be_written_leaves_the_old_one(tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match="can't write the runs"):
        export_runs([], tmp_path / "none" / "runs.csv")
    assert list(tmp_path.iterdir()) == []
