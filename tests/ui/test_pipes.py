"""What is no file is never waited for, wherever a file is named."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from dawnbeat.journal.store import Journal
from tests.ui.command_line import CommandLine

pytestmark = [
    pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has no such files"),
    pytest.mark.usefixtures("never_waits"),
]


@pytest.mark.parametrize(
    "words",
    [
        ("import", "mornings", "pipe.csv"),
        ("import", "intervals", "pipe.csv", "--taken", "2026-03-01 06:40"),
        ("replay", "pipe.csv"),
        ("replay", "pipe.mp4"),
        ("replay", "calm", "--settings", "pipe.csv"),
        ("replay", "piped"),
        ("read", "--source", "pipe.csv", "--no-ask", "--taken", "2026-03-01 06:40"),
        ("agree", "pipe.csv", "calm"),
        ("runs", "import", "pipe.csv", "--began", "2026-03-01 06:40"),
    ],
)
def test_a_pipe_to_read_from_is_refused(cli: CommandLine, place: Path, samples: Path, words: tuple[str, ...]) -> None:
    (place / "calm").symlink_to(samples / "calm")
    (place / "piped").mkdir()
    for name in ("pipe.csv", "pipe.mp4", "piped/trace.csv", "piped/about.json"):
        os.mkfifo(place / name)
    assert "is a pipe or device" in cli(*words).refused()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("export", "intervals", "pipe"), "no ordinary file"),
        (("replay", "calm", "--plot", "pipe.png"), "no ordinary file"),
        (("restore", "pipe", "--yes"), "there is no file"),
        (("backup", "pipe", "--overwrite"), "no ordinary file"),
    ],
)
def test_a_pipe_to_write_to_is_refused_and_nothing_is_written_beside_it(
    cli: CommandLine, place: Path, samples: Path, words: tuple[str, ...], said: str
) -> None:
    (place / "calm").symlink_to(samples / "calm")
    for name in ("pipe", "pipe.png"):
        os.mkfifo(place / name)
    Journal.open(place / "journal").close()
    assert said in cli(*words).refused()
    assert sorted(path.name for path in place.glob("pipe*")) == ["pipe", "pipe.png"]
