"""The command line run in this process, in a place of its own."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.recording import write_recording
from dawnbeat.shared.installed import shipped_recording
from dawnbeat.ui.main import run
from tests.ui.command_line import HEADER, CommandLine, Said, a_while_ago, rendered, trace_text


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A current folder of its own, with the journal in it, and no display."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path / "journal"))
    monkeypatch.setenv("COLUMNS", "120")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


@pytest.fixture
def cli(place: Path, capsys: pytest.CaptureFixture[str]) -> CommandLine:
    """Runs one command line in this process."""

    def call(*words: object) -> Said:
        capsys.readouterr()
        code = run([str(word) for word in words])
        captured = capsys.readouterr()
        return Said(code, captured.out, captured.err)

    return call


@pytest.fixture
def process(place: Path) -> Callable[..., subprocess.Popen[str]]:
    """Starts one command line as a process of its own."""

    def start(*words: object) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-c", "from dawnbeat.ui.main import main; main()", *(str(word) for word in words)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
        )

    return start


@pytest.fixture(scope="session")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of recordings that can be read, and of files that are broken each in its way."""
    folder = tmp_path_factory.mktemp("samples")
    began = a_while_ago()
    for name, seed, duration_s in (("calm", 3, 60.0), ("other", 8, 40.0)):
        trace, beats_s = rendered(seed, duration_s)
        write_recording(folder / name, trace, {"notes": "invented", "began": began.isoformat()}, beats_s)
    calm = (folder / "calm" / "trace.csv").read_bytes()
    (folder / "calm.csv").write_bytes(calm)
    (folder / "calm.csv.gz").write_bytes(gzip.compress(calm))
    rng = np.random.default_rng(5)
    minute_s, level = np.arange(3600) / 30.0, np.array([200.0, 50.0, 40.0])
    noise = np.sin(2 * np.pi * 500 / 60 * minute_s)[:, None] + rng.normal(0, 0.3, (3600, 1))
    # Ten hours at a frame a second: as long as the longest night, and quick to read.
    night_s = np.arange(36_000.0)
    for name, text in {
        "empty.csv": "",
        "header only.csv": HEADER,
        "text.csv": f"{HEADER}0,ruddy,50,40\n",
        "nan.csv": f"{HEADER}0,200,50,40\n0.033,nan,50,40\n0.066,200,50,40\n",
        "infinite.csv": f"{HEADER}0,200,50,40\n0.033,200,inf,40\n0.066,200,50,40\n",
        "negative.csv": f"{HEADER}-1,200,50,40\n0.033,200,50,40\n",
        "repeated.csv": f"{HEADER}0,200,50,40\n0.033,200,50,40\n0.033,201,50,40\n0.066,200,50,40\n",
        "columns.csv": "time_s,red,green\n0,200,50\n",
        "ragged.csv": f"{HEADER}0,200,50,40\n0.033,200,50\n0.066,200,50,40\n",
        "one second.csv": trace_text(minute_s[:31], level),
        "constant.csv": trace_text(minute_s, level),
        "racing.csv": trace_text(minute_s, level + noise),
        "night.csv": trace_text(night_s, level + rng.normal(0, 0.5, (night_s.size, 1))),
        "no frames.avi": "",
        "text.avi": "no video at all\n",
        "half.csv.gz": "",
    }.items():
        (folder / name).write_text(text)
    (folder / "half.csv.gz").write_bytes(gzip.compress(calm)[:2000])
    video = shipped_recording("rehearsal.avi").read_bytes()
    (folder / "truncated.avi").write_bytes(video[: len(video) // 2])
    (folder / "header.avi").write_bytes(video[:200])
    (folder / "nothing inside").mkdir()
    damaged = folder / "damaged about"
    damaged.mkdir()
    (damaged / "trace.csv").write_bytes(calm)
    (damaged / "about.json").write_text("{")
    return folder
