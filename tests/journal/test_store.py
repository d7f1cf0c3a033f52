"""What the journal keeps, which reading counts, and what can be changed later."""

from __future__ import annotations

import dataclasses
import os
import sqlite3
import stat
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dawnbeat.journal import rows
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Circumstances, Context

MARCH_1 = date(2025, 3, 1)


def test_a_saved_reading_comes_back_as_it_was(home: Path, taken: Any, analysed: Any) -> None:
    circumstances = taken(
        sleep=2, stress=3, fatigue=4, soreness=5, hours_slept=7.5, ill=False, alcohol=True, note="a\nb"
    )
    analysis = analysed()
    with Journal.open(home) as journal:
        saved = journal.save(circumstances, analysis)
    with Journal.open(home) as journal:
        found = journal.reading(saved.id)
        intervals = journal.intervals(saved.id)
    assert found == saved
    assert found.began == circumstances.began
    assert found.began.utcoffset() == circumstances.began.utcoffset()
    assert found.context == circumstances.context
    assert found.metrics == analysis.metrics
    assert found.intervals95 == analysis.intervals95
    assert found.verdict == analysis.verdict
    assert found.timing_error_ms == analysis.timing_error_ms
    assert found.counts
    assert np.array_equal(intervals.interval_ms, analysis.intervals.interval_ms)
    assert np.array_equal(intervals.start_s, analysis.intervals.start_s)
    assert intervals.left_out == analysis.intervals.left_out


def test_reasons_for_leaving_out_come_back(journal: Journal, taken: Any, analysed: Any) -> None:
    analysis = analysed(usable=False)
    saved = journal.save(taken(), analysis)
    assert journal.intervals(saved.id).left_out == analysis.intervals.left_out
    assert "movement" in analysis.intervals.left_out


def test_every_figure_with_an_interval_is_kept_and_none_is_invented(
    journal: Journal, taken: Any, analysed: Any
) -> None:
    analysis = dataclasses.replace(analysed(), intervals95={"rmssd_ms": (1.5, 2.5)})
    assert journal.save(taken(), analysis).intervals95 == {"rmssd_ms": (1.5, 2.5)}


def test_numpy_numbers_and_figures_that_are_not_finite_are_stored_as_plain_ones(
    journal: Journal, taken: Any, analysed: Any
) -> None:
    analysis = analysed()
    odd = dataclasses.replace(
        analysis.metrics,
        nn50=np.int64(7),
        rmssd_ms=np.float64(41.5),
        sd1_ms=float("nan"),
        sd2_ms=float("inf"),
    )
    saved = journal.save(taken(), dataclasses.replace(analysis, metrics=odd))
    types = journal.connection.execute("SELECT typeof(nn50), typeof(rmssd_ms), sd1_ms, sd2_ms FROM readings")
    assert tuple(types.fetchone()) == ("integer", "real", None, None)
    assert (saved.metrics.nn50, saved.metrics.rmssd_ms) == (7, 41.5)


def test_the_first_usable_reading_of_a_day_counts_unless_another_is_picked(
    journal: Journal, taken: Any, analysed: Any
) -> None:
    bad = journal.save(taken("2025-03-01T06:00:00"), analysed(usable=False))
    first = journal.save(taken("2025-03-01T06:10:00"), analysed())
    second = journal.save(taken("2025-03-01T06:20:00"), analysed(4.2, seed=2))
    assert [each.counts for each in journal.day(MARCH_1)] == [False, True, False]
    assert journal.pick(second.id).counts
    assert [each.counts for each in journal.day(MARCH_1)] == [False, False, True]
    assert journal.mornings()[0].ln_rmssd == second.metrics.ln_rmssd
    journal.put_in_bin(second.id)
    assert journal.counting(MARCH_1).id == first.id
    with pytest.raises(DawnbeatError, match="not usable"):
        journal.pick(bad.id)
    with pytest.raises(DawnbeatError, match="in the bin"):
        journal.pick(second.id)


def test_a_reading_that_is_not_usable_is_kept_and_marked(journal: Journal, taken: Any, analysed: Any) -> None:
    found = analysed(usable=False)
    nothing = dataclasses.replace(found, verdict=dataclasses.replace(found.verdict, pulse_usable=False))
    saved = journal.save(taken(), nothing)
    assert not saved.counts
    assert saved.verdict.findings
    assert [each.usable for each in journal.mornings()] == [False]
    assert journal.counting(MARCH_1).id == saved.id


def test_a_reading_with_only_a_pulse_counts_until_a_whole_one_is_there(
    journal: Journal, taken: Any, analysed: Any
) -> None:
    only_pulse = journal.save(taken("2025-03-01T06:00:00"), analysed(usable=False, pulse_bpm=47.0))
    assert only_pulse.counts
    (morning,) = journal.mornings()
    assert (morning.usable, morning.pulse_usable) == (False, True)
    assert morning.resting_pulse_bpm == pytest.approx(47.0, abs=0.5)
    assert journal.pick(only_pulse.id).picked
    whole = journal.save(taken("2025-03-01T06:10:00"), analysed())
    assert [each.counts for each in journal.day(MARCH_1)] == [False, True]
    assert journal.mornings()[0].usable
    with pytest.raises(DawnbeatError, match="not usable"):
        journal.pick(only_pulse.id)
    assert journal.counting(MARCH_1).id == whole.id


def test_a_reading_long_enough_to_be_compared_counts_rather_than_a_short_one(
    journal: Journal, taken: Any, analysed: Any
) -> None:
    short = journal.save(taken("2025-03-01T06:00:00"), dataclasses.replace(analysed(), duration_s=40.0))
    assert short.counts
    journal.save(taken("2025-03-01T06:10:00"), analysed())
    assert [each.counts for each in journal.day(MARCH_1)] == [False, True]


def test_an_answer_is_kept_with_its_reading_and_outlives_a_new_analysis(
    journal: Journal, taken: Any, analysed: Any
) -> None:
    saved = journal.save(taken(), analysed())
    assert saved.answer is None
    said = {"what": "keep the plan", "facts": [{"name": "rmssd_ms", "value": 54.6}]}
    assert journal.keep_answer(saved.id, said).answer == said
    with journal.transaction("store") as connection:
        rows.update_analysis(connection, saved.id, analysed(4.4, seed=4))
    assert journal.reading(saved.id).answer == said
    assert journal.reading(saved.id).metrics != saved.metrics


def test_a_day_turns_at_midnight_of_the_place(journal: Journal, taken: Any, analysed: Any) -> None:
    journal.save(taken("2025-02-28T23:59:59", offset_h=-8), analysed())
    journal.save(taken("2025-03-01T00:00:00", offset_h=-8), analysed())
    # The same moment as the first, by the clock of another place.
    journal.save(taken("2025-03-01T17:29:59", offset_h=9.5), analysed())
    assert len(journal.day(date(2025, 2, 28))) == 1
    assert [each.began.hour for each in journal.day(MARCH_1)] == [0, 17]


def test_a_changed_clock_neither_overwrites_nor_reorders(journal: Journal, taken: Any, analysed: Any) -> None:
    right = journal.save(taken("2025-03-01T06:40:00"), analysed())
    before = taken("2025-03-01T05:40:00")
    assert "check the clock" in (journal.clock_notice(before.began) or "")
    assert journal.clock_notice(taken("2025-03-02T05:40:00").began) is None
    earlier = journal.save(before, analysed(4.3))
    same = journal.save(taken("2025-03-01T06:40:00"), analysed(4.4))
    day = journal.day(MARCH_1)
    assert [each.id for each in day] == [right.id, earlier.id, same.id]
    assert [each.counts for each in day] == [True, False, False]


def test_a_time_without_offset_is_refused(taken: Any) -> None:
    with pytest.raises(DawnbeatError, match="no offset"):
        Circumstances(taken().began.replace(tzinfo=None), "lying", "camera")


def test_context_can_be_edited_and_taken_away(journal: Journal, taken: Any, analysed: Any) -> None:
    saved = journal.save(taken(note="first"), analysed())
    changed = journal.edit_context(saved.id, dataclasses.replace(saved.context, sleep=7, note="second"))
    assert (changed.context.sleep, changed.context.note) == (7, "second")
    assert journal.edit_context(saved.id, Context()).context == Context()
    assert journal.set_posture(saved.id, "standing").posture == "standing"
    with pytest.raises(DawnbeatError, match="no reading 99"):
        journal.edit_context(99, Context())


@pytest.mark.parametrize(
    "wrong",
    [
        {"sleep": 0},
        {"fatigue": 8},
        {"stress": 2.5},
        {"soreness": True},
        {"hours_slept": 25},
        {"hours_slept": float("nan")},
        {"ill": "perhaps"},
        {"note": "\ud800"},
        {"note": "x" * 30_000},
    ],
)
def test_context_out_of_range_is_refused_in_one_line(wrong: dict[str, Any]) -> None:
    with pytest.raises(DawnbeatError) as caught:
        Context(**wrong)
    assert "\n" not in str(caught.value)


def test_the_bin_gives_back_what_was_put_into_it(journal: Journal, taken: Any, analysed: Any) -> None:
    saved = journal.save(taken(note="kept"), analysed())
    journal.put_in_bin(saved.id)
    assert journal.readings() == []
    assert journal.mornings() == []
    assert [each.id for each in journal.bin()] == [saved.id]
    assert journal.bring_back(saved.id) == saved
    assert journal.readings() == [saved]


def test_emptying_the_bin_deletes_only_what_was_asked_for(
    journal: Journal, taken: Any, analysed: Any, recording: Path
) -> None:
    going = journal.save(taken(), analysed(), recording)
    staying = journal.save(taken("2025-03-02T06:00:00"), analysed(), recording)
    not_binned = journal.save(taken("2025-03-03T06:00:00"), analysed(), recording)
    journal.put_in_bin(going.id)
    journal.put_in_bin(staying.id)
    assert journal.empty_bin([going.id, not_binned.id]) == 1
    assert [each.id for each in journal.bin()] == [staying.id]
    assert not (journal.home / str(going.recording)).exists()
    assert (journal.home / str(staying.recording) / "trace.csv").exists()
    assert (journal.home / str(not_binned.recording) / "trace.csv").exists()
    left = journal.connection.execute("SELECT count(*) FROM intervals WHERE reading_id = ?", (going.id,))
    assert tuple(left.fetchone()) == (0,)
    again = journal.save(taken("2025-03-04T06:00:00"), analysed())
    assert again.id > not_binned.id, "a number is never given twice"


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_files_and_folders_are_the_users_alone(home: Path, taken: Any, analysed: Any, recording: Path) -> None:
    before = os.umask(0)
    try:
        with Journal.open(home) as journal:
            journal.new_recording_folder(taken().began)
            journal.save(taken(), analysed(), recording)
            found = [home, *home.rglob("*")]
            modes = {path.relative_to(home).as_posix(): stat.S_IMODE(path.stat().st_mode) for path in found}
    finally:
        os.umask(before)
    assert {name for name in modes if name.endswith(("-wal", "-shm"))}, "the side files must be looked at too"
    for path in found:
        wanted = 0o700 if path.is_dir() or path == home else 0o600
        assert modes[path.relative_to(home).as_posix()] == wanted, path


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_a_folder_that_holds_other_things_keeps_its_permissions(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("dear")
    tmp_path.chmod(0o755)
    Journal.open(tmp_path).close()
    assert stat.S_IMODE(tmp_path.stat().st_mode) == 0o755


def test_the_folder_comes_from_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path / "elsewhere"))
    with Journal.open() as journal:
        assert journal.home == tmp_path / "elsewhere"
    assert (tmp_path / "elsewhere" / "journal.sqlite3").exists()


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(DawnbeatError, match="is a file"):
        Journal.open(tmp_path / "file")


def test_a_journal_locked_by_another_program_says_so_and_loses_nothing(home: Path, taken: Any, analysed: Any) -> None:
    with Journal.open(home, busy_s=0.1) as journal:
        first = journal.save(taken(), analysed())
        holder = subprocess.Popen(
            [
                sys.executable,
                "-c",
                "import sqlite3, sys\n"
                "held = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
                "held.execute('BEGIN IMMEDIATE')\n"
                "print('held', flush=True)\n"
                "sys.stdin.read()\n",
                str(journal.path),
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        try:
            assert holder.stdout is not None
            assert holder.stdout.readline().strip() == b"held"
            with pytest.raises(DawnbeatError, match=r"can't save the reading: another program .* try again"):
                journal.save(taken("2025-03-02T06:00:00"), analysed())
            assert journal.readings() == [first]
        finally:
            holder.communicate(b"")
        assert journal.save(taken("2025-03-02T06:00:00"), analysed()).id == first.id + 1


def test_two_open_journals_see_each_others_readings(home: Path, taken: Any, analysed: Any) -> None:
    with Journal.open(home) as one, Journal.open(home) as other:
        saved = one.save(taken(), analysed())
        assert other.readings() == [saved]
        other.edit_context(saved.id, Context(note="from the other"))
        assert one.reading(saved.id).context.note == "from the other"


def test_the_database_is_kept_as_durable_as_promised(journal: Journal) -> None:
    def pragma(name: str) -> Any:
        return journal.connection.execute(f"PRAGMA {name}").fetchone()[0]

    assert pragma("journal_mode") == "wal"
    assert pragma("synchronous") == 2  # FULL
    assert pragma("foreign_keys") == 1
    with pytest.raises(sqlite3.IntegrityError):
        journal.connection.execute("INSERT INTO context (reading_id) VALUES (12345)")


def test_a_second_opening_here_does_not_let_another_program_delete_the_log_we_write_to(tmp_path: Path) -> None:
    # Closing any handle of a file drops all POSIX locks that the process holds on it.
    other = (
        "import sys\nfrom pathlib import Path\nfrom dawnbeat.journal.store import Journal\n"
        "with Journal.open(Path(sys.argv[1])) as journal:\n    journal.readings()\n"
    )
    with Journal.open(tmp_path) as ours:
        ours.readings()
        Journal.open(tmp_path).close()
        subprocess.run([sys.executable, "-c", other, str(tmp_path)], check=True)
        with ours.transaction("count by hand") as connection:
            connection.execute(
                "INSERT INTO hand_counts(local_date, beats_in_30_s, saved_at) VALUES ('2025-01-01', 30, 'x')"
            )
    with Journal.open(tmp_path) as again:
        assert tuple(again.connection.execute("SELECT count(*) FROM hand_counts").fetchone()) == (1,)


@pytest.mark.parametrize(
    "change",
    [
        "usable = 1, pulse_usable = 0",
        "usable = 1, irregular = 1",
        "findings = 'moved'",
        "findings = '{}'",
        "began = 'yesterday'",
        "local_date = '2025-02-30'",
        "answer = '[]'",
    ],
)
def test_a_row_that_something_else_wrote_is_named_in_one_line(
    journal: Journal, taken: Any, analysed: Any, change: str
) -> None:
    saved = journal.save(taken(), analysed())
    journal.connection.execute(f"UPDATE readings SET {change}")
    for look in (journal.readings, lambda: journal.reading(saved.id), journal.mornings):
        with pytest.raises(DawnbeatError, match=f"reading {saved.id} of the journal can't be understood") as caught:
            look()
        assert "\n" not in str(caught.value)
