"""Broken-off readings are taken in, and readings go to the bin and come back."""

from __future__ import annotations

import json
import os
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from dawnbeat.capture.recording import write_recording
from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.ui.main import run
from tests.ui.command_line import CommandLine

BEGAN = datetime(2026, 5, 3, 6, 30, tzinfo=UTC)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    with Journal.open(tmp_path) as journal:
        folder = journal.new_recording_folder(BEGAN)
    write_recording(folder, Scenario(duration_s=40.0).trace(), {"began": BEGAN.isoformat(), "camera": "invented"})
    # One that was written to just now may belong to a program that is still running.
    for path in (*folder.iterdir(), folder):
        os.utime(path, (1.7e9, 1.7e9))
    return tmp_path


def test_a_recording_without_a_reading_is_listed_and_taken_in(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["rescue", "--journal", str(home)]) == 0
    folder = capsys.readouterr().out.splitlines()[0]
    assert run(["rescue", folder, "--journal", str(home)]) == 0
    with Journal.open(home) as journal:
        (reading,) = journal.readings()
        assert reading.began == BEGAN
        assert journal.orphans() == []
    assert run(["rescue", "--journal", str(home)]) == 0
    assert "No recording waits" in capsys.readouterr().out


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
@pytest.mark.parametrize("asked", ["rescue", "mornings"])
def test_the_name_of_a_recording_never_moves_the_terminal(
    home: Path, capsys: pytest.CaptureFixture[str], asked: str
) -> None:
    (day,) = (home / "recordings").iterdir()
    (folder,) = day.iterdir()
    folder.rename(day / "06-30-00\x1b[2Jgone\u202e")
    assert run([asked, "--journal", str(home)]) == 0
    assert "06-30-00?[2Jgone?" in "".join(capsys.readouterr().out.split())


def test_another_folder_is_not_taken_in(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["rescue", str(tmp_path), "--journal", str(home)]) == 2
    assert "no recording that waits" in capsys.readouterr().err


def test_a_reading_goes_to_the_bin_comes_back_and_goes_for_good_only_when_asked(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ["--journal", str(home)]
    run(["rescue", *at])
    run(["rescue", capsys.readouterr().out.splitlines()[0], *at])
    assert run(["bin", "1", *at]) == 0
    with Journal.open(home) as journal:
        assert journal.readings() == []
    assert run(["bin", "--back", "1", *at]) == 0
    with Journal.open(home) as journal:
        assert len(journal.readings()) == 1
    capsys.readouterr()
    assert run(["bin", "1", "--json", *at]) == 0
    (binned,) = map(json.loads, capsys.readouterr().out.splitlines())
    assert (binned["id"], binned["usable"], binned["posture"]) == (1, True, "lying")
    assert binned["reasons"]
    assert binned["rmssd_ms"] > 0
    assert binned["binned_at"]
    assert run(["bin", "1", "--back", "1", *at]) == 2
    assert run(["bin", "--empty", *at]) == 2
    with Journal.open(home) as journal:
        assert len(journal.bin()) == 1
    assert run(["bin", "--empty", "--yes", *at]) == 0
    with Journal.open(home) as journal:
        assert journal.bin() == []


def test_commands_answer_to_their_names_of_before(cli: CommandLine) -> None:
    assert cli("keep").fine() == cli("rescue").fine()
    for words in (["-h"], ["runs", "maximum", "-h"]):
        assert not re.search(r"^\W*(keep|take)\b", cli(*words).fine(), re.MULTILINE)
    assert cli("runs", "maximum", "take", "999").refused() == cli("runs", "maximum", "use", "999").refused()
