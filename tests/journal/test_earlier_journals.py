"""A journal from before the first release opens as if it had been written today, and nothing in it is lost."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal import schema
from dawnbeat.journal.hand_edits import edits_of, take_back
from dawnbeat.journal.store import Journal
from dawnbeat.morning.reading_text import verdict_lines

MOVED = "the finger moved at 0:40: hold it \u2018still\u2019"
TABLES = (Path(__file__).parent / "earlier_schema.sql").read_text(encoding="utf-8")


def insert(connection: sqlite3.Connection, table: str, **values: Any) -> None:
    names = ", ".join(values)
    connection.execute(f"INSERT INTO {table} ({names}) VALUES ({', '.join('?' * len(values))})", tuple(values.values()))


def reading(number: int, usable: bool, reasons: Any, **more: Any) -> dict[str, Any]:
    return {
        "id": number,
        "uid": f"invented{number}",
        "local_date": f"2025-03-{number:02d}",
        "began": f"2025-03-{number:02d}T06:30:00+01:00",
        "duration_s": 120.5,
        "posture": "sitting",
        "camera": "invented camera",
        "frame_rate_hz": 29.97,
        "channel": "red",
        "mean_hr_bpm": 51.0 + number,
        "rmssd_ms": 40.25,
        "rmssd_ms_low": 35.0,
        "rmssd_ms_high": 46.0,
        "nn50": 12,
        "kept_beats": 100,
        "usable": int(usable),
        "reasons_json": json.dumps(reasons),
        "picked": int(usable),
        "saved_at": "2025-03-09T06:33:00+00:00",
        "analysed_with": 1,
        **more,
    }


@pytest.fixture
def earlier(home: Path) -> Path:
    home.mkdir()
    connection = sqlite3.connect(home / "journal.sqlite3")
    connection.executescript(TABLES)
    insert(connection, "analysed_with", id=1, version="0.0.9", settings_json='{"lowpass_hz": 8.0}')
    insert(connection, "readings", **reading(1, True, ["118 s of 120 s kept", "beats timed to 1.4 ms"]))
    insert(connection, "readings", **reading(2, False, [MOVED]))
    # As it was stored for a while, when findings were new and the column was not.
    told = {
        "usable": False,
        "pulse_usable": True,
        "irregular": True,
        "findings": [{"code": "beats", "values": {"n": 2}}],
    }
    insert(connection, "readings", **reading(3, False, told))
    insert(connection, "readings", **reading(4, False, [], binned_at="2025-03-05T08:00:00+00:00"))
    insert(connection, "context", reading_id=1, sleep=3, hours_slept=7.5, ill=0, note="old\0 note")
    for position, reason in enumerate([None, "movement", None]):
        insert(
            connection,
            "intervals",
            reading_id=1,
            position=position,
            start_s=float(position),
            interval_ms=1000.0,
            kept=int(reason is None),
            reason=reason,
        )
    before = {
        name: value
        for name, value in reading(1, True, ["as it was"]).items()
        if name not in ("id", "uid", "local_date", "began", "posture", "camera", "picked", "saved_at", "analysed_with")
    }
    insert(
        connection,
        "hand_edits",
        reading_id=1,
        changes_json=json.dumps([[1, 1.0, None, "movement"]]),
        before_json=json.dumps(before),
        analysed_with=1,
        made_at="2025-03-09T06:40:00+00:00",
    )
    insert(connection, "hand_counts", local_date="2025-03-01", beats_in_30_s=26, saved_at="2025-03-01T06:00:00+00:00")
    insert(connection, "training_settings", name="easy_top", value_json="0.8")
    connection.commit()
    connection.close()
    return home


def test_readings_notes_and_intervals_are_those_that_were_stored(earlier: Path) -> None:
    with Journal.open(earlier) as journal:
        first, second, third = journal.readings()
        (binned,) = journal.bin()
        assert journal.intervals(1).left_out == (None, "movement", None)
        assert journal.connection.execute("SELECT beats_in_30_s FROM hand_counts").fetchone()[0] == 26
        assert journal.connection.execute("SELECT value_json FROM training_settings").fetchone()[0] == "0.8"
    assert (first.uid, first.began.isoformat()) == ("invented1", "2025-03-01T06:30:00+01:00")
    assert (first.metrics.mean_hr_bpm, first.metrics.rmssd_ms, first.metrics.nn50) == (52.0, 40.25, 12)
    assert first.intervals95 == {"rmssd_ms": (35.0, 46.0)}
    assert (first.version, first.settings_json) == ("0.0.9", '{"lowpass_hz": 8.0}')
    assert (first.context.sleep, first.context.ill, first.context.note) == (3, False, "old note")
    assert (first.verdict.usable, first.verdict.pulse_usable, first.picked, first.counts) == (True, True, True, True)
    assert (second.verdict.usable, second.verdict.pulse_usable, second.counts) == (False, False, False)
    assert (third.verdict.pulse_usable, third.verdict.irregular) == (True, True)
    assert binned.id == 4
    assert {each.origin for each in (first, second, third, binned)} == {"camera"}


def test_the_sentences_of_a_verdict_are_kept_and_shown_as_they_were(earlier: Path) -> None:
    with Journal.open(earlier) as journal:
        first, second, third = journal.readings()
    assert verdict_lines(first.verdict) == ["118 s of 120 s kept", "beats timed to 1.4 ms"]
    assert verdict_lines(second.verdict) == [MOVED]
    assert (third.verdict.findings[0].code, third.verdict.findings[0].values) == ("beats", {"n": 2.0})


def test_an_edit_by_hand_can_still_be_taken_back(earlier: Path) -> None:
    with Journal.open(earlier) as journal:
        (edit,) = edits_of(journal, 1)
        take_back(journal, edit.number)
        found = journal.reading(1)
        assert journal.intervals(1).left_out == (None, None, None)
    assert verdict_lines(found.verdict) == ["as it was"]
    assert (found.verdict.usable, found.verdict.pulse_usable) == (True, True)


def test_the_journal_as_it_was_is_kept_aside(earlier: Path) -> None:
    with Journal.open(earlier) as journal:
        (copy,) = journal.migrated_after
    aside = sqlite3.connect(copy)
    assert tuple(aside.execute("PRAGMA user_version").fetchone()) == (3,)
    assert tuple(aside.execute("SELECT reasons_json FROM readings WHERE id = 2").fetchone()) == (json.dumps([MOVED]),)
    aside.close()
    with Journal.open(earlier) as journal:
        assert journal.migrated_after == []


def test_it_has_the_same_tables_and_columns_as_a_new_journal(earlier: Path, tmp_path: Path) -> None:
    def shape(home: Path) -> dict[str, set[str]]:
        with Journal.open(home) as journal:
            assert journal.connection.execute("PRAGMA user_version").fetchone()[0] == schema.SCHEMA
            assert journal.connection.execute("PRAGMA foreign_key_check").fetchall() == []
            names = [
                row[0] for row in journal.connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            ]
            return {
                name: {row[1] for row in journal.connection.execute(f"PRAGMA table_info({name})")} for name in names
            }

    assert shape(earlier) == shape(tmp_path / "new")


def test_a_journal_from_before_runs_and_edits_gains_their_tables(earlier: Path) -> None:
    connection = sqlite3.connect(earlier / "journal.sqlite3")
    for name in ("hand_edits", "run_samples", "run_marks", "maxima", "thresholds", "zone_sets", "runs"):
        connection.execute(f"DROP TABLE {name}")
    connection.execute("DROP TABLE training_settings")
    connection.execute("PRAGMA user_version = 1")
    connection.commit()
    connection.close()
    with Journal.open(earlier) as journal:
        assert len(journal.readings()) == 3
        assert edits_of(journal, 1) == []
        assert journal.connection.execute("SELECT count(*) FROM runs").fetchone()[0] == 0
