"""Text that no spreadsheet takes for a formula, and a mornings CSV that comes back without loss."""

from __future__ import annotations

import contextlib
import csv
import dataclasses
import io
import math
import os
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
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
from dawnbeat.shared.csv_text import guard, unguard
from dawnbeat.shared.errors import DawnbeatError
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
@settings(deadline=None)
def test_a_mornings_csv_reads_back_without_loss(written: list[StoredReading]) -> None:
    rows = list(csv.DictReader(io.StringIO(mornings_csv(written), newline="")))
    assert [reading_of(row) for row in rows] == written


@given(st.lists(readings, min_size=1, max_size=3, unique_by=lambda each: each.uid))
@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_export_and_import_give_the_same_journal(
    tmp_path_factory: pytest.TempPathFactory, given: list[StoredReading]
) -> None:
    folder = tmp_path_factory.mktemp("csv")
    (folder / "given.csv").write_text(mornings_csv(given), encoding="utf-8", newline="")
    with Journal.open(folder / "one") as one, Journal.open(folder / "two") as two:
        assert apply_import(one, plan_import(one, folder / "given.csv")) == len(given)
        export_mornings(one, folder / "one.csv", include_not_usable=True)
        plan = plan_import(two, folder / "one.csv")
        assert plan.errors == ()
        apply_import(two, plan)
        assert plan_import(two, folder / "one.csv").same == len(given)
        export_mornings(two, folder / "two.csv", include_not_usable=True)
        plain = [dataclasses.replace(each, id=0, counts=False) for each in two.readings()]
    assert (folder / "two.csv").read_bytes() == (folder / "one.csv").read_bytes()
    assert sorted(plain, key=lambda each: each.uid) == sorted(given, key=lambda each: each.uid)


def cells(**changes: str) -> dict[str, str]:
    return {
        "began": "2025-03-01T06:30:00+01:00",
        "posture": "lying",
        "duration_s": "120",
        "usable": "yes",
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
    ],
)
def test_a_cell_that_makes_no_sense_is_named(column: str, cell: str) -> None:
    with pytest.raises(DawnbeatError, match=column) as caught:
        reading_of(cells(**{column: cell}))
    assert "\n" not in str(caught.value)


def test_a_row_needs_little_to_be_a_reading() -> None:
    found = reading_of(cells())
    assert found.metrics == Metrics()
    assert found.uid


def test_every_column_says_what_it_means() -> None:
    assert len(BY_NAME) == len(COLUMNS)
    assert all(column.meaning for column in COLUMNS)
    units = {column.name: column.unit for column in COLUMNS}
    assert all(units[name] == "ms" for name in units if name.endswith("_ms"))
    assert all(units[name] == "bpm" for name in units if name.endswith("_bpm"))


@pytest.fixture
def filled(journal: Journal, taken: Any, analysed: Any) -> Journal:
    journal.save(taken("2025-03-01T06:30:00", note='=HYPERLINK("x")'), analysed())
    journal.save(taken("2025-03-02T06:30:00", note="two\nlines, and a comma"), analysed(usable=False))
    journal.save(taken("2025-03-03T06:30:00", sleep=3, note="'quoted"), analysed(4.2, seed=2))
    journal.put_in_bin(journal.save(taken("2025-03-04T06:30:00"), analysed()).id)
    return journal


def test_an_export_holds_the_days_and_readings_asked_for(filled: Journal, tmp_path: Path) -> None:
    def days(*args: Any) -> list[str]:
        export_mornings(filled, tmp_path / "out.csv", *args)
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
    with pytest.raises(DawnbeatError, match="can't write the mornings"):
        export_mornings(filled, tmp_path / "folder.csv")
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


def test_an_export_replaces_an_earlier_one_but_no_other_file(filled: Journal, tmp_path: Path) -> None:
    own = tmp_path / "diary.txt"
    own.write_text("my own words")
    for export in (lambda: export_mornings(filled, own), lambda: export_intervals(filled, own, date(2025, 3, 2))):
        with pytest.raises(DawnbeatError, match="exists and is another file"):
            export()
    assert own.read_text() == "my own words"
    for _ in range(2):
        export_mornings(filled, tmp_path / "out.csv")
        export_intervals(filled, tmp_path / "intervals", date(2025, 3, 2))


def test_intervals_of_a_day_without_any_are_refused(filled: Journal, tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match="no reading on 2025-03-09"):
        export_intervals(filled, tmp_path / "out", date(2025, 3, 9))
    export_mornings(filled, tmp_path / "out.csv")
    with Journal.open(tmp_path / "other") as other:
        apply_import(other, plan_import(other, tmp_path / "out.csv"))
        with pytest.raises(DawnbeatError, match="has no intervals"):
            export_intervals(other, tmp_path / "out", date(2025, 3, 1))


def rewrite(path: Path, change: Any) -> None:
    with path.open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    change(found)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [each.name for each in EXPORTED])
        writer.writeheader()
        writer.writerows(found)


def exported(filled: Journal, path: Path) -> Path:
    export_mornings(filled, path, include_not_usable=True)
    return path


def test_a_plan_changes_nothing_and_counts_what_would_happen(filled: Journal, tmp_path: Path) -> None:
    path = exported(filled, tmp_path / "out.csv")

    def change(found: list[dict[str, str]]) -> None:
        found[0]["note"] = "another note"
        found.append({**found[2], "uid": "new", "began": "2025-03-09T06:30:00+01:00", "date": ""})
        found.append({**found[2], "uid": filled.bin()[0].uid})

    rewrite(path, change)
    before = filled.readings()
    plan = plan_import(filled, path)
    assert (len(plan.new), plan.same, len(plan.conflicts), plan.in_bin) == (1, 2, 1, 1)
    assert plan.conflicts[0].differing == ("note",)
    assert plan.conflicts[0].line == 2
    assert plan.lines()[0] == "1 new, 2 here already, 1 different from the journal's"
    assert filled.readings() == before
    assert apply_import(filled, plan) == 1
    assert filled.readings()[:3] == before
    assert filled.day(date(2025, 3, 9))[0].uid == "new"


def test_different_rows_replace_the_journals_only_when_asked(filled: Journal, tmp_path: Path) -> None:
    path = exported(filled, tmp_path / "out.csv")

    def change(found: list[dict[str, str]]) -> None:
        found[0]["note"] = "another note"
        found[2]["rmssd_ms"] = "12.5"

    rewrite(path, change)
    first, _, third = filled.readings()
    assert apply_import(filled, plan_import(filled, path), replace_different=True) == 2
    assert filled.reading(first.id).context.note == "another note"
    assert len(filled.intervals(first.id)) > 90
    assert filled.reading(third.id).metrics.rmssd_ms == 12.5
    assert len(filled.intervals(third.id)) == 0, "intervals that no longer fit the figures must go"
    assert len(list((filled.home / "backups").glob("journal-before-import-*"))) == 1


def test_rows_with_errors_are_listed_by_line_and_nothing_is_imported(filled: Journal, tmp_path: Path) -> None:
    path = exported(filled, tmp_path / "out.csv")

    def change(found: list[dict[str, str]]) -> None:
        found[1]["sleep"] = "9"  # begins on line 3 and has two lines
        found[2]["posture"] = "hanging"
        found.append(dict(found[0]))

    rewrite(path, change)
    with Journal.open(tmp_path / "other") as other:
        plan = plan_import(other, path)
        assert [error.line for error in plan.errors] == [3, 5, 6]
        assert "same reading as line 2" in plan.errors[2].message
        with pytest.raises(DawnbeatError, match=r"nothing was imported: .*line 3: sleep .* \(and 2 more\)"):
            apply_import(other, plan)
        assert other.readings() == []


def test_an_import_that_breaks_off_leaves_nothing(filled: Journal, tmp_path: Path) -> None:
    path = exported(filled, tmp_path / "out.csv")
    with Journal.open(tmp_path / "other") as other:
        plan = plan_import(other, path)
        other.connection.execute(
            "CREATE TRIGGER stop BEFORE INSERT ON readings WHEN new.local_date = '2025-03-03'"
            " BEGIN SELECT raise(ABORT, 'broken off'); END"
        )
        with pytest.raises(DawnbeatError, match="broken off"):
            apply_import(other, plan)
        assert other.readings() == []


def test_a_plan_that_no_longer_fits_is_refused(filled: Journal, tmp_path: Path) -> None:
    path = exported(filled, tmp_path / "out.csv")
    with Journal.open(tmp_path / "other") as other:
        plan = plan_import(other, path)
        apply_import(other, plan)
        with pytest.raises(DawnbeatError, match="plan the import again"):
            apply_import(other, plan)
        assert len(other.readings()) == 3


def test_rows_without_a_name_are_recognised_by_their_moment(filled: Journal, tmp_path: Path) -> None:
    path = exported(filled, tmp_path / "out.csv")
    rewrite(path, lambda found: [row.update(uid="") for row in found])
    assert plan_import(filled, path).same == 3


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"name,pulse\nx,50\n", "has no column"),
        (b"began,posture,duration_s,usable,mood\n", "unknown column 'mood'"),
        (b"began,posture,duration_s,usable,usable\n", "column twice"),
        (b"began,posture\n\xff\xfe\n", "line 2: not UTF-8"),
    ],
)
def test_a_file_that_is_no_mornings_csv_is_refused_in_one_line(
    journal: Journal, tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "in.csv"
    path.write_bytes(content)
    with pytest.raises(DawnbeatError, match=said) as caught:
        plan_import(journal, path)
    assert "\n" not in str(caught.value)
    with pytest.raises(DawnbeatError, match="can't read the mornings"):
        plan_import(journal, tmp_path / "nowhere.csv")


def test_a_broken_quote_and_a_short_row_are_errors_of_their_lines(journal: Journal, tmp_path: Path) -> None:
    head = "began,posture,duration_s,usable\r\n"
    good = "2025-03-01T06:30:00+01:00,lying,120,yes\r\n"
    path = tmp_path / "in.csv"
    path.write_text(head + good + "short,row\r\n" + '"never closed,lying,120,yes\r\n', newline="")
    assert [error.line for error in plan_import(journal, path).errors] == [3, 4]


@given(st.binary(max_size=300))
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_bytes_make_an_import_fail_in_any_other_way(
    tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    folder = tmp_path_factory.getbasetemp()
    path = folder / "fuzz.csv"
    path.write_bytes(b"began,posture,duration_s,usable,note\n" + content)
    with Journal.open(folder / "fuzz-journal") as journal, contextlib.suppress(DawnbeatError):
        plan = plan_import(journal, path)
        assert all("\n" not in error.message for error in plan.errors)


def test_numbers_are_written_so_that_they_come_back_exactly(journal: Journal, taken: Any, analysed: Any) -> None:
    reading = journal.save(taken(), analysed())
    names = [column.name for column in EXPORTED]
    cell = cells_of(reading)[names.index("rmssd_ms")]
    assert float(cell) == reading.metrics.rmssd_ms
    assert not math.isclose(round(float(cell), 3), float(cell), rel_tol=1e-12, abs_tol=0)
