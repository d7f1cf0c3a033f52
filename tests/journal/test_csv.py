"""Text that no spreadsheet takes for a formula, and a mornings CSV that comes back without loss."""

from __future__ import annotations

import csv
import io
import math
import os
import stat
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.journal.columns import BY_NAME, COLUMNS
from dawnbeat.journal.csv_files import (
    EXPORTED,
    apply_import,
    cells_of,
    export_intervals,
    export_mornings,
    mornings_csv,
    plan_import,
    reading_of,
)
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.files import guard, unguard
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.reading import Metrics
from tests.journal.strategies import RISKY, readings


@pytest.mark.parametrize("text", RISKY)
def test_text_that_could_start_a_formula_is_guarded_and_comes_back(text: str) -> None:
    assert guard(text) == "'" + text
    assert unguard(guard(text)) == text


@given(st.text())
def test_every_text_comes_back_as_it_was(text: str) -> None:
    cell = guard(text)
    assert unguard(cell) == text
    assert cell[:1] not in ("=", "+", "-", "@", "\t", "\r", "\n")


@given(st.lists(readings, max_size=4))
@settings(deadline=None, max_examples=40)
def test_a_mornings_csv_reads_back_without_loss(written: list[StoredReading]) -> None:
    rows = list(csv.DictReader(io.StringIO(mornings_csv(written), newline="")))
    assert [reading_of(row) for row in rows] == written


def cells(**changes: str) -> dict[str, str]:
    return {
        "began": "2025-03-01T06:30:00+01:00",
        "posture": "lying",
        "duration_s": "120",
        "usable": "yes",
        "rmssd_ms": "55",
        "mean_hr_bpm": "50",
    } | changes


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("began", "2025-03-01T06:30:00"),
        ("began", "yesterday"),
        ("began", ""),
        ("date", "2025-03-02"),
        ("posture", "hanging"),
        ("duration_s", "-1"),
        ("rmssd_ms", "nan"),
        ("rmssd_ms", "inf"),
        ("nn50", "3.5"),
        ("nn50", "9" * 30),
        ("usable", "maybe"),
        ("pulse_usable", "no"),
        ("findings", "plain"),
        ("findings", "[1]"),
        ("findings", "[" * 100_000),
        ("settings", "[]"),
        ("recording", "../../outside"),
        ("sleep", "8"),
        ("hours_slept", "25"),
        ("rmssd_ms_low", "3"),
        ("rmssd_ms", "20000"),
        ("mean_hr_bpm", "400"),
        ("mean_hr_bpm", ""),
        ("rmssd_ms", ""),
        ("rmssd_ms", "0"),
        ("ln_rmssd", "3.9"),
        ("kept_share", "1.2"),
        ("origin", "thumb"),
        ("altitude_m", "90000"),
        ("note", "a\0b"),
    ],
)
def test_a_cell_that_makes_no_sense_is_named(column: str, cell: str) -> None:
    with pytest.raises(DawnbeatError, match=column) as caught:
        reading_of(cells(**{column: cell}))
    assert "\n" not in str(caught.value)


def test_a_row_needs_little_to_be_a_reading() -> None:
    found = reading_of(cells())
    assert found.metrics == Metrics(mean_hr_bpm=50.0, rmssd_ms=55.0, ln_rmssd=math.log(55.0))
    assert (found.verdict.usable, found.verdict.pulse_usable, found.origin) == (True, True, "camera")
    assert found.uid
    assert reading_of(cells(usable="no", rmssd_ms="", mean_hr_bpm="")).metrics == Metrics()


def test_every_column_says_what_it_means() -> None:
    assert len(BY_NAME) == len(COLUMNS)
    assert all(column.meaning for column in COLUMNS)
    units = {column.name: column.unit for column in COLUMNS}
    assert all(units[name] == "ms" for name in units if name.endswith("_ms"))
    assert all(units[name] == "bpm" for name in units if name.endswith("_bpm"))


def test_an_export_holds_the_days_and_readings_asked_for(filled: Journal, tmp_path: Path) -> None:
    def days(*args: Any) -> list[str]:
        export_mornings(filled, tmp_path / "out.csv", *args, overwrite=True)
        with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
            return [row["date"][-2:] for row in csv.DictReader(file)]

    assert days() == ["01", "03"]
    assert days(None, None, True) == ["01", "02", "03"]
    assert days(date(2025, 3, 2), None, True) == ["02", "03"]
    assert days(None, date(2025, 3, 2), False) == ["01"]
    with pytest.raises(DawnbeatError, match="earlier day first"):
        days(date(2025, 3, 2), date(2025, 3, 1))


def test_no_cell_of_an_export_starts_a_formula(filled: Journal, tmp_path: Path) -> None:
    export_mornings(filled, tmp_path / "out.csv", include_not_usable=True)
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        found = list(csv.reader(file))
    assert not [cell for row in found for cell in row if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]
    note = [column.name for column in EXPORTED].index("note")
    assert [row[note] for row in found[1:]] == [
        '\'=HYPERLINK("x")',
        "two\nlines, and a comma",
        "''quoted",
    ]


def test_an_export_that_fails_leaves_the_old_file(filled: Journal, tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match="can't write the mornings"):
        export_mornings(filled, tmp_path / "nowhere" / "out.csv")
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(DawnbeatError, match="is a folder"):
        export_mornings(filled, tmp_path / "folder.csv", overwrite=True)
    assert [path.name for path in tmp_path.iterdir() if path.suffix == ".part"] == []


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_an_export_is_the_users_alone(filled: Journal, tmp_path: Path) -> None:
    export_mornings(filled, tmp_path / "out.csv")
    assert (tmp_path / "out.csv").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("name", ["out", "out.csv", "out.txt"])
def test_intervals_are_exported_as_a_table_and_as_a_plain_list(filled: Journal, tmp_path: Path, name: str) -> None:
    table, plain = export_intervals(filled, tmp_path / name, date(2025, 3, 2))
    assert (table.name, plain.name) == ("out.csv", "out.txt")
    expected = filled.intervals(filled.counting(date(2025, 3, 2)).id)
    with table.open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    assert [float(row["interval_ms"]) for row in found] == pytest.approx(expected.interval_ms.tolist(), abs=0.0006)
    assert [float(row["time_s"]) for row in found] == pytest.approx(expected.start_s.tolist(), abs=6e-7)
    assert [row["reason"] or None for row in found] == list(expected.left_out)
    assert [row["kept"] == "yes" for row in found] == expected.kept.tolist()
    assert [float(line) for line in plain.read_text().splitlines()] == pytest.approx(
        expected.kept_ms.tolist(), abs=0.0006
    )


def test_an_export_replaces_a_file_only_when_told_to(filled: Journal, tmp_path: Path) -> None:
    own, day = tmp_path / "diary.csv", date(2025, 3, 2)
    own.write_text("my own words")
    for export in (lambda: export_mornings(filled, own), lambda: export_intervals(filled, own, day)):
        with pytest.raises(DawnbeatError, match="exists already: choose another name"):
            export()
    assert own.read_text() == "my own words"
    assert not own.with_suffix(".txt").exists()
    assert export_mornings(filled, own, overwrite=True) == 2
    assert own.read_text().startswith("uid,")
    table, plain = export_intervals(filled, own, day, overwrite=True)
    assert table.read_text().startswith("time_s,")
    assert plain.exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has no such files")
def test_an_export_never_waits_for_a_pipe(filled: Journal, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for overwrite in (False, True):
        with pytest.raises(DawnbeatError, match="no ordinary file"):
            export_mornings(filled, pipe, overwrite=overwrite)
        with pytest.raises(DawnbeatError, match="no ordinary file"):
            export_intervals(filled, pipe, date(2025, 3, 1), overwrite=overwrite)
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert sorted(path.name for path in tmp_path.glob("pipe*")) == ["pipe"]


def test_a_dash_is_standard_output(filled: Journal, capsys: pytest.CaptureFixture[str]) -> None:
    assert export_mornings(filled, Path("-")) == 2
    assert capsys.readouterr().out == mornings_csv([each for each in filled.readings() if each.verdict.usable])
    assert export_intervals(filled, Path("-"), date(2025, 3, 1)) == ()
    assert capsys.readouterr().out.startswith("time_s,interval_ms,kept,reason\r\n")


def test_intervals_of_a_day_without_any_are_refused(filled: Journal, tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match="no reading on 2025-03-09"):
        export_intervals(filled, tmp_path / "out", date(2025, 3, 9))
    export_mornings(filled, tmp_path / "out.csv")
    with Journal.open(tmp_path / "other") as other:
        apply_import(other, plan_import(other, tmp_path / "out.csv"))
        with pytest.raises(DawnbeatError, match="has no intervals"):
            export_intervals(other, tmp_path / "out", date(2025, 3, 1))


def test_numbers_are_written_so_that_they_come_back_exactly(journal: Journal, taken: Any, analysed: Any) -> None:
    reading = journal.save(taken(), analysed())
    names = [column.name for column in EXPORTED]
    cell = cells_of(reading)[names.index("rmssd_ms")]
    assert float(cell) == reading.metrics.rmssd_ms
    assert not math.isclose(round(float(cell), 3), float(cell), rel_tol=1e-12, abs_tol=0)
