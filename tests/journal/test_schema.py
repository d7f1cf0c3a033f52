"""Damaged, foreign, older and newer journals: said plainly, and never made worse."""

from __future__ import annotations

import dataclasses
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal import columns, schema
from dawnbeat.journal.csv_files import EXPORTED
from dawnbeat.journal.database import bring_up_to_date, check
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Context
from dawnbeat.shared.reading import Metrics


def fill(home: Path, taken: Any, analysed: Any, readings: int = 20) -> None:
    with Journal.open(home) as journal:
        for day in range(readings):
            journal.save(taken(f"2025-03-{day + 1:02d}T06:30:00"), analysed())


def test_a_database_cut_in_half_is_left_as_it_is_and_named(home: Path, taken: Any, analysed: Any) -> None:
    fill(home, taken, analysed)
    database = home / "journal.sqlite3"
    half = database.read_bytes()[: database.stat().st_size // 2]
    database.write_bytes(half)
    with pytest.raises(DawnbeatError, match=r"is damaged .* left as it is: restore a backup") as caught:
        Journal.open(home)
    assert "\n" not in str(caught.value)
    assert database.read_bytes() == half


def test_a_file_that_is_no_database_is_left_as_it_is(home: Path) -> None:
    home.mkdir()
    (home / "journal.sqlite3").write_bytes(b"these are not the mornings you look for" * 50)
    with pytest.raises(DawnbeatError, match="is damaged"):
        Journal.open(home)
    assert (home / "journal.sqlite3").read_bytes().startswith(b"these are not")


@pytest.mark.parametrize("emptied", [True, False])
def test_a_lost_database_beside_recordings_is_not_silently_begun_anew(
    home: Path, taken: Any, analysed: Any, recording: Path, emptied: bool
) -> None:
    with Journal.open(home) as journal:
        journal.save(taken(), analysed(), recording)
    database = home / "journal.sqlite3"
    database.unlink()
    if emptied:
        database.touch()
    with pytest.raises(DawnbeatError, match="missing or empty, though recordings lie beside it"):
        Journal.open(home)
    (home / "recordings").rename(home / "old-recordings")
    with Journal.open(home) as journal:
        assert journal.readings() == []


def test_a_newer_schema_is_refused_and_not_touched(home: Path, taken: Any, analysed: Any) -> None:
    fill(home, taken, analysed, 1)
    database = home / "journal.sqlite3"
    other = sqlite3.connect(database)
    other.execute(f"PRAGMA user_version = {schema.SCHEMA + 1}")
    other.close()
    before = database.read_bytes()
    with pytest.raises(DawnbeatError, match=r"install the newer version .* nothing was changed"):
        Journal.open(home)
    assert database.read_bytes() == before


def test_another_programs_database_is_refused(home: Path) -> None:
    home.mkdir()
    other = sqlite3.connect(home / "journal.sqlite3")
    other.execute("CREATE TABLE letters (text)")
    other.close()
    with pytest.raises(DawnbeatError, match="is not a Dawnbeat journal"):
        Journal.open(home)


WEATHER = columns.Column(
    "outside_c",
    columns.BY_NAME["ln_rmssd"].kind,
    "°C",
    "outside",
    "context",
    "context.outside_c",
    since=schema.SCHEMA + 1,
)
# An invented next version: one more column, and a table.
NEXT = schema.steps((*columns.COLUMNS, WEATHER), (*schema.LATER, ("CREATE TABLE shoes (name TEXT)",)))


def test_a_next_version_makes_a_backup_first_and_keeps_every_reading(home: Path, taken: Any, analysed: Any) -> None:
    fill(home, taken, analysed, 3)
    with Journal.open(home) as journal:
        before = journal.readings()
        backups = bring_up_to_date(journal.connection, journal.path, NEXT)
        assert check(journal.connection, journal.path, NEXT) == schema.SCHEMA + 1
        assert journal.readings() == before
        journal.connection.execute("INSERT INTO shoes VALUES ('red')")
        journal.connection.execute("UPDATE context SET outside_c = 4.5")
    (backup,) = backups
    assert backup.stat().st_mode & 0o777 == 0o600
    copy = sqlite3.connect(backup)
    assert tuple(copy.execute("PRAGMA user_version").fetchone()) == (schema.SCHEMA,)
    assert tuple(copy.execute("SELECT count(*) FROM readings").fetchone()) == (3,)
    copy.close()


def test_a_step_that_fails_half_way_is_undone(home: Path, taken: Any, analysed: Any) -> None:
    fill(home, taken, analysed, 3)
    broken = schema.steps(
        (*columns.COLUMNS, WEATHER), (("CREATE TABLE shoes (name)", "CREATE TABLE readings (twice)"),)
    )
    with Journal.open(home) as journal:
        before = journal.readings()
        with pytest.raises(sqlite3.OperationalError):
            bring_up_to_date(journal.connection, journal.path, broken)
        assert journal.readings() == before
        tables = {row[0] for row in journal.connection.execute("SELECT name FROM sqlite_master")}
        assert "shoes" not in tables
        assert tuple(journal.connection.execute("PRAGMA user_version").fetchone()) == (schema.SCHEMA,)


@pytest.mark.parametrize(
    "strange",
    [
        "CREATE TRIGGER late AFTER INSERT ON readings BEGIN DELETE FROM intervals; END",
        "CREATE VIEW everything AS SELECT * FROM readings",
        "CREATE TABLE letters (text)",
        "CREATE INDEX by_camera ON readings (camera)",
        "DROP TABLE hand_counts; CREATE VIRTUAL TABLE hand_counts USING fts3tokenize",
    ],
)
def test_what_no_journal_has_is_refused_and_left_as_it_is(home: Path, taken: Any, analysed: Any, strange: str) -> None:
    fill(home, taken, analysed, 1)
    database = home / "journal.sqlite3"
    other = sqlite3.connect(database)
    other.executescript(strange)
    other.close()
    before = database.read_bytes()
    with pytest.raises(DawnbeatError, match="which no journal has") as caught:
        Journal.open(home)
    assert "\n" not in str(caught.value)
    assert " a index" not in str(caught.value)
    assert database.read_bytes() == before


def test_a_new_journal_needs_no_backup(home: Path) -> None:
    with Journal.open(home) as journal:
        assert journal.migrated_after == []
    assert not (home / "backups").exists()


def test_a_new_figure_or_note_has_its_column_in_tables_and_csv() -> None:
    stored = {each.sql_name for each in columns.part("taken", "analysed", "context")}
    assert {each.name for each in dataclasses.fields(Metrics)} <= stored
    assert {each.name for each in dataclasses.fields(Context)} <= stored
    assert {each.name for each in EXPORTED} >= stored - {"local_date", "binned_at"}
    assert all(each.meaning for each in columns.COLUMNS)
