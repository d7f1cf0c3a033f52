from __future__ import annotations

import contextlib
import json
import os
import stat
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.capture.phone.messages import (
    MOST_FILE_BYTES,
    MOST_FRAMES,
    Facts,
    File,
    Frames,
    RefusedError,
    Upload,
    message_from,
)

ROW = [1.5, 7, 200.25, 40.5, 30.125, 1, 0.5, 0, 0]
DATA = bytes(range(256)) * 40


def frames(*rows: Any, **changes: Any) -> str:
    return json.dumps({"kind": "frames", "first": 0, "waiting": 0, "frames": list(rows), **changes})


def test_frames_are_taken_as_they_were_measured() -> None:
    message = message_from(frames(ROW, first=3, waiting=2))
    assert isinstance(message, Frames)
    assert (message.first, message.waiting) == (3, 2)
    frame = message.frames[0]
    assert (frame.time_s, frame.presented, frame.red, frame.green, frame.blue) == (1.5, 7, 200.25, 40.5, 30.125)
    assert (frame.covered, frame.clipped_red) == (1.0, 0.5)


@pytest.mark.parametrize("place", range(9))
@pytest.mark.parametrize("value", ["NaN", "Infinity", "-1", "1e999", "1" + "0" * 400, "null", '"5"', "true", "[1]"])
def test_no_number_that_can_not_be_gets_in(place: int, value: str) -> None:
    row = [json.dumps(each) for each in ROW]
    row[place] = value
    text = '{"kind": "frames", "first": 0, "waiting": 0, "frames": [[' + ",".join(row) + "]]}"
    with pytest.raises(RefusedError):
        message_from(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "garbage",
        "[]",
        "{}",
        '{"kind": "frames"}',
        '{"kind": "picture", "data": "AAAA"}',
        '{"kind": "hello", "page": -1}',
        '{"kind": "hello", "page": 1.5}',
        '{"kind": "state", "hidden": 1, "trouble": ""}',
        '{"kind": "state", "hidden": false, "trouble": "something else"}',
        '{"kind": "facts", "width": 1, "height": 1, "rate": null, "known": {"password": "x"}}',
        '{"kind": "file", "name": 5, "size": 1, "modified": 0}',
        "[" * 5000,
        '{"kind": "alive", "filling": "' + "x" * 70_000 + '"}',
        frames(),
        frames(*[ROW] * (MOST_FRAMES + 1)),
        frames(ROW[:8]),
        frames(ROW, first=-1),
    ],
)
def test_what_has_no_known_form_is_refused(text: str) -> None:
    with pytest.raises(RefusedError):
        message_from(text)


@given(st.binary(max_size=300) | st.text(max_size=300))
def test_garbage_is_refused_and_nothing_worse(text: str | bytes) -> None:
    with pytest.raises(RefusedError):
        message_from(text)


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@given(
    st.sampled_from(["hello", "facts", "frames", "state", "file", "stop"]),
    st.dictionaries(
        st.sampled_from(["page", "width", "height", "rate", "known", "first", "waiting", "frames", "hidden", "size"]),
        _JSON,
    ),
)
def test_any_filling_of_a_known_form_is_taken_or_refused(kind: str, filling: dict[str, Any]) -> None:
    with contextlib.suppress(RefusedError):
        message_from(json.dumps({"kind": kind, **filling}))


def test_facts_hold_nothing_that_a_terminal_would_obey() -> None:
    known = {"browser": "one\x1b[2J" + "x" * 500, "camera": "back"}
    message = message_from(json.dumps({"kind": "facts", "width": 640, "height": 480, "rate": 30, "known": known}))
    assert isinstance(message, Facts)
    assert message.known["browser"].startswith("one?[2J")
    assert len(message.known["browser"]) <= 120
    assert message.known["browser"].isprintable()


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
