from __future__ import annotations

import os
import shlex
import stat
from collections.abc import Callable
from datetime import date
from pathlib import Path
from subprocess import Popen

import pytest

from dawnbeat.capture.recording import read_recording
from dawnbeat.journal.store import Journal
from tests.ui.command_line import CommandLine


def _files(folder: Path) -> set[Path]:
    return {path for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def shown(process: Callable[..., Popen[str]], place: Path) -> str:
    """What the demo says as a process of its own, without a display, from a folder of no meaning."""
    started = process("demo", "--no-window", "--out", place / "my demo")
    out, err = started.communicate(timeout=120)
    assert (started.returncode, err) == (0, "")
    return out


def test_the_demo_measures_draws_and_keeps_all_in_its_folder(
    shown: str, place: Path, cli: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = place / "my demo"
    assert {path.relative_to(place).parts[0] for path in _files(place)} == {"my demo"}
    assert (folder / "reading.png").read_bytes().startswith(b"\x89PNG")
    recording = read_recording(folder / "recording")
    assert recording.trace.duration_s > 100
    with Journal.open(folder / "journal") as journal:
        assert len(journal.mornings()) > 70
        assert journal.mornings()[-1].date == date.today()
    if os.name != "nt":
        for path in (folder, *folder.rglob("*")):
            assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path

    assert "usable" in shown
    assert "resting pulse" in shown
    assert "usual range" in shown
    assert "Not a medical device" in shown
    after = [shlex.split(line) for line in shown.split("What to do next:")[1].splitlines() if " dawnbeat " in line]
    steps = [words[1:] for words in after if words[0] == "dawnbeat"]
    assert {"cameras", "read", "replay", "mornings", "--help"} <= {words[0] for words in steps}
    # What it says to type next works as it stands, from another folder too.
    monkeypatch.chdir(place.parent)
    for words in steps:
        if str(folder) in " ".join(words):
            assert cli(*words).fine().strip()


def test_a_second_demo_makes_another_folder(cli: CommandLine, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from dawnbeat.ui.commands import invented

    monkeypatch.setattr(invented, "_SECONDS", 2.0)
    cli("demo", "--no-window").fine()
    before = {path: path.read_bytes() for path in _files(place / "dawnbeat-demo")}
    cli("demo").fine()  # no display: no window either
    assert {path.name for path in place.iterdir()} == {"dawnbeat-demo", "dawnbeat-demo-2"}
    assert before == {path: path.read_bytes() for path in _files(place / "dawnbeat-demo")}


def test_the_demo_writes_over_nothing(cli: CommandLine, place: Path) -> None:
    (place / "mine").mkdir()
    (place / "mine" / "diary.txt").write_text("mine")
    said = cli("demo", "--no-window", "--out", "mine")
    assert "holds something already" in said.refused()
    assert said.out == ""
    assert "can't make the folder" in cli("demo", "--no-window", "--out", "mine/diary.txt").refused()
    assert _files(place) == {place / "mine" / "diary.txt"}


def test_without_the_libraries_to_draw_the_demo_names_them_and_goes_on(
    cli: CommandLine, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dawnbeat.ui.commands import invented

    monkeypatch.setattr(invented, "_SECONDS", 30.0)
    monkeypatch.setattr("dawnbeat.ui.plot.drawing_problem", lambda: "pictures need libegl1")
    out = cli("demo", "--no-window").fine()
    assert "no picture: pictures need libegl1" in out
    assert "What to do next" in out
    assert not list(place.rglob("*.png"))
