"""A journal that can't be written is opened for reading, and never made writable."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal.backup import backup, restore
from dawnbeat.journal.csv_files import export_mornings
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError

needs_posix = pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")


def close_to_writing(home: Path) -> dict[str, int]:
    """Take the right to write from everything in a folder; returns the modes, by name."""
    for path in (*home.rglob("*"), home):
        path.chmod(stat.S_IMODE(path.stat().st_mode) & ~0o222)
    return modes(home)


def modes(home: Path) -> dict[str, int]:
    return {path.name: stat.S_IMODE(path.stat().st_mode) for path in (home, *home.rglob("*"))}


@pytest.fixture
def closed(filled: Journal, tmp_path: Path) -> Any:
    filled.close()
    home = filled.home
    before = close_to_writing(home)
    yield home
    assert modes(home) == before, "nothing was made writable, added or removed"
    for path in (home, *home.rglob("*")):
        path.chmod(0o700)


@needs_posix
def test_mornings_and_exports_work_where_nothing_can_be_written(closed: Path, tmp_path: Path) -> None:
    with Journal.open(closed) as journal:
        assert len(journal.readings()) == 3
        assert len(journal.mornings()) == 3
        assert len(journal.intervals(1)) > 90
        assert export_mornings(journal, tmp_path / "out.csv", include_not_usable=True) == 3
        backup(journal, tmp_path / "out.zip")
    restore(tmp_path / "out.zip", tmp_path / "restored")
    with Journal.open(tmp_path / "restored") as restored:
        assert len(restored.readings()) == 3
        assert not restored.read_only


@needs_posix
def test_what_would_change_it_is_refused_in_one_line(closed: Path, taken: Any, analysed: Any) -> None:
    with Journal.open(closed) as journal:
        assert journal.read_only
        for change in (
            lambda: journal.save(taken(), analysed()),
            lambda: journal.put_in_bin(1),
            lambda: journal.edit_context(1, journal.reading(2).context),
        ):
            with pytest.raises(DawnbeatError, match="opened for reading only") as caught:
                change()
            assert "\n" not in str(caught.value)


@needs_posix
def test_a_closed_database_in_an_open_folder_stays_closed(filled: Journal) -> None:
    filled.close()
    filled.path.chmod(0o400)
    with Journal.open(filled.home) as journal:
        assert len(journal.readings()) == 3
        with pytest.raises(DawnbeatError, match="reading only"):
            journal.put_in_bin(1)
    assert stat.S_IMODE(filled.path.stat().st_mode) == 0o400


@needs_posix
def test_changes_that_still_lie_in_the_log_are_read_too(home: Path, taken: Any, analysed: Any, tmp_path: Path) -> None:
    with Journal.open(home) as journal:
        journal.save(taken(), analysed())
        copy = tmp_path / "copy"
        # As after a power cut: the log was never folded into the database.
        shutil.copytree(home, copy)
    assert (copy / "journal.sqlite3-wal").stat().st_size > 0
    before = close_to_writing(copy)
    with Journal.open(copy) as journal:
        assert len(journal.readings()) == 1
    assert modes(copy) == before


@needs_posix
def test_an_earlier_journal_is_read_as_if_it_had_been_brought_up_to_date(home: Path) -> None:
    home.mkdir()
    connection = sqlite3.connect(home / "journal.sqlite3")
    connection.executescript((Path(__file__).parent / "earlier_schema.sql").read_text(encoding="utf-8"))
    connection.execute("INSERT INTO analysed_with VALUES (1, '0.0.9', '{}')")
    connection.execute(
        "INSERT INTO readings (uid, local_date, began, duration_s, posture, camera, kept_beats, usable, reasons_json,"
        " saved_at, analysed_with) VALUES ('one', '2025-03-01', '2025-03-01T06:30:00+01:00', 120, 'lying', 'c', 9, 0,"
        " '[\"moved\"]', 'x', 1)"
    )
    connection.commit()
    connection.close()
    before = close_to_writing(home)
    with Journal.open(home) as journal:
        (reading,) = journal.readings()
        assert reading.verdict.findings[0].code == "moved"
    assert modes(home) == before


@needs_posix
def test_no_backup_is_restored_over_a_closed_journal(filled: Journal, tmp_path: Path) -> None:
    backup(filled, tmp_path / "out.zip")
    filled.close()
    before = close_to_writing(filled.home)
    with pytest.raises(DawnbeatError, match="closed to writing"):
        restore(tmp_path / "out.zip", filled.home)
    assert modes(filled.home) == before


FULL = """
import resource, signal, sys
from pathlib import Path
from dawnbeat.journal.csv_files import mornings_csv
from dawnbeat.journal.store import Journal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (0, resource.RLIM_INFINITY))
with Journal.open(Path(sys.argv[1])) as journal:
    print(len(mornings_csv(journal.readings()).splitlines()))
"""


@needs_posix
def test_mornings_are_read_on_a_disk_that_takes_no_byte_more(filled: Journal) -> None:
    filled.close()
    done = subprocess.run([sys.executable, "-c", FULL, str(filled.home)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip()) == (0, "5"), done.stderr


def test_a_folder_that_cant_be_made_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(DawnbeatError) as caught:
        Journal.open(tmp_path / "file" / "inside")
    assert "\n" not in str(caught.value)
