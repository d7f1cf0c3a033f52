"""A backup holds everything; a restore verifies first, keeps what is there, and survives being killed."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import stat
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal.backup import backup, restore
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.resting import add_hand_count, hand_counts

Entries = dict[str, bytes]


@pytest.fixture
def filled(journal: Journal, taken: Any, analysed: Any, recording: Path) -> Journal:
    journal.save(taken(note="kept"), analysed(), recording)
    journal.save(taken("2025-03-02T06:30:00"), analysed(usable=False), recording / "trace.csv")
    journal.put_in_bin(journal.save(taken("2025-03-03T06:30:00"), analysed()).id)
    add_hand_count(journal, taken().began.date(), 25)
    return journal


@pytest.fixture
def zipped(filled: Journal, tmp_path: Path) -> Path:
    backup(filled, tmp_path / "backup.zip")
    return tmp_path / "backup.zip"


def everything(home: Path) -> Any:
    with Journal.open(home) as journal:
        readings = [*journal.readings(), *journal.bin()]
        traces = [(home / str(each.recording)).exists() for each in readings if each.recording]
        lengths = [len(journal.intervals(each.id)) for each in readings]
        return readings, traces, lengths, hand_counts(journal)


def test_a_restored_backup_is_the_same_journal(filled: Journal, zipped: Path, tmp_path: Path) -> None:
    done = restore(zipped, tmp_path / "new")
    assert everything(tmp_path / "new") == everything(filled.home)
    assert (done.readings, done.recordings) == (3, 2)


def test_a_backup_can_be_made_while_another_program_reads_and_writes(
    filled: Journal, tmp_path: Path, taken: Any, analysed: Any
) -> None:
    with Journal.open(filled.home) as other:
        other.connection.execute("BEGIN")
        other.connection.execute("SELECT count(*) FROM readings").fetchone()
        filled.save(taken("2025-03-05T06:30:00"), analysed())
        assert backup(filled, tmp_path / "b.zip").readings == 4
        other.connection.execute("COMMIT")


def test_checksums_are_those_of_the_files(zipped: Path) -> None:
    with zipfile.ZipFile(zipped) as archive:
        assert archive.testzip() is None
        listed = json.loads(archive.read("manifest.json"))["files"]
        assert "recordings/2025-03-01/06-41-07/trace.csv" in listed
        for name, entry in listed.items():
            content = archive.read(name)
            assert entry == {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}


def test_a_backup_is_the_users_alone_and_replaces_nothing_unasked(filled: Journal, zipped: Path) -> None:
    if os.name != "nt":
        assert stat.S_IMODE(zipped.stat().st_mode) == 0o600
    before = zipped.read_bytes()
    with pytest.raises(DawnbeatError, match="exists already"):
        backup(filled, zipped)
    assert zipped.read_bytes() == before
    backup(filled, zipped, overwrite=True)
    with pytest.raises(DawnbeatError, match="can't write the backup"):
        backup(filled, zipped.parent / "nowhere" / "b.zip")


def test_the_present_journal_is_kept_aside(
    filled: Journal, zipped: Path, taken: Any, analysed: Any, recording: Path
) -> None:
    home = filled.home
    filled.save(taken("2025-03-09T06:30:00", note="after the backup"), analysed(), recording)
    filled.close()
    present = everything(home)
    done = restore(zipped, home)
    assert [each.id for each in everything(home)[0]] == [1, 2, 3]
    assert done.aside is not None
    assert done.aside.parent == home / "kept-aside"
    assert everything(done.aside) == present
    if os.name != "nt":
        found = list(home.rglob("*"))
        assert {stat.S_IMODE(path.stat().st_mode) for path in found if path.is_file()} == {0o600}
        assert {stat.S_IMODE(path.stat().st_mode) for path in found if path.is_dir()} == {0o700}


def test_a_damaged_journal_can_be_restored_over_and_is_kept(filled: Journal, zipped: Path) -> None:
    home = filled.home
    expected = everything(home)
    filled.close()
    half = filled.path.read_bytes()[:5000]
    filled.path.write_bytes(half)
    done = restore(zipped, home)
    assert everything(home) == expected
    assert done.aside is not None
    assert (done.aside / "journal.sqlite3").read_bytes() == half


def test_a_journal_that_is_open_elsewhere_is_not_pulled_away(filled: Journal, zipped: Path) -> None:
    with pytest.raises(DawnbeatError, match="another program is using the journal"):
        restore(zipped, filled.home, busy_s=0.1)
    assert len(filled.readings()) == 2
    assert not list(filled.home.glob(".restore-*"))


def rebuilt(zipped: Path, change: Callable[[Entries], None], listed: bool = True) -> Path:
    """The zip with its entries changed; listed: the manifest is made to agree, as a forger would."""
    with zipfile.ZipFile(zipped) as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    change(entries)
    if listed:
        about = json.loads(entries["manifest.json"])
        about["files"] = {
            name: {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}
            for name, content in entries.items()
            if name != "manifest.json"
        }
        entries["manifest.json"] = json.dumps(about).encode()
    forged = zipped.with_name("forged.zip")
    with zipfile.ZipFile(forged, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    return forged


def refused(path: Path, filled: Journal, said: str, **more: Any) -> None:
    before = everything(filled.home)
    filled.close()
    with pytest.raises(DawnbeatError, match=said) as caught:
        restore(path, filled.home, **more)
    assert "\n" not in str(caught.value)
    assert everything(filled.home) == before
    assert not list(filled.home.glob(".restore-*"))
    assert not (filled.home / "kept-aside").exists()


@pytest.mark.parametrize(
    "name",
    [
        "../outside.txt",
        "recordings/2025-03-01/../../../outside.txt",
        "recordings/2025-03-01/../outside/x.csv",
        "/outside.txt",
        "C:/outside.txt",
        "recordings\\2025-03-01\\..\\..\\outside.txt",
        "recordings/2025-03-01/x/a\\..\\..\\b",
        "recordings//x/y/z",
        "journal.sqlite3-wal",
        "restore-under-way.json",
    ],
)
def test_an_entry_that_would_leave_the_folder_is_refused(filled: Journal, zipped: Path, name: str) -> None:
    refused(
        rebuilt(zipped, lambda entries: entries.update({name: b"out"})),
        filled,
        "outside the journal's folder",
    )
    assert not (zipped.parent / "outside.txt").exists()


def test_a_symbolic_link_is_refused(filled: Journal, zipped: Path) -> None:
    name = "recordings/2025-03-01/06-41-07/link"
    forged = rebuilt(zipped, lambda entries: entries.update({name: b"/etc"}))
    with zipfile.ZipFile(forged) as archive:
        entries = [(info, archive.read(info)) for info in archive.infolist()]
    with zipfile.ZipFile(forged, "w") as archive:
        for info, content in entries:
            if info.filename == name:
                info.external_attr = (stat.S_IFLNK | 0o777) << 16
            archive.writestr(info, content)
    refused(forged, filled, "not a plain file")


def test_a_changed_byte_is_found(filled: Journal, zipped: Path) -> None:
    name = "recordings/2025-03-01/06-41-07/trace.csv"

    def change(entries: Entries) -> None:
        entries[name] = entries[name].replace(b"180", b"181", 1)

    refused(rebuilt(zipped, change, listed=False), filled, "checksum of .* is wrong")


def test_a_file_missing_or_added_is_found(filled: Journal, zipped: Path) -> None:
    name = "recordings/2025-03-01/06-41-07/about.json"
    refused(rebuilt(zipped, lambda entries: [entries.pop(name)], listed=False), filled, "missing")  # type: ignore[arg-type,return-value]
    added = rebuilt(zipped, lambda entries: entries.update({name + "2": b"x"}), listed=False)
    refused(added, filled, "not the one that the manifest lists")
    without = rebuilt(zipped, lambda entries: [entries.pop("journal.sqlite3")])  # type: ignore[arg-type,return-value]
    refused(without, filled, "missing")


def test_a_zip_that_unpacks_to_too_much_is_refused(filled: Journal, zipped: Path) -> None:
    bomb = rebuilt(zipped, lambda entries: entries.update({"recordings/2025-03-01/x/zeros": bytes(5_000_000)}))
    assert bomb.stat().st_size < 500_000
    refused(bomb, filled, "the limit is 1000000", max_bytes=1_000_000)


def test_a_damaged_foreign_or_newer_database_in_a_backup_is_refused(
    filled: Journal, zipped: Path, tmp_path: Path
) -> None:
    def cut(entries: Entries) -> None:
        entries["journal.sqlite3"] = entries["journal.sqlite3"][:9000]

    refused(rebuilt(zipped, cut), filled, "its database can't be used")
    other = tmp_path / "other.sqlite3"
    for statement in ("CREATE TABLE letters (text)", "PRAGMA user_version = 99"):
        connection = sqlite3.connect(other)
        connection.execute(statement)
        connection.close()
        forged = rebuilt(zipped, lambda entries: entries.update({"journal.sqlite3": other.read_bytes()}))
        refused(forged, filled, "is not a Dawnbeat journal")


@pytest.mark.parametrize(
    "strange",
    [
        "CREATE TRIGGER late AFTER INSERT ON readings BEGIN DELETE FROM intervals; END",
        "CREATE VIEW everything AS SELECT * FROM readings",
        "CREATE TABLE letters (text)",
    ],
)
def test_a_backup_that_holds_what_no_journal_has_is_refused(
    filled: Journal, zipped: Path, tmp_path: Path, strange: str
) -> None:
    def slip_in(entries: Entries) -> None:
        database = tmp_path / "changed.sqlite3"
        database.write_bytes(entries["journal.sqlite3"])
        connection = sqlite3.connect(database)
        connection.execute(strange)
        connection.close()
        entries["journal.sqlite3"] = database.read_bytes()

    refused(rebuilt(zipped, slip_in), filled, "which no journal has")


@pytest.mark.parametrize("content", [b"", b"no zip at all", b"PK\x03\x04" + b"x" * 100])
def test_a_file_that_is_no_zip_is_refused(filled: Journal, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.zip").write_bytes(content)
    refused(tmp_path / "x.zip", filled, "the zip is damaged")


def test_a_zip_cut_short_or_without_manifest_is_refused(filled: Journal, zipped: Path) -> None:
    cut = zipped.with_name("cut.zip")
    cut.write_bytes(zipped.read_bytes()[: zipped.stat().st_size // 2])
    refused(cut, filled, "the zip is damaged")
    with zipfile.ZipFile(cut, "w") as archive:
        archive.writestr("letter.txt", "dear")
    refused(cut, filled, "no manifest.json")
    with zipfile.ZipFile(cut, "w") as archive:
        archive.writestr("manifest.json", '{"format": 2, "files": {}}')
    refused(cut, filled, "install a newer version")


RESTORER = """
import os, signal, sys
from pathlib import Path
from dawnbeat.journal.backup import restore

def stop(name):
    if name == sys.argv[3]:
        os.kill(os.getpid(), signal.SIGKILL)

restore(Path(sys.argv[1]), Path(sys.argv[2]), step=stop)
"""
STEPS = (
    *("unpacked", "verified", "marked", "recordings aside", "recordings in place"),
    *("journal.sqlite3 aside", "journal.sqlite3 in place", "cleared"),
)


def test_the_steps_of_a_restore_are_the_ones_that_are_killed_below(filled: Journal, zipped: Path) -> None:
    filled.close()
    steps: list[str] = []
    restore(zipped, filled.home, step=steps.append)
    assert tuple(steps) == STEPS


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is POSIX")
@pytest.mark.parametrize("stop_at", STEPS)
def test_a_killed_restore_leaves_the_old_journal_or_the_restored_one(
    filled: Journal, zipped: Path, taken: Any, analysed: Any, stop_at: str
) -> None:
    restored = everything(filled.home)
    filled.save(taken("2025-03-09T06:30:00"), analysed())
    present = everything(filled.home)
    filled.close()
    done = subprocess.run(
        [sys.executable, "-c", RESTORER, str(zipped), str(filled.home), stop_at], check=False, timeout=120
    )
    assert done.returncode == -9
    found = everything(filled.home)
    if stop_at in ("unpacked", "verified"):
        assert found == present
    else:
        assert found == restored
        (aside,) = (filled.home / "kept-aside").iterdir()
        assert everything(aside) == present
        assert not list(filled.home.glob(".restore-*"))
