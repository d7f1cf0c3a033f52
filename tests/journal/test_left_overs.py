"""What interrupted work leaves in a journal's folder, and what a folder that somebody sent must not be able to do."""

from __future__ import annotations

import json
import os
import shutil
import time
from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal.backup import backup, restore
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError

AN_HOUR_AND_MORE_S = 2 * 3600
STAMP = "2025-03-01T06-30-00"


def everything(folder: Path) -> dict[str, bytes | None]:
    """Every path below a folder with what is in it."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
        if not path.name.endswith(("-wal", "-shm"))
    }


@pytest.fixture
def sent(home: Path, taken: Any, analysed: Any, recording: Path) -> Path:
    with Journal.open(home) as journal:
        journal.save(taken(), analysed(), recording)
    (home.parent / "letters").mkdir()
    (home.parent / "letters" / "dear.txt").write_text("dear")
    return home


@pytest.mark.parametrize(
    "marker",
    [
        {"new": "..", "aside": STAMP},
        {"new": "recordings", "aside": STAMP},
        {"new": "../letters", "aside": STAMP},
        {"new": ".restore-abcdefgh", "aside": "../../letters"},
        {"new": ".restore-abcdefgh/../../letters", "aside": STAMP},
        {"new": "", "aside": STAMP},
        {"new": 1, "aside": STAMP},
        ["new"],
        "x" * 5000,
    ],
)
def test_a_marker_that_names_anything_else_touches_nothing(sent: Path, marker: Any) -> None:
    (sent / "restore-under-way.json").write_text(json.dumps(marker))
    before = everything(sent.parent)
    for _ in range(2):
        with pytest.raises(DawnbeatError, match="nothing was touched") as caught:
            Journal.open(sent)
        assert "\n" not in str(caught.value)
    with pytest.raises(DawnbeatError, match="nothing was touched"):
        restore(sent / "none.zip", sent)
    assert everything(sent.parent) == before


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize("linked", [".restore-abcdefgh", "kept-aside", f"kept-aside/{STAMP}"])
def test_a_marker_does_not_follow_links(sent: Path, linked: str) -> None:
    (sent / linked).parent.mkdir(exist_ok=True)
    (sent / linked).symlink_to(sent.parent / "letters", target_is_directory=True)
    (sent / "restore-under-way.json").write_text(json.dumps({"new": ".restore-abcdefgh", "aside": STAMP}))
    before = everything(sent.parent)
    with pytest.raises(DawnbeatError, match="nothing was touched"):
        Journal.open(sent)
    assert everything(sent.parent) == before


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize("name", ["recordings", "journal.sqlite3"])
def test_a_link_does_not_take_the_journals_place(sent: Path, name: str) -> None:
    new = sent / ".restore-abcdefgh"
    shutil.copytree(sent, new)
    (new / name).rename(sent.parent / "letters" / name)
    (new / name).symlink_to(sent.parent / "letters" / name)
    (sent / "restore-under-way.json").write_text(json.dumps({"new": new.name, "aside": STAMP}))
    before = everything(sent.parent)
    with pytest.raises(DawnbeatError, match="nothing was touched"):
        Journal.open(sent)
    assert everything(sent.parent) == before
    assert not (sent / name).is_symlink()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has no such files")
def test_a_marker_that_is_a_pipe_is_not_waited_for(sent: Path, never_waits: None) -> None:
    os.mkfifo(sent / "restore-under-way.json")
    with pytest.raises(DawnbeatError, match="nothing was touched"):
        Journal.open(sent)


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize("linked", ["recordings/2025-03-01/06-41-07", "recordings/2025-03-01", "recordings"])
def test_emptying_the_bin_deletes_nothing_behind_a_link(sent: Path, linked: str) -> None:
    place = sent / linked
    moved = sent.parent / "letters" / place.name
    place.rename(moved)
    place.symlink_to(moved, target_is_directory=True)
    before = everything(sent.parent / "letters")
    with Journal.open(sent) as journal:
        (reading,) = journal.readings()
        journal.put_in_bin(reading.id)
        with pytest.raises(DawnbeatError, match="link"):
            journal.empty_bin([reading.id])
    assert everything(sent.parent / "letters") == before


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_a_backup_takes_nothing_from_behind_a_link(sent: Path, tmp_path: Path) -> None:
    (sent / "recordings" / "2025-03-01" / "06-41-07" / "dear.txt").symlink_to(sent.parent / "letters" / "dear.txt")
    with Journal.open(sent) as journal:
        backup(journal, tmp_path / "out.zip")
    assert b"dear.txt" not in (tmp_path / "out.zip").read_bytes()


def test_what_killed_work_left_is_removed_once_nobody_is_at_it(sent: Path) -> None:
    left = [".restore-abcd_f12", ".backup-00000000"]
    kept = [".restore-other things", ".backup", "restore-abcdefgh", ".restore-ABCDEFGH"]
    for name in left + kept:
        (sent / name).mkdir()
        (sent / name / "journal.sqlite3").write_text("half")
    part = sent / ".restore-under-way.json.ab12cd34.part"
    part.write_text("{")
    Journal.open(sent).close()
    assert {each.name for each in sent.iterdir()} >= {*left, *kept, part.name}, "another program may be at work"
    long_ago = time.time() - AN_HOUR_AND_MORE_S
    for path in [
        part,
        *(sent / name / "journal.sqlite3" for name in left + kept),
        *(sent / name for name in left + kept),
    ]:
        os.utime(path, (long_ago, long_ago))
    Journal.open(sent).close()
    names = {each.name for each in sent.iterdir()}
    assert names >= set(kept)
    assert not names & {*left, part.name}


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_a_left_over_that_is_a_link_is_left(sent: Path) -> None:
    link = sent / ".restore-abcdefgh"
    link.symlink_to(sent.parent / "letters", target_is_directory=True)
    long_ago = time.time() - AN_HOUR_AND_MORE_S
    os.utime(sent.parent / "letters" / "dear.txt", (long_ago, long_ago))
    os.utime(link, (long_ago, long_ago), follow_symlinks=False)
    Journal.open(sent).close()
    assert (sent.parent / "letters" / "dear.txt").read_text() == "dear"
    assert link.is_symlink()
