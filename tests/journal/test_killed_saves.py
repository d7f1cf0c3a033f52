"""A save that is killed, or that runs out of disk, loses nothing that was there before."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError

COPIED = ("recording copied", "recording synced", "recording renamed", "recording in place")
STORED = ("transaction begun", "row written", "intervals written", "committed")

SAVER = """
import os, resource, signal, sys
from datetime import datetime
from pathlib import Path
import numpy as np
from dawnbeat.recordings.invented.mornings import invented_analysis
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Circumstances, Context

home, recording, stop_at, limit = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], int(sys.argv[4])
began = datetime.fromisoformat("2025-03-02T06:30:00+01:00")
taken = Circumstances(began, "lying", "c", Context(note="second"))

def stop(name):
    if name == stop_at:
        os.kill(os.getpid(), signal.SIGKILL)

with Journal.open(home) as journal:
    if limit:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    if str(recording) == "inside":
        recording = journal.new_recording_folder(taken.began)
        (recording / "trace.csv").write_text("time_s,red,green,blue\\n")
    try:
        journal.save(taken, invented_analysis(4.0, 50, np.random.default_rng(5)), recording, stop)
    except DawnbeatError as error:
        print(error)
        sys.exit(2)
print("saved")
"""

needs_posix = pytest.mark.skipif(os.name == "nt", reason="SIGKILL and file size limits are POSIX")


def save_in_a_process(home: Path, recording: str, stop_at: str = "", limit: int = 0) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, "-c", SAVER, str(home), recording, stop_at, str(limit)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, done.stdout


def test_the_steps_of_a_save_are_the_ones_that_are_killed_below(
    journal: Journal, taken: Any, analysed: Any, recording: Path
) -> None:
    steps: list[str] = []
    journal.save(taken(note="x"), analysed(), recording, steps.append)
    assert tuple(steps) == COPIED + STORED


@needs_posix
@pytest.mark.parametrize("stop_at", COPIED + STORED)
def test_a_killed_save_leaves_the_reading_whole_or_absent(
    home: Path, taken: Any, analysed: Any, recording: Path, stop_at: str
) -> None:
    with Journal.open(home) as journal:
        first = journal.save(taken(note="first"), analysed(), recording)
        first_intervals = journal.intervals(first.id)
    code, _ = save_in_a_process(home, str(recording), stop_at)
    assert code == -9
    with Journal.open(home) as journal:
        found = journal.readings()
        assert found[0] == first
        assert journal.intervals(first.id).left_out == first_intervals.left_out
        assert (journal.home / str(first.recording) / "trace.csv").exists()
        assert (recording / "trace.csv").exists()
        orphans = journal.orphans()
        if stop_at == "committed":
            assert len(found) == 2
            assert orphans == []
            assert found[1].context.note == "second"
            assert len(journal.intervals(found[1].id)) > 90
            assert (journal.home / str(found[1].recording) / "trace.csv").exists()
        else:
            assert found == [first]
            (orphan,) = orphans
            assert orphan.finished == (stop_at not in ("recording copied", "recording synced"))
            assert (orphan.path / "trace.csv").read_bytes() == (recording / "trace.csv").read_bytes()
            again = journal.save(taken("2025-03-02T06:30:00"), analysed(), recording)
            assert journal.readings() == [first, again]


@needs_posix
@pytest.mark.parametrize("stop_at", ["recording synced", "intervals written"])
def test_a_killed_save_of_a_recording_inside_the_journal_offers_it_again(
    home: Path, taken: Any, analysed: Any, stop_at: str
) -> None:
    with Journal.open(home) as journal:
        first = journal.save(taken(), analysed())
    assert save_in_a_process(home, "inside", stop_at)[0] == -9
    with Journal.open(home) as journal:
        assert journal.readings() == [first]
        (orphan,) = journal.orphans()
        assert orphan.finished
        saved = journal.save(taken("2025-03-02T06:30:00"), analysed(), orphan.path)
        assert journal.orphans() == []
        assert journal.readings() == [first, saved]


@needs_posix
def test_no_room_for_the_recording_is_said_and_nothing_is_left_over(
    home: Path, taken: Any, analysed: Any, recording: Path
) -> None:
    (recording / "video.avi").write_bytes(b"0" * 300_000)
    with Journal.open(home) as journal:
        first = journal.save(taken(), analysed())
    code, said = save_in_a_process(home, str(recording), limit=200_000)
    assert code == 2
    assert "no room left" in said
    assert "free some space" in said
    assert said.count("\n") == 1
    with Journal.open(home) as journal:
        assert journal.readings() == [first]
        assert journal.orphans() == []
    assert (recording / "video.avi").stat().st_size == 300_000


@needs_posix
def test_no_room_for_the_row_is_said_and_the_recording_is_offered_again(home: Path, taken: Any, analysed: Any) -> None:
    with Journal.open(home) as journal:
        first = journal.save(taken(), analysed())
    # Enough for the recording, not for the write-ahead log of a reading.
    code, said = save_in_a_process(home, "inside", limit=8_000)
    assert code == 2
    assert said.startswith("can't save the reading")
    assert "disk may be full" in said
    assert said.count("\n") == 1
    with Journal.open(home) as journal:
        assert journal.readings() == [first]
        assert [orphan.finished for orphan in journal.orphans()] == [True]
        journal.save(taken("2025-03-02T06:30:00"), analysed(), journal.orphans()[0].path)
        assert len(journal.readings()) == 2


def save_many(journal: Journal, taken: Any, analysed: Any) -> None:
    for _ in range(20):
        journal.save(taken("2025-03-02T06:30:00"), analysed())


def test_a_database_that_may_not_grow_says_that_the_disk_is_full(journal: Journal, taken: Any, analysed: Any) -> None:
    first = journal.save(taken(), analysed())
    pages = journal.connection.execute("PRAGMA page_count").fetchone()[0]
    journal.connection.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(DawnbeatError, match=r"is full; nothing that was saved before is lost; free some space"):
        save_many(journal, taken, analysed)
    assert journal.readings()[0] == first
    journal.connection.execute("PRAGMA max_page_count = 1000000")
    journal.save(taken("2025-03-03T06:30:00"), analysed())
    assert tuple(journal.connection.execute("PRAGMA integrity_check").fetchone()) == ("ok",)
