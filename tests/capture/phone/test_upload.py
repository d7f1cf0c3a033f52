from __future__ import annotations

import os
import stat
import time
from pathlib import Path

import pytest

from dawnbeat.capture.phone.messages import MOST_FILE_BYTES, File, RefusedError
from dawnbeat.capture.phone.upload import Upload

DATA = bytes(range(256)) * 40


def test_a_clip_arrives_whole_though_it_breaks_off_and_pieces_come_twice(tmp_path: Path) -> None:
    upload = Upload(tmp_path)
    file = File("morning.mp4", len(DATA), 0.0)
    assert upload.begin(file) == 0
    assert upload.write(0, DATA[:1000]) == 1000
    assert upload.write(0, DATA[:1000]) == 1000
    assert upload.begin(file) == 1000  # after a break
    assert upload.write(1000, DATA[1000:]) == len(DATA)
    assert upload.done
    assert upload.path is not None
    assert upload.path.read_bytes() == DATA
    assert upload.path.suffix == ".mp4"
    if os.name == "posix":
        assert stat.S_IMODE(upload.path.stat().st_mode) == 0o600
    upload.discard()
    assert not tmp_path.exists()


@pytest.mark.parametrize(
    ("file", "free", "words"),
    [
        (File("tax.pdf", 100, 0.0), 1e12, "no clip"),
        (File("noname", 100, 0.0), 1e12, "no clip"),
        (File("../../x.mp4", 0, 0.0), 1e12, "empty"),
        (File("x.mp4", MOST_FILE_BYTES + 1, 0.0), 1e13, "2 GB"),
        (File("x.mp4", 10**9, 0.0), 10**9, "no room"),
    ],
)
def test_what_can_not_be_taken_in_is_refused_before_a_byte_comes(
    tmp_path: Path, file: File, free: float, words: str
) -> None:
    with pytest.raises(RefusedError, match=words):
        Upload(tmp_path, lambda folder: int(free)).begin(file)
    assert list(tmp_path.iterdir()) == []


def test_a_name_from_the_phone_never_becomes_a_path(tmp_path: Path) -> None:
    upload = Upload(tmp_path / "in")
    upload.begin(File("../../evil.mov", 10, 0.0))
    assert upload.path is not None
    assert upload.path.parent == tmp_path / "in"
    assert "evil" not in upload.path.name


def test_pieces_that_do_not_follow_are_refused(tmp_path: Path) -> None:
    upload = Upload(tmp_path)
    with pytest.raises(RefusedError, match="not asked for"):
        upload.write(0, b"x")
    upload.begin(File("x.mp4", 10, 0.0))
    with pytest.raises(RefusedError, match="doesn't fit"):
        upload.write(5, b"x")
    with pytest.raises(RefusedError, match="doesn't fit"):
        upload.write(0, b"x" * 11)


def test_what_a_killed_program_left_is_swept_and_a_neighbours_clip_is_not(tmp_path: Path) -> None:
    old, new, other = tmp_path / ".phone-clip-1.mp4", tmp_path / ".phone-clip-2.mp4", tmp_path / "journal.sqlite3"
    for each in (old, new, other):
        each.write_bytes(b"x")
    for each in (old, other):
        os.utime(each, (time.time() - 7200, time.time() - 7200))
    Upload(tmp_path).begin(File("x.mp4", 10, 0.0))
    assert not old.exists()
    assert new.exists()
    assert other.exists()
