"""Mornings read back from CSV: planned first, then all or nothing, and never twice."""

from __future__ import annotations

import contextlib
import csv
import dataclasses
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dawnbeat.journal.csv_files import EXPORTED, apply_import, export_mornings, mornings_csv, plan_import
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import StoredReading
from tests.journal.strategies import readings


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
        found[2]["rmssd_ms"], found[2]["ln_rmssd"] = "12.5", ""

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


def test_mornings_that_are_still_to_come_are_said(journal: Journal, tmp_path: Path) -> None:
    path = tmp_path / "in.csv"
    path.write_text(
        "began,posture,duration_s,usable\r\n"
        "9999-12-31T06:30:00+01:00,lying,120,no\r\n2025-03-01T06:30:00+01:00,lying,120,no\r\n"
    )
    plan = plan_import(journal, path)
    assert len(plan.new) == 2
    assert [line for line in plan.lines() if "still to come" in line and line.startswith("1 ")]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"name,pulse\nx,50\n", "has no column"),
        (b"began,posture,duration_s,usable,mood\n", "unknown column 'mood'"),
        (b"began,posture,duration_s,usable,usable\n", "column twice"),
        (b"began,posture\n\xff\xfe\n", "line 2 is not UTF-8"),
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
    good = "2025-03-01T06:30:00+01:00,lying,120,no\r\n"
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


def without_names(found: list[dict[str, str]]) -> None:
    for row in found:
        row["uid"] = ""


def test_rows_that_lost_their_names_and_then_the_original_give_each_morning_once(
    filled: Journal, tmp_path: Path
) -> None:
    original = exported(filled, tmp_path / "original.csv")
    nameless = exported(filled, tmp_path / "nameless.csv")
    rewrite(nameless, without_names)
    for first, second in ((nameless, original), (original, nameless)):
        with Journal.open(tmp_path / first.stem) as other:
            assert apply_import(other, plan_import(other, first)) == 3
            plan = plan_import(other, second)
            assert (len(plan.new), plan.same) == (0, 3)


def test_two_readings_that_began_in_the_same_second_stay_two(filled: Journal, tmp_path: Path) -> None:
    path = exported(filled, tmp_path / "out.csv")
    rewrite(path, lambda found: found.append({**found[0], "uid": "another", "note": "a second camera"}))
    with Journal.open(tmp_path / "other") as other:
        assert apply_import(other, plan_import(other, path)) == 4
        assert plan_import(other, path).same == 4
    assert len(plan_import(filled, path).new) == 1


@pytest.mark.parametrize(("separator", "point"), [(";", ","), (";", "."), ("\t", ","), ("\t", ".")])
def test_a_file_that_a_spreadsheet_saved_again_is_read_for_what_it_is(
    filled: Journal, tmp_path: Path, separator: str, point: str
) -> None:
    path = exported(filled, tmp_path / "out.csv")
    with path.open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    numbers = {each.name for each in EXPORTED if each.is_number}
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(found[0]), delimiter=separator)
        writer.writeheader()
        for row in found:
            writer.writerow({name: cell.replace(".", point) if name in numbers else cell for name, cell in row.items()})
    assert plan_import(filled, path).same == 3


def test_an_export_from_before_there_were_codes_keeps_its_sentences(journal: Journal, tmp_path: Path) -> None:
    path = tmp_path / "earlier.csv"
    head = "uid,began,posture,duration_s,usable,reasons,rmssd_ms,mean_hr_bpm\r\n"
    sentences = '"[""the finger moved at 0:40"", ""little light""]"'
    path.write_text(f"{head}one,2025-03-01T06:30:00+01:00,lying,120,no,{sentences},,\r\n", newline="")
    apply_import(journal, plan_import(journal, path))
    (reading,) = journal.readings()
    assert [each.code for each in reading.verdict.findings] == ["the finger moved at 0:40", "little light"]
    path.write_text(f"{head}one,2025-03-01T06:30:00+01:00,lying,120,no,[1],,\r\n", newline="")
    assert "reasons" in plan_import(journal, path).errors[0].message
